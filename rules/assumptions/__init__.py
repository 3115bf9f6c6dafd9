"""Typical and cautious values for what a request does not state."""
