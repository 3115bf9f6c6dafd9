"""Permitted characters in texts."""

from __future__ import annotations

import sys
import unicodedata

from pydantic import TypeAdapter, ValidationError

from rules.quantities.models import Text

_TURNS = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
_MARKS = {"LEFT-TO-RIGHT MARK", "RIGHT-TO-LEFT MARK", "ARABIC LETTER MARK"}


def _expected(character: str) -> bool:
    """Neither a control character, nor an end of a line, nor a control of the direction of reading.

    The Unicode Character Database as Python has it; controls of direction by Unicode Standard Annex 9, section 2.
    """
    return (
        unicodedata.category(character) not in {"Cc", "Zl", "Zp"}
        and unicodedata.bidirectional(character) not in _TURNS
        and unicodedata.name(character, "") not in _MARKS
    )


def _accepts(adapter: TypeAdapter[str], text: str) -> bool:
    try:
        adapter.validate_python(text)
    except ValidationError:
        return False
    return True


def test_every_character_of_unicode_is_taken_or_refused_as_said() -> None:
    """Alone, and none of those refused is taken at an end."""
    adapter = TypeAdapter(Text)
    characters = [chr(n) for n in range(sys.maxunicode + 1) if not 0xD800 <= n <= 0xDFFF]
    wrong = [one for one in characters if _accepts(adapter, one) != _expected(one)]
    assert [f"U+{ord(one):04X}" for one in wrong] == []
    refused = [one for one in characters if not _expected(one)]
    assert len(refused) == 65 + 2 + 9 + 3
    for one in refused:
        assert not _accepts(adapter, f"a{one}")
        assert not _accepts(adapter, f"{one}a")
