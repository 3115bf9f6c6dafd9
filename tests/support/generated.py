"""Write or check the generated files: the contract with its example requests, and the rule catalogue.

Run: python -m tests.support.generated [--check]
"""

from __future__ import annotations

import argparse
import asyncio
import copy
import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import httpx
from fastapi import FastAPI

from rules.assessor import Assessor
from rules.rulebook.catalogue import catalogue
from service.http.app import create_app
from service.http.components import route_name
from service.http.openapi import as_text, describe
from service.operations.settings import Settings
from tests.support.contract import whole

__all__ = ["Case", "answers", "cases", "catalogue_files", "main", "openapi_files"]

_PROJECT: Final = Path(__file__).resolve().parents[2]

_EXTENSIONS: Final = {
    "application/json": "json",
    "application/p21": "p21",
    "application/jwk-set+json": "json",
    "application/problem+json": "json",
    "application/x-ndjson": "ndjson",
    "application/xml": "xml",
    "image/svg+xml": "svg",
    "text/csv": "csv",
    "text/plain": "txt",
}
"""Ends of file names; media types that are not here, such as pages, have no files."""


@dataclass(frozen=True)
class Case:
    """An example request of a route, as it is sent."""

    route: str
    name: str
    method: str
    path: str
    """With its query."""
    media_type: str = ""
    body: str = ""
    accept: str = "application/json"

    @property
    def request(self) -> Path:
        """The file of the request, from the folder of the project."""
        return self._file("request", self.media_type or "http")

    @property
    def answer(self) -> Path:
        """The file of the answer, from the folder of the project."""
        return self._file("answer", self.accept)

    def _file(self, what: str, media_type: str) -> Path:
        end = _EXTENSIONS.get(media_type, media_type)
        return Path("openapi/examples", self.route, f"{self.name}.{what}.{end}")

    @property
    def text(self) -> str:
        """The request as its file has it: the body, or the line of a request without one."""
        return self.body or f"{self.method} {self.path}\n"


_QUERIES: Final = {
    ("drawings", "speed"): "?picture=speed",
}
"""Queries of cases, by route and name; the others have none."""


def cases(document: Mapping[str, Any]) -> Iterator[Case]:
    """Every example request of this document, whose shared parts are in place."""
    for path, item in document["paths"].items():
        for method, operation in item.items():
            yield from _cases_of(path, method, operation)


def _cases_of(path: str, method: str, operation: Mapping[str, Any]) -> Iterator[Case]:
    route = route_name(path)
    (answer, *others) = operation["responses"]["200"]["content"]
    if method == "get":
        steps = {
            one["name"]: one["schema"]["examples"][0] for one in operation.get("parameters", ()) if one["in"] == "path"
        }
        yield Case(
            route, "-".join(steps.values()).replace(":", "_") or "all", "GET", path.format(**steps), accept=answer
        )
        return
    for media_type, content in operation["requestBody"]["content"].items():
        if media_type not in _EXTENSIONS:
            continue
        accept = media_type if media_type in others else answer
        for name, example in content["examples"].items():
            value = example["value"]
            body = value if isinstance(value, str) else json.dumps(value, indent=2, ensure_ascii=False) + "\n"
            query = _QUERIES.get((route, name), "")
            yield Case(route, name, "POST", path + query, media_type, body, accept)
    for accept in others:
        if accept in _EXTENSIONS and "requestBody" in operation and accept not in operation["requestBody"]["content"]:
            yield replace(_first(path, method, operation), accept=accept)


def _first(path: str, method: str, operation: Mapping[str, Any]) -> Case:
    plain = copy.deepcopy(dict(operation))
    content = plain["responses"]["200"]["content"]
    plain["responses"]["200"]["content"] = dict([next(iter(content.items()))])
    return next(_cases_of(path, method, plain))


def answers(app: FastAPI, asked: Sequence[Case]) -> list[bytes]:
    """What the application answers; raises :class:`httpx.HTTPStatusError` if that is not a success."""

    async def main() -> list[bytes]:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://service") as client:
            found = []
            for case in asked:
                headers = {"Accept": case.accept, **({"Content-Type": case.media_type} if case.media_type else {})}
                response = await client.request(
                    case.method, case.path, content=case.body.encode() or None, headers=headers
                )
                found.append(response.raise_for_status().content)
            return found

    return asyncio.run(main())


@cache
def openapi_files() -> Mapping[str, str]:
    """The OpenAPI document and the examples in pairs of request and answer, by path in the project."""
    app = create_app(Settings(extra_rulebooks=()), Assessor.load().for_examples())
    document, _ = describe(app)
    files = {"openapi/v1.json": as_text(document)}
    asked = list(cases(whole(document)))
    for case, answer in zip(asked, answers(app, asked), strict=True):
        files[case.request.as_posix()] = case.text
        files[case.answer.as_posix()] = answer.decode()
    return MappingProxyType(files)


@cache
def catalogue_files() -> Mapping[str, str]:
    """Return the rule catalogue, by path in the project."""
    return {"rules/books/CATALOGUE.md": catalogue(Assessor.load().book, "python -m tests.support.generated")}


def main(argv: Sequence[str] | None = None) -> int:
    """Write every outdated generated file, or list them with --check; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.support.generated", description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing; exit with 1 when a file is stale")
    parser.add_argument("--root", type=Path, default=_PROJECT, help="folder to write to (this project)")
    arguments = parser.parse_args(argv)
    files = {arguments.root / path: text for path, text in {**openapi_files(), **catalogue_files()}.items()}
    stale = {path: text for path, text in files.items() if not path.is_file() or path.read_bytes() != text.encode()}
    for path, text in stale.items():
        if arguments.check:
            print(f"{path} is stale", file=sys.stderr)
            continue
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode())
        print(f"wrote {path}")
    left = [path for path in (arguments.root / "openapi/examples").rglob("*") if path.is_file() and path not in files]
    for path in left:
        if arguments.check:
            print(f"{path} is left behind", file=sys.stderr)
            continue
        path.unlink()
        print(f"removed {path}")
    return 1 if (stale or left) and arguments.check else 0


if __name__ == "__main__":
    sys.exit(main())
