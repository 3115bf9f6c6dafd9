"""Which stacks of a shelf meet a requirement."""
