"""Gauge readings, the prediction for them, and the next step."""
