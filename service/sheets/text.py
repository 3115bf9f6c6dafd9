"""The pieces that texts for a terminal or a log are laid out with.

A problem as plain text: what is wrong, each part with its place, what to do.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import IO, TYPE_CHECKING, Final, TypeAlias, Union

from rich.cells import cell_len, chop_cells

from rules.quantities.models import MissingQuantity
from service.sheets.figures import Cell, Section, missing_words

if TYPE_CHECKING:
    from rich.console import Console as Terminal
    from rich.text import Text

    from service.contract import Problem, ProblemPart

__all__ = [
    "PLAIN_WIDTH",
    "STYLES",
    "Console",
    "PlainConsole",
    "PlainText",
    "count",
    "cut",
    "fixed",
    "heading",
    "missing_line",
    "number",
    "percent",
    "place_of",
    "plain",
    "print_section",
    "problem_text",
    "say",
    "section",
    "table",
]


STYLES: Final = {
    "pass": "bold green",
    "review": "bold yellow",
    "fail": "bold red",
    "error": "red",
    "warning": "yellow",
    "advice": "cyan",
}

PLAIN_WIDTH: Final = 100
"""Width of a text that goes to a file or another program, whatever the terminal."""

_HEAD_WIDTH: Final = 12
"""Longer heads of a table go on the next line, where their cells are narrower."""

_LONGEST_NAME: Final = 40
"""Longer names in the first column of a table get a line of their own."""


class PlainConsole:
    """A console without colour, for files and pipes. It does without rich, which takes longer to load than a check."""

    def __init__(self, file: IO[str], width: int = PLAIN_WIDTH) -> None:
        self._file, self.width = file, width

    def write(self, line: str) -> None:
        """Write one line."""
        self._file.write(f"{line}\n")

    def print(self, text: str = "", **_: object) -> None:
        """Write a text as it is; how a terminal would show it makes no difference."""
        self.write(text.translate(_UNSEEN))


Console: TypeAlias = Union["Terminal", PlainConsole]
"""Where a text goes: a terminal, or plain lines."""

Pieces: TypeAlias = Sequence[str | tuple[str, str]]
"""A text in pieces; some have a style."""


class PlainText:
    """A console that keeps plain lines of a fixed width, whatever terminal the program runs in."""

    def __init__(self, width: int = PLAIN_WIDTH) -> None:
        self._lines = io.StringIO()
        self.console = PlainConsole(self._lines, width)

    def text(self) -> str:
        """Return what was printed."""
        return self._lines.getvalue()


def heading(text: str, console: Console) -> None:
    """Print a heading after an empty line."""
    say("", console)
    say(text, console, style="bold")


def section(title: str, lines: Sequence[str], console: Console) -> None:
    """Print a heading and lines, or nothing where there are no lines."""
    if lines:
        heading(title, console)
    for line in lines:
        say(line, console, 2)


def say(text: Text | str | Pieces, console: Console, indent: int = 0, style: str = "") -> None:
    """Print wrapped and indented, with nothing at the ends of the lines that a log would keep."""
    if isinstance(console, PlainConsole):
        if isinstance(text, list | tuple):
            text = "".join(piece if isinstance(piece, str) else piece[0] for piece in text)
        told = text if isinstance(text, str) else text.plain  # type: ignore[union-attr]
        for broken in _wrapped(told, console.width - indent):
            console.write(" " * indent + broken)
        return
    # Most output is no terminal's.
    from rich.text import Text

    if isinstance(text, str):
        text = Text(text, style)
    elif not isinstance(text, Text):
        text = Text.assemble(*text)
    for line in text.wrap(console, console.width - indent):
        line.rstrip()
        console.print(Text(" " * indent).append_text(line), soft_wrap=True)


_WORD: Final = re.compile(r"\s*\S+\s*")
_UNSEEN: Final = str.maketrans("", "", "\a\b\v\f\r")
"""Control characters that a terminal would act on; rich drops the same."""


def _wrapped(text: str, width: int) -> Iterator[str]:
    """Yield the lines of a text in a width of cells, as rich breaks them: at blanks, and within longer words."""
    if not text.isprintable():
        text = text.translate(_UNSEEN).expandtabs()
    for whole in text.split("\n"):
        single = _SINGLE(whole) is not None
        if single and len(whole) <= width:
            yield whole.rstrip()
            continue
        size = len if single else cell_len
        line, used = "", 0
        for word in _WORD.findall(whole):
            cells = size(word.rstrip())
            if cells <= width - used:
                line, used = line + word, used + size(word)
                continue
            if line:
                yield line.rstrip()
            # a word longer than a line is cut, and what is left of it begins the next
            *full, line = chop_cells(word, width) if cells > width else [word]
            yield from (one.rstrip() for one in full)
            used = size(line)
        yield line.rstrip()


_SINGLE: Final = re.compile("[ -~\xa0-\xac\xae-\u02ff\u0370-\u0482]*").fullmatch
"""Whether each character is one cell wide; the ranges are those of common western text."""


def cut(text: str, console: Console, most: int, indent: int = 0, style: str = "") -> None:
    """Print at most so many lines of a text, with an ellipsis where it goes on."""
    room = console.width - indent
    lines = list(_wrapped(text, room))
    if len(lines) > most:
        last = lines[most - 1]
        while cell_len(last) >= room:
            last = last[:-1]
        lines = [*lines[: most - 1], f"{last}…"]
    for line in lines:
        say(line, console, indent, style)


def print_section(one: Section, console: Console) -> None:
    """Print a section of the report; nothing where it says nothing."""
    if not one:
        return
    heading(one.title, console)
    for told in (
        one.gap,
        *map(missing_line, one.missing),
        *(f"{each.label}: {plain(each.value)}" for each in one.facts),
    ):
        if told:
            say(told, console, 2)
    for each in one.tables:
        say(each.caption, console, 2)
        table(each.heads, [[plain(cell) for cell in row.cells] for row in each.rows], console, each.words)
    for note in one.notes:
        say(note, console, 2)
    for part in one.parts:
        print_section(part, console)


def plain(cell: Cell) -> str:
    """Return words and figures as text."""
    return "".join(map(str, cell))


def table(head: Sequence[str], rows: Sequence[Sequence[str]], console: Console, words: int = 1) -> None:
    """Print ``words`` columns to the left, figures to the right, long heads in several lines; nothing without rows."""
    if not rows:
        return
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    heads = [
        wrap(one, max(1, width, min(len(one), _HEAD_WIDTH), *map(len, one.split())))
        for one, width in zip(head, widths, strict=True)
    ]
    widths = [max([width, *map(len, lines)]) for width, lines in zip(widths, heads, strict=True)]
    widths[0] = min(widths[0], _LONGEST_NAME)
    height = max(map(len, heads))
    stacked = zip(*([""] * (height - len(lines)) + lines for lines in heads), strict=True)
    for name, *others in (*stacked, *rows):
        if len(name) > widths[0]:
            say(name, console, 2)
            name = ""
        cells = [name.ljust(widths[0])]
        for place, (cell, width) in enumerate(zip(others, widths[1:], strict=True), 1):
            cells.append(cell.ljust(width) if place < words else cell.rjust(width))
        say("  ".join(cells), console, 2)


def missing_line(one: MissingQuantity) -> str:
    """Say what is missing and what would supply it."""
    fields = f"; supplied by {', '.join(one.at)}" if one.at else ""
    return f"Missing: {missing_words(one)}{fields}"


def count(many: int, what: str) -> str:
    """Count things, in the plural where there is not one."""
    return f"{many} {what}" if many == 1 else f"{many} {what}s"


def percent(share: float | None) -> float | None:
    """Return a share in percent."""
    return None if share is None else 100 * share


def number(value: float) -> str:
    """Write a number in full, without noise of its binary form."""
    return f"{value:.10g}"


def fixed(value: float | None, decimals: int, unit: str = "") -> str:
    """Write a number with fixed decimals, or that it is not known."""
    return "not known" if value is None else f"{value:.{decimals}f}{unit}"


def problem_text(problem: Problem, remedy: str) -> str:
    """Return the problem in lines."""
    out = PlainText()
    say(f"{problem.status}  {problem.title}", out.console)
    say(problem.detail, out.console)
    for part in problem.errors or ():
        where = place_of(part)
        say(f"{where}: {part.detail}" if where else part.detail, out.console, 2)
    say(remedy, out.console)
    return out.text()


def place_of(part: ProblemPart) -> str:
    """Say where in the body a part of a problem lies, as far as it is known.

    >>> from service.contract import ProblemPart
    >>> place_of(ProblemPart(code="syntax_error", detail="", at=[], line=3, column=12))
    'line 3, column 12'
    """
    at = ", ".join(pointer or "the whole body" for pointer in part.at) or None
    known = ((at, "{}"), (part.parameter, "parameter {}"), (part.line, "line {}"), (part.column, "column {}"))
    return ", ".join(words.format(value) for value, words in known if value is not None)
