"""``python -m service`` and ``stackgauge``."""

from __future__ import annotations

import gc
import os
import sys

from service.cli.main import main as run

__all__ = ["main"]


def main() -> int:
    """Run the command that this process was started with."""
    # The matrices of a stack are small: threads of the linear algebra take longer to start than it takes to work.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Nearly all that is made at the start stays, so looking for what does not would only take time.
    gc.set_threshold(100_000, 20, 20)
    try:
        return run()
    finally:
        # The interpreter would look through all of it once more before it ends.
        gc.freeze()


if __name__ == "__main__":
    sys.exit(main())
