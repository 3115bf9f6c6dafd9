"""Standard parts by number and size."""
