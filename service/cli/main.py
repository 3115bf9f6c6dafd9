"""The command line: ``python -m service`` or ``stackgauge``."""

from __future__ import annotations

import argparse
import os
import sys
import traceback
from collections.abc import Mapping, Sequence
from importlib import import_module
from importlib.util import find_spec
from types import MappingProxyType
from typing import Any, Final, NoReturn

from rules import MissingExtraError, missing_extra
from rules.version import VERSION
from service.cli import BAD_INPUT, FAULT, PIPE_CLOSED, examples

__all__ = ["main"]

_COMMANDS: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        "serve": ("serve", "start the HTTP service"),
        "settings": ("serve", "show the settings in force"),
        "new": ("new", "write a file to start a stack from"),
        "check": ("check", "check stacks: fit, runout, speed, grip, balance"),
        "audit": ("audit", "check whole tool libraries"),
        "compare": ("questions", "compare alternative stacks"),
        "gate": ("questions", "release, hold or stop a work order"),
        "search": ("questions", "search an inventory for stacks"),
        "budget": ("questions", "full runout budget of a stack"),
        "read": ("questions", "judge runout readings"),
        "build": ("questions", "follow a stack read stage by stage while it is built"),
        "calibrate": ("questions", "turn a shop's readings into its own assumed values"),
        "import": ("exchange", "read components from MTConnect assets or CSV"),
        "export": ("exchange", "write a checked stack as an MTConnect CuttingTool"),
        "token": ("serve", "create a bearer token"),
        "draw": ("questions", "draw a stack to scale, or plot its figures"),
        "rules": ("rules", "lint, test, explain, compare and list rulebooks"),
    }
)
"""Module and purpose by command. The module is imported when its command is called, since all of them together take
ten times as long as a check; its function ``NAME_arguments`` adds what the command takes."""


class _Formatter(argparse.HelpFormatter):
    """Keeps the lines of examples."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return text if text.startswith("examples:") else super()._fill_text(text, width, indent)


class _Parser(argparse.ArgumentParser):
    """A parser that exits with 3 for invalid arguments; argparse's 2 means a failed stack here."""

    def __init__(self, **words: Any) -> None:
        super().__init__(**{"formatter_class": _Formatter, **words})

    def error(self, message: str) -> NoReturn:
        self.print_usage(sys.stderr)
        self.exit(BAD_INPUT, f"{self.prog}: {message}\n")


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code."""
    # Every command needs the server extra, so without it the help would promise too much.
    if find_spec("numpy") is None:
        return _fault(ModuleNotFoundError(name="numpy"))
    words = sys.argv[1:] if argv is None else argv
    # No option before the command takes a value, so the first other word is the command.
    command = next((word for word in words if not word.startswith("-")), None)
    try:
        arguments = _parser(command).parse_args(words)
    except (ModuleNotFoundError, MissingExtraError) as error:
        return _fault(error)
    try:
        code: int = arguments.run(arguments)
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader closed the pipe, like `head`. Python would write to it once more at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return PIPE_CLOSED
    except Exception as error:
        return _refused(error, arguments)
    return code


def _refused(error: Exception, arguments: argparse.Namespace) -> int:
    """Tell the exception that ended a command; return the exit code."""
    from pydantic import ValidationError
    from pydantic_settings import SettingsError

    from rules.answer.provenance import UnknownJudgementError
    from rules.exchange.documents import CatalogueError
    from rules.rulebook.source import RulebookError
    from service.operations.assessors import UnexpectedJudgementError
    from service.operations.settings import SettingsFileError
    from service.operations.signing import KeyFileError

    if isinstance(error, RulebookError | CatalogueError | UnexpectedJudgementError | SettingsFileError | KeyFileError):
        print(error, file=sys.stderr)
        return BAD_INPUT
    if isinstance(error, ValidationError):
        # Only settings are validated here; other input has its own messages.
        for one in error.errors(include_input=False, include_url=False):
            print(f"{_place(arguments, one['loc'])}: {one['msg']}", file=sys.stderr)
        return BAD_INPUT
    if isinstance(error, SettingsError):
        # A list that is not JSON; the error names the setting only.
        name = str(error).split('"')[1].upper()
        print(f"STACKGAUGE_{name}: must be JSON", file=sys.stderr)
        return BAD_INPUT
    if isinstance(error, UnknownJudgementError):
        print(error, file=sys.stderr)
        return FAULT
    return _fault(error)


def _fault(error: Exception) -> int:
    missing: Exception | None = error if isinstance(error, MissingExtraError) else None
    if isinstance(error, ModuleNotFoundError):
        missing = missing_extra("The command line", error)
    if missing is not None:
        print(missing, file=sys.stderr)
    else:
        # Python exits with 1 after a traceback, which means review here.
        traceback.print_exception(error)
    return FAULT


def _place(arguments: argparse.Namespace, steps: tuple[int | str, ...]) -> str:
    """The variable of a setting, or its line if the settings file sets it."""
    from service.operations.settings import PREFIX, is_in_environment, place_of

    name, file = str(steps[0]), os.environ.get(f"{PREFIX}SETTINGS_FILE")
    if file and not is_in_environment(name) and getattr(arguments, name, None) is None:
        return f"{place_of(name, file)}: {name}"
    return PREFIX + "_".join(map(str, steps)).upper()


def _parser(command: str | None) -> argparse.ArgumentParser:
    """Return the parser of the command line, which knows the arguments of this command alone."""
    parser: argparse.ArgumentParser = _Parser(
        prog="stackgauge",
        description="Checks cutting-tool stacks: fit, runout, permissible speed and assembly.",
        epilog=examples(
            ("stackgauge new shrink-fit stack.yaml", "a file to start from"),
            ("stackgauge check stack.yaml --brief", "verdict, reason and main figures"),
            ("stackgauge draw stack.yaml --out stack.svg", "side view to scale"),
            ("stackgauge COMMAND --help", "arguments and examples of a command"),
        ),
    )
    parser.add_argument("--version", action="version", version=f"stackgauge {VERSION}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for name, (module, purpose) in _COMMANDS.items():
        one = commands.add_parser(name, help=purpose)
        if name == command:
            getattr(import_module(f"service.cli.{module}"), f"{name}_arguments")(one)
    return parser
