"""Pictures of an answer as SVG."""
