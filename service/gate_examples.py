"""Requests that show the gate: a work order, and a decision to verify."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from rules.assessor import Assessor
from rules.gate.gate import gate
from rules.rulebook.loader import base_request
from rules.schema.gate import GateRequest
from rules.schema.parsing import parse
from service.examples import RequestExample

__all__ = ["GATE_EXAMPLES", "verification_examples"]


def _one_held() -> dict[str, Any]:
    """Two operations on one mill: one complete, one whose tool came without a runout and without a speed to run at."""
    good, holes = base_request("press_in"), base_request("press_in")
    holes["stack"]["id"] = "KB-with-holes"
    del holes["stack"]["components"][1]["runout"]
    del holes["operation"]["spindle_speed_rpm"]
    return {
        "order": "KB-WO-0001",
        "revision": "A",
        "machine": good["machine"],
        "operations": [
            {"id": "10", "stack": good["stack"], "operation": good["operation"]},
            {"id": "20", "stack": holes["stack"], "operation": holes["operation"]},
        ],
        "context": {"job_order": "J-88", "equipment": "mill 3", "shift": 2},
    }


GATE_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {
        "one-operation-held": RequestExample(
            "Two operations, of which the second is held for what is not stated", _one_held()
        )
    }
)
"""Work orders by name."""


def verification_examples(assessor: Assessor) -> Mapping[str, RequestExample]:
    """The work orders with the digests of their decisions by these rules, and one with a digest of other rules."""
    request = GATE_EXAMPLES["one-operation-held"].request
    report = gate(parse(GateRequest, request), assessor)
    stored = {
        "gate": request,
        "digest": report.digest,
        "decision": report.decision,
        "rulebook_sha256": report.provenance.rulebook_sha256,
    }
    other = {**stored, "digest": "0" * 64, "rulebook_sha256": "1" * 64}
    return MappingProxyType(
        {
            "reproduced": RequestExample("The same order by the same rules gets the same decision", stored),
            "other-rulebooks": RequestExample("The decision was made by other rules", other),
        }
    )
