"""What the program's exit codes mean; the gravest of several files wins."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from rules.schema.report import Verdict

__all__ = ["BAD_INPUT", "FAULT", "READING_ACCEPTED", "READING_OPEN", "READING_REFUSED", "VERDICT_CODES"]

VERDICT_CODES: Final[Mapping[Verdict, int]] = MappingProxyType({"pass": 0, "review": 1, "fail": 2})

READING_ACCEPTED: Final = 0
"""The limit is kept, or there is none and nothing is outside the prediction."""

READING_OPEN: Final = 1
"""Nothing is proven, or another step is needed."""

READING_REFUSED: Final = 2
"""The limit is broken, or the reading is outside the prediction."""

BAD_INPUT: Final = 3
"""What was given is no request, no rulebook, no setting or no command."""

FAULT: Final = 4
"""The program itself failed: there is no verdict."""
