"""Every rule fires, does not fire or is undecided as its examples state."""

from __future__ import annotations

import pytest

from rules.assessor import Assessor
from rules.exchange.catalogue import entry_of
from rules.exchange.documents import Catalogue
from rules.rulebook.book import Example, Rule
from rules.rulebook.loader import base_names, base_request, example_request
from rules.schema.parsing import parse_request
from rules.schema.report import Report
from rules.stack.chain import Mounted

ASSESSOR = Assessor.load()


def _examples(kind: str) -> list[object]:
    return [
        pytest.param(rule, example, id=f"{rule.code}-{example.name}".replace(" ", "-"))
        for rule in ASSESSOR.book.rules
        for example in getattr(rule.examples, kind)
    ]


def _judge(example: Example) -> tuple[Report, set[str], set[str]]:
    assessor = ASSESSOR
    if example.catalogue:
        mounted = {key: [entry_of(one) for one in entries] for key, entries in example.catalogue.items()}
        assessor = Assessor(ASSESSOR.book, Catalogue(Mounted(mounted, {})))
    report = assessor.assess(parse_request(example_request(example)))
    return report, {item.code for item in report.findings}, {item.code for item in report.undecided}


@pytest.mark.parametrize(("rule", "example"), _examples("fires"))
def test_fires(rule: Rule, example: Example) -> None:
    """The rule objects, and its severity shows in the verdict."""
    report, fired, _ = _judge(example)
    assert rule.code in fired
    if rule.severity == "error":
        assert report.verdict == "fail"
    if rule.severity == "warning":
        assert report.verdict in ("review", "fail")


@pytest.mark.parametrize(("rule", "example"), _examples("silent"))
def test_stays_silent(rule: Rule, example: Example) -> None:
    """The rule neither objects nor is undecided."""
    _, fired, gaps = _judge(example)
    assert rule.code not in fired | gaps


@pytest.mark.parametrize(("rule", "example"), _examples("undecided"))
def test_is_undecided_without_a_needed_field(rule: Rule, example: Example) -> None:
    """The rule says what it lacks, and the verdict does not pass."""
    report, fired, gaps = _judge(example)
    assert rule.code in gaps
    assert rule.code not in fired
    assert report.verdict in ("review", "fail")
    assert all(lack.at for item in report.undecided for lack in item.lacks)


@pytest.mark.parametrize("base", base_names())
def test_base_request_passes_every_rule(base: str) -> None:
    """A base request is decided in full and nothing objects to it."""
    report = ASSESSOR.assess(parse_request(base_request(base)))
    assert (report.verdict, report.findings, report.undecided) == ("pass", [], [])


def test_every_rule_with_data_of_its_own_has_an_undecided_example() -> None:
    """Only rules about what is always there, or only judged where stated, go without one."""
    without = {rule.code for rule in ASSESSOR.book.rules if not rule.examples.undecided}
    assert without == {
        "STK-010", "STK-020", "STK-030", "STK-040", "STK-050", "STK-060",
        "COL-030", "GRIP-060", "SPD-030", "THR-030",
        "DAT-010", "DAT-020", "DAT-030", "DAT-040", "DAT-050", "DAT-060", "DAT-070", "DAT-080", "CUT-020",
        "STA-010",
        "CUT-040", "OVH-040", "TPG-020", "TPG-030", "TPG-070",
        "PLA-010", "PLA-020", "PLA-030", "PLA-060", "PLA-070", "PLA-080", "PLA-090", "PLA-100",
        "PLA-110", "PLA-120", "PLA-210", "PLA-220",
        "PLA-230", "PLA-240", "PLA-250", "PLA-260", "PLA-290", "PLA-300", "PLA-310", "PLA-320", "PLA-330", "PLA-340",
        "PLA-350", "PLA-360", "PLA-370", "PLA-380",
        "REF-010", "REF-020", "REF-030", "REF-050", "LIB-010", "LIB-020", "LIB-030",
    }  # fmt: skip
