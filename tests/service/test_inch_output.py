"""Text, page and drawing in inch units; the JSON stays metric.

Conversions are held against NIST SP 811 (2008), appendix B.8.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.quantities.inch import as_shown, imperial, metric_of, shown_in, shown_sentence, shown_sign
from rules.schema.short_form import quantity_of
from service.cli.main import main

_STACKS = sorted((Path(__file__).resolve().parents[2] / "demo_data" / "stacks").glob("*.json"))
_METRIC = re.compile(r"(?<![\w.])[0-9.]+[ \u00a0](?:mm|µm|N·m|N m|N|kN|kg|g·mm|g mm|m/min|N/µm|MPa|kW)(?![\w/·])")


@pytest.mark.parametrize(
    ("value", "sign", "number", "inch"),
    [
        # NIST SP 811, B.8: in, ft/min, lbf, lbf·ft, lb, psi, hp (550 ft·lbf/s), ounce
        (25.4, "mm", "1", "in"),
        (19.05, "mm", "0.75", "in"),
        (100.0, "mm", "3.937", "in"),
        (0.001, "mm", "0.0000394", "in"),
        (0.0, "mm", "0", "in"),
        (-0.0, "µm", "0", "in"),
        (2.54, "µm", "0.0001", "in"),
        (13.1, "µm", "0.000515", "in"),
        (0.1016, "mm", "0.004", "in"),
        (182.88, "m/min", "600", "ft/min"),
        (135.58179483314, "N·m", "100", "lbf·ft"),
        (444.82216152605, "N", "100", "lbf"),
        (6.80388555, "kg", "15", "lb"),
        (1.35, "kg", "2.98", "lb"),
        (689.475729316836, "MPa", "100", "ksi"),
        (7.45699872, "kW", "10", "hp"),
        (720.077887375, "g·mm", "1", "oz·in"),
        (1.0, "N/µm", "5710", "lbf/in"),
        (16387.064, "mm³/min", "1", "in³/min"),
    ],
)
def test_a_quantity_in_inch_units(value: float, sign: str, number: str, inch: str) -> None:
    """Exact factors, and a rounding that keeps a twentieth of the metric step."""
    assert imperial(value, sign) == (number, inch)


@pytest.mark.parametrize("sign", ["rpm", "Hz", "°", "%", "°C", ""])
def test_other_units_stay(sign: str) -> None:
    """They have no inch counterpart in use."""
    with shown_in("inch"):
        assert (as_shown(1.0, sign), shown_sign(sign), metric_of(3.0, sign)) == (None, sign, 3.0)


@given(thousandths=st.integers(1, 5_000_000))
def test_a_length_is_read_back_within_the_rounding(thousandths: int) -> None:
    """Of 0.00005 in, or three figures where that is finer."""
    value = thousandths / 1000
    found = imperial(value, "mm")
    assert found is not None
    back = quantity_of("length_mm", f"{found.number} in")
    assert back == pytest.approx(value, abs=0.00005 * 25.4 / 2 * 1.000001, rel=0)


def test_units_hold_inside_the_block_only() -> None:
    """And metric is the default."""
    assert as_shown(25.4, "mm") is None
    with shown_in("inch"), shown_in("mm"):
        assert as_shown(25.4, "mm") is None
    assert shown_sentence("25.4 mm") == "25.4 mm"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("bore of 12 mm, 0.5 µm", "bore of 0.47245 in, 0.0000197 in"),
        ("10 to 12.7 mm", "0.3937 to 0.5 in"),
        ("M16x2, DIN 6535 HA 12, 12 h6", "M16x2, DIN 6535 HA 12, 12 h6"),
        ("ISO 15488 32 N/mm²", "ISO 15488 32 N/mm²"),
        ("Ø50 × 25.4 mm, Ø30–25.4 × 25.4 mm", "Ø1.9685 × 1 in, Ø1.1811–1 × 1 in"),
        ("kb12.7 mm", "kb12.7 mm"),
        ("3 Nm, 5 mm/s", "3 Nm, 0.197 in/s"),
    ],
)
def test_quantities_in_a_sentence(text: str, shown: str) -> None:
    """Numbers with a metric unit are converted, designations are not."""
    with shown_in("inch"):
        assert shown_sentence(text) == shown


@pytest.mark.parametrize("file", _STACKS, ids=lambda file: file.stem)
def test_no_metric_quantity_is_left(client: Any, file: Path) -> None:
    """On text, page and drawing of every demo stack; the page keeps the report's values for programs."""
    body = file.read_bytes()
    for path, accept in (("/v1/checks", "text/plain"), ("/v1/checks", "text/html"), ("/v1/drawings", "image/svg+xml")):
        answer = client.request(
            "POST", f"{path}?unit=inch", content=body, headers={"content-type": "application/json", "accept": accept}
        )
        assert answer.status_code == 200
        told = re.sub(r"<style>.*?</style>|<[^>]*>", "", answer.text, flags=re.DOTALL)
        described = re.sub(r"Assumed and taken from standards.*?\n\n", "", told, flags=re.DOTALL)
        assert _METRIC.findall(described) == [], (path, accept)


def test_json_stays_metric(client: Any) -> None:
    """Byte for byte."""
    body = _STACKS[0].read_bytes()
    json_headers = {"content-type": "application/json"}
    inch = client.request("POST", "/v1/checks?unit=inch", content=body, headers=json_headers)
    assert inch.content == client.check(body).content


@pytest.mark.parametrize("path", ["/v1/checks", "/v1/drawings"])
@pytest.mark.parametrize("query", ["unit=cubit", "unit=", "unit=inch&unit=mm", "units=inch"])
def test_another_unit_is_refused(client: Any, path: str, query: str) -> None:
    """By the name of the parameter."""
    answer = client.request(
        "POST",
        f"{path}?{query}",
        content=_STACKS[0].read_bytes(),
        headers={"content-type": "application/json", "accept": "*/*"},
    )
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["parameter"] == query.partition("=")[0]


def test_routes_without_such_a_face_have_no_unit(client: Any) -> None:
    """It would do nothing there."""
    answer = client.request(
        "POST", "/v1/budgets?unit=inch", content=b"{}", headers={"content-type": "application/json"}
    )
    assert answer.json()["errors"][0]["code"] == "unknown_parameter"


@pytest.mark.parametrize("picture", ["stack", "budget", "distribution", "axis", "speed"])
def test_the_command_draws_in_inches(capsys: Any, picture: str) -> None:
    """With round figures on the axes; metric is the default."""
    told = []
    for options in ([], ["--unit", "mm"], ["--unit", "inch"]):
        main(["draw", str(_STACKS[0]), "--picture", picture, *options])
        told.append(capsys.readouterr().out)
    assert told[0] == told[1]
    assert (told[2] == told[0]) == (picture == "speed")
    assert ("indicator reading, in<" in told[2]) == (picture in ("budget", "distribution", "axis"))


def test_the_command_prints_in_inches(capsys: Any) -> None:
    """The JSON is the same in either unit."""
    main(["check", str(_STACKS[0]), "--unit", "inch"])
    assert "Programmed" in (text := capsys.readouterr().out)
    assert _METRIC.findall(text) == []
    lines = []
    for unit in ("mm", "inch"):
        main(["check", str(_STACKS[0]), "--unit", unit, "--json"])
        lines.append(json.loads(capsys.readouterr().out))
    assert lines[0] == lines[1]


_DEMO = _STACKS[0].parents[1]
_QUESTIONS = [
    *(
        (f"/v1/{kind}", file)
        for kind in ("readings", "builds", "calibrations")
        for file in sorted((_DEMO / kind).glob("*"))
    ),
]
_SIGNS = re.compile(r"µm|\bmm\b|N·m|\bkg\b")


@pytest.mark.parametrize(("path", "file"), _QUESTIONS, ids=lambda one: getattr(one, "stem", None))
@pytest.mark.parametrize("accept", ["text/plain", "text/html"])
def test_no_metric_sign_is_left_in_an_answer_to_a_question(client: Any, path: str, file: Path, accept: str) -> None:
    """On text and page, heads of columns included; the statement of a part to paste is JSON."""
    headers = {"content-type": "application/json", "accept": accept}
    answer = client.request("POST", f"{path}?unit=inch", content=file.read_bytes(), headers=headers)
    assert answer.status_code == 200
    told = re.sub(r"<style>.*?</style>|<[^>]*>", "", answer.text, flags=re.DOTALL)
    assert " in\n" in told or " in " in told
    assert _SIGNS.findall(told) == []


@pytest.mark.parametrize(
    ("command", "file"),
    [
        ("budget", "stacks/01-deep-rib-shrink-extension.json"),
        ("compare", "comparisons/deep-rib.json"),
        ("search", "searches/deep-rib.json"),
        ("gate", "orders/kb-wo-2107.json"),
        ("read", "readings/03-extension-turned-for-a-trial.json"),
        ("build", "builds/01-deep-rib-stage-by-stage.json"),
        ("calibrate", "calibrations/01-holders-and-end-mills.json"),
    ],
)
def test_the_commands_of_questions_print_in_inches(capsys: Any, command: str, file: str) -> None:
    """Numbers and the heads of their columns; the JSON is the same in either unit."""
    told = {}
    for unit in ("mm", "inch"):
        main([command, str(_DEMO / file), "--unit", unit])
        told[unit] = capsys.readouterr().out
    assert _SIGNS.search(told["mm"])
    assert _SIGNS.findall(told["inch"]) == []
    lines = []
    for unit in ("mm", "inch"):
        main([command, str(_DEMO / file), "--unit", unit, "--json"])
        lines.append(capsys.readouterr().out)
    assert lines[0] == lines[1]


def test_a_head_in_inches_stands_over_figures_in_inches(capsys: Any) -> None:
    """The gauge length of the budget's first plane and the median runout there, by NIST SP 811: 25.4 mm an inch."""
    file = str(_DEMO / "stacks/01-deep-rib-shrink-extension.json")
    main(["budget", file, "--json"])
    plane = json.loads(capsys.readouterr().out)["planes"][0]
    main(["budget", file, "--unit", "inch"])
    line = next(one for one in capsys.readouterr().out.splitlines() if one.lstrip().startswith("gauge plane"))
    distance, median = re.findall(r"[0-9.]+", line)[:2]
    assert float(distance) == pytest.approx(plane["from_gauge_line_mm"] / 25.4, abs=0.00003)
    known = next(one for one in plane["predictions"] if one["of"] == "assemblies")["quantiles_um"]["p50"]
    assert float(median) == pytest.approx(known / 25_400, abs=0.000003)
