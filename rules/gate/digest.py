"""Digests of a gate decision, of its order and of its context, and the record of the decision that is signed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

from pydantic import JsonValue

from rules.schema.gate import Decision, GateOperationReport, GateReport, GateRequest, RequirementName
from rules.version import NAME, VERSION

__all__ = [
    "RECORD_FORM",
    "canonical",
    "context_sha256",
    "decision_sha256",
    "input_sha256",
    "judgement_record",
    "report_digest",
]


FORM: Final = 1
"""Version of the fields that the digest covers; increase it whenever they change."""

RECORD_FORM: Final = 1
"""Version of the record that is signed; increase it whenever its fields change."""

_NOT_INPUT: Final = {"context", "expect", "include", "required"}
"""Parts of a request that are not judged, that only concern presentation, or that the record holds separately."""


def decision_sha256(
    *,
    input_digest: str,
    judgement_digest: str,
    catalogue_digest: str | None,
    aliases_digest: str | None,
    profile_digest: str,
    required: Sequence[RequirementName],
    decision: Decision,
    operations: Sequence[GateOperationReport],
    version: str = VERSION,
) -> str:
    """Return the digest of a decision: SHA-256 of the canonical JSON of a record of the decision and its inputs.

    ==================  ==========================================================================
    form                1, the form of this record
    service, version    who decided
    judgement_sha256    all that judges: rules, tables, source code, libraries
    catalogue_sha256    the mounted components; null where none are mounted
    aliases_sha256      the operator's alias file; null without one
    profile_sha256      the operator's profile
    input_sha256        the order as understood, see :func:`input_sha256`
    required            names of what every operation had to state, in the order of the contract
    decision            release, hold or stop
    operations          in the order of the request: id, decision, verdict, and the codes of reasons,
                        undecided rules and advice as the report lists them, repeated codes too
    ==================  ==========================================================================

    The report holds all these fields, so the digest can be computed from a stored report alone. Wording, computed
    values and the context are not part of it.
    """
    return _sha256(
        {
            "form": FORM,
            "service": NAME,
            "version": version,
            "judgement_sha256": judgement_digest,
            "catalogue_sha256": catalogue_digest,
            "aliases_sha256": aliases_digest,
            "profile_sha256": profile_digest,
            "input_sha256": input_digest,
            "required": list(required),
            "decision": decision,
            "operations": [
                {
                    "id": one.id,
                    "decision": one.decision,
                    "verdict": one.verdict,
                    "reasons": [reason.code for reason in one.reasons],
                    "undecided": [gap.code for gap in one.undecided],
                    "advice": [reason.code for reason in one.advice],
                }
                for one in operations
            ],
        }
    )


def report_digest(report: GateReport) -> str:
    """Return the digest of a report's decision, computed from its other fields."""
    return decision_sha256(
        input_digest=report.input_sha256,
        judgement_digest=report.provenance.judgement_sha256,
        catalogue_digest=report.provenance.catalogue_sha256,
        aliases_digest=report.provenance.aliases_sha256,
        profile_digest=report.profile.sha256,
        required=report.required,
        decision=report.decision,
        operations=report.operations,
        version=report.provenance.version,
    )


def judgement_record(report: GateReport) -> dict[str, Any]:
    """Return the record of a decision: the payload of the signature, once it is canonical.

    It has what an order may start on, and every value that an expectation can name. `digest` covers the decisions on
    the operations with the codes of their reasons. Wording, cautions and check reports are not covered. No time is in
    it, so the same request gets the same signature.
    """
    source = report.provenance
    return {
        "form": RECORD_FORM,
        "service": source.service,
        "version": source.version,
        "order": report.order,
        "revision": report.revision,
        "decision": report.decision,
        "may_start": report.may_start,
        "digest": report.digest,
        "input_sha256": report.input_sha256,
        "context_sha256": report.context_sha256,
        "judgement_sha256": source.judgement_sha256,
        "rulebook_sha256": source.rulebook_sha256,
        "catalogue_sha256": source.catalogue_sha256,
        "aliases_sha256": source.aliases_sha256,
        "profile": report.profile.name,
        "profile_sha256": report.profile.sha256,
        "not_required": [one.name for one in report.not_required],
        "unmet": [one.model_dump(mode="json") for one in report.unmet],
        "policy_deviations": [one.model_dump(mode="json") for one in report.policy_deviations],
        "deviations": [one.model_dump(mode="json") for one in source.deviations],
    }


def input_sha256(request: GateRequest) -> str:
    """Return the digest of the order as understood.

    The request without `context`, `expect`, `include` and `required`; lengths in mm, defaults filled in, nulls left
    out. The order of keys, the unit of a length and explicit nulls and defaults therefore make no difference; the
    order of lists does.
    """
    return _sha256(request.model_dump(mode="json", exclude_none=True, exclude=_NOT_INPUT))


def context_sha256(context: Mapping[str, JsonValue] | None) -> str | None:
    """Return the digest of a context, independent of the order of its keys; None if there is none."""
    return None if context is None else _sha256(context)


def canonical(value: Mapping[str, Any]) -> bytes:
    """Return JSON in ASCII with sorted keys and no blanks."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False).encode("ascii")


def _sha256(value: Mapping[str, Any]) -> str:
    return hashlib.sha256(canonical(value)).hexdigest()
