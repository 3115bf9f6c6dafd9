"""Builds one flat fact: what is known of a subject, what is lacking, and nothing of what does not concern it."""

from __future__ import annotations

from rules.quantities.missing import Lack
from rules.rulebook.fact import Fact

__all__ = ["FactBuilder"]


class FactBuilder:
    """Collects the properties of one subject, those that are always known from the start."""

    __slots__ = ("_at", "_key", "_kind", "_known", "_lacking")

    def __init__(self, kind: str, key: str, at: tuple[str, ...], **always: str | float | bool) -> None:
        self._kind, self._key, self._at = kind, key, at
        self._known = always
        self._lacking: dict[str, tuple[str, ...]] = {}

    def put(self, name: str, value: str | float | bool | Lack | None) -> None:
        """Add a property; a lack goes under lacking, None does not concern the subject."""
        if type(value) is Lack:  # asked for every property of a check: quicker than isinstance
            self._lacking[name] = value.fields
        elif value is not None:
            self._known[name] = value

    def build(self) -> Fact:
        """Return the fact."""
        return Fact(self._kind, self._key, self._at, self._known, self._lacking)
