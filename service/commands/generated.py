"""``openapi`` and ``catalogue``: the files of the project that are generated, written or checked."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

from rules.assessor import Assessor
from service.budget_examples import BUDGET_EXAMPLES
from service.catalogue import catalogue
from service.comparison_examples import COMPARISON_EXAMPLES
from service.examples import EXAMPLES
from service.gate_examples import GATE_EXAMPLES, verification_examples
from service.http.app import create_app
from service.http.openapi import as_text, describe
from service.operations.settings import Settings
from service.reading_examples import READING_EXAMPLES
from service.search_examples import SEARCH_EXAMPLES

__all__ = ["add_parsers", "catalogue_files", "openapi_files"]

_PROJECT: Final = Path(__file__).parents[2]
_STALE: Final = 1
_EXAMPLES: Final = {
    "check": EXAMPLES,
    "budget": BUDGET_EXAMPLES,
    "reading": READING_EXAMPLES,
    "comparison": COMPARISON_EXAMPLES,
    "gate": GATE_EXAMPLES,
    "search": SEARCH_EXAMPLES,
}


def add_parsers(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    for name, what, make in (
        ("openapi", "openapi/openapi.json and the example requests beside it", openapi_files),
        ("catalogue", "rules/books/CATALOGUE.md", catalogue_files),
    ):
        parser = commands.add_parser(
            name, help=f"write {what}", description=f"Write {what}, from the built-in rules alone."
        )
        parser.add_argument("--check", action="store_true", help="write nothing; exit with 1 when a file is stale")
        parser.add_argument(
            "--root", type=Path, default=_PROJECT, help="folder of the project (where this program lies)"
        )
        parser.set_defaults(run=_runner(make))


def openapi_files() -> Mapping[str, str]:
    """The OpenAPI document and the example requests, by path in the project."""
    assessor = Assessor.load()
    app = create_app(Settings(extra_rulebooks=()), assessor)
    files = {"openapi/openapi.json": as_text(describe(app, assessor.book))}
    for route, examples in {**_EXAMPLES, "gate-verify": verification_examples(assessor)}.items():
        for name, example in examples.items():
            text = json.dumps(example.request, indent=2, ensure_ascii=False) + "\n"
            files[f"openapi/examples/{route}-{name}.json"] = text
    return files


def catalogue_files() -> Mapping[str, str]:
    """The rule catalogue, by path in the project."""
    return {"rules/books/CATALOGUE.md": catalogue(Assessor.load().book)}


def _runner(make: Callable[[], Mapping[str, str]]) -> Callable[[argparse.Namespace], int]:
    def run(arguments: argparse.Namespace) -> int:
        stale = [(arguments.root / path, text) for path, text in make().items() if _read(arguments.root / path) != text]
        for path, text in stale:
            if arguments.check:
                print(f"{path} is stale", file=sys.stderr)
                continue
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
            print(f"wrote {path}")
        return _STALE if stale and arguments.check else 0

    return run


def _read(path: Path) -> str | None:
    return path.read_text(encoding="utf-8") if path.is_file() else None
