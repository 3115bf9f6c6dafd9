"""Request files for the commands: reading, faults by file, line and column, and exit codes; the highest code wins."""

from __future__ import annotations

import argparse
import json
import os
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, NamedTuple, TypeVar, get_args

from rules.quantities.inch import UnitSystem, shown_in
from rules.schema.parsing import BadRequestError
from rules.schema.report import Verdict
from rules.schema.short_form import NotYAMLError, full_form, placed, read_yaml
from rules.schema.strict_json import NotJSONError, parse_json
from service.cli import BAD_INPUT, FAULT, PIPE_CLOSED
from service.operations.assessors import load_assessor
from service.sheets.text import PLAIN_WIDTH, Console, PlainConsole

if TYPE_CHECKING:
    from rules.assessor import Assessor
    from service.operations.settings import Settings

__all__ = [
    "BAD_INPUT",
    "FAULT",
    "PIPE_CLOSED",
    "READING_ACCEPTED",
    "READING_OPEN",
    "READING_REFUSED",
    "VERDICT_CODES",
    "add_rulebooks",
    "add_unit",
    "add_width",
    "assessor_of",
    "judged",
    "position_of",
    "print_name",
    "printable",
    "report_console",
    "settings_of",
    "with_rulebooks",
]


def printable(text: str) -> str:
    """The text on one line, with a dot for each control or bidirectional character.

    >>> printable("a\\x1b[2J\\u202eb")
    'a·[2J·b'
    """
    return "".join(one if one.isprintable() else "·" for one in text)


_SPACE: Final = re.compile(r"[ \t\n\r]*")
_DECODER: Final = json.JSONDecoder(parse_int=float)


class Position(NamedTuple):
    """Line and column, both from 1, the column in characters."""

    line: int
    column: int


def position_of(text: str, pointer: str) -> Position:
    """The position of a pointer's value, or of its key for a member of an object.

    ``text`` must be valid JSON. A pointer to nothing gives the position of its nearest parent.

    >>> position_of('{"a": [1,\\n {"b": 2}]}', "/a/1/b")
    Position(line=2, column=3)
    """
    place = start = _skip(text, 0)
    for step in pointer.split("/")[1:]:
        found = _member(text, start, step.replace("~1", "/").replace("~0", "~"))
        if found is None:
            break
        place, start = found
    return Position(text.count("\n", 0, place) + 1, place - text.rfind("\n", 0, place))


def _skip(text: str, index: int) -> int:
    match = _SPACE.match(text, index)
    return match.end() if match else index


def _member(text: str, index: int, step: str) -> tuple[int, int] | None:
    """Offsets of a member and of its value in the container at ``index``."""
    if text[index] not in "[{":
        return None
    is_object, number = text[index] == "{", 0
    index = _skip(text, index + 1)
    while text[index] not in "]}":
        shown, name = index, str(number)
        if is_object:
            name, index = _DECODER.raw_decode(text, index)
            index = _skip(text, _skip(text, index) + 1)
        if name == step:
            return shown, index
        _, index = _DECODER.raw_decode(text, index)
        index = _skip(text, index)
        if text[index] == ",":
            index = _skip(text, index + 1)
        number += 1
    return None


ReportT = TypeVar("ReportT")


def judged(
    name: str, judge: Callable[[object], ReportT], full: Callable[[object], object] = full_form
) -> ReportT | None:
    """Return the report of ``judge`` on a file's JSON or YAML; None after printing the fault to standard error.

    YAML may use the short form, which ``full`` completes. It is known by the file's name, on standard input by not
    starting with a brace. A ``$schema`` at the top, for editors, is ignored in either.
    """
    shown = "standard input" if name == "-" else name
    try:
        data = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
    except OSError as error:
        print(f"{shown}: {error.strerror}", file=sys.stderr)
        return None
    is_yaml = name.endswith((".yaml", ".yml")) or (
        name == "-" and not data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{")
    )
    try:
        return judge(full(read_yaml(data)) if is_yaml else _without_schema(parse_json(data)))
    except NotYAMLError as error:
        _print_fault(shown, error.line, error.column or 1, None, error.detail)
    except NotJSONError as error:
        # A fault with a pointer means that the text is valid JSON.
        line, column = (error.line, error.column) if error.pointer is None else _place(data, error.pointer)
        _print_fault(shown, line, column, error.pointer, error.detail)
    except BadRequestError as error:
        for fault in (placed(error, data) if is_yaml else error).faults:
            line, column = (fault.line, fault.column or 1) if is_yaml else _place(data, fault.pointer)
            _print_fault(shown, line, column, fault.pointer or None, fault.detail)
    return None


def _without_schema(value: object) -> object:
    if isinstance(value, dict) and isinstance(value.get("$schema"), str):
        return {name: one for name, one in value.items() if name != "$schema"}
    return value


def _place(data: bytes, pointer: str) -> tuple[int, int]:
    return position_of(data.decode("utf-8-sig"), pointer)


def _print_fault(name: str, line: int | None, column: int | None, pointer: str | None, detail: str) -> None:
    where = name if line is None else f"{name}:{line}:{column}"
    print(printable(f"{where}: {pointer + ': ' if pointer else ''}{detail}"), file=sys.stderr)


def add_unit(parser: argparse.ArgumentParser, run: Callable[[argparse.Namespace], int]) -> None:
    """Add the option that names the units of what people read, and let the command run in them."""
    parser.add_argument(
        "--unit",
        choices=get_args(UnitSystem),
        default="mm",
        help="units of text, page and drawing (default: mm); JSON is always metric",
    )

    def run_in_unit(arguments: argparse.Namespace) -> int:
        with shown_in(arguments.unit):
            return run(arguments)

    parser.set_defaults(run=run_in_unit)


def add_width(parser: argparse.ArgumentParser) -> None:
    """Add the option that sets the width of the text."""
    parser.add_argument(
        "--width",
        type=_width,
        metavar="COLUMNS",
        help="width of the text, 40 to 400, or `terminal` (default: that of the terminal, 100 to a file or a pipe)",
    )


def _width(text: str) -> int:
    if text == "terminal":
        for stream in (sys.__stdout__, sys.__stderr__, sys.__stdin__):
            if stream is not None and stream.isatty():
                return max(_NARROWEST, os.get_terminal_size(stream.fileno()).columns)
        raise argparse.ArgumentTypeError("no terminal to take the width from; state a number of columns")
    if not text.isascii() or not text.isdigit() or not _NARROWEST <= int(text) <= _WIDEST:
        raise argparse.ArgumentTypeError(f"a whole number from {_NARROWEST} to {_WIDEST}, or terminal, is expected")
    return int(text)


_NARROWEST: Final = 40
_WIDEST: Final = 400


def report_console(width: int | None = None, *, stderr: bool = False) -> Console:
    """The console for reports: a terminal, or plain lines of fixed width."""
    stream = sys.stderr if stderr else sys.stdout
    if not stream.isatty():
        return PlainConsole(stream, width or PLAIN_WIDTH)
    # Most output is no terminal's.
    from rich import console

    class Terminal(console.Console):
        def on_broken_pipe(self) -> None:
            """Raise ``BrokenPipeError``; the console itself would exit with 1, the code of a review."""
            raise BrokenPipeError

    return Terminal(width=width, highlight=False, stderr=stderr)


def print_name(name: str, console: Console, *, first: bool) -> None:
    """Print the name of a file before what is said of it."""
    if not first:
        console.print()
    console.print(name, style="dim", markup=False, emoji=False, soft_wrap=True)


def add_rulebooks(parser: argparse.ArgumentParser) -> None:
    """Add the options that name folders of rulebooks, the catalogue and the alias file."""
    parser.add_argument(
        "--catalogue",
        type=Path,
        metavar="DIR",
        help="folder of your own parts, or one file of them, in place of that of STACKGAUGE_CATALOGUE",
    )
    parser.add_argument(
        "--aliases",
        type=Path,
        metavar="FILE",
        help="YAML file with the shop's own names, in place of that of STACKGAUGE_ALIASES",
    )
    parser.add_argument(
        "--rulebooks",
        action="append",
        default=[],
        type=Path,
        metavar="DIR",
        help="folder of your own rulebooks, read after those of STACKGAUGE_EXTRA_RULEBOOKS; repeatable",
    )


def assessor_of(arguments: argparse.Namespace) -> Assessor:
    """Return the assessor of the settings and of what the command names; errors as `load_assessor`."""
    named = any(getattr(arguments, name, None) for name in ("aliases", "catalogue", "rulebooks"))
    return load_assessor(settings_of(arguments) if named else None)


def settings_of(arguments: argparse.Namespace) -> Settings:
    """Return the settings, with the rulebooks, the catalogue and the alias file that the command names."""
    # A check without any does not load them.
    from service.operations.settings import Settings

    named = {name: value for name in ("aliases", "catalogue") if (value := getattr(arguments, name, None)) is not None}
    settings = Settings()
    return with_rulebooks(settings.model_copy(update=named) if named else settings, arguments.rulebooks)


def with_rulebooks(settings: Settings, folders: Sequence[Path]) -> Settings:
    """Return the settings with these folders of rulebooks added."""
    if not folders:
        return settings
    return settings.model_copy(update={"extra_rulebooks": (*settings.extra_rulebooks, *folders)})


VERDICT_CODES: Final[Mapping[Verdict, int]] = MappingProxyType({"pass": 0, "review": 1, "fail": 2})

READING_ACCEPTED: Final = 0
"""Within the limit; without a limit, within the prediction."""

READING_OPEN: Final = 1
"""Not proven, or another step is needed."""

READING_REFUSED: Final = 2
"""Beyond the limit or outside the prediction."""
