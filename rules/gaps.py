"""Gap list: which fields, if stated, would decide how many rules, on one stack and over a library.

A rule counts as decided by a field if it names no other as missing; a value may show that another is missing, too.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from rules.schema.components import ComponentReference
from rules.schema.parsing import BadRequestError
from rules.schema.report import Undecided
from rules.schema.request import CheckRequest
from rules.stack.chain import Mounted, resolve

__all__ = ["FieldGap", "NeededField", "gaps_of", "needed_fields", "part_name"]


class NeededField(NamedTuple):
    """A field that undecided rules lack."""

    at: str
    """JSON Pointer."""
    alone: tuple[str, ...]
    """Codes of the rules that lack nothing else."""
    beside: tuple[str, ...]
    """Codes of the rules that lack something else, too."""


def needed_fields(undecided: Sequence[Undecided]) -> list[NeededField]:
    """Return the fields that rules lack: first those that decide most rules alone, then those that most rules need."""
    alone: dict[str, set[str]] = {}
    beside: dict[str, set[str]] = {}
    for gap in undecided:
        fields = {at for lack in gap.lacks for at in lack.at}
        for at in fields:
            (alone if len(fields) == 1 else beside).setdefault(at, set()).add(gap.code)
    found = [
        NeededField(at, tuple(sorted(alone.get(at, ()))), tuple(sorted(beside.get(at, set()) - alone.get(at, set()))))
        for at in {**alone, **beside}
    ]
    return sorted(found, key=lambda one: (-len(one.alone), -len(one.beside), one.at))


class FieldGap(NamedTuple):
    """A field of a part that undecided rules of a stack lack."""

    of: str
    """Kind of the part; machine, operation, joint or stack for what is no part."""
    field: str
    """Name of the field, with points."""
    part: str
    """Part number, else key, else id."""
    alone: tuple[str, ...]
    beside: tuple[str, ...]


def gaps_of(undecided: Sequence[Undecided], request: CheckRequest, mounted: Mounted) -> tuple[FieldGap, ...]:
    """Return the gaps of one stack, in the order of :func:`needed_fields`.

    Parameters
    ----------
    undecided
        Of the report on the request.
    request
        As judged.
    mounted
        Catalogue and aliases, which say what a reference means.
    """
    if not undecided:
        return ()
    kinds = _kinds(request, mounted)
    found: dict[tuple[str, str, str], tuple[set[str], set[str]]] = {}
    for one in needed_fields(undecided):
        alone, beside = found.setdefault(_owner(one.at, request, kinds), (set(), set()))
        alone.update(one.alone)
        beside.update(one.beside)
    return tuple(
        FieldGap(*owner, tuple(sorted(alone)), tuple(sorted(beside - alone)))
        for owner, (alone, beside) in found.items()
    )


def _kinds(request: CheckRequest, mounted: Mounted) -> Sequence[str]:
    entries: Iterable[Any] = request.stack.components
    if any(isinstance(one, ComponentReference) for one in entries):
        try:
            resolved = resolve(request, mounted)
        except BadRequestError:  # such a request has no report
            return []
        if not resolved.broken:
            entries = resolved.request.stack.components
    return [one.kind for one in entries]


_NUMBERED: Final = re.compile(r"\.[0-9]+(?=\.|$)")


def _owner(at: str, request: CheckRequest, kinds: Sequence[str]) -> tuple[str, str, str]:
    """Return kind, field and part of a pointer."""
    steps = [step.replace("~1", "/").replace("~0", "~") for step in at.split("/")[1:]]
    if steps[:2] == ["stack", "components"] and len(steps) > 2 and steps[2].isdecimal() and int(steps[2]) < len(kinds):
        place, rest = int(steps[2]), steps[3:]
        entry = request.stack.components[place]
        return kinds[place], _field(rest[1:] if rest[:1] == ["with"] else rest), part_name(entry, request)
    if steps[:1] == ["components"] and len(steps) > 1:
        users = (
            kind
            for kind, one in zip(kinds, request.stack.components, strict=False)
            if isinstance(one, ComponentReference) and one.of.key == steps[1]
        )
        definition = (request.components or {}).get(steps[1])
        number = getattr(definition, "part_number", None)
        return next(users, "component"), _field(steps[2:]), str(number or steps[1])
    if steps[:2] == ["stack", "joints"]:
        return "joint", _field(steps[3:]), ""
    if steps[:1] == ["operations"]:
        return "operation", _field(steps[2:]), ""
    if steps[:1] == ["machine"]:
        return "machine", _field(steps[1:]), str(getattr(request.machine, "id", None) or "")
    return "stack", _field(steps[1:]), ""


def _field(steps: Sequence[str]) -> str:
    return _NUMBERED.sub("", ".".join(steps)) or "data"


def part_name(entry: Any, request: CheckRequest) -> str:
    """Return the part number of a component, else its key, else its id."""
    if not isinstance(entry, ComponentReference):
        return str(entry.part_number or entry.id)
    overlay: Mapping[str, Any] = {} if entry.overlay is None else dict(entry.overlay)
    definition = (request.components or {}).get(entry.of.key) if entry.of.source == "request" else None
    return str(overlay.get("part_number") or getattr(definition, "part_number", None) or entry.of.key)
