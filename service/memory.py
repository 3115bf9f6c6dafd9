"""How the collector of cyclic garbage behaves in a process that serves."""

from __future__ import annotations

import gc
from typing import Final

__all__ = ["settle"]

_YOUNG: Final = 20_000
"""Objects made before the youngest are looked through; a check makes some thousands and leaves no cycles."""


def settle() -> None:
    """Leave what was loaded out of further collections, and look through what is new less often.

    Called once the rulebooks are compiled: rules, schemas and tables live as long as the process, and going
    through them time and again costs a tenth of a check.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(_YOUNG, 20, 20)
