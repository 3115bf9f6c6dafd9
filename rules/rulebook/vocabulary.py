"""Vocabulary of the rules: each property of a fact, by kind, with type, unit and meaning.

A rule can use only these properties.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Final, Literal, TypeAlias, get_args

from pydantic import Field, StringConstraints, model_validator

from rules.rulebook.fact import KINDS
from rules.rulebook.source import ClosedModel, Problem, RulebookError, read_source, validated

__all__ = [
    "LABELS",
    "NAME_PATTERN",
    "UNITS",
    "Property",
    "PropertyType",
    "Unit",
    "Vocabulary",
    "Words",
    "load_vocabulary",
    "standard_vocabulary_file",
]

PropertyType: TypeAlias = Literal["number", "text", "flag"]

Unit: TypeAlias = Literal[
    "mm",
    "um",
    "kg",
    "rpm",
    "N",
    "N m",
    "g mm",
    "Hz",
    "MPa",
    "kW",
    "degC",
    "m/min",
    "ratio",
    "percent",
    "count",
    "none",
    "deg",
    "um/mm",
    "um/m",
    "N/um",
    "N m/mrad",
    "kg/m3",
    "kg mm2",
    "GPa",
    "s",
]

UNITS: Final[tuple[str, ...]] = get_args(Unit)

_RESERVED: Final = frozenset(
    {"in", "true", "false", "has", "stated", "mm", "um", "abs", "components", "joints", "labels"}
)

NAME_PATTERN: Final = r"^[a-z][a-z0-9_]*$"
"""Pattern of the names of properties and thresholds."""

_UNIT_OF_SUFFIX: Final = {
    "_mm": "mm",
    "_um": "um",
    "_kg": "kg",
    "_rpm": "rpm",
    "_n": "N",
    "_n_m": "N m",
    "_g_mm": "g mm",
    "_hz": "Hz",
    "_mpa": "MPa",
    "_kw": "kW",
    "_degc": "degC",
    "_m_per_min": "m/min",
    "_percent": "percent",
}


class Property(ClosedModel):
    """Type, unit and meaning of one property.

    ``always`` marks an identity text that every fact of the kind has. ``of_operation`` marks what depends on the
    operation though its kind does not: findings of a rule that reads it name the operation. ``only`` says in words
    which subjects have it, ``kinds`` which values of other properties (such as ``kind``) go with it; both None for what
    every subject has. ``values`` is the closed list of a text, ``from_request`` marks what the request itself states.
    ``tables`` names the tables that it comes from, each with the properties (or, after an equals sign, the text) that
    choose the row by its columns: a finding cites that row.
    """

    type: PropertyType
    unit: Unit
    meaning: Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
    always: bool = False
    of_operation: bool = False
    only: Annotated[str, StringConstraints(min_length=1)] | None = None
    values: tuple[str, ...] | None = None
    kinds: Mapping[str, tuple[str, ...]] | None = None
    from_request: bool = False
    tables: Mapping[str, Mapping[str, str]] | None = None

    @model_validator(mode="after")
    def _fits(self) -> Property:
        if self.type != "number" and self.unit != "none":
            raise ValueError(f"a {self.type} has no unit; write unit: none")
        if self.always and self.type != "text":
            raise ValueError("only a text can be present always")
        return self


class _Kinds(ClosedModel):
    stack: dict[str, Any] = Field(min_length=1)
    component: dict[str, Any] = Field(min_length=1)
    joint: dict[str, Any] = Field(min_length=1)
    operation: dict[str, Any] = Field(min_length=1)
    part: dict[str, Any] = Field(default_factory=dict)


LABELS: Final = "labels."
"""Start of the names of a request's labels, which a shop chooses itself."""

_LABEL: Final = Property(type="text", unit="none", meaning="label of the request", from_request=True)


class Words(dict[str, Property]):
    """Properties by name. Every name that begins with ``labels.`` is one, if ``labels.`` itself is."""

    def get(self, name: str, default: Property | None = None) -> Property | None:  # type: ignore[override]
        """Return a property, the default for an unknown name."""
        try:
            return self[name]
        except KeyError:
            return default

    def __missing__(self, name: str) -> Property:
        if name not in self:
            raise KeyError(name)
        return _LABEL.model_copy(update={"meaning": f"label {name.removeprefix(LABELS)}"})

    def __contains__(self, name: object) -> bool:
        if super().__contains__(name):
            return True
        return (
            isinstance(name, str)
            and name.startswith(LABELS)
            and len(name) > len(LABELS)
            and super().__contains__(LABELS)
        )


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Properties that the analysis computes, by kind, the file they were read from, and what requests state."""

    kinds: Mapping[str, Mapping[str, Property]]
    file: str
    stated: Mapping[str, Mapping[str, Property]] = field(default_factory=dict)
    _merged: dict[str, Words] = field(default_factory=dict, init=False, repr=False, compare=False)

    def of(self, kind: str) -> Words:
        """Return the properties of a kind, none for an unknown kind; what is computed goes before what is stated."""
        found = self._merged.get(kind)
        if found is None:
            found = self._merged[kind] = Words({**self.stated.get(kind, {}), **self.kinds.get(kind, {})})
        return found


def standard_vocabulary_file() -> Traversable:
    """Return the path of the vocabulary in this package."""
    return files("rules").joinpath("books", "vocabulary.yaml")


def load_vocabulary(file: Path | Traversable | None = None) -> Vocabulary:
    """Read a vocabulary, the package's own by default.

    The file maps each kind to its properties, each property to ``{type, unit, meaning, always, of_operation, only}``.
    A name that ends in a unit (``grip_length_mm``) must have that unit.
    Raises :class:`~rules.rulebook.source.RulebookError` with every defect found.
    """
    source = read_source(standard_vocabulary_file() if file is None else file)
    problems = list(source.problems)
    kinds: dict[str, Mapping[str, Property]] = {}
    written = None
    if not problems:
        written, problems = validated(_Kinds, source.value, source, ())
    if written is not None:
        for kind in KINDS:
            properties: dict[str, Property] = {}
            for name, raw in getattr(written, kind).items():
                entry, defects = validated(Property, raw, source, (kind, name))
                if entry is not None:
                    properties[name] = entry
                    defects = [
                        Problem(source.file, source.lines.at((kind, name)), "", reason)
                        for reason in _name_defects(name, entry)
                    ]
                problems.extend(defects)
            kinds[kind] = MappingProxyType(properties)
    if problems:
        raise RulebookError(problems)
    return Vocabulary(MappingProxyType(kinds), source.file)


def _name_defects(name: str, entry: Property) -> list[str]:
    if not re.fullmatch(NAME_PATTERN, name):
        return [f"{name!r} is not a name for a property: lower-case letters, digits and underscores, a letter first"]
    if name in _RESERVED:
        return [f"{name!r} cannot be the name of a property: expressions use it"]
    suffixes = [suffix for suffix in _UNIT_OF_SUFFIX if name.endswith(suffix)]
    if suffixes and entry.type == "number":
        suffix = max(suffixes, key=len)
        if entry.unit != _UNIT_OF_SUFFIX[suffix]:
            return [f"{name} ends in {suffix} but has the unit {entry.unit}"]
    return []
