"""Scalars with unit and bounds, missing values, rounding, work limits and tables."""
