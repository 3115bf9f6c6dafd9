"""The parts of a search: what fits on what, the walk through what is left, ranking and pages."""
