"""``POST /v1/explanations`` over HTTP."""

from __future__ import annotations

import json
from typing import Any

import pytest

from rules.explanation import explain
from rules.schema.explanation import ExplanationReport, ExplanationRequest
from rules.schema.parsing import parse
from service.examples import EXPLANATION_EXAMPLES


def _post(client: Any, request: object) -> Any:
    body = json.dumps(request).encode()
    return client.request("POST", "/v1/explanations", content=body, headers={"content-type": "application/json"})


@pytest.mark.parametrize("name", EXPLANATION_EXAMPLES)
def test_examples_are_answered(client: Any, assessor: Any, name: str) -> None:
    """The example requests get what the library says, 200, the same bytes each time."""
    request = EXPLANATION_EXAMPLES[name].request
    response = _post(client, request)
    assert response.status_code == 200
    assert ExplanationReport.model_validate_json(response.content) == explain(
        parse(ExplanationRequest, request), assessor
    )
    assert _post(client, request).content == response.content


def test_a_rule_without_subjects_says_why(client: Any) -> None:
    """It is a 200, as for every valid request."""
    told = _post(client, dict(EXPLANATION_EXAMPLES["wide-collet"].request) | {"code": "KNOB-010"}).json()
    assert told["not_judged"] == "No stack has knob lacking."
    assert {one["outcome"] for one in told["subjects"]} <= {"not_concerned"}


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"code": "OVH-999"}, "/code"),
        ({"code": "overhang"}, "/code"),
        ({"codes": ["COL-020"]}, "/codes"),
        ({"stack": {"components": [{"id": "a", "kind": "cutter", "teeth": 0}]}}, "/stack/components/0/teeth"),
        (
            {"policy": {"thresholds": [{"code": "COL-020", "threshold": "max_collapse", "value": 2}]}},
            "/policy/thresholds/0/value",
        ),
    ],
)
def test_wrong_input_is_pointed_at(client: Any, change: dict[str, Any], pointer: str) -> None:
    """A problem with the place of the fault, 422."""
    response = _post(client, dict(EXPLANATION_EXAMPLES["wide-collet"].request) | change)
    assert response.status_code == 422
    assert [error["at"] for error in response.json()["errors"]] == [[pointer]]
