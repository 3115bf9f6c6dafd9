"""The operator's alias file: the shop's own names, and the designation or standard part that each stands for.

A YAML list of ``{pattern, becomes, reason}``. A pattern is a name as people write it, with at most one ``*`` for a
number; a ``*`` in ``becomes`` repeats that number. Case, blanks, hyphens and underscores do not count. What a standard
or a catalogue defines is never replaced, and an alias leads to its target in one step.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, get_args

from pydantic import Field, TypeAdapter, ValidationError

from rules.couplings.designation import EndName, plain, thread_of, understood
from rules.parts.standard_parts import standard_part
from rules.quantities.models import Key, Model, Text
from rules.rulebook.source import Problem, RulebookError, Source, read_source

__all__ = ["MAX_ALIASES", "NO_ALIASES", "Alias", "Aliases", "load_aliases"]

MAX_ALIASES: Final = 1000

ANY_NUMBER: Final = "*"

_LONGEST_NUMBER: Final = 8


class Alias(Model):
    """One name of the shop."""

    pattern: Annotated[Key, Field(max_length=64)]
    becomes: Annotated[Key, Field(max_length=64)]
    reason: Annotated[Text, Field(min_length=1)]


@dataclass(frozen=True, slots=True)
class Aliases:
    """The aliases in force, and their SHA-256; None without any."""

    rows: tuple[Alias, ...] = ()
    digest: str | None = None

    def of(self, name: str) -> str | None:
        """Return what a name stands for.

        Parameters
        ----------
        name
            Text as written.

        Returns
        -------
        str or None
            None without an alias for it, or if two patterns lead to different targets. A pattern without a wildcard
            goes before those with one.
        """
        if not self.rows:
            return None
        text = _folded(name)
        found: dict[bool, set[str]] = {True: set(), False: set()}
        for row in self.rows:
            number = _number_in(text, row.pattern)
            if number is not None:
                found[ANY_NUMBER in row.pattern].add(row.becomes.replace(ANY_NUMBER, number))
        targets = found[False] or found[True]
        return targets.pop() if len(targets) == 1 else None


NO_ALIASES: Final = Aliases()


def _folded(text: str) -> str:
    return plain(text).casefold()


def _number_in(text: str, pattern: str) -> str | None:
    """Return the number in place of the wildcard, nothing for a pattern without one; None if the text differs."""
    before, wildcard, after = pattern.partition(ANY_NUMBER)
    before, after = _folded(before), _folded(after)
    if not wildcard:
        return "" if text == before else None
    number = text[len(before) : len(text) - len(after)]
    matches = text.startswith(before) and text.endswith(after) and len(text) == len(before) + len(number) + len(after)
    return number if matches and _is_number(number) else None


def _is_number(text: str) -> bool:
    whole, point, part = text.partition(".")
    digits = whole.isascii() and whole.isdecimal() and (not point or (part.isascii() and part.isdecimal()))
    return digits and len(text) <= _LONGEST_NUMBER


def load_aliases(path: Path) -> Aliases:
    """Return the aliases of a file.

    Parameters
    ----------
    path
        YAML: a list of at most a thousand aliases.

    Raises
    ------
    rules.rulebook.source.RulebookError
        With file, line and reason of every defect: a field, a duplicate, a loop, a name that a standard already
        gives, a target that is no designation and no standard part.
    """
    source = read_source(path)
    problems = list(source.problems)
    rows: list[tuple[int, Alias]] = []
    if not problems and not isinstance(source.value, list):
        problems.append(
            Problem(source.file, 1, "", "a list of aliases is expected, each with pattern, becomes, reason")
        )
    elif not problems and len(source.value) > MAX_ALIASES:
        problems.append(Problem(source.file, 1, "", f"{len(source.value)} aliases; at most {MAX_ALIASES} are read"))
    elif not problems:
        rows = list(_read(source, problems))
        problems += [Problem(source.file, line, "", reason) for line, reason in _defects(rows)]
    if problems:
        raise RulebookError(problems)
    plain_rows = tuple(row for _, row in rows)
    text = json.dumps([row.model_dump() for row in plain_rows], sort_keys=True, separators=(",", ":"))
    return Aliases(plain_rows, hashlib.sha256(text.encode("ascii")).hexdigest() if plain_rows else None)


_ROW: Final[TypeAdapter[Alias]] = TypeAdapter(Alias)


def _read(source: Source, problems: list[Problem]) -> Iterator[tuple[int, Alias]]:
    for place, value in enumerate(source.value):
        line = source.lines.at((place,))
        try:
            yield line, _ROW.validate_python(value)
        except ValidationError as error:
            for one in error.errors(include_input=False, include_url=False):
                where = "".join(f"{step}: " for step in one["loc"])
                problems.append(Problem(source.file, line, "", f"{where}{one['msg']}"))


def _defects(rows: Sequence[tuple[int, Alias]]) -> Iterator[tuple[int, str]]:
    """Yield line and reason of every alias that cannot be meant."""
    every = Aliases(tuple(row for _, row in rows))
    first: dict[str, int] = {}
    for line, row in rows:
        pattern, becomes = row.pattern, row.becomes
        folded = _folded(pattern)
        stars = pattern.count(ANY_NUMBER)
        if not folded.strip(ANY_NUMBER):
            yield line, f"the pattern {pattern!r} has no letter or digit of its own"
        elif stars > 1 or becomes.count(ANY_NUMBER) > stars:
            yield (
                line,
                f"{pattern!r} becomes {becomes!r}: one * in the pattern at most, and only then one in the target",
            )
        elif folded in first:
            yield line, f"the pattern {pattern!r} stands in line {first[folded]} already"
        elif not stars and _is_known(pattern):
            yield line, f"{pattern!r} is a designation or part of a standard; an alias cannot give it another meaning"
        elif (loop := _loop(every, row)) is not None:
            yield line, f"a loop: {' becomes '.join(map(repr, loop))}"
        elif not any(map(_is_known, _targets(becomes))):
            why = "another alias; name its target" if every.of(becomes) else "no designation and no standard part"
            yield line, f"{pattern!r} becomes {becomes!r}, which is {why}"
        first.setdefault(folded, line)


def _is_known(text: str) -> bool:
    ends: tuple[Any, ...] = get_args(EndName)
    if standard_part(text) is not None or thread_of(text) is not None:
        return True
    return any(understood(text, end) is not None for end in ends)


def _targets(becomes: str) -> Iterator[str]:
    """Yield the target, with each number that a size of a standard may have in place of a wildcard."""
    if ANY_NUMBER not in becomes:
        yield becomes
        return
    for number in range(1, 201):
        yield becomes.replace(ANY_NUMBER, str(number))
    for half in range(1, 40, 2):
        yield becomes.replace(ANY_NUMBER, f"{half / 2:g}")


def _loop(every: Aliases, row: Alias) -> list[str] | None:
    """Return the names of a loop that an alias opens, the first one twice; None where its way ends."""
    way = [row.pattern, row.becomes]
    while len(way) <= len(every.rows) + 1:
        if _folded(way[-1]) == _folded(way[0]):
            return way
        target = every.of(way[-1])
        if target is None:
            return None
        way.append(target)
    return None  # the loop lies further on, where its own aliases report it
