"""What a value is: scalars with unit and bounds, missing values, rounding, counted work, tables."""
