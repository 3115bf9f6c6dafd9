"""Operation of the service: settings, logs, start and stop, heavy work, problems."""

from typing import Final

PREFIX: Final = "STACKGAUGE_"
"""Prefix of the environment variables that are settings."""
