"""The work instruction as text has everything in the report, in its order."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from rules.rulebook.loader import base_names, base_request
from service.sheets.check import print_assembly
from tests.support.assemblies import assembly_of


def _printed(name: str, width: int = 4000) -> str:
    out = io.StringIO()
    print_assembly(assembly_of(base_request(name)), Console(file=out, width=width, highlight=False))
    return out.getvalue()


@pytest.mark.parametrize("name", base_names())
def test_every_step_and_blank_is_printed_in_order(name: str) -> None:
    """Texts, cautions, what the makers state, the rule and the blanks follow each other as in the report."""
    report, printed = assembly_of(base_request(name)), _printed(name)
    place = 0
    for step in report.steps:
        for words in (step.text, *step.caution, *step.from_maker):
            place = printed.index(words, place)
    place = printed.index(report.acceptance.rule, printed.index("\nAcceptance\n"))
    for blank in report.record:
        place = printed.index(blank.name, place)
    for step in report.disassembly:
        place = printed.index(step.text, printed.index("\nDisassembly\n"))


def test_blanks_tell_what_they_should_be() -> None:
    """Golden: target and bounds stand before the line to fill in, the unit after it."""
    lines = [line.strip() for line in _printed("press_in").splitlines()]
    assert "grip length collet-1/extension (55, at least 40, at most 60): ________ mm" in lines
    assert "tightening torque of the retention knob: ________ N·m" in lines
    assert "signature: ________" in lines


def test_lines_fit_the_console() -> None:
    """Wrapped to the width, with nothing at the ends of the lines."""
    for line in _printed("press_in", 72).splitlines():
        assert len(line) <= 72
        assert line == line.rstrip()


def test_stopped_assembly_says_so_in_its_heading() -> None:
    """Whoever reads the heading alone does not start to build."""
    request = base_request("press_in")
    request["stack"]["components"][4]["machine_side"]["diameter_mm"] = 9
    out = io.StringIO()
    print_assembly(assembly_of(request), Console(file=out, width=100, highlight=False))
    assert out.getvalue().strip().startswith("Assembly, which cannot be finished")
