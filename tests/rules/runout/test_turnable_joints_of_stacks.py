"""Number of positions of each joint, from the spindle outward."""

from __future__ import annotations

import pytest

from rules.rulebook.loader import base_request
from rules.runout.contributors import positions_of
from rules.schema.parsing import parse_request
from rules.stack.chain import chain_of


@pytest.mark.parametrize(
    ("base", "positions"),
    [
        ("nut_collet", [1, 0, 0]),
        ("press_in", [2, 0, 0, 0, 0]),
        ("shell_mill", [1, 2]),
    ],
)
def test_the_drive_of_a_joint_tells_its_positions(base: str, positions: list[int]) -> None:
    """Two key slots of unequal depth (ISO 12164-1) allow one, two drive keys (from memory) and two transverse keys
    (ISO 6462) two, a collet and a shank any: 0."""
    assert positions_of(chain_of(parse_request(base_request(base)))) == positions


def test_a_spindle_that_is_not_stated_is_not_turned() -> None:
    """No reading may be explained by turning in a spindle that nobody has described."""
    request = base_request("press_in")
    del request["machine"]
    assert positions_of(chain_of(parse_request(request))) == [1, 0, 0, 0, 0]
