"""``GET /``, ``/docs`` and ``/rules/try``: the web pages, their files and the examples of the start page."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Final

from fastapi import APIRouter, Request, Response
from pydantic_core import to_json

from rules.couplings.designation import usual
from rules.quantities.inch import inch_units
from rules.rulebook.loader import base_request
from service.examples import (
    BATCH_LINES,
    BUDGET_EXAMPLES,
    BUILD_EXAMPLES,
    CALIBRATION_EXAMPLES,
    COMPARISON_EXAMPLES,
    EXAMPLES,
    GATE_EXAMPLES,
    READING_EXAMPLES,
    SEARCH_EXAMPLES,
    RequestExample,
)
from service.http.answers import Document, document, publish, require_acceptable
from service.operations.problems import ProblemError
from service.sheets.page import STYLE_SOURCE

__all__ = ["PAGE_POLICY", "pages_router"]


_STACKS: Final[tuple[tuple[str, str, str, dict[str, float], dict[str, Any]], ...]] = (
    ("press_in", "KB-T-0042", "8 mm end mill on an extension, press-in collets", {}, {}),
    (
        "press_in",
        "KB-T-0043",
        "The same, with insufficient grip length and overspeed",
        {"tir_um": 12, "spindle_speed_rpm": 15500},
        {"grip_length_mm": 14},
    ),
    ("nut_collet", "KB-T-0044", "12 mm end mill in an 8° nut collet, limit 20 µm", {"tir_um": 20}, {}),
    ("shrink", "KB-T-0045", "12 mm end mill in a shrink-fit holder", {}, {}),
    ("side_lock", "KB-T-0046", "20 mm end mill with flat in a side-lock holder", {}, {}),
    ("shell_mill", "KB-T-0047", "Face mill on an arbor", {}, {}),
    ("long_reach", "KB-T-0048", "Long reach, limited by the holder's marked speed", {}, {}),
    ("declared", "KB-T-0049", "Screw-in head on a shop-defined interface", {}, {}),
)
"""Base request, stack name, summary, changes of the operation and its runout limit, changes of the last joint."""


def page_examples() -> bytes:
    """The examples as JSON: lists by view, each entry with name, summary and request."""
    return to_json(
        {
            "checks": [*_stacks(), *(_entry(name, EXAMPLES[name]) for name in ("catalogue-page", "patchy"))],
            "readings": _entries(READING_EXAMPLES.items()),
            "builds": _entries(BUILD_EXAMPLES.items()),
            "calibrations": _entries(CALIBRATION_EXAMPLES.items()),
            "comparisons": [_entry("deep-rib", _deep_rib()), *_entries(COMPARISON_EXAMPLES.items())],
            "searches": _entries(SEARCH_EXAMPLES.items()),
            "budgets": _entries(BUDGET_EXAMPLES.items()),
            "gates": _entries(GATE_EXAMPLES.items()),
            "audits": [{"name": "lines", "summary": "Two stacks and a line with a fault", "request": BATCH_LINES}],
        }
    )


def _deep_rib() -> RequestExample:
    """The comparison of the demo, which the view starts with."""
    request = json.loads(files("service.web").joinpath("comparison.json").read_bytes())
    return RequestExample("Extension, nut collets or a one-piece holder for a deep rib", request)


def page_choices() -> bytes:
    """What forms offer, as JSON: designations with the fields that they stand for, and inch units by metric sign."""
    return to_json(
        {
            "designations": [
                {
                    "text": one.designation,
                    "words": one.understood.words,
                    "ends": one.ends,
                    "fields": dict(one.understood.fields),
                }
                for one in usual()
            ],
            "inch": {
                sign: {"sign": one.sign, "factor": one.factor, "step": None if one.step is None else float(one.step)}
                for sign, one in inch_units().items()
            },
        }
    )


def _stacks() -> Iterator[dict[str, Any]]:
    for base, name, summary, asked, last_joint in _STACKS:
        request = base_request(base)
        request["stack"]["id"] = name
        operation = request["operations"][0]
        for field, value in asked.items():
            (operation["limits"]["runout"] if field == "tir_um" else operation)[field] = value
        if last_joint:
            request["stack"]["joints"][-1].update(last_joint)
        yield _entry(name, RequestExample(summary, request))


def _entries(examples: Iterable[tuple[str, RequestExample]]) -> list[dict[str, Any]]:
    return [_entry(name, example) for name, example in examples]


def _entry(name: str, example: RequestExample) -> dict[str, Any]:
    request: Mapping[str, Any] = example.request
    return {"name": name, "summary": example.summary, "request": request}


PAGE_POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        f"style-src 'self' {STYLE_SOURCE}",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)
"""Content Security Policy of the pages: no external resources, no inline code, no evaluation.

The style allowed by digest is that of the report, which inherits this policy when the start page opens it (CSP
Level 3, section 7.8).
"""

_HEADERS: Final = {
    "Content-Security-Policy": PAGE_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
}

_MEDIA_TYPES: Final[Mapping[str, str]] = MappingProxyType(
    {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
)
"""Media types by file extension; other files are not served."""


def pages_router() -> APIRouter:
    """The router of the pages; files are read once, here."""
    router = APIRouter(include_in_schema=False)
    served = _files()

    def show(found: Document, request: Request) -> Response:
        require_acceptable(request, (found.media_type,))
        return publish(found, request)

    @router.get("/")
    async def show_start(request: Request) -> Response:
        return show(served["index.html"], request)

    @router.get("/docs")
    async def show_docs(request: Request) -> Response:
        return show(served["docs.html"], request)

    @router.get("/rules/try")
    async def show_rules_try(request: Request) -> Response:
        return show(served["rules_try.html"], request)

    @router.get("/static/{name}")
    async def show_file(name: str, request: Request) -> Response:
        if name not in served or name.endswith(".html"):
            raise ProblemError("not-found", "No such path.")
        return show(served[name], request)

    return router


def _files() -> Mapping[str, Document]:
    found = {
        "examples.json": document(page_examples(), headers=_HEADERS),
        "choices.json": document(page_choices(), headers=_HEADERS),
    }
    for file in files("service.web").iterdir():
        media_type = _MEDIA_TYPES.get(file.name[file.name.rfind(".") :])
        if media_type is not None:
            found[file.name] = document(file.read_bytes(), media_type, _HEADERS)
    return found
