"""Release of a work order: only on a complete, verified response to this order."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass

from rules.gate.digest import context_sha256, decision_sha256, input_sha256
from rules.schema.gate import EVALUATIONS, REQUIREMENTS, GateReport, GateRequest
from rules.schema.parsing import BadRequestError, parse
from rules.version import NAME, VERSION
from service.client.calls import Call, Given, posted
from service.client.sending import UnsendableError

__all__ = ["Release", "gate_call", "judged", "not_released", "understood"]


@dataclass(frozen=True, slots=True)
class Release:
    """Decision whether an order may start; true only if released."""

    released: bool
    why: tuple[str, ...]
    """Reasons against a release; empty if released."""
    report: GateReport | None
    """Gate report, if valid. Store it: its digest verifies the decision."""

    def __bool__(self) -> bool:
        return self.released


def gate_call(order: Given[GateRequest]) -> Call[GateReport]:
    """The gate call for an order."""
    return posted("/v1/gates", order, GateReport)


def not_released(error: Exception) -> Release:
    """No release because of an error."""
    return Release(False, (f"{type(error).__name__}: {error}",), None)


def understood(sent: bytes) -> GateRequest:
    """The order parsed from the bytes sent; raises :class:`UnsendableError` if invalid."""
    try:
        return parse(GateRequest, json.loads(sent))
    except BadRequestError as error:
        raise UnsendableError(f"The order is invalid: {error}.") from error


def judged(order: GateRequest, report: GateReport) -> Release:
    """The release decision from the order sent and the gate report."""
    why = tuple(_doubts(order, report))
    return Release(not why, why, report)


def _doubts(order: GateRequest, report: GateReport) -> Iterator[str]:
    provenance = report.provenance
    if (provenance.service, provenance.version) != (NAME, VERSION):
        decided_by = f"{provenance.service} {provenance.version}"
        yield f"The decision is from {decided_by}; this client verifies {NAME} {VERSION} only."
    if report.decision != "release":
        yield f"The decision is {report.decision}."
    if not report.may_start:
        yield "The order may not start."
    yield from (f"Expected {one.name} {one.expected}, found {one.found}." for one in report.unmet)
    yield from _held(report)
    if (report.evaluation, report.evaluation_name) != EVALUATIONS[report.decision]:
        yield "The evaluation contradicts the decision."
    required = [name for name in REQUIREMENTS if order.required is None or name in order.required]
    same_order = (
        (report.order, report.revision) == (order.order, order.revision)
        and [one.id for one in report.operations] == [one.id for one in order.operations]
        and report.required == required
        and report.input_sha256 == input_sha256(order)
    )
    if not same_order:
        yield "The report is not for this order as sent."
    if report.context != order.context or report.context_sha256 != context_sha256(order.context):
        yield "The report does not have the context that was sent."
    if report.digest != _digest(report):
        yield "The digest does not match the decision."


def _held(report: GateReport) -> Iterator[str]:
    for one in report.operations:
        if one.decision != "release" or one.verdict != "pass" or one.reasons or one.undecided:
            codes = [each.code for each in one.reasons] + [each.code for each in one.undecided]
            told = f" ({', '.join(dict.fromkeys(codes))})" if codes else ""
            yield f"Operation {one.id}: {one.decision}{told}."
    counts, total = report.counts, len(report.operations)
    if report.decision == "release" and (counts.operations, counts.release) != (total, total):
        yield "The counts contradict the decision."


def _digest(report: GateReport) -> str:
    return decision_sha256(
        input_digest=report.input_sha256,
        judgement_digest=report.provenance.judgement_sha256,
        catalogue_digest=report.provenance.catalogue_sha256,
        aliases_digest=report.provenance.aliases_sha256,
        profile_digest=report.profile.sha256,
        required=report.required,
        decision=report.decision,
        operations=report.operations,
    )
