"""Compatibility of the contract with the one released before it.

    python -m tests.support.compatibility             # what breaks the promise; exit code 1 if anything does
                                                      # (nothing can until a contract is released)
    python -m tests.support.compatibility --release   # renew openapi/released/v1.json, unless something breaks

The packages on PyPI that compare OpenAPI documents ignore bounds, patterns and alternatives of a schema.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from tests.support.compatibility_schemas import Comparison
from tests.support.contract import DOCUMENT, whole

__all__ = ["CURRENT", "RELEASED", "breaks", "main"]

CURRENT: Final = DOCUMENT
RELEASED: Final = DOCUMENT.parent / "released/v1.json"

Document = Mapping[str, Any]


def breaks(released: Document, current: Document) -> list[str]:
    """Every way in which a client of the released contract may fail with the current one; empty if there is none."""
    return list(_Documents(whole(released), whole(current)).breaks())


def main(argv: list[str] | None = None) -> int:
    """Compare the files; with ``--release``, update the released one."""
    parser = argparse.ArgumentParser(description="Hold the contract against the one released last.")
    parser.add_argument("--release", action="store_true", help="make the current document the released one")
    arguments = parser.parse_args(argv)
    found = breaks(_read(RELEASED), _read(CURRENT)) if RELEASED.is_file() else []
    for one in found:
        print(one)
    if arguments.release and not found:
        RELEASED.parent.mkdir(exist_ok=True)
        RELEASED.write_bytes(CURRENT.read_bytes())
        print(f"{CURRENT.name} is released")
    return 1 if found else 0


class _Documents:
    def __init__(self, old: Document, new: Document) -> None:
        self._old = old
        self._new = new
        self._requests = Comparison(old, new, answers=False)
        self._answers = Comparison(new, old, answers=True)

    def breaks(self) -> Iterator[str]:
        for path, methods in self._old["paths"].items():
            for method, operation in methods.items():
                name = f"{method.upper()} {path}"
                other = self._new["paths"].get(path, {}).get(method)
                if other is None:
                    yield f"{name}: is gone"
                else:
                    yield from self._operation(operation, other, name)

    def _operation(self, old: Document, new: Document, name: str) -> Iterator[str]:
        if old["operationId"] != new.get("operationId"):
            yield f"{name}: another operationId, which names it in generated clients"
        if _anonymous(old, self._old) and not _anonymous(new, self._new):
            yield f"{name}: needs credentials"
        yield from self._parameters(old, new, name)
        yield from self._body(old.get("requestBody"), new.get("requestBody"), name)
        yield from self._responses(old["responses"], new["responses"], name)

    def _parameters(self, old: Document, new: Document, name: str) -> Iterator[str]:
        before, after = _parameters(old), _parameters(new)
        for key, one in after.items():
            if one.get("required", False) and not before.get(key, {}).get("required", False):
                yield f"{name} ?{key[0]}: is required"
        for key, one in before.items():
            if key not in after:
                yield f"{name} ?{key[0]}: is gone"
            else:
                yield from self._requests.breaks(one["schema"], after[key]["schema"], f"{name} ?{key[0]}")

    def _body(self, old: Document | None, new: Document | None, name: str) -> Iterator[str]:
        if new is None:
            if old is not None:
                yield f"{name} body: is gone"
            return
        if new.get("required", False) and not (old or {}).get("required", False):
            yield f"{name} body: is required"
        for media_type, content in (old or {"content": {}})["content"].items():
            at = f"{name} {media_type} "
            if media_type not in new["content"]:
                yield f"{at}is gone"
            else:
                other = new["content"][media_type]
                yield from self._requests.breaks(content.get("schema", {}), other.get("schema", {}), at)

    def _responses(self, old: Document, new: Document, name: str) -> Iterator[str]:
        # Problems of all statuses have the same model; each success has its own.
        yield from (f"{name} {status}: is new" for status in new if status not in old and status[0] in "123")
        for status, response in old.items():
            if status not in new:
                yield f"{name} {status}: is gone"
            else:
                yield from self._response(response, new[status], f"{name} {status}")

    def _response(self, old: Document, new: Document, name: str) -> Iterator[str]:
        for header, one in old.get("headers", {}).items():
            other = new.get("headers", {}).get(header)
            if other is None or (one.get("required", False) and not other.get("required", False)):
                yield f"{name} {header}: {'is gone' if other is None else 'may be missing'}"
            else:
                yield from self._answers.breaks(other.get("schema", {}), one.get("schema", {}), f"{name} {header}")
        for media_type, content in old.get("content", {}).items():
            other = new.get("content", {}).get(media_type)
            if other is None:
                yield f"{name} {media_type}: is gone"
            else:
                at = f"{name} {media_type} "
                yield from self._answers.breaks(other.get("schema", {}), content.get("schema", {}), at)


def _parameters(operation: Document) -> dict[tuple[str, str], Document]:
    return {(one["name"], one["in"]): one for one in operation.get("parameters", [])}


def _anonymous(operation: Document, document: Document) -> bool:
    """Return whether calls need no credentials."""
    wanted = operation.get("security", document.get("security", []))
    return not wanted or {} in wanted


def _read(path: Path) -> Document:
    document: Document = json.loads(path.read_text(encoding="utf-8"))
    return document


if __name__ == "__main__":
    sys.exit(main())
