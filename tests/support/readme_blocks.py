"""The lines that check one stack, as openapi/README.md shows them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Final

__all__ = ["ADDRESS", "README", "blocks"]

README: Final = Path(__file__).parents[2] / "openapi/README.md"

ADDRESS: Final = "http://127.0.0.1:8713"
"""The service in these lines."""


def blocks() -> Mapping[str, str]:
    """The lines by the word behind the fence: ``sh``, ``python``, ``python generated`` and ``ts``."""
    text = README.read_text(encoding="utf-8")
    return dict(re.findall(r"^```([a-z ]+)\n(.*?)^```$", text, re.DOTALL | re.MULTILINE))
