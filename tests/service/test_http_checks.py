"""Checks over HTTP: identical requests return identical bytes."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.assessor import Assessor
from rules.schema.parsing import parse_request
from rules.schema.report import Report
from service.examples import EXAMPLES


def _bytes(data: object, **options: Any) -> bytes:
    return json.dumps(data, **options).encode()


@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_is_answered_with_a_report(client: Any, assessor: Assessor, name: str) -> None:
    """The answer is the report of the rules, nothing added and nothing lost."""
    response = client.check(_bytes(EXAMPLES[name].request))
    assert response.status_code == 200
    assert response.headers["content-type"] == "application/json"
    assert response.headers["vary"] == "Accept, Accept-Encoding"
    report = Report.model_validate_json(response.content)
    assert report == assessor.assess(parse_request(EXAMPLES[name].request))


def test_a_failing_stack_is_a_good_answer(client: Any, request_data: dict[str, Any]) -> None:
    """A stack that does not go together is answered with 200 and the verdict fail."""
    request_data["stack"]["components"][1]["machine_side"]["designation"] = "kb-16"
    response = client.check(_bytes(request_data))
    assert (response.status_code, response.json()["verdict"]) == (200, "fail")


def test_the_same_request_gives_the_same_bytes(client: Any, request_data: dict[str, Any]) -> None:
    """Nothing in the answer depends on when it was asked."""
    body = _bytes(request_data)
    assert client.check(body).content == client.check(body).content


def _shuffled(value: Any, random: Any) -> Any:
    if isinstance(value, dict):
        keys = list(value)
        random.shuffle(keys)
        return {key: _shuffled(value[key], random) for key in keys}
    return [_shuffled(one, random) for one in value] if isinstance(value, list) else value


@settings(
    derandomize=True,
    deadline=None,
    max_examples=20,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(random=st.randoms(use_true_random=False), indent=st.sampled_from([None, 3]))
def test_order_and_layout_of_the_request_are_irrelevant(
    client: Any, request_data: dict[str, Any], random: Any, indent: int | None
) -> None:
    """Keys in another order and other white space give the same bytes, digest included."""
    plain = client.check(_bytes(request_data))
    assert client.check(_bytes(_shuffled(request_data, random), indent=indent)).content == plain.content


@pytest.mark.parametrize(
    ("path", "value"),
    [
        pytest.param(("operations", 0, "spindle_speed_rpm"), 9000.0, id="number with a point"),
        pytest.param(("stack", "components", 0, "gauge_length_mm"), "70 mm", id="length with its unit"),
        pytest.param(("machine", "max_tool_length_mm"), 304.8, id="inches in mm"),
        pytest.param(("stack", "components", 4, "teeth"), 3.0, id="whole number with a point"),
    ],
)
def test_other_spellings_are_the_same_request(
    client: Any, request_data: dict[str, Any], path: tuple[str | int, ...], value: object
) -> None:
    """Two ways to say the same have one digest and one answer."""
    plain = client.check(_bytes(request_data)).content
    place: Any = request_data
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    assert client.check(_bytes(request_data)).content == plain


def test_another_request_has_another_digest(client: Any, request_data: dict[str, Any]) -> None:
    """The digest tells requests apart."""
    first = client.check(_bytes(request_data)).json()["provenance"]["request_sha256"]
    request_data["operations"][0]["spindle_speed_rpm"] += 1
    assert client.check(_bytes(request_data)).json()["provenance"]["request_sha256"] != first


def test_a_byte_order_mark_is_passed_over(client: Any, request_data: dict[str, Any]) -> None:
    """Files written by other systems may start with one."""
    assert client.check(b"\xef\xbb\xbf" + _bytes(request_data)).status_code == 200
