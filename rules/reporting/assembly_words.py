"""Words, numbers and sentences of the work instruction, said of one subject at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, NamedTuple, TypeAlias

from rules.quantities.missing import Lack, Maybe
from rules.quantities.rounding import rounded, rounded_for_people

__all__ = ["Number", "Sentence", "Tellable", "Words", "say"]

_UNIT_WORDS: Final = {"um": " µm", "degC": " °C", "deg": "°"}
_UNROUNDED: Final = frozenset({"s"})


class Number(NamedTuple):
    """A number with its name, unit and bounds; without value or bounds it is not told."""

    name: str
    unit: str | None
    value: float | None
    at_least: float | None = None
    at_most: float | None = None

    def told(self) -> str:
        """Say it for people: its value, else its bounds."""
        unit = "" if self.unit is None else _UNIT_WORDS.get(self.unit, f" {self.unit}")
        if self.value is not None:
            return f"{_plain(self.value, self.unit)}{unit}"
        bounds = [_plain(one, self.unit) for one in (self.at_least, self.at_most) if one is not None]
        return f"{' to '.join(bounds)}{unit}"

    def fields(self) -> dict[str, Any]:
        """Return it as the report shows it, rounded."""
        return {
            "name": self.name,
            "unit": self.unit,
            "value": _rounded(self.value, self.unit),
            "at_least": _rounded(self.at_least, self.unit),
            "at_most": _rounded(self.at_most, self.unit),
        }


def _plain(value: float, unit: str | None) -> str:
    return f"{rounded_for_people(value, unit or 'count'):.10g}"


def _rounded(value: float | None, unit: str | None) -> float | None:
    if value is None or unit is None or unit in _UNROUNDED:
        return value
    return rounded(value, unit)


Tellable: TypeAlias = Maybe[str | Number] | None
"""A word or a number, what is missing for it, or None where it does not concern the subject."""


class Words(dict[str, str | Lack | None]):
    """What the sentences name, worked out when asked for; '' stands for a circumstance that holds."""

    def __init__(self, given: Mapping[str, str], find: Callable[[str], Tellable] | None = None) -> None:
        super().__init__(given)
        self._find = find
        self._numbers: dict[str, Number] = {}

    def __missing__(self, name: str) -> str | Lack | None:
        found = None if self._find is None else self._find(name)
        if isinstance(found, Number):
            self._numbers[name] = found
            found = found.told()
        self[name] = found
        return found

    def number(self, name: str) -> Number | Lack | None:
        """Return the number for a name, or what it lacks; None for a word and for what does not concern the subject."""
        found = self[name]
        return found if isinstance(found, Lack) else self._numbers.get(name)


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence, what it names, and what stands there when that is not known."""

    needs: tuple[str, ...]
    text: str
    otherwise: Sentence | None

    def said(self, words: Words, missing: list[str]) -> str:
        """Return the sentence or '', and add the request fields that it lacks; '' too where it does not apply."""
        needs = self.needs
        if not needs:
            return self.text
        for name in needs:
            if not isinstance(words[name], str):
                break
        else:
            return self.text.format_map(words)
        found = [words[name] for name in needs]
        if None not in found:
            missing.extend(field for one in found if isinstance(one, Lack) for field in one.fields)
        return "" if self.otherwise is None else self.otherwise.said(words, missing)


def say(sentences: Iterable[Sentence], words: Words, missing: list[str]) -> str:
    """Join the sentences that can be said; request fields that the others lack are added to missing."""
    return " ".join(filter(None, [one.said(words, missing) for one in sentences]))
