"""``POST /v1/readings`` over HTTP."""

from __future__ import annotations

import json
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.reading.reading import read_gauge
from rules.schema.parsing import parse
from rules.schema.reading import ReadingReport, ReadingRequest
from service.examples import READING_EXAMPLES

PLANE = {"kind": "range", "distance_mm": 24, "tir_um": 9}


def _post(client: Any, body: object, content_type: str = "application/json", **headers: str) -> Any:
    content = body if isinstance(body, bytes) else json.dumps(body).encode()
    return client.request("POST", "/v1/readings", content=content, headers={"content-type": content_type, **headers})


@pytest.mark.parametrize("name", READING_EXAMPLES)
def test_an_example_is_answered_with_a_report(client: Any, assessor: Assessor, name: str) -> None:
    """The answer is the report of the rules, nothing added and nothing lost."""
    request = READING_EXAMPLES[name].request
    response = _post(client, request)
    assert response.status_code == 200
    assert response.headers["content-type"] == "application/json"
    assert response.headers["cache-control"] == "no-store"
    report = ReadingReport.model_validate_json(response.content)
    assert report == read_gauge(parse(ReadingRequest, request), assessor.book)


def test_the_examples_show_different_steps(client: Any) -> None:
    """One measures better, one turns a joint after a trial."""
    steps = [_post(client, one.request).json()["next_step"]["action"] for one in READING_EXAMPLES.values()]
    assert steps == ["measure_better", "turn_joint"]


def test_the_same_request_gives_the_same_bytes(client: Any) -> None:
    """Neither time nor the order of the keys matters, nor the unit a distance is written in."""
    request = {"planes": [{"kind": "range", "distance_mm": 25.4, "tir_um": 9}], "limit_um": 10}
    other = {"limit_um": 10.0, "planes": [{"tir_um": 9, "distance_mm": "1 in", "kind": "range"}]}
    assert _post(client, request).content == _post(client, other).content


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, ""),
        ({"planes": []}, "/planes"),
        ({"planes": [PLANE, PLANE, PLANE]}, "/planes"),
        ({"planes": [{**PLANE, "kind": "laser"}]}, "/planes/0/kind"),
        ({"planes": [{**PLANE, "tir_um": -1}]}, "/planes/0/tir_um"),
        ({"planes": [{"kind": "equal_steps", "distance_mm": 1, "readings_um": [1, 2]}]}, "/planes/0/readings_um"),
        ({"planes": [PLANE], "limit": 10}, "/limit"),
        ({"planes": [PLANE], "trial": {"upper": "a", "lower": "b", "turned_deg": 400, "plane": PLANE}}, None),
        (
            {"planes": [PLANE], "policy": {"thresholds": [{"code": "NONE-999", "threshold": "x", "value": 1}]}},
            "/policy/thresholds/0/code",
        ),
        (
            {
                "planes": [PLANE],
                "policy": {"thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": -5}]},
            },
            None,
        ),
    ],
)
def test_a_body_that_breaks_the_contract_is_422(client: Any, body: Any, pointer: str | None) -> None:
    """The pointer leads into the body."""
    response = _post(client, body)
    told = response.json()
    assert (response.status_code, told["code"]) == (422, "invalid-request")
    assert response.headers["content-type"] == "application/problem+json"
    (part,) = told["errors"]
    if pointer is not None:
        assert part["at"] == [pointer]


def test_what_a_check_refuses_is_refused(client: Any, max_body_bytes: int) -> None:
    """Not JSON, another media type, an Accept that can't be met, a body too large, another method."""
    good = json.dumps({"planes": [PLANE]}).encode()
    assert _post(client, b"{").status_code == 400
    assert _post(client, good, "text/plain").status_code == 415
    assert _post(client, good, accept="image/png").status_code == 406
    assert _post(client, good + b" " * max_body_bytes).status_code == 413
    assert client.get("/v1/readings").status_code == 405
    assert _post(client, good).status_code == 200


def test_reports_are_complete(client: Any) -> None:
    """Every field of a report is required by the contract, so that nulls are told and not left out."""
    schemas = client.get("/openapi.json").json()["components"]["schemas"]
    for name in (
        "ReadingReport",
        "PlaneReading",
        "AxisReport",
        "PredictedPlane",
        "DecisionReport",
        "TrialReport",
        "NextStep",
    ):
        assert set(schemas[name]["required"]) == set(schemas[name]["properties"]), name
