"""Write or check the generated files: the contract with its example requests, and the rule catalogue.

Run: python -m tests.support.generated [--check]
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

from rules.assessor import Assessor
from rules.rulebook.book import Example, Rule, Rulebook
from service.examples import (
    BUDGET_EXAMPLES,
    COMPARISON_EXAMPLES,
    EXAMPLES,
    GATE_EXAMPLES,
    READING_EXAMPLES,
    SEARCH_EXAMPLES,
    verification_examples,
)
from service.http.app import create_app
from service.http.openapi import as_text, describe
from service.operations.settings import Settings

__all__ = ["catalogue", "catalogue_files", "main", "openapi_files"]

_HEAD = """\
# Rule catalogue

Generated from the rulebooks beside this file by `python -m tests.support.generated`; do not edit.

What stands in braces is filled in when a rule fires.
A rule that lacks one of its needs is reported as undecided.
A threshold may be moved between its bounds by `policy.thresholds` of a request.
"""


def catalogue(book: Rulebook) -> str:
    """Return the catalogue of these rules."""
    lines = [_HEAD]
    for rule in book.rules:
        lines += _rule(rule, book)
    return "\n".join(lines)


def _rule(rule: Rule, book: Rulebook) -> Iterator[str]:
    safety = ", a safety rule" if rule.safety else ""
    subject = f"{'an' if rule.applies_to[0] in 'aeiou' else 'a'} {rule.applies_to}"
    yield f"## {rule.code}: {rule.title}\n"
    yield f"{rule.severity.capitalize()} on {subject}{safety}; rulebook `{rule.book}`.\n"
    yield f"### What it checks\n\n{rule.message}\n"
    yield f"### Why\n\n{rule.why}\n"
    yield "### Needs\n"
    meanings = book.vocabulary.of(rule.applies_to)
    yield from _items(f"`{name}`{_unit(meanings[name].unit)}: {meanings[name].meaning}" for name in rule.needs)
    yield "### Thresholds\n"
    yield from _items(
        f"`{name}` = {one.value:g}{_unit(one.unit)}, {one.minimum:g} to {one.maximum:g}: {one.meaning}"
        for name, one in rule.thresholds.items()
    )
    yield f"### Known limits\n\n{rule.known_limits}\n"
    yield "### Example that fires\n"
    yield from _items(_changes(rule.examples.fires[0]))
    yield f"### Remedy\n\n{rule.remedy}\n"
    yield f"### Source\n\n{rule.source}\n"


def _items(items: Iterator[str]) -> Iterator[str]:
    listed = [f"- {item}" for item in items]
    yield "\n".join(listed) + "\n" if listed else "None.\n"


def _changes(example: Example) -> Iterator[str]:
    yield f"{example.name}; base request `{example.base}`"
    for pointer, value in example.set.items():
        yield f"`{pointer}` set to `{json.dumps(value, ensure_ascii=False)}`"
    for pointer in example.remove:
        yield f"`{pointer}` removed"


def _unit(unit: str) -> str:
    return "" if unit == "none" else f" [{unit}]"


_PROJECT: Final = Path(__file__).resolve().parents[2]
_EXAMPLES: Final = {
    "check": EXAMPLES,
    "budget": BUDGET_EXAMPLES,
    "reading": READING_EXAMPLES,
    "comparison": COMPARISON_EXAMPLES,
    "gate": GATE_EXAMPLES,
    "search": SEARCH_EXAMPLES,
}


def openapi_files() -> Mapping[str, str]:
    """Return the OpenAPI document and the example requests, by path in the project."""
    assessor = Assessor.load()
    app = create_app(Settings(extra_rulebooks=()), assessor)
    files = {"openapi/openapi.json": as_text(describe(app, assessor.book))}
    for route, examples in {**_EXAMPLES, "gate-verify": verification_examples(assessor)}.items():
        for name, example in examples.items():
            text = json.dumps(example.request, indent=2, ensure_ascii=False) + "\n"
            files[f"openapi/examples/{route}-{name}.json"] = text
    return files


def catalogue_files() -> Mapping[str, str]:
    """Return the rule catalogue, by path in the project."""
    return {"rules/books/CATALOGUE.md": catalogue(Assessor.load().book)}


def main(argv: Sequence[str] | None = None) -> int:
    """Write every outdated generated file, or list them with --check; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.support.generated", description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing; exit with 1 when a file is stale")
    parser.add_argument("--root", type=Path, default=_PROJECT, help="folder to write to (this project)")
    arguments = parser.parse_args(argv)
    files = {arguments.root / path: text for path, text in {**openapi_files(), **catalogue_files()}.items()}
    stale = {path: text for path, text in files.items() if not path.is_file() or path.read_text("utf-8") != text}
    for path, text in stale.items():
        if arguments.check:
            print(f"{path} is stale", file=sys.stderr)
            continue
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        print(f"wrote {path}")
    return 1 if stale and arguments.check else 0


if __name__ == "__main__":
    sys.exit(main())
