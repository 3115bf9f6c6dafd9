"""Compiled laws of random sums (`_laws.c`) and bending frequencies (`_beam.c`), built by the installer or a wheel.

There is no second implementation to fall back on: without the kernel nothing is judged.
"""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path
from typing import Final

from rules import MissingExtraError

_REMEDY: Final = "python3 service/deploy/install.py --kernel, or with a C compiler: pip install 'stackgauge[server]'"

try:
    from rules.kernel import _beam, _laws
    from rules.kernel._beam import frequencies
    from rules.kernel._laws import Law, bessel_nodes
except ImportError as error:
    raise MissingExtraError(f"The compiled kernel is missing ({error}): {_REMEDY}") from None

# A wheel states no digest; in a working copy, yesterday's kernel under today's source would judge unnoticed.
for _module in (_beam, _laws):
    _file = Path(__file__).with_name(f"{_module.__name__.rpartition('.')[2]}.c")
    if _module.SOURCE and _file.exists() and sha256(_file.read_bytes()).hexdigest() != _module.SOURCE:
        raise MissingExtraError(f"The compiled kernel is not that of {_file.name}: {_REMEDY}")

__all__ = ["Law", "bessel_nodes", "frequencies"]
