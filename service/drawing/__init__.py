"""Drawings and charts of a report as SVG."""
