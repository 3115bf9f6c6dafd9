"""Every limit of the speed in one list."""
