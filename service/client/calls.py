"""Each call as a value: what is sent where, and how its answer is read. Both clients send these."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Generic, Literal, TypeVar
from urllib.parse import quote

from pydantic import BaseModel

from rules.model.budget import BudgetReport, BudgetRequest
from rules.model.comparison import ComparisonReport, ComparisonRequest
from rules.model.gate import GateReport, GateRequest
from rules.model.gate_verification import GateVerification, GateVerificationReport
from rules.model.imports import ComponentKind, ImportReport
from rules.model.reading import ReadingReport, ReadingRequest
from rules.model.report import Report
from rules.model.request import CheckRequest
from rules.model.search import SearchRequest
from rules.model.search_report import SearchReport
from service.client.bodies import Given, json_bytes
from service.client.received import JSON, Received, as_bytes, as_model
from service.contract.batches import BatchReport, BatchRequest, Include
from service.contract.couplings import CouplingAnswer, CouplingList
from service.contract.rules import RuleAnswer, RuleList
from service.contract.state import State, Version

__all__ = [
    "CSV",
    "XML",
    "Call",
    "budget",
    "check",
    "check_batch",
    "comparison",
    "coupling",
    "couplings",
    "drawing",
    "export_tool",
    "gate",
    "health",
    "import_components",
    "posted",
    "readiness",
    "reading",
    "rule",
    "rules",
    "search",
    "verify_gate",
    "version",
]

T = TypeVar("T")
ModelT = TypeVar("ModelT", bound=BaseModel)

XML: Final = "application/xml"
SVG: Final = "image/svg+xml"
CSV: Final = "text/csv"


@dataclass(frozen=True, slots=True)
class Call(Generic[T]):
    """One exchange with the service; its body lies ready, so that it can be sent again."""

    method: Literal["GET", "POST"]
    path: str
    read: Callable[[Received], T]
    params: Mapping[str, str] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes | None = None


def posted(path: str, body: bytes, read: Callable[[Received], T], accept: str = JSON, **params: str | None) -> Call[T]:
    """JSON sent to a path; parameters that are None are left out."""
    given = {name: value for name, value in params.items() if value is not None}
    return Call("POST", path, read, given, {"Content-Type": JSON, "Accept": accept}, body)


def check(request: Given[CheckRequest]) -> Call[Report]:
    return posted("/v1/checks", json_bytes(request), as_model(Report))


def budget(request: Given[BudgetRequest]) -> Call[BudgetReport]:
    return posted("/v1/budgets", json_bytes(request), as_model(BudgetReport))


def reading(request: Given[ReadingRequest]) -> Call[ReadingReport]:
    return posted("/v1/readings", json_bytes(request), as_model(ReadingReport))


def comparison(request: Given[ComparisonRequest]) -> Call[ComparisonReport]:
    return posted("/v1/comparisons", json_bytes(request), as_model(ComparisonReport))


def gate(request: Given[GateRequest]) -> Call[GateReport]:
    return posted("/v1/gates", json_bytes(request), as_model(GateReport))


def search(request: Given[SearchRequest]) -> Call[SearchReport]:
    return posted("/v1/searches", json_bytes(request), as_model(SearchReport))


def verify_gate(request: Given[GateVerification]) -> Call[GateVerificationReport]:
    return posted("/v1/gates/verify", json_bytes(request), as_model(GateVerificationReport))


def check_batch(request: Given[BatchRequest], include: Include | None) -> Call[BatchReport]:
    return posted("/v1/check-batches", json_bytes(request), as_model(BatchReport), include=include)


def export_tool(request: Given[CheckRequest], timestamp: str | None, standard: str | None) -> Call[bytes]:
    body = json_bytes(request)
    return posted("/v1/exports", body, as_bytes(XML), XML, timestamp=timestamp, standard=standard)


def drawing(request: Given[CheckRequest], picture: str | None, bent: bool) -> Call[bytes]:
    body = json_bytes(request)
    return posted("/v1/drawings", body, as_bytes(SVG), SVG, picture=picture, bent="true" if bent else "false")


def import_components(document: bytes | str, media_type: str, kind: ComponentKind | None) -> Call[ImportReport]:
    body = document.encode() if isinstance(document, str) else document
    params = {} if kind is None else {"kind": kind}
    headers = {"Content-Type": media_type, "Accept": JSON}
    return Call("POST", "/v1/imports", as_model(ImportReport), params, headers, body)


def rules() -> Call[RuleList]:
    return _got("/v1/rules", RuleList)


def rule(code: str) -> Call[RuleAnswer]:
    return _got("/v1/rules/" + quote(code, safe=""), RuleAnswer)


def couplings() -> Call[CouplingList]:
    return _got("/v1/couplings", CouplingList)


def coupling(name: str) -> Call[CouplingAnswer]:
    return _got("/v1/couplings/" + quote(name, safe=""), CouplingAnswer)


def health() -> Call[State]:
    return _got("/healthz", State)


def readiness() -> Call[State]:
    return _got("/readyz", State)


def version() -> Call[Version]:
    return _got("/version", Version)


def _got(path: str, model: type[ModelT]) -> Call[ModelT]:
    headers: dict[str, Any] = {"Accept": JSON}
    return Call("GET", path, as_model(model), headers=headers)
