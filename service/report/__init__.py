"""The human face of a report."""
