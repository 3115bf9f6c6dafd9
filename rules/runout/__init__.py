"""Runout: contributors, their lines along the axis, and the sum at a plane."""
