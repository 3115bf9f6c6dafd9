"""The parts of the demo are realistic, fit each other and run at usual speeds and feeds."""

from __future__ import annotations

import json
import math
import re
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.couplings.straight_shank import Bore
from rules.schema.components import BaseHolder, Component, Cutter, GaugePin, ProfilePiece
from rules.schema.parsing import parse_request
from rules.schema.request import CheckRequest
from rules.schema.strict_json import parse_json
from rules.stack.outlines import outline_of
from tests.support.stacks import analysis_of

DEMO = Path(__file__).resolve().parents[2] / "demo_data"
STACKS = sorted((DEMO / "stacks").glob("*.json"))
ASSESSOR = Assessor.load()


CUTTING_SPEEDS = {"cemented_carbide": (80, 700), "high_speed_steel": (15, 50), "tool_steel": (120, 300)}
"""m/min by material of the body, tool steel carrying inserts; common practice, up to graphite and aluminium."""

STEEL_KG_MM3 = 7.85e-6
"""Table of materials; carbide 14.5e-6."""
CARBIDE_KG_MM3 = 14.5e-6

BARE_TAPERS_KG: dict[tuple[str, str | None], float] = {
    ("hollow_taper", "63"): 0.70,
    ("hollow_taper", "40"): 0.21,
    ("steep_taper", "40"): 0.95,
    ("polygonal_taper", "63"): 0.72,
}
"""kg: taper and flange alone, from their volumes; steep tapers 0.87 to 1.0 by the form of the flange."""


def _request(file: Path) -> CheckRequest:
    return parse_request(parse_json(file.read_bytes()))


def _parts(file: Path) -> list[Component]:
    return [part for part in _request(file).stack.components if isinstance(part, Component)]


def _volume_mm3(profile: list[ProfilePiece], beyond_mm: float = 0.0) -> float:
    """Return the volume of an outline, mm³, from a place on."""
    total, start = 0.0, 0.0
    for piece in profile:
        first, last = piece.outer_mm, piece.outer_end_mm or piece.outer_mm
        bore = piece.bore_mm or 0.0
        if start >= beyond_mm:
            square = (first**2 + first * last + last**2) / 3
            total += math.pi / 4 * piece.length_mm * (square - bore**2)
        start += piece.length_mm
    return total


@pytest.mark.parametrize("file", STACKS, ids=lambda file: file.stem)
def test_no_part_stands_in_solid_material(file: Path) -> None:
    """Geometry: where two outlines overlap along the axis, the inner one fits into the bore of the outer one."""
    analysis = analysis_of(_request(file))
    places = zip(analysis.chain.members, analysis.geometry.places, strict=True)
    drawn = [pieces for pieces in (outline_of(*one) for one in places) if isinstance(pieces, tuple)]
    assert len(drawn) >= 2
    for outer, inner in combinations(drawn, 2):
        for hole in outer:
            for body in inner:
                if min(hole.to_mm, body.to_mm) - max(hole.from_mm, body.from_mm) > 0.01:
                    assert max(body.start_mm, body.end_mm) <= hole.bore_mm + 0.4, (hole, body)


@pytest.mark.parametrize("file", STACKS, ids=lambda file: file.stem)
def test_a_bore_is_as_deep_as_it_is_stated(file: Path) -> None:
    """Geometry: within the stated depth of a fixed bore the outline is hollow to at least its diameter."""
    for part in _parts(file):
        side = getattr(part, "workpiece_side", None)
        if not isinstance(side, Bore) or part.profile is None:
            continue
        assert side.depth_mm is not None
        assert side.diameter_mm is not None
        depth = side.depth_mm
        for piece in reversed(part.profile):
            if depth > 0.01:
                assert (piece.bore_mm or 0.0) >= side.diameter_mm, part.part_number
            depth -= piece.length_mm
        assert depth < 0.01, part.part_number


@pytest.mark.parametrize("file", STACKS, ids=lambda file: file.stem)
def test_lengths_of_a_tool_add_up(file: Path) -> None:
    """Geometry: shank and flutes fit into the overall length; the outline is as long as the part."""
    for part in _parts(file):
        overall = getattr(part, "overall_length_mm", None)
        if overall is None or part.profile is None:
            continue
        assert math.fsum(piece.length_mm for piece in part.profile) == pytest.approx(overall, abs=0.01)
        shank = getattr(getattr(part, "machine_side", None), "length_mm", None)
        if isinstance(part, Cutter) and part.flute_length_mm and shank:
            assert shank + part.flute_length_mm <= overall + 0.5
            assert part.runout is not None
            assert part.runout.statements[0].at_mm <= overall - 0.6 * shank


@pytest.mark.parametrize("file", STACKS, ids=lambda file: file.stem)
def test_the_measuring_plane_lies_on_the_tool(file: Path) -> None:
    """Geometry: an indicator cannot touch beyond the tip."""
    report = ASSESSOR.assess(_request(file))
    plane, tip, *read = report.runout.planes
    assert (plane.plane, tip.plane) == ("gauge_plane", "tip")
    assert plane.from_gauge_line_mm <= tip.from_gauge_line_mm == report.geometry.tip_mm
    for one in read:
        assert (one.plane, one.readable, plane.readable) == ("reading_plane", True, False)
        assert one.from_gauge_line_mm < plane.from_gauge_line_mm


@pytest.mark.parametrize("file", STACKS, ids=lambda file: file.stem)
def test_masses_follow_from_volumes(file: Path) -> None:
    """Density times volume: holders within 15 %; cutting tools up to 40 % lighter than their outline for the flutes."""
    for part in _parts(file):
        if part.mass_kg is None or part.profile is None:
            continue
        if isinstance(part, BaseHolder):
            assert part.machine_side is not None
            bare_kg = BARE_TAPERS_KG[part.machine_side.coupling, getattr(part.machine_side, "size", None)]
            body_kg = _volume_mm3(part.profile, beyond_mm=19) * STEEL_KG_MM3
            assert part.mass_kg == pytest.approx(bare_kg + body_kg, rel=0.15), part.part_number
        elif isinstance(part, Cutter):
            density = CARBIDE_KG_MM3 if part.material == "cemented_carbide" else STEEL_KG_MM3
            assert 0.6 <= part.mass_kg / (_volume_mm3(part.profile) * density) <= 1.1, part.part_number


@pytest.mark.parametrize("file", STACKS, ids=lambda file: file.stem)
def test_speeds_and_feeds_are_those_of_the_trade(file: Path) -> None:
    """Common practice: cutting speed by the tool's material; feed per tooth 0.3 to 2 % of a solid tool's
    diameter, 0.1 to 0.3 mm of an insert.
    """
    request = _request(file)
    (tool,) = [part for part in request.stack.components if isinstance(part, (Cutter, GaugePin))]
    if not isinstance(tool, Cutter):
        return
    assert request.operations
    (operation,) = request.operations
    assert operation.feed_per_tooth_mm is not None
    assert tool.cutting_diameter_mm is not None
    assert tool.material is not None
    speed = operation.cutting_speed_m_per_min
    if speed is None:
        assert operation.spindle_speed_rpm is not None
        speed = math.pi * tool.cutting_diameter_mm * operation.spindle_speed_rpm / 1000
    slowest, fastest = CUTTING_SPEEDS[tool.material]
    assert slowest <= speed <= fastest
    feed = operation.feed_per_tooth_mm
    if tool.material == "tool_steel":
        assert 0.1 <= feed <= 0.3
    else:
        assert 0.003 <= feed / tool.cutting_diameter_mm <= 0.02
    if tool.max_cutting_speed_m_per_min is not None:
        assert speed <= tool.max_cutting_speed_m_per_min


@pytest.mark.parametrize("file", STACKS, ids=lambda file: file.stem)
def test_unbalance_is_that_of_ground_parts(file: Path) -> None:
    """Common practice: a mass centre between 0.1 and 25 µm off the axis; g·mm over kg are µm."""
    for part in _parts(file):
        if part.unbalance_g_mm is not None and part.mass_kg is not None:
            assert 0.1 <= part.unbalance_g_mm / part.mass_kg <= 25, part.part_number


def test_a_part_number_means_one_part() -> None:
    """The same number carries the same data in every stack, but for what stack 15 leaves out and ratings of a joint."""
    seen: dict[str, dict[str, Any]] = {}
    for file in STACKS:
        if file.stem.startswith("15"):
            continue
        for part in json.loads(file.read_text(encoding="utf-8"))["stack"]["components"]:
            told = {name: value for name, value in part.items() if name not in ("id", "workpiece_side")}
            assert seen.setdefault(part["part_number"], told) == told, (file.stem, part["part_number"])


def test_names_are_readable() -> None:
    """Ids are words of the trade, and part numbers carry no series name of letters followed at once by digits."""
    for file in STACKS:
        stack = json.loads(file.read_text(encoding="utf-8"))["stack"]
        assert re.fullmatch(r"KB-01\d\d(-PIN)?", stack["id"])
        for part in stack["components"]:
            assert re.fullmatch(r"[a-z]{3,}(-[a-z]+)?(-\d)?", part["id"]), part["id"]
            assert part["part_number"].startswith("KB-")
            assert not re.search(r"-[A-Z]+\d", re.sub(r"KB-(A63|E40|ST40|V40|PT63)", "", part["part_number"]))
