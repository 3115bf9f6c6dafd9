"""``python -m service`` and ``stackgauge``."""

from __future__ import annotations

import sys

from service.cli.main import main

__all__ = ["main"]


if __name__ == "__main__":
    sys.exit(main())
