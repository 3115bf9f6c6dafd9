"""Ten questions of an applications engineer's week, each in at most 15 lines, answered without further data."""

from __future__ import annotations

from pathlib import Path

import pytest

from rules.schema.report import Report
from rules.schema.short_form import full_form, read_yaml
from tests.support.stacks import report_of

_FILES = sorted(Path("demo_data/questions").glob("*.yaml"))


def _answer(file: Path) -> Report:
    request = full_form(read_yaml(file.read_bytes()))
    request["policy"] = {"unstated": "typical"}
    return report_of(request)


def test_there_are_ten() -> None:
    """One file a question."""
    assert len(_FILES) == 10


@pytest.mark.parametrize("file", _FILES, ids=lambda file: file.stem)
def test_a_question_is_short_and_answered(file: Path) -> None:
    """Runout at both planes with its range, every designation understood, and few rules left open."""
    assert len(file.read_text(encoding="utf-8").splitlines()) <= 15
    report = _answer(file)
    for name in ("gauge_plane", "tip"):
        plane = report.runout.plane(name)
        assert plane is not None
        assert plane.quantile_um("p95") is not None
    assert all(one.understood_as is not None for one in report.understood)
    assert report.ranges
    assert {one.code for one in report.undecided} <= {"SPD-010", "KNOB-010"}
    assert report.verdict == "review"
    assert not [one for one in report.findings if one.severity == "error"]


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        # common practice for the 95th percentile at 3 diameters: shrink fit below 10 µm, collets of class 2 about 20
        ("01-mould-at-52-hrc", 4, 10),
        ("06-steel-at-3xd", 15, 25),
        ("08-half-inch-on-a-40-taper", 15, 25),
        ("10-half-a-millimetre-at-40000", 2, 6),
    ],
)
def test_what_runout_to_expect(name: str, low: float, high: float) -> None:
    """In the range that the trade expects."""
    plane = _answer(Path(f"demo_data/questions/{name}.yaml")).runout.plane("gauge_plane")
    assert plane is not None
    p95 = plane.quantile_um("p95")
    assert p95 is not None
    assert low <= p95 <= high
