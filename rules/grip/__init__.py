"""How firmly a joint holds: tolerances, fits, clamping, shrink joints."""
