"""Which missing fields would decide how many rules on how many stacks: counted by hand."""

from __future__ import annotations

import copy
import json
from importlib.resources import files
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest
import yaml

from rules.assessor import Assessor
from rules.gaps import gaps_of, needed_fields
from rules.quantities.models import MissingQuantity
from rules.schema.parsing import parse_request
from rules.schema.report import Undecided
from service.audit.tally import Tally, summary_lines
from service.batch.lines import NOTHING, LineAnswer, Shared, answer_lines
from service.cli.main import main
from tests.support.audits import write

_BASE: Any = yaml.safe_load(files("rules").joinpath("books/bases/nut_collet.yaml").read_text(encoding="utf-8"))


def _stack(number: str | None = None, *removed: str, **fields: Any) -> dict[str, Any]:
    """The base, its holder with a part number, without these fields of its components."""
    made = copy.deepcopy(_BASE)
    if number is not None:
        made["stack"]["components"][0]["part_number"] = number
    for one in removed:
        place, name = one.split(".")
        del made["stack"]["components"][int(place)][name]
    return {**made, **fields}


def _library() -> list[dict[str, Any]]:
    """Six stacks: three without the mass of a holder, of which two are one holder; one lacks two unbalances."""
    referred = _stack()
    holder = referred["stack"]["components"][0]
    del holder["mass_kg"]
    referred["stack"]["components"][0] = {"kind": "reference", "id": "holder", "of": {"from": "request", "key": "H-2"}}
    referred["components"] = {"H-2": holder}
    return [
        _stack("H-1"),
        _stack("H-1", "0.mass_kg", "0.profile"),
        _stack("H-1", "0.mass_kg"),
        referred,
        _stack("H-1", "0.unbalance_g_mm", "2.unbalance_g_mm"),
        _stack("H-3", "2.max_speed_rpm"),
    ]


def _answers(assessor: Assessor, library: list[dict[str, Any]]) -> list[LineAnswer]:
    return answer_lines(assessor, 1, [json.dumps(one).encode() for one in library], Shared(NOTHING), "verdicts")


def _tally(assessor: Assessor, answers: list[LineAnswer]) -> Tally:
    tally = Tally(assessor.book, None, ["a"])
    for one in answers:
        tally.add(0, one)
    return tally


def test_the_base_lacks_nothing(assessor: Assessor) -> None:
    """Else the count by hand would rest on more than what is removed."""
    assert assessor.assess(parse_request(_BASE)).undecided == []
    assert _answers(assessor, [_stack("H-1")])[0].gaps == ()


_BY_HAND = [
    # kind, field, parts, stacks, stacks that it alone decides
    ("base_holder", "mass_kg", 2, 3, 3),  # H-1 twice, H-2 once
    ("base_holder", "profile", 1, 1, 1),
    ("cutter", "max_speed_rpm", 1, 1, 1),
    ("base_holder", "unbalance_g_mm", 1, 1, 0),  # of two unbalances neither decides the grade alone
    ("cutter", "unbalance_g_mm", 1, 1, 0),
]


def test_the_count_is_that_by_hand(assessor: Assessor) -> None:
    """The most decisive first; equal ones by name."""
    summary = _tally(assessor, _answers(assessor, _library())).summary()
    told = [(one.of, one.field, one.parts, one.stacks, one.decides) for one in summary.gaps]
    assert told == _BY_HAND
    assert summary.gaps_left_out == 0
    assert [one.rules for one in summary.gaps if one.field == "max_speed_rpm"] == [["SPD-010"]]
    assert {"MCH-010", "BAL-020"} <= set(summary.gaps[0].rules)


def test_the_order_of_the_stacks_is_irrelevant(assessor: Assessor) -> None:
    """And so is an interruption between them."""
    answers = _answers(assessor, _library())
    first = _tally(assessor, answers).summary().gaps
    for order in list(permutations(answers))[::97]:
        before, after = _tally(assessor, list(order[:3])), Tally(assessor.book, None, ["a"])
        after.load(json.loads(json.dumps(before.dump())))
        for one in order[3:]:
            after.add(0, one)
        assert after.summary().gaps == first


_MASS = "3  mass (kg) of 2 base holders, missing on 3 stacks ("
_SPEED = "1  max speed (rpm) of 1 cutter, missing on 1 stack (SPD-010)"


def test_the_text_has_the_list(assessor: Assessor) -> None:
    """In a sentence each."""
    lines = list(summary_lines(_tally(assessor, _answers(assessor, _library())).summary()))
    found = [line.strip() for line in lines if "missing on" in line]
    assert found[0].startswith(_MASS)
    assert found[2] == _SPEED
    assert len(found) == len(_BY_HAND)


def test_the_command_has_it_in_json(tmp_path: Path, capsys: Any) -> None:
    """As part of the summary."""
    write(tmp_path / "library.ndjson", [json.dumps(one).encode() + b"\n" for one in _library()])
    main(["audit", "--json", "--quiet", "--workers", "1", str(tmp_path / "library.ndjson")])
    gaps = json.loads(capsys.readouterr().out)["gaps"]
    assert [(one["of"], one["field"], one["parts"], one["stacks"], one["decides"]) for one in gaps] == _BY_HAND


def _gap(code: str, *fields: str) -> Undecided:
    lacks = [MissingQuantity(quantity="x", unit=None, at=[field]) for field in fields]
    return Undecided(code=code, severity="error", title="t", at=[], operation=None, lacks=lacks)


@pytest.mark.parametrize(
    ("gaps", "order"),
    [
        ([], []),
        ([("A-1", "/a")], ["/a"]),
        ([("A-1", "/b", "/a")], ["/a", "/b"]),
        ([("A-1", "/a", "/b"), ("A-2", "/b", "/c"), ("A-3", "/c")], ["/c", "/b", "/a"]),
        ([("A-1", "/a"), ("A-2", "/b"), ("A-3", "/b")], ["/b", "/a"]),
    ],
)
def test_the_most_decisive_field_comes_first(gaps: list[tuple[str, ...]], order: list[str]) -> None:
    """By rules that it alone decides, then by rules that need it, then by its pointer."""
    assert [one.at for one in needed_fields([_gap(*one) for one in gaps])] == order


def test_a_field_that_is_stated_decides_what_is_said(assessor: Assessor) -> None:
    """What the list says of a field comes true when it is stated."""
    without = _stack("H-1", "0.mass_kg")
    told = {one.field: one for one in _answers(assessor, [without])[0].gaps}
    before = {one.code for one in assessor.assess(parse_request(without)).undecided}
    without["stack"]["components"][0]["mass_kg"] = 1.1
    after = {one.code for one in assessor.assess(parse_request(without)).undecided}
    assert before - after == set(told["mass_kg"].alone)
    assert gaps_of([], parse_request(without), assessor.catalogue.definitions) == ()
