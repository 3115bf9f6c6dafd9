"""An operator's changes to rules: adjustments with a scope, and examples that are judged when the books are loaded."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.rulebook.loader import base_request
from rules.rulebook.source import RulebookError
from rules.schema.parsing import parse_request
from rules.schema.report import Report

HEAD = 'book: shop\nversion: "1"\ntitle: Shop\n'
WHY = "reason: worn spindle, owner: tool room"


def _load(folder: Path, text: str, **further: Any) -> Assessor:
    folder.mkdir(exist_ok=True)
    (folder / "shop.yaml").write_text(HEAD + text, encoding="utf-8")
    return Assessor.load([folder], **further)


def _refusal(folder: Path, text: str, **further: Any) -> list[str]:
    with pytest.raises(RulebookError) as refused:
        _load(folder, text, **further)
    return [str(one).partition(": ")[2] for one in refused.value.problems]


def _report(assessor: Assessor, **changes: Any) -> Report:
    return assessor.assess(parse_request(base_request("press_in") | changes))


def _severity(report: Report, code: str) -> str | None:
    return next((one.severity for one in report.findings if one.code == code), None)


ADJUST = (
    f"adjust: [{{code: OVH-010, thresholds: {{max_length_to_diameter: 1}}, severity: error, {WHY}, where: '%s'}}]\n"
)


@pytest.mark.parametrize(
    ("where", "changes", "severity"),
    [
        ('labels.cell == "A"', {"labels": {"cell": "A"}}, "error"),
        ('labels.cell == "A"', {"labels": {"cell": "B"}}, None),
        # not known whether it counts: the stricter of the two holds, here the adjusted one
        ('labels.cell == "A"', {}, "error"),
        ('machine.id == "mill 3"', {}, "error"),
        ('machine.id == "mill 4"', {}, None),
        # no machine at all is not some other machine
        ('machine.id == "mill 3"', {"machine": None}, None),
        ('kind == "extension"', {}, None),
        ("spindle_speed_rpm > 1000", {}, "error"),
    ],
)
def test_an_adjustment_counts_where_its_scope_holds(
    tmp_path: Path, where: str, changes: dict[str, Any], severity: str | None
) -> None:
    """Threshold and severity change together, on the subjects of the scope only."""
    report = _report(_load(tmp_path / "shop", ADJUST % where), **changes)
    assert _severity(report, "OVH-010") == severity
    named = [(one.kind, one.code, one.book) for one in report.provenance.deviations]
    both = [("severity", "OVH-010", "shop/shop.yaml"), ("threshold", "OVH-010", "shop/shop.yaml")]
    assert named == (both if severity else [])


def test_a_looser_rule_needs_certainty(tmp_path: Path) -> None:
    """Whether a loosening counts must be known; else the rule stands as it was."""
    change = "code: OVH-010, thresholds: {max_length_to_diameter: 90}"
    text = f"adjust: [{{{change}, {WHY}, where: 'labels.cell == \"A\"'}}]\n"
    assessor = _load(tmp_path / "shop", text)
    long = {"policy": None, **_longer(base_request("press_in"))}
    assert _severity(_report(assessor, **long), "OVH-010") == "advice"
    assert _severity(_report(assessor, **long, labels={"cell": "A"}), "OVH-010") is None


def _longer(request: dict[str, Any]) -> dict[str, Any]:
    """The end mill held short, so that it projects more than four diameters."""
    stack = request["stack"]
    mill = next(one for one in stack["components"] if one["kind"] == "cutter")
    mill |= {"overall_length_mm": 100, "profile": [{"length_mm": 100, "outer_mm": 8}]}
    return {"stack": stack}


def test_a_request_goes_before_an_adjustment(tmp_path: Path) -> None:
    """What the request sets within the bounds of the book stays."""
    assessor = _load(tmp_path / "shop", ADJUST % "true")
    policy = {"thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": 50}]}
    assert _severity(_report(assessor, policy=policy), "OVH-010") is None


def test_what_is_off_is_neither_found_nor_decided(tmp_path: Path) -> None:
    """The report names it as a deviation."""
    report = _report(_load(tmp_path / "shop", f"adjust: [{{code: RUN-030, disable: true, {WHY}}}]\n"))
    assert "RUN-030" not in {*report.decided, *(one.code for one in (*report.findings, *report.undecided))}
    assert [(one.kind, one.code) for one in report.provenance.deviations] == [("off", "RUN-030")]


@pytest.mark.parametrize(("today", "counts"), [(None, True), (date(2031, 5, 4), True), (date(2031, 5, 5), False)])
def test_an_adjustment_ends(tmp_path: Path, today: date | None, counts: bool) -> None:
    """It counts on its last day. The digest is that of what counts."""
    text = f"adjust: [{{code: RUN-030, disable: true, {WHY}, until: 2031-05-04}}]\n"
    book = _load(tmp_path / "shop", text, today=today).book
    assert (len(book.adjustments), len(book.expired)) == ((1, 0) if counts else (0, 1))
    assert (book.digest == Assessor.load().book.digest) is not counts


@pytest.mark.parametrize(
    ("text", "reasons"),
    [
        ("adjust: [{code: RUN-030, %s}]", ["changes nothing; write disable: true, severity or thresholds"]),
        ("adjust: [{code: RUN-999, disable: true, %s}]", ["there is no rule RUN-999 to adjust"]),
        ("adjust: [{code: RUN-030, disable: true, reason: none}]", ["owner is missing"]),
        (
            "adjust: [{code: OVH-010, thresholds: {max_length_to_diameter: 500}, %s}]",
            ["500 must lie between 0.5 and 100 x D"],
        ),
        (
            "adjust: [{code: OVH-010, thresholds: {max_ratio: 5}, %s}]",
            ["the rule has no threshold max_ratio; known: max_length_to_diameter"],
        ),
        ("adjust: [{code: OVH-010, severity: error, where: knid == 3, %s}]", ["did you mean kind?"]),
        (
            'adjust: [{code: OVH-010, severity: error, where: \'kind == "cutter" && kind == "collet"\', %s}]',
            ["where can never hold"],
        ),
        ("adjust: [{code: SPD-010, disable: true, %s}]", ["switches off a safety rule"]),
        ("adjust: [{code: SPD-010, severity: warning, %s}]", ["lowers a safety rule"]),
        ("revision: none", ["a book has rules, or adjust with changes to rules"]),
    ],
)
def test_adjustments_that_make_no_sense_stop_the_start(tmp_path: Path, text: str, reasons: list[str]) -> None:
    """Every reason is named."""
    found = _refusal(tmp_path / "shop", (text % WHY if "%s" in text else text) + "\n")
    assert all(any(reason in one for one in found) for reason in reasons), found


def test_an_accepted_safety_rule_may_be_switched_off(tmp_path: Path) -> None:
    """And every report says so."""
    assessor = _load(tmp_path / "shop", f"adjust: [{{code: SPD-010, disable: true, {WHY}}}]\n", accepted=["SPD-010"])
    (one,) = _report(assessor).provenance.deviations
    assert (one.kind, one.code, one.safety) == ("off", "SPD-010", True)


RULE = """
rules:
  - code: SHOP-010
    title: Short stack
    severity: advice
    for: stack
    require: extension_count <= 0
    message: "{{stack}} has {{extension_count}} extensions."
    examples:
      {examples}
"""

EXTENDED = "{name: extended, base: press_in}"
PLAIN = "{name: plain, base: nut_collet}"


@pytest.mark.parametrize(
    ("examples", "reason"),
    [
        (f"fires: [{EXTENDED}]", None),
        (f"silent: [{PLAIN}]", None),
        (f"fires: [{PLAIN}]", "the example 'plain' says that it fires; it stays silent"),
        (f"silent: [{EXTENDED}]", "the example 'extended' says that it stays silent; it fires"),
        (f"undecided: [{EXTENDED}]", "the example 'extended' says that it is undecided; it fires"),
        ("fires: [{name: lost, base: nowhere}]", "it is no request: 'nowhere'"),
        (
            "fires: [{name: bad, base: press_in, set: {/stack/id: [1]}}]",
            "it is no request: ",
        ),
    ],
)
def test_a_rule_must_do_what_its_examples_say(tmp_path: Path, examples: str, reason: str | None) -> None:
    """A rule that its own example refutes stops the start."""
    text = RULE.format(examples=examples)
    if reason is None:
        assert _load(tmp_path / "shop", text).book.rule("SHOP-010")
    else:
        (found,) = _refusal(tmp_path / "shop", text)
        assert reason in found


def test_a_shop_brings_its_own_base_requests(tmp_path: Path) -> None:
    """A folder of bases beside its books; a name that is taken is refused."""
    bases = tmp_path / "shop" / "bases"
    bases.mkdir(parents=True)
    (bases / "own.yaml").write_text("stack: {components: [{id: a, kind: extension}]}\n", encoding="utf-8")
    text = RULE.format(examples="fires: [{name: one, base: own}]")
    assert _load(tmp_path / "shop", text).book.bases.keys() == {"own"}
    (bases / "press_in.yaml").write_text("stack: {components: []}\n", encoding="utf-8")
    assert any("there is a base request press_in already" in one for one in _refusal(tmp_path / "shop", text))


REPLACED = """
rules:
  - code: SPD-010
    title: Speed above the limit of a component
    severity: error
    safety: true
    replaces: true
    for: component
    where: has(spindle_speed_rpm)
    require: spindle_speed_rpm <= {limit}
    message: "{{component}} is too fast."
"""


@pytest.mark.parametrize(
    ("limit", "sound"), [("component_max_speed_rpm", True), ("0.9 * component_max_speed_rpm", True), ("99000", False)]
)
def test_a_safety_rule_cannot_be_hollowed_out(tmp_path: Path, limit: str, sound: bool) -> None:
    """What replaces it must fire where the original is to fire, or be accepted by name."""
    text = REPLACED.format(limit=limit)
    if sound:
        assert _load(tmp_path / "shop", text).book.rule("SPD-010").replaces
        return
    (found,) = _refusal(tmp_path / "shop", text)
    assert 'does not fire on its example "above the holder\'s limit"' in found
    assessor = _load(tmp_path / "shop", text, accepted=["SPD-010"])
    assert [(one.kind, one.code) for one in _report(assessor).provenance.deviations] == [("rule", "SPD-010")]


def test_a_defective_rule_is_reported_once(tmp_path: Path) -> None:
    """An adjustment of it does not add that the rule does not exist."""
    rule, adjusted = "{code: RUN-999, severity: grave}", f"{{code: RUN-999, disable: true, {WHY}}}"
    found = _refusal(tmp_path / "shop", f"adjust: [{adjusted}]\nrules: [{rule}]\n")
    assert any("severity" in one for one in found)
    assert not any("there is no rule" in one for one in found)
