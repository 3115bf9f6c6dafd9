"""A reading at the gauge against the prediction, and the next step."""
