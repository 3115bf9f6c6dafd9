"""The invented libraries: same bytes for the same arguments, every line valid, all features included."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.schema.components import MAX_DEFINITIONS
from rules.schema.parsing import parse_request
from rules.schema.strict_json import parse_json
from rules.stack.chain import NOTHING_MOUNTED, resolve
from service.batch.lines import Shared, answer_lines
from tests.support.libraries import Style, library_lines, write_library
from tests.support.toolroom_parts import parts


def test_bytes_are_the_same_for_the_same_arguments(tmp_path: Path) -> None:
    """Twice the same; another seed gives another library; a longer one begins with the shorter."""
    write_library(tmp_path / "1.ndjson", 200, seed=4)
    write_library(tmp_path / "2.ndjson", 200, seed=4)
    assert (tmp_path / "1.ndjson").read_bytes() == (tmp_path / "2.ndjson").read_bytes()
    assert list(library_lines(50, 4)) == list(library_lines(200, 4))[:50] != list(library_lines(50, 5))


def test_bytes_are_the_same_on_every_machine() -> None:
    """Golden: so that figures of two machines are of the same library; hash anew after a change of the shop."""
    digest = hashlib.sha256(b"".join(library_lines(300, 1))).hexdigest()
    assert digest == "ec50adb55c5c16fc3675b90938571f69c5e562c177135b1d3445bc235cffcc58"


@pytest.mark.parametrize("style", ["inline", "references"])
def test_every_line_is_a_request(style: Style) -> None:
    """A check takes every stack as it is; those that refer to parts find them in the definitions in front."""
    components: dict[str, Any] = {}
    found = 0
    for line in library_lines(300, 2, style):
        value = parse_json(line)
        if "stack" not in value:
            components |= value["components"]
            continue
        request = parse_request(value | {"components": components} if style == "references" else value)
        assert not resolve(request, NOTHING_MOUNTED).broken
        found += 1
    assert found == 300
    assert (200 < len(components) <= MAX_DEFINITIONS) == (style == "references")


def test_the_shop_has_a_few_hundred_parts() -> None:
    """Each with a number of its own, of every kind a stack is made of."""
    kinds = Counter(part["kind"] for part in parts().values())
    assert 200 <= sum(kinds.values()) <= 600
    assert set(kinds) == {"base_holder", "collet", "extension", "cutter", "retention_knob"}
    assert all(key.startswith("KB-") for key in parts())


def test_there_is_some_of_everything(assessor: Assessor) -> None:
    """Most pass, some need review for want of data or by a warning, a few fail; all couplings occur."""
    lines = list(library_lines(400, 1))
    answers = answer_lines(assessor, 1, lines, Shared(), "verdicts")
    verdicts = Counter(answer.verdict for answer in answers)
    assert verdicts[None] == 0
    assert 0.6 < verdicts["pass"] / 400 < 0.9
    assert 0.07 < verdicts["review"] / 400 < 0.3
    assert 0.02 < verdicts["fail"] / 400 < 0.15
    assert 0.05 < sum(bool(answer.undecided) for answer in answers) / 400 < 0.2
    assert len({code for answer in answers for code in answer.codes}) >= 12
    couplings = {
        part["workpiece_side"]["coupling"]
        for line in lines
        for part in json.loads(line)["stack"]["components"]
        if "workpiece_side" in part
    }
    assert couplings == {
        "press_collet",
        "nut_collet",
        "collet_bore",
        "shrink_fit",
        "hydraulic",
        "side_lock",
        "shell_mill_arbor",
    }
