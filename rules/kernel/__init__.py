"""Compiled laws of random sums: `_kernel.c`, built by the installer or into the wheel.

There is no second implementation to fall back on: without the kernel nothing is judged.
"""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path
from typing import Final

from rules import MissingExtraError

_REMEDY: Final = "python3 service/deploy/install.py --kernel, or with a C compiler: pip install 'stackgauge[server]'"

try:
    from rules.kernel._kernel import SOURCE, Law, bessel_nodes
except ImportError as error:
    raise MissingExtraError(f"The compiled kernel is missing ({error}): {_REMEDY}") from None

# A wheel states no digest; in a working copy, yesterday's kernel under today's source would judge unnoticed.
_FILE: Final = Path(__file__).with_name("_kernel.c")
if SOURCE and _FILE.exists() and sha256(_FILE.read_bytes()).hexdigest() != SOURCE:
    raise MissingExtraError(f"The compiled kernel is not that of {_FILE.name}: {_REMEDY}")

__all__ = ["Law", "bessel_nodes"]
