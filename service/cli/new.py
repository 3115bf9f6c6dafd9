"""``new``: a commented YAML file to start a stack from."""

from __future__ import annotations

import argparse
import sys
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Final

from rules.schema.editor_schema import EDITOR_SCHEMA_PATH
from service.cli import BAD_INPUT

__all__ = ["kinds", "new_arguments", "starting_file"]

_SERVICE: Final = "http://localhost:8713"


def kinds() -> dict[str, Traversable]:
    """Return the starting files by kind, in the order of their names."""
    found = {one.name.removesuffix(".yaml"): one for one in files("service.cli").joinpath("starts").iterdir()}
    return dict(sorted(found.items()))


def starting_file(kind: str, service: str = _SERVICE) -> str:
    """Return the text of a starting file, with the address of the schema for editors at that service."""
    text = kinds()[kind].read_text(encoding="utf-8")
    return f"$schema: {service.rstrip('/')}{EDITOR_SCHEMA_PATH}\n{text}"


def new_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = "Write a commented YAML file to start a stack from; an existing file is never overwritten."
    parser.epilog = "example: stackgauge new shrink-fit my-stack.yaml"
    parser.add_argument("kind", nargs="?", choices=list(kinds()), metavar="KIND", help="kind of stack, see --list")
    parser.add_argument("file", nargs="?", metavar="FILE", help="file to write (default: KIND.yaml); - for output")
    parser.add_argument("--list", action="store_true", help="list the kinds")
    parser.add_argument(
        "--service",
        default=_SERVICE,
        metavar="URL",
        help=f"service whose schema the editor is to use (default: {_SERVICE}); the commands ignore it",
    )
    parser.set_defaults(run=_run_new, usage_error=parser.error)


def _run_new(arguments: argparse.Namespace) -> int:
    if arguments.list:
        width = max(map(len, kinds()))
        for kind, file in kinds().items():
            title = file.read_text(encoding="utf-8").partition("\n")[0].removeprefix("# ").removesuffix(".")
            print(f"{kind:{width}}  {title}")
        return 0
    if arguments.kind is None:
        arguments.usage_error("name a KIND, or --list")
    text = starting_file(arguments.kind, arguments.service)
    if arguments.file == "-":
        print(text, end="")
        return 0
    path = Path(arguments.file or f"{arguments.kind}.yaml")
    try:
        with path.open("x", encoding="utf-8", newline="\n") as out:
            out.write(text)
    except FileExistsError:
        print(f"{path}: exists already; name another file", file=sys.stderr)
        return BAD_INPUT
    except OSError as error:
        print(f"{path}: {error.strerror}", file=sys.stderr)
        return BAD_INPUT
    print(f"{path}: written; next: stackgauge check {path}")
    return 0
