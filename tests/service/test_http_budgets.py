"""``POST /v1/budgets`` over HTTP."""

from __future__ import annotations

import json
from typing import Any

import pytest

from rules.budget import full_budget
from rules.schema.budget import BudgetReport, BudgetRequest
from rules.schema.parsing import parse
from service.examples import BUDGET_EXAMPLES


def _post(client: Any, request: object) -> Any:
    body = json.dumps(request).encode()
    return client.request("POST", "/v1/budgets", content=body, headers={"content-type": "application/json"})


@pytest.mark.parametrize("name", BUDGET_EXAMPLES)
def test_examples_are_answered(client: Any, assessor: Any, name: str) -> None:
    """The example requests get what the engineering says, 200."""
    request = BUDGET_EXAMPLES[name].request
    response = _post(client, request)
    assert response.status_code == 200
    assert BudgetReport.model_validate_json(response.content) == full_budget(
        parse(BudgetRequest, request), assessor.book
    )


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"planes": [{"datum": "nose", "distance_mm": 1}]}, "/planes/0/datum"),
        ({"planes": [{"datum": "gauge_line", "distance_mm": -1}]}, "/planes/0/distance_mm"),
        ({"target_um": "ten"}, "/target_um"),
        ({"targets": 8}, "/targets"),
        (
            {"policy": {"thresholds": [{"code": "OVH-999", "threshold": "max_length_to_diameter", "value": 1}]}},
            "/policy/thresholds/0/code",
        ),
    ],
)
def test_wrong_input_is_pointed_at(client: Any, change: dict[str, Any], pointer: str) -> None:
    """A problem with the place of the fault, 422."""
    response = _post(client, dict(BUDGET_EXAMPLES["stated"].request) | change)
    assert response.status_code == 422
    assert [error["at"] for error in response.json()["errors"]] == [[pointer]]
