"""The text report: verdict first, every figure with its unit, legible without colour."""

from __future__ import annotations

import io
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console
from rich.text import Text

from rules.assessor import Assessor
from rules.schema.parsing import parse_request
from rules.schema.report import Quantity, Report
from service.examples import EXAMPLES
from service.sheets.check import finding_facts, print_report
from service.sheets.figures import missing_words
from service.sheets.text import PlainText, say
from tests.support.stacks import deviation


def _text(report: Report, width: int = 100, **options: Any) -> str:
    out = io.StringIO()
    print_report(report, Console(file=out, width=width, highlight=False, **options))
    return out.getvalue()


@pytest.fixture(scope="module")
def reports(assessor: Assessor) -> dict[str, Report]:
    """A report for each example, and one with findings of a stack that does not go together."""
    told = {name: assessor.assess(parse_request(example.request)) for name, example in EXAMPLES.items()}
    swapped = dict(EXAMPLES["extended"].request)
    components = list(swapped["stack"]["components"])
    components[2], components[4] = components[4], components[2]
    swapped["stack"] = {**swapped["stack"], "components": components}
    told["swapped"] = assessor.assess(parse_request(swapped))
    return told


NAMES = [*EXAMPLES, "swapped"]


@given(
    # texts for people have no other control characters
    st.text(st.characters(exclude_categories=["Cs", "Cc"]) | st.sampled_from(" \t\nab\xa0-µØ漢"), max_size=120),
    st.integers(8, 60),
    st.sampled_from([0, 2, 6]),
)
def test_plain_lines_are_broken_as_the_library_breaks_them(text: str, width: int, indent: int) -> None:
    """Any text: wide and narrow characters, blanks of every kind, words longer than a line."""
    plain, reference = PlainText(width), io.StringIO()
    say(text, plain.console, indent)
    console = Console(
        file=reference, width=width, highlight=False, color_system=None, force_terminal=False, _environ={}
    )
    say(Text(text), console, indent)
    assert plain.text() == reference.getvalue()


@pytest.mark.parametrize("name", NAMES)
def test_the_verdict_comes_first(reports: dict[str, Report], name: str) -> None:
    """The first line names verdict and stack, the second counts."""
    report = reports[name]
    first, second, *_ = _text(report).split("\n")
    assert first == f"{report.verdict.upper()}  {report.stack_id}"
    assert f"{report.summary.undecided} undecided" in second


@pytest.mark.parametrize("name", NAMES)
def test_nothing_that_matters_is_left_out(reports: dict[str, Report], name: str) -> None:
    """Findings with remedy and place, gaps, contributors, joints and cautions are all there."""
    report = reports[name]
    words = " ".join(_text(report, width=400).split())
    for finding in report.findings:
        for said in (
            finding.severity,
            finding.code,
            finding.title,
            finding.message,
            finding.remedy,
            *finding.at,
        ):
            assert " ".join(said.split()) in words
    for gap in report.undecided:
        assert f"{gap.code} {gap.title}" in words
        assert all(missing_words(lack) in words and all(field in words for field in lack.at) for lack in gap.lacks)
    for said in (
        *(one.text for one in report.runout.contributors),
        *(str(one.joint) for one in report.grip),
        *report.cautions,
    ):
        assert said in words


def test_every_kind_of_finding_is_seen(reports: dict[str, Report]) -> None:
    """The reports of these tests hold errors and gaps, or the checks above would prove nothing."""
    assert reports["swapped"].findings
    assert reports["patchy"].undecided
    assert reports["extended"].runout.contributors


@pytest.mark.parametrize("name", NAMES)
def test_lines_keep_the_width_and_hold_no_colour(reports: dict[str, Report], name: str) -> None:
    """Without a terminal the text is plain and never wider than asked."""
    text = _text(reports[name], color_system=None, force_terminal=False)
    assert "\x1b" not in text
    assert max(map(len, text.split("\n"))) <= 100


def test_colour_adds_nothing_but_colour(reports: dict[str, Report]) -> None:
    """A terminal shows the same words."""
    plain = _text(reports["swapped"])
    coloured = _text(reports["swapped"], force_terminal=True, color_system="standard")
    assert "\x1b" in coloured
    shown = "".join(piece.partition("m")[2] for piece in ("m" + coloured).split("\x1b["))
    assert shown == plain


def test_text_of_the_caller_is_no_markup(assessor: Assessor, request_data: dict[str, Any]) -> None:
    """Square brackets in a designation are printed as they are."""
    report = assessor.assess(parse_request(request_data)).model_copy(update={"cautions": ["[red]careful[/red]"]})
    assert "[red]careful[/red]" in _text(report)


def test_a_verdict_by_changed_rules_says_so(reports: dict[str, Report]) -> None:
    """Thresholds of the request, severities and rules of the operator; nothing where nothing was changed."""
    report = reports["swapped"]
    assert "changed rules" not in _text(report)
    provenance = report.provenance.model_copy(
        update={
            "deviations": [
                deviation("threshold", "OVH-010", safety=False, threshold="most_mm", value=5.0, default=4.0, unit="mm"),
                deviation(
                    "severity",
                    "COL-010",
                    safety=True,
                    severity="warning",
                    default_severity="error",
                    book="shop/a.yaml",
                ),
                deviation("rule", "COL-010", safety=True, book="shop/a.yaml"),
            ]
        }
    )
    lines = _text(report.model_copy(update={"provenance": provenance})).split("\n")
    start = lines.index("Judged by changed rules")
    assert lines[start + 1 : start + 4] == [
        "  OVH-010: most 5 mm by the request's policy, 4 mm in the rulebook",
        "  COL-010: safety rule, error lowered to warning by shop/a.yaml",
        "  COL-010: safety rule, replaced by shop/a.yaml",
    ]


@pytest.mark.parametrize(
    ("observed", "limit", "margin", "unit", "shown"),
    [
        (14.766, 10.0, -4.766, "um", ["14.8 µm", "10 µm", "-4.8 µm"]),
        (12.000000000001, 12.5, 0.499999999999, "mm", ["12 mm", "12.5 mm", "0.5 mm"]),
        (0.993615, 2.0, -1.006385, "1", ["0.994", "2", "-1.01"]),
        (24000.0, 23645.5, -354.5, "/min", ["24000 rpm", "23640 rpm", "-355 rpm"]),
        # rounded they would look equal, and the finding would look wrong
        (12.00004, 12.0, -0.00004, "mm", ["12.00004 mm", "12 mm", "-0.00004 mm"]),
    ],
)
def test_a_finding_has_the_digits_of_its_message(
    reports: dict[str, Report], observed: float, limit: float, margin: float, unit: str, shown: list[str]
) -> None:
    """Observed value, limit and margin are rounded by their unit, unless the first two would look equal."""
    finding = (
        reports["swapped"]
        .findings[0]
        .model_copy(
            update={
                "observed": Quantity(value=observed, unit=unit),
                "limit": Quantity(value=limit, unit=unit),
                "margin": margin,
            }
        )
    )
    assert ["".join(map(str, fact.value)) for fact in finding_facts(finding)] == shown
