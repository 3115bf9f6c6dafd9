"""Name and version of the distribution."""

NAME = "stackgauge"
VERSION = "0.1.0"
