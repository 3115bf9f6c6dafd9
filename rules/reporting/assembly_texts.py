"""The file of the work instruction's words, read once and checked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from string import Formatter
from typing import Any, Final

import yaml

from rules.quantities.missing import Lack, Maybe
from rules.reporting.assembly_words import Number, Sentence
from rules.schema.report import AssemblyAction

__all__ = [
    "CouplingWords",
    "Instruction",
    "MakerStates",
    "StepWords",
    "coupling_cautions",
    "heavy_cautions",
    "instruction",
    "maker_units",
]

_SENTENCE_KEYS: Final = frozenset({"text", "if", "needs", "else"})
_STEP_KEYS: Final = frozenset({"action", "text", "values", "maker", "caution", "deferred", "only"})


@dataclass(frozen=True, slots=True)
class MakerStates:
    """What only the maker of a part can state."""

    name: str
    unit: str | None
    when: str | None


@dataclass(frozen=True, slots=True)
class StepWords:
    """One step as the file words it."""

    action: AssemblyAction
    sentences: tuple[Sentence, ...]
    values: tuple[str, ...]
    maker: tuple[MakerStates, ...]
    caution: bool
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
    """The whole file."""

    numbers: Mapping[str, Number]
    not_of_joining: frozenset[str]
    knob_codes: frozenset[str]
    cautions: Mapping[str, str]
    rules: Mapping[str, str]
    stops: Mapping[str, str]
    general: Mapping[str, StepWords]
    seats: Mapping[str, tuple[Sentence, ...]]
    couplings: Mapping[str, CouplingWords]

    def maker_steps(self) -> Iterator[MakerStates]:
        """Yield everything that only a maker can state."""
        for entry in self.couplings.values():
            for step in entry.build:
                yield from step.maker
        for step in self.general.values():
            yield from step.maker


@cache
def maker_units() -> Mapping[str, str | None]:
    """Return the unit of everything that only a maker can state."""
    return {one.name: one.unit for one in instruction().maker_steps()}


@cache
def _placeholders(text: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for _, name, _, _ in Formatter().parse(text) if name))


def _sentence(entry: str | dict[str, str]) -> Sentence:
    if isinstance(entry, str):
        return Sentence(_placeholders(entry), entry, None)
    if not entry.keys() <= _SENTENCE_KEYS:
        raise ValueError(f"assembly.yaml: not a sentence: {entry}")  # a comma outside quotes cuts a text in two
    text, condition = entry.get("text", ""), entry.get("if", entry.get("needs"))
    needs = _placeholders(text) if condition is None else (condition, *_placeholders(text))
    return Sentence(needs, text, _sentence(entry["else"]) if "else" in entry else None)


def _step(entry: dict[str, Any]) -> StepWords:
    if not entry.keys() <= _STEP_KEYS:
        raise ValueError(f"assembly.yaml: not a step: {entry}")
    return StepWords(
        entry["action"],
        tuple(map(_sentence, entry["text"])),
        tuple(entry.get("values", ())),
        tuple(MakerStates(one["name"], one["unit"], one.get("if")) for one in entry.get("maker", ())),
        entry.get("caution", False),
        entry.get("deferred", False),
        entry.get("only") == "alone",
    )


def _coupling(entry: dict[str, Any]) -> CouplingWords:
    return CouplingWords(_sentence(entry["clean"]), tuple(map(_step, entry["build"])), tuple(map(_step, entry["open"])))


def _read(package: str, name: str) -> Any:
    return yaml.safe_load(files(package).joinpath(name).read_text(encoding="utf-8"))


@cache
def instruction() -> Instruction:
    """Return the file, read once."""
    data = _read("rules.reporting", "assembly.yaml")
    return Instruction(
        {key: Number(**{"value": None, **entry}) for key, entry in data["numbers"].items()},
        frozenset(data["not_of_joining"]),
        frozenset(data["knob_codes"]),
        data["cautions"],
        data["rules"],
        data["stops"],
        {key: _step(entry) for key, entry in data["general"].items()},
        {key: tuple(map(_sentence, entry)) for key, entry in data["seats"].items()},
        {key: _coupling(entry) for key, entry in data["couplings"].items()},
    )


@cache
def coupling_cautions(concern: str) -> tuple[str, ...]:
    """Return the cautions of one coupling, or of a retention knob."""
    return tuple(entry["text"] for entry in _read("rules.answer", "cautions.yaml") if entry["when"] == concern)


@cache
def _heavy() -> tuple[tuple[float, str], ...]:
    entries = _read("rules.answer", "cautions.yaml")
    return tuple((entry["from_kg"], entry["text"]) for entry in entries if entry.get("from_kg", 0.0) > 0.0)


def heavy_cautions(mass_kg: Maybe[float]) -> list[str]:
    """Return the cautions that hold from some mass of the stack on, and are reached."""
    return [] if isinstance(mass_kg, Lack) else [text for least, text in _heavy() if mass_kg >= least]
