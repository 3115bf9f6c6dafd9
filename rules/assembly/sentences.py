"""Sentences of the work instruction: read from YAML, checked, and filled in with words and numbers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from string import Formatter
from typing import Any, Final, NamedTuple, TypeAlias, TypedDict

from rules.couplings.sides import COUPLINGS
from rules.quantities.missing import Missing, OrMissing
from rules.quantities.rounding import rounded, rounded_for_people
from rules.quantities.tables import read_definitions
from rules.quantities.units import ucum
from rules.schema.report import AssemblyAction, JointEnds

__all__ = [
    "COMMON_PRACTICE",
    "CouplingWords",
    "Draft",
    "Number",
    "Sentence",
    "StepWords",
    "Tellable",
    "Words",
    "draft",
    "instruction",
    "is_heavy",
    "maker_units",
    "preload",
    "say",
    "stop",
]


_UNIT_WORDS: Final = {"um": " µm", "degC": " °C", "deg": "°"}
_UNROUNDED: Final = frozenset({"s"})
_MM_PER_INCH: Final = 25.4

COMMON_PRACTICE: Final = "common practice"


class Number(NamedTuple):
    """A number with its name, unit and bounds; one without value and bounds is left out."""

    name: str
    unit: str | None
    value: float | None
    at_least: float | None = None
    at_most: float | None = None
    tolerance: float | None = None
    in_inches: bool = False
    """Whether the inches are given beside the mm."""
    source: str | None = None
    """Source of tolerance or value where the request states neither."""

    def text(self) -> str:
        """Return it as text: its value with the tolerance, else its bounds; inches in brackets."""
        unit = "" if self.unit is None else _UNIT_WORDS.get(self.unit, f" {self.unit}")
        if self.value is None:
            bounds = [_plain(one, self.unit) for one in (self.at_least, self.at_most) if one is not None]
            return f"{' to '.join(bounds)}{unit}"
        either = "" if self.tolerance is None else f" ± {_plain(self.tolerance, self.unit)}"
        inches = f" ({self._inches:.10g} in)" if self._inches is not None else ""
        return f"{_plain(self.value, self.unit)}{either}{unit}{inches}"

    @property
    def _inches(self) -> float | None:
        if self.value is None or not self.in_inches or self.unit != "mm":
            return None
        return rounded(self.value / _MM_PER_INCH, "mm")  # to a ten-thousandth, as an inch rule is read

    def fields(self) -> dict[str, Any]:
        """Return it as in the report, rounded."""
        return {
            "name": self.name,
            "unit": None if self.unit is None else ucum(self.unit),
            "value": _rounded(self.value, self.unit),
            "tolerance": _rounded(self.tolerance, self.unit),
            "at_least": _rounded(self.at_least, self.unit),
            "at_most": _rounded(self.at_most, self.unit),
            "inches": self._inches,
            "source": self.source,
        }


def _plain(value: float, unit: str | None) -> str:
    return f"{rounded_for_people(value, unit or 'count'):.10g}"


def _rounded(value: float | None, unit: str | None) -> float | None:
    if value is None or unit is None or unit in _UNROUNDED:
        return value
    return rounded(value, unit)


Tellable: TypeAlias = OrMissing[str | Number] | None
"""A word or a number, the fields missing for it, or None where it does not concern the subject."""


class Words(dict[str, str | Missing | None]):
    """Values by name in the sentences, computed on demand; '' for a condition that is met."""

    def __init__(self, given: Mapping[str, str], find: Callable[[str], Tellable] | None = None) -> None:
        super().__init__(given)
        self._find = find
        self._numbers: dict[str, Number] = {}

    def __missing__(self, name: str) -> str | Missing | None:
        found = None if self._find is None else self._find(name)
        if isinstance(found, Number):
            self._numbers[name] = found
            found = found.text()
        self[name] = found
        return found

    def number(self, name: str) -> Number | Missing | None:
        """Return the number of a name, or its missing fields; None for a word or where it does not apply."""
        found = self[name]
        return found if isinstance(found, Missing) else self._numbers.get(name)


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence, the names in it, and the text used where they are unknown."""

    needs: tuple[str, ...]
    text: str
    otherwise: Sentence | None

    def said(self, words: Words, missing: list[str]) -> str:
        """Return the sentence, and add the request fields that it lacks; '' if it lacks any or does not apply."""
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
            missing.extend(field for one in found if isinstance(one, Missing) for field in one.fields)
        return "" if self.otherwise is None else self.otherwise.said(words, missing)


def say(sentences: Iterable[Sentence], words: Words, missing: list[str]) -> str:
    """Return the complete sentences, joined; add the request fields that the others lack to ``missing``."""
    return " ".join(filter(None, [one.said(words, missing) for one in sentences]))


_SENTENCE_KEYS: Final = frozenset({"text", "if", "needs", "else"})
_STEP_KEYS: Final = frozenset({"action", "text", "values", "maker", "deferred", "only"})


@dataclass(frozen=True, slots=True)
class MakerStates:
    """A figure that only the maker of a part can state."""

    name: str
    unit: str | None
    when: str | None
    """Name that must be known."""
    unless: str | None
    """Name that must not be known, since it stands in place of the maker's figure."""

    def concerns(self, words: Words) -> bool:
        """Whether the maker's figure is needed."""
        wanted = self.when is None or isinstance(words[self.when], str)
        return wanted and (self.unless is None or not isinstance(words[self.unless], str))


@dataclass(frozen=True, slots=True)
class StepWords:
    """One step in the file."""

    action: AssemblyAction
    sentences: tuple[Sentence, ...]
    values: tuple[str, ...]
    maker: tuple[MakerStates, ...]
    deferred: bool
    alone: bool


@dataclass(frozen=True, slots=True)
class CouplingWords:
    """The steps of one coupling."""

    clean: Sentence
    build: tuple[StepWords, ...]
    open: tuple[StepWords, ...]


@dataclass(frozen=True, slots=True)
class Instruction:
    """The complete file."""

    not_of_joining: frozenset[str]
    knob_codes: frozenset[str]
    tolerances: Mapping[str, float]
    """Deviations to either side that are common practice, mm."""
    preload_mm: float
    states: Mapping[str, str]
    """What releases the assembly, by state."""
    finding: str
    undecided: str
    rules: Mapping[str, str]
    stops: Mapping[str, str]
    general: Mapping[str, StepWords]
    seats: Mapping[str, tuple[Sentence, ...]]
    couplings: Mapping[str, CouplingWords]

    def maker_steps(self) -> Iterator[MakerStates]:
        """Yield the figures that only a maker can state."""
        for entry in self.couplings.values():
            for step in entry.build:
                yield from step.maker
        for step in self.general.values():
            yield from step.maker


@cache
def maker_units() -> Mapping[str, str | None]:
    """Return the units of the figures that only a maker can state."""
    return {one.name: one.unit for one in instruction().maker_steps()}


@cache
def _placeholders(text: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for _, name, _, _ in Formatter().parse(text) if name))


def _sentence(entry: str | dict[str, str]) -> Sentence:
    if isinstance(entry, str):
        return Sentence(_placeholders(entry), entry, None)
    if not entry.keys() <= _SENTENCE_KEYS:
        # a comma outside quotes splits a text in two
        raise ValueError(f"the work instruction: not a sentence: {entry}")
    text, condition = entry.get("text", ""), entry.get("if", entry.get("needs"))
    needs = _placeholders(text) if condition is None else (condition, *_placeholders(text))
    return Sentence(needs, text, _sentence(entry["else"]) if "else" in entry else None)


def _sentences(entries: Iterable[str | dict[str, str]]) -> tuple[Sentence, ...]:
    return tuple(map(_sentence, entries))


def _step(entry: dict[str, Any]) -> StepWords:
    if not entry.keys() <= _STEP_KEYS:
        raise ValueError(f"the work instruction: not a step: {entry}")
    return StepWords(
        entry["action"],
        _sentences(entry["text"]),
        tuple(entry.get("values", ())),
        tuple(
            MakerStates(one["name"], one["unit"], one.get("if"), one.get("unless")) for one in entry.get("maker", ())
        ),
        entry.get("deferred", False),
        entry.get("only") == "alone",
    )


def _coupling(entry: Mapping[str, Any]) -> CouplingWords:
    return CouplingWords(_sentence(entry["clean"]), tuple(map(_step, entry["build"])), tuple(map(_step, entry["open"])))


def _read(package: str, name: str) -> Any:
    return read_definitions(files(package).joinpath(name))


@cache
def instruction() -> Instruction:
    """Return the file and the sentences of every coupling, read once."""
    data = _read("rules.assembly", "assembly.yaml")
    return Instruction(
        frozenset(data["not_of_joining"]),
        frozenset(data["knob_codes"]),
        data["tolerances"],
        data["preload_mm"],
        data["states"],
        data["finding"],
        data["undecided"],
        data["rules"],
        data["stops"],
        {key: _step(entry) for key, entry in data["general"].items()},
        {
            **{name: _sentences(one.described.seat) for name, one in COUPLINGS.items() if one.described.seat},
            **{key: _sentences(entry) for key, entry in data["seats"].items()},
        },
        {
            **{name: _coupling(one.described.instruction) for name, one in COUPLINGS.items()},
            **{key: _coupling(entry) for key, entry in data["couplings"].items()},
        },
    )


@cache
def _heavy_from_kg() -> float:
    masses = [entry["from_kg"] for entry in _read("rules.answer", "cautions.yaml") if "from_kg" in entry]
    return float(min(masses))


def is_heavy(mass_kg: OrMissing[float]) -> bool:
    """Whether a caution for heavy stacks applies at this mass."""
    return not isinstance(mass_kg, Missing) and mass_kg >= _heavy_from_kg()


def preload() -> Number:
    """Return the preload of the indicator."""
    return Number("preload of the indicator", "mm", instruction().preload_mm, source=COMMON_PRACTICE)


class Draft(TypedDict):
    """A step without its number."""

    number: int
    action: AssemblyAction
    components: list[str]
    joint: JointEnds | None
    text: str
    values: list[dict[str, Any]]
    at: list[str]
    not_stated: list[str]
    from_maker: list[str]


def draft(
    step: StepWords, words: Words, components: list[str], at: list[str], joint: JointEnds | None = None
) -> Draft | None:
    """Return a step, or None if all its sentences lack data."""
    missing: list[str] = []
    text = say(step.sentences, words, missing)
    if not text:
        return None
    values = []
    for name in step.values:
        number = words.number(name)
        if isinstance(number, Number):
            values.append(number.fields())
        elif number is not None:
            missing.extend(number.fields)
    return {
        "number": 0,
        "action": step.action,
        "components": components,
        "joint": joint,
        "text": text,
        "values": values,
        "at": at,
        "not_stated": list(dict.fromkeys(missing)) if missing else missing,
        "from_maker": [one.name for one in step.maker if one.concerns(words)],
    }


def stop(text: str, components: list[str], at: list[str], joint: JointEnds | None = None) -> Draft:
    """Return a step that forbids an action."""
    return {
        "number": 0,
        "action": "stop",
        "components": components,
        "joint": joint,
        "text": text,
        "values": [],
        "at": at,
        "not_stated": [],
        "from_maker": [],
    }
