"""The work instruction as text has everything in the report, in its order."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from rich.console import Console

from rules.rulebook.loader import base_names, base_request
from rules.schema.parsing import parse_request
from service.sheets.check import print_assembly, report_text
from service.sheets.page import report_page
from tests.support.assemblies import assembly_of
from tests.support.pages import parsed, words
from tests.support.stacks import assessor

STACKS = sorted((Path(__file__).parents[2] / "demo_data/stacks").glob("*.json"))


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
        for told in (step.text, *step.from_maker):
            place = printed.index(told, place)
    assert report.acceptance is not None
    place = printed.index(report.acceptance.rule, printed.index("\nAcceptance\n"))
    place = printed.index(report.record.release, printed.index("\nRecord: Build\n"))
    for digest in (report.record.instruction_sha256, report.record.request_sha256, report.record.judgement_sha256):
        place = printed.index(digest, place)
    for blank in report.record.blanks:
        place = printed.index(blank.name, place)
    for step in report.disassembly:
        place = printed.index(step.text, printed.index("\nDisassembly\n"))


def test_blanks_tell_what_they_should_be() -> None:
    """Golden: target and bounds stand before the line to fill in, the unit after it."""
    lines = [line.strip() for line in _printed("press_in").splitlines()]
    assert "grip length collet-1/extension (55 ± 0.5, at least 40, at most 60, common practice): ________ mm" in lines
    assert "serial number collet-1: ________" in lines
    assert "tightening torque of the retention knob: ________ N·m" in lines
    assert "released by: ________" in lines


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
    assert out.getvalue().strip().startswith("Assembly: Do not build")
    assert "\nRecord: Do not build\n" in out.getvalue()


@pytest.mark.parametrize("file", STACKS, ids=lambda file: file.stem)
def test_no_place_in_the_request_and_no_caution_twice(file: Path) -> None:
    """Who builds at the bench reads words, and each caution once on page and text."""
    request = parse_request(json.loads(file.read_bytes())).with_assembly()
    report, derived = assessor().assess_derived(request)
    out = io.StringIO()
    assert report.assembly is not None
    print_assembly(report.assembly, Console(file=out, width=4000, highlight=False))
    assert "/stack" not in out.getvalue()
    assert "/operations" not in out.getvalue()
    page = words(parsed(report_page(report, derived)))
    text = " ".join(report_text(report).split())
    for caution in report.cautions:
        assert page.count(" ".join(caution.split())) == 1
        assert text.count(" ".join(caution.split())) == 1
        assert caution not in out.getvalue()
