"""Name and version of the distribution, and version of its contract; the one place they stand."""

NAME = "stackgauge"
VERSION = "1.1.0"
CONTRACT = "1.1"
