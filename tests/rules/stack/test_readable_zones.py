"""What an indicator can reach is the same as a list of zones and plane by plane."""

from __future__ import annotations

import random
from itertools import pairwise
from pathlib import Path

import pytest

from rules.quantities.missing import Missing
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.strict_json import parse_json
from rules.stack.positions import MIN_LENGTH_MM, readable_zones, surface_at
from tests.support.random_stacks import random_stack
from tests.support.stacks import analysis_of


def test_every_plane_lies_in_the_zone_of_its_surface() -> None:
    """On random stacks: the zones follow each other from the face to the tip, and none holds another surface."""
    seen = set[str]()
    for number in range(300):
        try:
            derived = analysis_of(parse_request(random_stack(random.Random(number))))
        except BadRequestError:
            continue
        chain, positions = derived.chain, derived.geometry
        zones = readable_zones(chain, positions)
        face, tip = positions.last_clamping_face, positions.tip
        if zones:
            assert not isinstance(face, Missing)
            assert not isinstance(tip, Missing)
            assert (zones[0].start_mm, zones[-1].end_mm) == pytest.approx((face, tip), abs=2 * MIN_LENGTH_MM)
        for one, following in pairwise(zones):
            assert one.end_mm == following.start_mm
        for one in zones:
            found = surface_at(chain, positions, (one.start_mm + one.end_mm) / 2)
            assert found == ("flutes" if one.surface == "flutes" else "round")
            seen.add(one.surface)
    assert seen == {"plain_shank", "flutes"}


def test_a_gauge_pin_can_be_read_all_over() -> None:
    """From the face of its clamp to its end."""
    file = Path(__file__).parents[3] / "demo_data/stacks/02-deep-rib-gauge-pin.json"
    derived = analysis_of(parse_request(parse_json(file.read_bytes())))
    (zone,) = readable_zones(derived.chain, derived.geometry)
    assert zone.surface == "pin"
    assert zone.end_mm - zone.start_mm == pytest.approx(derived.geometry.projections[-1])
