"""Sentences and numbers of the work instruction at a joint of each coupling."""

from __future__ import annotations

from typing import Any

import pytest

from rules.couplings.sides import COUPLINGS
from rules.grip.shrink import ShrinkJoint
from rules.rulebook.loader import base_request
from tests.support.assemblies import assembly_of, at_joint, not_stated, two_parts, values_of, words_of
from tests.support.stacks import derived_of, named

SHANK = {"coupling": "cylindrical", "diameter_mm": 20, "tolerance": "h6", "form": "plain", "length_mm": 60}
FLATTED = {**SHANK, "form": "side_lock_flat"}
BORE = {"diameter_mm": 20, "tolerance": "H6", "depth_mm": 58, "minimum_grip_mm": 40}
SHRINK_BORE = {
    "coupling": "shrink_fit",
    "diameter_mm": 20,
    "deviation": {"lower_um": -35, "upper_um": -25},
    "depth_mm": 58,
    "minimum_grip_mm": 40,
}


def taper(coupling: str, **fields: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return two equal halves."""
    return {"coupling": coupling, **fields}, {"coupling": coupling, **fields}


PROJECTION = "projection of end-mill is then 50 ± 0.5 mm"
GRIP = "grip length in holder to 50 ± 0.5 mm"

# ends of the joint, actions in order, what the steps say, what only the maker states
CASES: dict[str, tuple[tuple[dict[str, Any], dict[str, Any]], list[str], dict[str, list[str]], list[str]]] = {
    "steep_taper": (
        taper("steep_taper", size="40", form="iso_7388_1_a"),
        ["join", "clamp", "check"],
        {"join": ["over the drive keys", "in 2 positions"], "clamp": ["draw bolt"], "check": ["60 mm"]},
        ["tightening torque of the draw bolt"],
    ),
    "hollow_taper": (
        taper("hollow_taper", size="50", form="A"),
        ["join", "clamp", "check"],
        {"join": ["one position only", "form: A"], "clamp": ["clamping set"], "check": ["no gap", "60 mm"]},
        ["tightening torque of the clamping set"],
    ),
    "polygonal_taper": (
        taper("polygonal_taper", size="50"),
        ["join", "clamp", "check"],
        {"join": ["allows 3 positions"], "clamp": ["25000 N"], "check": ["no gap", "60 mm"]},
        ["tightening torque of the clamp"],
    ),
    "morse_taper": (
        taper("morse_taper", size="3", form="drawbar_thread"),
        ["join", "clamp", "check"],
        {"join": ["by hand"], "clamp": ["draw bolt"], "check": ["60 mm"]},
        ["tightening torque of the draw bolt"],
    ),
    "cylindrical": (
        ({**BORE, "coupling": "cylindrical", "tolerance": "H7"}, SHANK),
        ["join", "set", "clamp", "check"],
        # 20 H7/h6: clearance from 0 to 34 µm
        {"set": [GRIP, PROJECTION, "8 mm behind"], "clamp": ["0 to 34 µm"], "check": ["50 ± 0.5 mm"]},
        ["clamping method and tightening torque"],
    ),
    "side_lock": (
        ({**BORE, "coupling": "side_lock", "tolerance": "H5", "flat": "side_lock_flat"}, FLATTED),
        ["join", "set", "clamp", "check"],
        {
            "join": ["its flat under the screw"],
            "set": [GRIP, PROJECTION],
            "clamp": ["against the cutting direction", "Tighten the screw square on the flat."],
            "check": ["50 ± 0.5 mm"],
        },
        ["tightening torque of the clamping screw"],
    ),
    "shrink_fit": (
        (SHRINK_BORE, SHANK),
        ["set", "heat", "join", "cool", "check"],
        {
            "set": ["50 ± 0.5 mm"],
            "heat": ["with the shank cold"],
            "join": ["gloves"],
            "cool": ["cool"],
            "check": ["50 ± 0.5 mm"],
        },
        [],
    ),
    "hydraulic": (
        ({**BORE, "coupling": "hydraulic"}, SHANK),
        ["join", "set", "clamp", "check"],
        {"set": [GRIP, PROJECTION], "clamp": ["With the shank inserted", "to its stop"], "check": ["50 ± 0.5 mm"]},
        [],
    ),
    "milling_chuck": (
        ({**BORE, "coupling": "milling_chuck"}, SHANK),
        ["join", "set", "clamp", "check"],
        {"set": [GRIP, PROJECTION], "clamp": ["With the shank inserted", "nut of holder"], "check": ["50 ± 0.5 mm"]},
        ["tightening travel of the nut"],
    ),
    "collet_bore": (
        (
            {
                "coupling": "collet_bore",
                "clamping_min_mm": 19,
                "clamping_max_mm": 20,
                "depth_mm": 58,
                "minimum_grip_mm": 40,
            },
            SHANK,
        ),
        ["join", "set", "clamp", "check"],
        {"set": [GRIP, PROJECTION], "clamp": ["its own closer"], "check": ["50 ± 0.5 mm"]},
        ["closing travel of the collet"],
    ),
    "shell_mill_arbor": (
        taper("shell_mill_arbor", pilot_diameter_mm=27, drive="keys"),
        ["join", "clamp", "check"],
        {"join": ["27 mm", "both drive keys"], "clamp": ["M12"], "check": ["60 mm"]},
        ["tightening torque of the clamping screw"],
    ),
    "declared": (
        (
            {"coupling": "declared", "designation": "own 7", "gender": "female", "diameter_mm": 8.5},
            {"coupling": "declared", "designation": "own 7", "gender": "male", "diameter_mm": 8.5},
        ),
        ["join", "clamp", "check"],
        {"join": ["own 7", "8.5 mm"], "check": ["60 mm"]},
        ["tightening torque of the interface"],
    ),
    "threaded_head": (
        (
            {"coupling": "threaded_head", "thread": "M10", "pilot_diameter_mm": 10.5},
            {"coupling": "threaded_head", "thread": "M10", "pilot_diameter_mm": 10.5, "tightening_torque_n_m": 45},
        ),
        ["join", "clamp", "check"],
        {"join": ["M10", "10.5 mm"], "clamp": ["to 45 N m"], "check": ["no gap", "60 mm"]},
        [],
    ),
}


def _request(name: str) -> dict[str, Any]:
    upper, lower = CASES[name][0]
    grip = {"grip_length_mm": 50} if lower["coupling"] == "cylindrical" else {}
    return two_parts(upper, lower, **grip)


@pytest.mark.parametrize("name", CASES)
def test_steps_of_a_joint(name: str) -> None:
    """First principles: actions in the order of the work, with grip, projection and thread of this very joint."""
    _, actions, words, maker = CASES[name]
    report = assembly_of(_request(name))
    steps = [step for step in at_joint(report, "holder/end-mill") if step.action != "measure"]
    assert [step.action for step in steps] == actions
    for action, parts in words.items():
        for part in parts:
            assert part in words_of(report, "holder/end-mill", action)
    assert [one for step in steps for one in step.from_maker] == maker
    assert report.state != "do_not_build"
    assert [named(step.joint) for step in report.disassembly] == [None, "holder/end-mill"]


def test_every_workpiece_side_is_told() -> None:
    """No coupling that a joint may have is without a test above or a stack below."""
    sides = {name for name, one in COUPLINGS.items() if one.workpiece_side is not None}
    assert sides == {*CASES, "nut_collet", "press_collet"}


@pytest.mark.parametrize("name", [name for name in CASES if CASES[name][0][1] in (SHANK, FLATTED)])
def test_grip_is_set_within_its_bounds(name: str) -> None:
    """First principles: grip as stated, at least the holder's minimum, at most the free depth of the bore."""
    (step,) = (one for one in assembly_of(_request(name)).steps if one.action == "set" and one.joint)
    values = values_of(step)
    assert values["grip length"] == (50.0, 40.0, 58.0)
    assert values["projection"] == (50.0, None, None)
    assert not_stated(step) == []


def test_unknown_grip_names_its_field() -> None:
    """Where the grip is not stated the step says so, and which field would tell it."""
    request = two_parts(*CASES["hydraulic"][0])
    (step,) = (one for one in assembly_of(request).steps if one.action == "set" and one.joint)
    assert "not stated" in step.text
    assert "/stack/joints/0/grip_length_mm" in not_stated(step)


def test_press_in_stack_is_built_from_the_base_outward() -> None:
    """Common practice: shank into its collet before the press, which is changed in between without pressure."""
    report = assembly_of(base_request("press_in"))
    built = [(step.action, named(step.joint)) for step in report.steps if step.joint and step.action != "clean"]
    assert built == [
        ("join", "holder/collet-1"),
        ("join", "collet-1/extension"),
        ("set", "collet-1/extension"),
        ("change", "holder/collet-1"),
        ("clamp", "holder/collet-1"),
        ("check", "collet-1/extension"),
        ("measure", "collet-1/extension"),
        ("join", "extension/collet-2"),
        ("join", "collet-2/end-mill"),
        ("set", "collet-2/end-mill"),
        ("change", "extension/collet-2"),
        ("clamp", "extension/collet-2"),
        ("check", "collet-2/end-mill"),
    ]
    assert words_of(report, "holder/collet-1", "change").startswith("Set up the press or fixture for seat kb-32")
    change = words_of(report, "extension/collet-2", "change")
    assert change.startswith("Release the pressure")
    assert change.index("kb-32") < change.index("kb-16")
    press = next(step for step in report.steps if (step.action, named(step.joint)) == ("clamp", "holder/collet-1"))
    assert "for the time stated by the maker of the press" in press.text
    assert "free end of extension, which projects 100 mm" in press.text


def test_press_insert_that_fits_stays_in() -> None:
    """Two collets of one seat are pressed with one insert; an unknown seat leaves it to be settled."""
    request = base_request("press_in")
    request["stack"]["components"][2]["workpiece_side"]["designation"] = "kb-32"
    request["stack"]["components"][3]["machine_side"]["designation"] = "kb-32"
    change = words_of(assembly_of(request), "extension/collet-2", "change")
    assert change.startswith("Leave ")
    assert change.endswith(" seat kb-32.")
    for part, side in ((2, "workpiece_side"), (3, "machine_side")):
        del request["stack"]["components"][part][side]["designation"]
    report = assembly_of(request)
    (step,) = (one for one in report.steps if (one.action, named(one.joint)) == ("change", "extension/collet-2"))
    assert "not stated" in step.text
    assert not_stated(step) == ["/stack/components/2/workpiece_side/designation"]


def test_press_in_stack_is_opened_from_the_tip_inward() -> None:
    """Common practice: the outermost collet first, the hanging extension supported."""
    report = assembly_of(base_request("press_in"))
    opened = [(step.action, named(step.joint)) for step in report.disassembly]
    assert opened == [
        ("open", None),
        ("open", "extension/collet-2"),
        ("open", "collet-2/end-mill"),
        ("remove", "extension/collet-2"),
        ("open", "holder/collet-1"),
        ("open", "collet-1/extension"),
        ("remove", "holder/collet-1"),
    ]
    assert "Support the free end of extension" in report.disassembly[4].text


def test_nut_collet_is_snapped_in_before_and_tightened_after_the_shank() -> None:
    """Common practice; size and nut thread by ISO 15488."""
    report = assembly_of(base_request("nut_collet"))
    steps = [step for step in report.steps if step.joint and step.action != "clean"]
    assert [(step.action, named(step.joint)) for step in steps] == [
        ("join", "holder/collet-1"),
        ("join", "collet-1/end-mill"),
        ("set", "collet-1/end-mill"),
        ("clamp", "holder/collet-1"),
        ("check", "collet-1/end-mill"),
    ]
    assert "snap it into the clamping nut" in steps[0].text
    assert "collet size, 32, and the nut thread, M40×1.5" in steps[0].text
    assert steps[3].from_maker == []


@pytest.mark.parametrize(("diameter", "screws"), [(20, 1.0), (24.999, 1.0), (25, 2.0), (32, 2.0)])
def test_second_screw_from_25_mm_on(diameter: float, screws: float) -> None:
    """Literature: DIN 6535 form HB has two flats at 25 and 32 mm."""
    bore = {**BORE, "coupling": "side_lock", "flat": "side_lock_flat", "diameter_mm": diameter}
    request = two_parts(bore, {**FLATTED, "diameter_mm": diameter}, grip_length_mm=50)
    (step,) = (one for one in assembly_of(request).steps if one.action == "clamp")
    assert values_of(step)["clamping screws"][0] == screws
    assert ("two screws" in step.text) == (screws == 2.0)


def test_inclined_flat_is_pushed_back() -> None:
    """Common practice: on an inclined flat the shank goes back onto its stop."""
    bore = {**BORE, "coupling": "side_lock", "flat": "inclined_flat"}
    request = two_parts(bore, {**SHANK, "form": "inclined_flat"}, grip_length_mm=50)
    assert "Push the shank back onto its stop" in words_of(assembly_of(request), "holder/end-mill", "clamp")


def test_shrink_fit_is_heated_to_what_the_joint_needs() -> None:
    """First principles: 20 mm in −35/−25 µm, shank h6 0/−13: 35 µm and 20 µm of clearance over 20 mm of steel."""
    request = _request("shrink_fit")
    (grip,) = derived_of(request).grips
    (step,) = (one for one in assembly_of(request).steps if one.action == "heat")
    assert isinstance(grip.shrink, ShrinkJoint)
    _, least, _ = values_of(step)["opening temperature"]
    assert least == pytest.approx(grip.shrink.opening_temperature_c, abs=0.05)
    # α of the steels in the table lies near 11.5 · 10⁻⁶ 1/K
    assert least == pytest.approx(20.0 + (0.035 + 0.020) / (20.0 * 11.5e-6), rel=0.05)
    assert f"at {least:.0f} °C or more" in step.text


@pytest.mark.parametrize(
    ("form", "said", "maker"),
    [
        ("tang", "soft mallet", []),
        ("drawbar_thread", "draw bolt", ["tightening torque of the draw bolt"]),
        (None, "if it has a tang", []),
    ],
)
def test_morse_taper_by_its_form(form: str | None, said: str, maker: list[str]) -> None:
    """A tang is driven in, a thread drawn in, and what is not known is not told."""
    fields = {"size": "3"} if form is None else {"size": "3", "form": form}
    request = two_parts(*taper("morse_taper", **fields))
    (step,) = (one for one in assembly_of(request).steps if one.action == "clamp")
    assert said in step.text
    assert step.from_maker == maker


def test_sleeve_in_a_bore_of_its_kind_is_clamped_from_outside() -> None:
    """Never close an expansion bore on a sleeve that holds nothing: the shank goes in first."""
    request = _request("hydraulic")
    sleeve = {
        "id": "sl",
        "kind": "reducer",
        "machine_side": SHANK,
        "workpiece_side": {"coupling": "hydraulic", "diameter_mm": 12, "tolerance": "H6"},
        "overall_length_mm": 52,
    }
    request["stack"]["components"].insert(1, sleeve)
    request["stack"]["components"][2]["machine_side"] = {**SHANK, "diameter_mm": 12}
    request["stack"]["joints"] = [
        {"upper": "holder", "lower": "sl", "grip_length_mm": 50},
        {"upper": "sl", "lower": "end-mill", "grip_length_mm": 45},
    ]
    steps = [step for step in assembly_of(request).steps if step.joint and step.action != "clean"]
    assert [(step.action, named(step.joint)) for step in steps if step.action in ("join", "clamp")] == [
        ("join", "holder/sl"),
        ("join", "sl/end-mill"),
        ("clamp", "holder/sl"),
    ]


def _nut(shank_mm: float, at: int | None = None, stated: float = 60) -> dict[str, Any]:
    """Return the nut-collet base with a shank in its collet, and a torque stated at one of the two joints."""
    request = base_request("nut_collet")
    request["stack"]["components"][1]["workpiece_side"].update(clamping_min_mm=shank_mm - 1, clamping_max_mm=shank_mm)
    request["stack"]["components"][2]["machine_side"]["diameter_mm"] = shank_mm
    if at is not None:
        ends = [("holder", "collet-1"), ("collet-1", "end-mill")][at]
        joints = request["stack"]["joints"]
        known = next((one for one in joints if (one["upper"], one["lower"]) == ends), None)
        if known is None:
            joints.append({"upper": ends[0], "lower": ends[1], "tightening_torque_n_m": stated})
        else:
            known["tightening_torque_n_m"] = stated
    return request


@pytest.mark.parametrize(
    ("shank", "at", "told", "said"),
    [
        (20, None, (None, 122.0, 149.0, "common practice"), "122 to 149 N m, which is common practice"),
        # 40 % less for a shank 30 % below the largest: a shop's table
        (14, None, (None, 73.2, 89.4, "common practice"), "73.2 to 89.4 N m, which is common practice"),
        (14.1, None, (None, 122.0, 149.0, "common practice"), "122 to 149 N m, which is common practice"),
        (20, 0, (60.0, None, None, None), "spanner to 60 N m."),
        (20, 1, (60.0, None, None, None), "spanner to 60 N m."),
    ],
)
def test_torque_of_a_nut(shank: float, at: int | None, told: tuple[Any, ...], said: str) -> None:
    """A stated torque counts; else a shop's table of plain nuts, size 32, as common practice: 90 to 110 ft·lb."""
    report = assembly_of(_nut(shank, at))
    (step,) = (one for one in report.steps if one.action == "clamp")
    (value,) = (one for one in step.values if one.unit == "N.m")
    assert (value.value, value.at_least, value.at_most, value.source) == told
    assert said in step.text
    assert step.from_maker == []
    blanks = [one for one in report.record.blanks if one.unit == "N.m" and one.joint]
    assert (blanks[0].name, blanks[0].target, blanks[0].at_most) == ("tightening torque", told[0], told[2])


def test_torque_of_an_unknown_nut_is_the_makers() -> None:
    """Nothing is invented where size or shank is not stated."""
    for part, side, field in ((1, "machine_side", "size"), (2, "machine_side", "diameter_mm")):
        request = base_request("nut_collet")
        del request["stack"]["components"][part][side][field]
        (step,) = (one for one in assembly_of(request).steps if one.action == "clamp")
        assert step.from_maker == ["tightening torque of the nut"]
        assert "to the maker's torque" in step.text
        assert not any(value.unit == "N.m" for value in step.values)


@pytest.mark.parametrize("name", [name for name in CASES if name != "shrink_fit"])
def test_stated_torque_of_a_joint(name: str) -> None:
    """Every joint that is tightened is tightened to the torque stated for it, and the maker's is no longer asked."""
    upper, lower = CASES[name][0]
    grip = {"grip_length_mm": 50} if lower["coupling"] == "cylindrical" else {}
    report = assembly_of(two_parts(upper, lower, tightening_torque_n_m=33, **grip))
    clamp = next(step for step in at_joint(report, "holder/end-mill") if step.action == "clamp")
    assert "33 N m" in clamp.text
    assert clamp.from_maker == []
    (blank,) = (one for one in report.record.blanks if one.unit == "N.m")
    assert (blank.name, blank.target, blank.source) == ("tightening torque", 33.0, None)


def test_torque_stated_where_nothing_is_tightened_stays_in_the_record() -> None:
    """A shrink fit takes no torque; what was stated is not lost in silence."""
    report = assembly_of(two_parts(*CASES["shrink_fit"][0], grip_length_mm=50, tightening_torque_n_m=33))
    assert [one.target for one in report.record.blanks if one.unit == "N.m"] == [33.0]


EXTENSION = {
    "id": "extension",
    "kind": "extension",
    "machine_side": {"coupling": "cylindrical", "diameter_mm": 20, "tolerance": "h6", "form": "plain", "length_mm": 60},
    "workpiece_side": {"coupling": "nut_collet", "size": "16"},
    "overall_length_mm": 160,
}


def _nested(seat: str) -> dict[str, Any]:
    """Return an extension with a nut collet, held in a seat of the base holder."""
    request = base_request("nut_collet")
    holder, collet, mill = request["stack"]["components"]
    small = {**collet, "id": "collet-2", "machine_side": {"coupling": "nut_collet", "size": "16"}}
    small["workpiece_side"] = {"coupling": "collet_bore", "clamping_min_mm": 9, "clamping_max_mm": 10}
    mill["machine_side"] = {**mill["machine_side"], "diameter_mm": 10}
    grip = {"lower": "extension", "grip_length_mm": 45}
    inner = [collet, {"upper": "collet-1", **grip}] if seat == "nut_collet" else [None, {"upper": "holder", **grip}]
    if seat == "nut_collet":
        collet["workpiece_side"].update(clamping_min_mm=19, clamping_max_mm=20)
    else:
        holder["workpiece_side"] = {**BORE, "coupling": seat}
    if seat == "side_lock":
        holder["workpiece_side"]["flat"] = "side_lock_flat"
    form = "side_lock_flat" if seat == "side_lock" else "plain"
    extension = {**EXTENSION, "machine_side": {**EXTENSION["machine_side"], "form": form}}  # type: ignore[dict-item]
    request["stack"]["components"] = [one for one in (holder, inner[0], extension, small, mill) if one]
    request["stack"]["joints"] = [inner[1], {"upper": "collet-2", "lower": "end-mill", "grip_length_mm": 25}]
    return request


@pytest.mark.parametrize(
    ("seat", "ahead"), [("nut_collet", True), ("hydraulic", True), ("milling_chuck", True), ("side_lock", False)]
)
def test_order_of_nested_collets(seat: str, ahead: bool) -> None:
    """Common practice: where friction alone holds the extension, its tool is clamped before it goes in."""
    report = assembly_of(_nested(seat))
    assert report.state != "do_not_build", [one.text for one in report.reasons]
    clamps = [named(step.joint) for step in report.steps if step.action == "clamp"]
    behind = "holder/collet-1" if seat == "nut_collet" else "holder/extension"
    assert clamps == (["extension/collet-2", behind] if ahead else [behind, "extension/collet-2"])
    nut = words_of(report, "extension/collet-2", "clamp")
    assert ("Do this before extension goes into" in nut) == ahead
    assert "Counter-hold extension" in nut
    opened = [named(step.joint) for step in report.disassembly if step.action == "open" and step.joint]
    assert (opened.index(behind) < opened.index("extension/collet-2")) == ahead


@pytest.mark.parametrize(
    ("request_", "read"),
    [
        (base_request("nut_collet"), []),
        (base_request("press_in"), ["collet-1/extension"]),
        (_nested("hydraulic"), ["holder/extension"]),
        (_nested("side_lock"), ["holder/extension"]),
    ],
    ids=["one joint", "press-in", "tool first", "base outward"],
)
def test_readings_between_joints(request_: dict[str, Any], read: list[str]) -> None:
    """Bench practice: from two joints on each part is read before the next, and once it stands on its base."""
    report = assembly_of(request_)
    between = [step for step in report.steps if step.action == "measure" and step.joint]
    assert [named(step.joint) for step in between] == read
    for step in between:
        assert [one.number for one in report.steps if one.joint == step.joint and one.number > step.number] == []
        told = [one.name for one in report.record.blanks if one.group == "reading" and one.joint == step.joint]
        assert told == ["reading after this joint", "angle of the high spot"]


def test_axial_runout_of_a_face_mill() -> None:
    """A cutter on an arbor is read on its face too, by the maker's limit; no other tool is."""
    report = assembly_of(_request("shell_mill_arbor"))
    (step,) = (one for one in report.steps if "axial runout" in one.text)
    assert "against the cutting direction" in step.text
    assert step.from_maker == ["limit of the axial runout"]
    assert [named(one.joint) for one in report.record.blanks if one.name == "axial runout"] == ["holder/end-mill"]
    assert not any("axial runout" in step.text for step in assembly_of(_request("hydraulic")).steps)


@pytest.mark.parametrize(
    ("stated", "told"), [(None, (0.5, "common practice")), (0.1, (0.1, None)), ("0.002 in", (0.0508, None))]
)
def test_tolerance_of_grip_and_projection(stated: float | str | None, told: tuple[float, str | None]) -> None:
    """Stated, or common practice and said to be; a taper's projection is given, not set."""
    joint = {} if stated is None else {"projection_tolerance_mm": stated}
    report = assembly_of(two_parts(*CASES["hydraulic"][0], grip_length_mm=50, **joint))
    (step,) = (one for one in report.steps if one.action == "set" and one.joint)
    assert [(one.tolerance, one.source) for one in step.values] == [told, told]
    taper_step = next(one for one in assembly_of(_request("hollow_taper")).steps if one.action == "check" and one.joint)
    assert [(one.tolerance, one.source) for one in taper_step.values] == [(None, None)]


def test_stated_clocking_is_set_at_its_joint() -> None:
    """First principles: the angle stated for a joint is told there, and is a blank of the record."""
    request = two_parts(*CASES["hydraulic"][0], grip_length_mm=50, clocking_deg=-35)
    report = assembly_of(request)
    assert "end-mill -35° from the mark of holder" in words_of(report, "holder/end-mill", "join")
    (blank,) = (one for one in report.record.blanks if one.name == "clocking")
    assert (named(blank.joint), blank.target, blank.unit) == ("holder/end-mill", -35.0, "deg")
