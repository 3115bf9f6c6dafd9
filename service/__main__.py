"""``python -m service`` and ``stackgauge``."""

from __future__ import annotations

import sys

from rules import missing_extra
from service.cli import FAULT

__all__ = ["main"]


def main() -> int:
    """Run the command that this process was started with; one line says so if the server extra is missing."""
    try:
        from service.cli.main import main as run
    except ModuleNotFoundError as error:
        missing = missing_extra("The command line", error)
        if missing is None:
            raise
        print(missing, file=sys.stderr)
        return FAULT
    return run()


if __name__ == "__main__":
    sys.exit(main())
