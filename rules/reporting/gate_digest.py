"""Digests of a gate's decision, by which a caller can tell later that it is the one that was made."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

from pydantic import JsonValue

from rules.schema.gate import Decision, GateOperationReport, GateRequest, RequirementName
from rules.version import NAME, VERSION

__all__ = ["FORM", "context_sha256", "decision_sha256", "input_sha256"]

FORM: Final = 1
"""Goes up whenever the record below changes its fields."""

_NOT_INPUT: Final = {"context", "include", "required"}
"""Not judged; a matter of presentation; told apart in the record."""


def decision_sha256(
    *,
    input_digest: str,
    rulebook_digest: str,
    catalogue_digest: str | None,
    required: Sequence[RequirementName],
    decision: Decision,
    operations: Sequence[GateOperationReport],
) -> str:
    """Return the digest of a decision: SHA-256 over canonical JSON of a record of what made it and what it is.

    ==================  ==========================================================================
    form                1, the form of this record
    service, version    who decided
    rulebook_sha256     the rules in force
    catalogue_sha256    the mounted components; null where none are mounted
    input_sha256        the order as understood, see :func:`input_sha256`
    required            names of what every operation had to state, in the order of the contract
    decision            release, hold or stop
    operations          in the order of the request: id, decision, verdict, and the codes of reasons,
                        undecided rules and advice as the report lists them, repeated codes too
    ==================  ==========================================================================

    All of it stands in the report, so the digest can be made anew from a stored report alone. Wording,
    computed values and the context do not enter.
    """
    return _sha256(
        {
            "form": FORM,
            "service": NAME,
            "version": VERSION,
            "rulebook_sha256": rulebook_digest,
            "catalogue_sha256": catalogue_digest,
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


def input_sha256(request: GateRequest) -> str:
    """Return the digest of the order as understood.

    The request without `context`, `include` and `required`; lengths in mm, defaults filled in, nulls left out. So
    neither the order of keys, nor the unit a length was written in, nor a null or default written out make a
    difference; the order of lists does.
    """
    return _sha256(request.model_dump(mode="json", exclude_none=True, exclude=_NOT_INPUT))


def context_sha256(context: Mapping[str, JsonValue] | None) -> str | None:
    """Return the digest of a context as JSON, whatever the order of its keys; None where there is none."""
    return None if context is None else _sha256(context)


def _sha256(value: Mapping[str, Any]) -> str:
    """SHA-256 over JSON with sorted keys, without blanks, in ASCII."""
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(text.encode("ascii")).hexdigest()
