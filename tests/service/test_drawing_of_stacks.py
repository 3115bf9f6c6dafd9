"""The side view is to scale, with findings in position and no invented shapes."""

from __future__ import annotations

import copy
import json
import math
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from rules.quantities.models import parse_length
from service.drawing.labels import Noted, Spot, Spots, Weight, shape
from service.drawing.svg import KINDS, definitions, group, shade
from tests.support.pictures import SVG, corners_of, drawn, judged, named, parsed, words_in
from tests.support.stacks import known, quantile

STACKS = {
    file.stem[:2]: json.loads(file.read_text(encoding="utf-8"))
    for file in sorted((Path(__file__).parents[2] / "demo_data/stacks").glob("*.json"))
}


def _drawing(request: dict[str, Any], *, bent: bool = True) -> etree._Element:
    picture = drawn(request, bent=bent).stack
    assert picture is not None
    return parsed(picture)


def _part(root: etree._Element, number: int) -> etree._Element:
    (found,) = root.findall(f".//{SVG}g[@data-part='{number}']")
    return found


def _extent(part: etree._Element) -> tuple[float, float, float, float]:
    """Return left, right, top and bottom of a part's polygons."""
    corners = [corner for one in part.findall(f"{SVG}polygon") for corner in corners_of(one)]
    return (
        min(x for x, _ in corners),
        max(x for x, _ in corners),
        min(y for _, y in corners),
        max(y for _, y in corners),
    )


def _bar(root: etree._Element) -> float:
    """Return pixels a millimetre by the bar that the drawing itself shows."""
    (words,) = [one for one in words_in(root) if one.words.startswith("to scale: ")]
    bar = root.findall(f"{SVG}path")[0]
    corners = corners_of(bar)
    return (corners[2][0] - corners[1][0]) / float(words.words.split()[2])


@pytest.mark.parametrize("number", ["01", "03", "04", "08", "12", "16", "18"])
def test_all_parts_are_drawn_to_one_scale(number: str) -> None:
    """First principles: pixels over millimetres are equal for every part, along and across, and that of the bar."""
    request = STACKS[number]
    root = _drawing(request)
    scale = _bar(root)
    checked = 0
    parts = [part for part in request["stack"]["components"] if part["kind"] != "retention_knob"]
    for place, part in enumerate(parts):
        if "profile" not in part:
            continue
        left, right, top, bottom = _extent(_part(root, place))
        pieces = part["profile"]
        widest = max(max(piece["outer_mm"], piece.get("outer_end_mm", 0)) for piece in pieces)
        assert (right - left) / scale == pytest.approx(sum(piece["length_mm"] for piece in pieces), abs=0.05)
        assert (bottom - top) / scale == pytest.approx(widest, abs=0.05)
        checked += 1
    assert checked >= 2


@pytest.mark.parametrize("number", ["01", "04", "12", "16"])
def test_sections_follow_the_outline_corner_by_corner(number: str) -> None:
    """First principles: outer and inner diameter of each piece stand at its two ends, above and below the axis."""
    request = STACKS[number]
    root = _drawing(request)
    scale = _bar(root)
    for place, part in enumerate(request["stack"]["components"]):
        if "profile" not in part:
            continue
        left, _, top, bottom = _extent(_part(root, place))
        axis = (top + bottom) / 2.0
        found = {
            (round((x - left) / scale, 1), round(2.0 * (axis - y) / scale, 1))
            for one in _part(root, place).findall(f"{SVG}polygon")
            for x, y in corners_of(one)
        }
        begin, expected = 0.0, set()
        rounded = part.get("corner_radius_mm", 0.0) if "flute_length_mm" in part else 0.0
        tip = sum(piece["length_mm"] for piece in part["profile"]) - rounded
        for piece in part["profile"]:
            end = min(begin + piece["length_mm"], tip)
            outer = piece["outer_mm"], piece.get("outer_end_mm", piece["outer_mm"])
            for z, diameter in zip((begin, end), outer, strict=True):
                expected |= {(z, diameter), (z, -diameter)}
            if piece.get("bore_mm"):
                expected |= {(z, side * piece["bore_mm"]) for z in (begin, end) for side in (1, -1)}
            begin = end
        assert found == {(round(z, 1), round(diameter, 1)) for z, diameter in expected}


def test_places_along_the_axis_are_those_of_the_report() -> None:
    """The indicator and the end of each part stand where the geometry says."""
    root = _drawing(STACKS["01"])
    report, _ = judged(STACKS["01"])
    scale = _bar(root)
    zero = _extent(_part(root, 0))[0]
    dial = root.find(f".//{SVG}g[@data-plane='gauge']/{SVG}circle")
    assert dial is not None
    # the gauge plane is on the flutes, so the indicator is on the plain shank before them
    assert (float(dial.get("cx", "")) - zero) / scale == pytest.approx(227.0 - 12.0 - 1.0, abs=0.05)
    for place in (1, 2):
        end = report.geometry.components[place].to_mm
        assert (_extent(_part(root, place))[1] - zero) / scale == pytest.approx(end, abs=0.05)
    told = {one.words for one in words_in(root)}
    assert {"B grip 50", "B projection 80", "C grip 36", "C projection 27", "gauge length 120"} <= told
    assert {"gauge line 0", "face of A 120", "face of B 200", "gauge plane 224", "tip 227"} <= told
    assert "plane to read 214" in told
    assert {"Ø63", "Ø50", "Ø20", "Ø8"} <= told


@pytest.mark.parametrize("length", [60.0, 600.0])
def test_short_and_long_stacks_fill_the_sheet(length: float) -> None:
    """From the gauge line to the tip 60 mm and 600 mm: every dimension stays in words, as wide as the sheet allows."""
    request = json.loads(json.dumps(STACKS["04"]))
    holder, _ = request["stack"]["components"]
    body = length - 39.0
    holder["gauge_length_mm"] = body
    holder["profile"] = [{"length_mm": body, "outer_mm": 30, "bore_mm": 12}]
    root = _drawing(request)
    left, _, _, _ = _extent(_part(root, 0))
    _, right, top, bottom = _extent(_part(root, 1))
    assert right - left == pytest.approx(length * _bar(root), abs=0.2)
    assert bottom - top > 12.0
    told = {one.words for one in words_in(root)}
    assert {f"gauge length {body:g}", "B grip 44", "B projection 39", f"tip {length:g}"} <= told


def _taper(machine_side: dict[str, Any]) -> tuple[float, float, float]:
    """Return length, diameter at the gauge line and at the end of a drawn taper, mm."""
    request = json.loads(json.dumps(STACKS["04"]))
    request["stack"]["components"][0]["machine_side"] = machine_side
    root = _drawing(request)
    (found,) = root.findall(f".//{SVG}g[@data-fitting='taper-0']/{SVG}polygon")
    corners, scale = corners_of(found), _bar(root)
    (large, high), (small, end), _, (_, low) = corners
    far = corners[2][1] - end
    return (large - small) / scale, (low - high) / scale, far / scale


@pytest.mark.parametrize(
    ("side", "length", "at_gauge_line", "rate"),
    [
        ({"coupling": "steep_taper", "size": "40", "form": "mas_403"}, 65.4, 44.45, 7 / 24),
        ({"coupling": "steep_taper", "size": "50", "form": "iso_7388_1_ad"}, 101.75, 69.85, 7 / 24),
        ({"coupling": "hollow_taper", "size": "63", "form": "A"}, 32.0, 48.64, 1 / 9.98),
        ({"coupling": "hollow_taper", "size": "63", "form": "F"}, 25.0, 38.64, 1 / 9.98),
        ({"coupling": "polygonal_taper", "size": "63"}, 28.35, 44.0, 1 / 20),
        ({"coupling": "morse_taper", "size": "3"}, 78.6, 23.825, 0.0502),
    ],
)
def test_tapers_have_the_form_of_their_standard(
    side: dict[str, Any], length: float, at_gauge_line: float, rate: float
) -> None:
    """Length, diameter at the gauge line, and rate of taper on the diameter."""
    found = _taper(side)
    assert found[0] == pytest.approx(length, abs=0.05)
    assert found[1] == pytest.approx(at_gauge_line, abs=0.05)
    assert (found[1] - found[2]) / found[0] == pytest.approx(rate, abs=0.002)


def test_one_lobe_of_a_polygon_points_up() -> None:
    """The two sides differ by twice its eccentricity, 1.4 mm in size 63."""
    request = json.loads(json.dumps(STACKS["04"]))
    request["stack"]["components"][0]["machine_side"] = {"coupling": "polygonal_taper", "size": "63"}
    root = _drawing(request)
    (found,) = root.findall(f".//{SVG}g[@data-fitting='taper-0']/{SVG}polygon")
    _, _, top, bottom = _extent(_part(root, 0))
    axis = (top + bottom) / 2.0
    upper, lower = axis - corners_of(found)[0][1], corners_of(found)[3][1] - axis
    assert (upper - lower) / _bar(root) == pytest.approx(2 * 1.4, abs=0.05)


def test_a_part_larger_than_the_bore_around_it_is_red_and_said() -> None:
    """The shank as far as it lies in the smaller bore, and not where it has room."""
    request = json.loads(json.dumps(STACKS["04"]))
    assert "data-overlap" not in (drawn(request).stack or "")
    request["stack"]["components"][0]["profile"][-1]["bore_mm"] = 11.0
    picture = drawn(request).stack
    assert picture is not None
    root = parsed(picture)
    (red,) = root.findall(f".//{SVG}g[@data-overlap='0-1']")
    corners = [corner for one in red for corner in corners_of(one)]
    zero, scale = _extent(_part(root, 0))[0], _bar(root)
    grip = request["stack"]["joints"][0]["grip_length_mm"]
    assert {round((x - zero) / scale, 1) for x, _ in corners} == {90.0 - grip, 90.0}
    assert max(y for _, y in corners) - min(y for _, y in corners) == pytest.approx(12.0 * scale, abs=0.1)
    about = root.findtext(f"{SVG}desc") or ""
    assert "B end-mill is larger than the bore" in about
    assert f"from {90 - grip} to 90 mm." in about


def test_what_is_assumed_is_lighter_and_said() -> None:
    """An outline that the report assumes is dashed, its diameters in parentheses; the stated one beside it is not."""
    request = json.loads(json.dumps(STACKS["04"]))
    del request["stack"]["components"][0]["profile"]
    request["policy"] = {"unstated": "typical"}
    root = _drawing(request)
    light, stated = _part(root, 0).findall(f"{SVG}polygon"), _part(root, 1).findall(f"{SVG}polygon")
    assert light
    assert stated
    assert all(one.get("stroke-dasharray") and float(one.get("fill-opacity", "1")) < 0.5 for one in light)
    assert not any(one.get("stroke-dasharray") or one.get("fill-opacity") for one in stated)
    told = [one.words for one in words_in(root)]
    assert "(Ø63)" in told
    assert "Ø12" in told
    assert "Outline assumed, drawn lighter: holder." in (root.findtext(f"{SVG}desc") or "")


@pytest.mark.parametrize("distance", [100.0, 126.0, 140.0, 900.0])
def test_the_indicator_never_leaves_the_tool(distance: float) -> None:
    """A gauge plane stated beyond the tip is labelled as that; nothing can be read there."""
    request = json.loads(json.dumps(STACKS["04"]))
    request["gauge_plane"] = {"datum": "gauge_line", "distance_mm": distance}
    root = _drawing(request)
    dial = root.find(f".//{SVG}g[@data-plane='gauge']/{SVG}circle")
    assert dial is not None
    zero, scale = _extent(_part(root, 0))[0], _bar(root)
    assert (float(dial.get("cx", "")) - zero) / scale == pytest.approx(min(distance, 129.0), abs=0.1)
    told = " ".join(one.words for one in words_in(root))
    assert ("beyond the tip" in told) == (distance > 129.0)


def test_knobs_nuts_and_collets_are_drawn() -> None:
    """A knob behind the taper, a nut at the face, a collet with its 8° cone."""
    root = _drawing(STACKS["09"])
    kinds = {one.get("data-fitting") for one in root.iter(f"{SVG}g") if one.get("data-fitting")}
    assert {"taper-0", "knob-0", "nut-0"} <= kinds
    left, right, top, bottom = _extent(_part(root, 1))
    upper = corners_of(_part(root, 1).findall(f"{SVG}polygon")[0])
    axis = (top + bottom) / 2.0
    (begin, small), (at, big) = upper[0], upper[1]
    assert begin == left
    assert at < right
    slope = ((axis - big) - (axis - small)) / (at - begin)
    assert math.degrees(math.atan(slope)) == pytest.approx(8.0, abs=0.1)


def test_what_is_not_stated_is_dashed_and_said() -> None:
    """A part without outline has a dashed box, one without place a question mark, and the list says which is which."""
    request = json.loads(json.dumps(STACKS["03"]))
    extension = request["stack"]["components"][2]
    del extension["profile"], extension["overall_length_mm"]
    root = _drawing(request)
    for number in (2, 3, 4):
        part = _part(root, number)
        assert part.findall(f"{SVG}polygon") == []
        (box,) = part.findall(f"{SVG}rect")
        assert box.get("stroke-dasharray")
        assert part.findtext(f"{SVG}text") == "?"
    told = " ".join(one.words for one in words_in(root))
    assert told.count("length or position not stated") == 3
    assert "outline not stated" in told
    # a collet by the bore and the shank it lies between: dashed, never as if its outline were known
    collet = _part(root, 1)
    assert [one.get("stroke-dasharray") for one in collet] == ["5 3", "5 3"]
    assert not any(one.get("stroke-dasharray") for one in _part(root, 0))


def test_the_bent_axis_is_drawn_as_much_larger_as_it_says() -> None:
    """Its height at the tip is half the worst reading, times the factor in words, times the scale."""
    root = _drawing(STACKS["01"])
    report, _ = judged(STACKS["01"])
    worst_um = known(quantile(report, "tip", "p100", "worst_case"))
    panel = root.find(f".//{SVG}g[@data-panel='bent-axis']")
    assert panel is not None
    (times,) = re.findall(r"enlarged ([\d\u00a0]+) times", panel.findtext(f"{SVG}text") or "")
    (axis,) = [one for one in panel.findall(f"{SVG}path") if one.get("stroke-width") == "2.2"]
    heights = [y for _, y in corners_of(axis)]
    height_um = (heights[0] - heights[-1]) / _bar(root) * 1000.0 / float(times.replace("\u00a0", ""))
    assert height_um == pytest.approx(worst_um / 2.0, rel=1e-3)
    for one in report.runout.contributors:
        assert any(one.text in words.words for words in words_in(root))
    assert _drawing(STACKS["01"], bent=False).find(f".//{SVG}g[@data-panel='bent-axis']") is None


def test_findings_are_marked_where_they_are() -> None:
    """At the joint, at the part, at the gauge plane, or for the whole stack."""
    report, derived = judged(STACKS["14"])
    spots = Spots(derived.chain)
    found = {one.code: spots.of(one.code, one.at) for one in report.findings}
    assert found["GRIP-010"] == Spot("joint", 1, "holder/extension")
    assert found["RUN-030"].kind == "plane"
    report, derived = judged(STACKS["12"])
    assert Spots(derived.chain).of("MCH-030", report.findings[0].at).kind == "stack"
    assert Spots(derived.chain).of("X-1", ["/stack/components/1/mass_kg"]) == Spot("component", 1, "face-mill")
    ends = ["/stack/components/1/workpiece_side", "/stack/components/2/machine_side/diameter_mm"]
    _, derived = judged(STACKS["14"])
    assert Spots(derived.chain).of("X-1", ends) == Spot("joint", 2, "extension/end-mill")
    assert Spots(derived.chain).of("X-1", ["/machine/spindle", "/stack/components/0/machine_side"]).number == 0
    told = [one.words for one in words_in(_drawing(STACKS["14"]))]
    assert any(words.startswith("GRIP-010") for words in told)
    assert "error: holder/extension" in told


def test_a_finding_on_a_defined_component_is_marked_at_its_use() -> None:
    """A report points into the definition; the drawing shows the part that uses it."""
    request = json.loads(json.dumps(STACKS["14"]))
    parts = request["stack"]["components"]
    request["components"] = {"KB-X": parts[1], "KB-H": parts[0]}
    parts[1] = {"kind": "reference", "of": {"from": "request", "key": "KB-X"}, "id": "extension"}
    parts[0] = {"kind": "reference", "of": {"from": "request", "key": "KB-H"}, "id": "holder"}
    report, derived = judged(request)
    (short,) = [one for one in report.findings if one.code == "GRIP-010"]
    assert all(not at.startswith("/stack/components/") for at in short.at)
    assert Spots(derived.chain).of(short.code, short.at) == Spot("joint", 1, "holder/extension")
    ends = ["/components/KB-H/workpiece_side", "/components/KB-X/machine_side"]
    assert Spots(derived.chain).of("X-1", ends) == Spot("joint", 1, "holder/extension")
    assert Spots(derived.chain).of("X-1", ends[1:]) == Spot("component", 1, "extension")


def test_severities_differ_in_shape() -> None:
    """Octagon, triangle, circle and dashed square: told apart without colour."""

    def outline(weight: Weight) -> tuple[str, int, bool]:
        mark = etree.fromstring(shape(Noted(1, weight, "X", "x", ()), 0.0, 0.0).markup)[0]
        return str(mark.tag), len(corners_of(mark)), mark.get("stroke-dasharray") is not None

    assert outline("error") == ("polygon", 8, False)
    assert outline("warning") == ("polygon", 3, False)
    assert outline("advice") == ("circle", 0, False)
    assert outline("undecided") == ("rect", 0, True)


def test_neighbours_differ_in_grey_and_in_hatching() -> None:
    """Relative luminance after ITU-R BT.709 on the coded values; the tiles differ as drawn."""

    def grey(colour: str) -> float:
        red, green, blue = (int(colour[place : place + 2], 16) / 255.0 for place in (1, 3, 5))
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    for first, second in pairwise(range(KINDS + 1)):
        assert abs(grey(shade(first)) - grey(shade(second))) > 0.05
    tiles = etree.fromstring(group([definitions(KINDS, "p")]).markup)
    lines = ["".join(path.get("d", "") for path in tile.iter("path")) for tile in tiles.iter("pattern")]
    assert len(set(lines)) == KINDS == len(lines)


def _fields(request: dict[str, Any]) -> dict[str, str]:
    """Return the words of each dimension that names a field, by its pointer."""
    picture = named(request).stack
    assert picture is not None
    groups = parsed(picture).findall(f".//{SVG}g[@data-field]")
    return {one.get("data-field", ""): "".join(one.find(f"{SVG}text").itertext()) for one in groups}


@pytest.mark.parametrize("number", STACKS)
def test_a_dimension_names_the_field_that_states_it(number: str) -> None:
    """Each pointer leads to a number of the request, and that number is what the drawing shows."""
    request = STACKS[number]
    for pointer, words in _fields(request).items():
        value = request
        for step in pointer.split("/")[1:]:
            value = value[int(step)] if isinstance(value, list) else value[step]
        stated = parse_length(value)
        (shown,) = re.findall(r"\d+(?:\.\d+)?", words)
        assert float(shown) == pytest.approx(stated, abs=0.005)


def test_what_no_field_or_several_state_names_none() -> None:
    """A projection that follows from the grip, a cone, and what a standard part brings; what is assumed has a place."""
    request = STACKS["01"]
    assert not [pointer for pointer in _fields(request) if pointer.endswith("projection_mm")]
    cone = copy.deepcopy(request)
    cone["stack"]["components"][0]["profile"][0]["outer_end_mm"] = 62
    assert "/stack/components/0/profile/0/outer_mm" in _fields(request)
    assert "/stack/components/0/profile/0/outer_mm" not in _fields(cone)
    keys = [("holder", "generic:holder:BT40:iso15488-32:70"), ("collet", "iso15488:32:12"), ("mill", "din6535:HA12:83")]
    parts = [{"kind": "reference", "id": name, "of": {"from": "standard", "key": key}} for name, key in keys]
    parts[2]["with"] = {"cutting_diameter_mm": 12}
    standard = {"stack": {"components": parts}, "policy": {"unstated": "typical"}}
    assert _fields(standard) == {
        "/stack/joints/-/grip_length_mm": "C grip (40)",
        "/stack/components/2/with/cutting_diameter_mm": "cutting Ø12",
    }
    own = {**request, "components": {"own": request["stack"]["components"][0]}}
    own["stack"] = {**request["stack"], "components": [*request["stack"]["components"]]}
    own["stack"]["components"][0] = {"kind": "reference", "id": "holder", "of": {"from": "request", "key": "own"}}
    assert "/components/own/gauge_length_mm" in _fields(own)
