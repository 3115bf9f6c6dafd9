"""How far the stack bends and at which frequencies it vibrates."""
