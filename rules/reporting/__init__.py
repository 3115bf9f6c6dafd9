"""From what was derived and judged to the report: wording, rounding, provenance."""
