"""The command line: ``python -m service`` or ``stackgauge``."""

from __future__ import annotations

import argparse
import os
import sys
import traceback
from collections.abc import Sequence
from typing import NoReturn

from pydantic import ValidationError
from pydantic_settings import SettingsError

from rules.exchange.documents import CatalogueError
from rules.rulebook.source import RulebookError
from rules.version import VERSION
from service.cli import audit, exchange, questions, rules, serve
from service.cli.files import BAD_INPUT, FAULT, PIPE_CLOSED
from service.operations.process import UnexpectedJudgementError
from service.operations.settings import PREFIX, SettingsFileError, is_in_environment, place_of

__all__ = ["main"]


class _Parser(argparse.ArgumentParser):
    """A parser that exits with 3 for invalid arguments; argparse's 2 means a failed stack here."""

    def error(self, message: str) -> NoReturn:
        self.print_usage(sys.stderr)
        self.exit(BAD_INPUT, f"{self.prog}: {message}\n")


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code."""
    arguments = _parser().parse_args(argv)
    try:
        code: int = arguments.run(arguments)
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader closed the pipe, like `head`. Python would write to it once more at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return PIPE_CLOSED
    except (RulebookError, CatalogueError, UnexpectedJudgementError, SettingsFileError) as error:
        print(error, file=sys.stderr)
        return BAD_INPUT
    except ValidationError as error:
        # Only settings are validated here; other input has its own messages.
        for one in error.errors(include_input=False, include_url=False):
            print(f"{_place(arguments, one['loc'])}: {one['msg']}", file=sys.stderr)
        return BAD_INPUT
    except SettingsError as error:
        # A list that is not JSON; the error names the setting only.
        name = str(error).split('"')[1].upper()
        print(f"STACKGAUGE_{name}: must be JSON", file=sys.stderr)
        return BAD_INPUT
    except Exception:
        # Python exits with 1 after a traceback, which means review here.
        traceback.print_exc()
        return FAULT
    return code


def _place(arguments: argparse.Namespace, steps: tuple[int | str, ...]) -> str:
    """The variable of a setting, or its line if the settings file sets it."""
    name, file = str(steps[0]), os.environ.get(f"{PREFIX}SETTINGS_FILE")
    if file and not is_in_environment(name) and getattr(arguments, name, None) is None:
        return f"{place_of(name, file)}: {name}"
    return PREFIX + "_".join(map(str, steps)).upper()


def _parser() -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = _Parser(
        prog="stackgauge",
        description="Checks cutting-tool stacks: fit, runout, permissible speed and assembly.",
        epilog="example: stackgauge check stack.json",
    )
    parser.add_argument("--version", action="version", version=f"stackgauge {VERSION}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    serve.add_serve_parser(commands)
    serve.add_settings_parser(commands)
    questions.add_check_parser(commands)
    audit.add_parser(commands)
    questions.add_compare_parser(commands)
    questions.add_gate_parser(commands)
    questions.add_search_parser(commands)
    questions.add_budget_parser(commands)
    questions.add_read_parser(commands)
    exchange.add_import_parser(commands)
    exchange.add_export_parser(commands)
    serve.add_token_parser(commands)
    questions.add_draw_parser(commands)
    rules.add_parser(commands)
    return parser
