"""Name and version of the distribution; the one place both stand."""

NAME = "stackgauge"
VERSION = "0.1.0"
