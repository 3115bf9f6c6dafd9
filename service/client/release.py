"""Whether an order may start: yes only on an answer that is whole, of this very order, and carries its own proof."""

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
    """True where the order may start, and why not where it may not."""

    released: bool
    why: tuple[str, ...]
    """What speaks against it; empty when released."""
    report: GateReport | None
    """The answer of the gate, where there was one that can be read. Store it: its digest verifies the decision."""

    def __bool__(self) -> bool:
        return self.released


def gate_call(order: Given[GateRequest]) -> Call[GateReport]:
    """The call that has an order decided."""
    return posted("/v1/gates", order, GateReport)


def not_released(error: Exception) -> Release:
    """No release, for want of an answer."""
    return Release(False, (f"{type(error).__name__}: {error}",), None)


def understood(sent: bytes) -> GateRequest:
    """The order as the service understands these bytes; raises :class:`UnsendableError` for what is no order."""
    try:
        return parse(GateRequest, json.loads(sent))
    except BadRequestError as error:
        raise UnsendableError(f"The order breaks the contract: {error}.") from error


def judged(order: GateRequest, report: GateReport) -> Release:
    """Hold the answer against the order that was sent; released only if nothing at all speaks against it."""
    why = tuple(_doubts(order, report))
    return Release(not why, why, report)


def _doubts(order: GateRequest, report: GateReport) -> Iterator[str]:
    provenance = report.provenance
    if (provenance.service, provenance.version) != (NAME, VERSION):
        decided_by = f"{provenance.service} {provenance.version}"
        yield f"It was decided by {decided_by}; this client can verify {NAME} {VERSION} only."
    if report.decision != "release":
        yield f"The decision is {report.decision}."
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
        yield "The answer is not about this order as it was sent."
    if report.context != order.context or report.context_sha256 != context_sha256(order.context):
        yield "The answer does not carry the context that was sent."
    if report.digest != _digest(report):
        yield "The digest is not that of the decision."


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
        rulebook_digest=report.provenance.rulebook_sha256,
        catalogue_digest=report.provenance.catalogue_sha256,
        required=report.required,
        decision=report.decision,
        operations=report.operations,
    )
