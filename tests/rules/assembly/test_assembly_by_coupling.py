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


PROJECTION = "projection of end-mill is then 50 mm"
GRIP = "grip length in holder to 50 mm"

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
        {"set": [GRIP, PROJECTION, "8 mm behind"], "clamp": ["0 to 34 µm"], "check": ["50 mm"]},
        ["clamping method and tightening torque"],
    ),
    "side_lock": (
        ({**BORE, "coupling": "side_lock", "tolerance": "H5", "flat": "side_lock_flat"}, FLATTED),
        ["join", "set", "clamp", "check"],
        {
            "join": ["its flat under the screw"],
            "set": [GRIP, PROJECTION],
            "clamp": ["against the cutting direction", "Tighten the screw square on the flat."],
            "check": ["50 mm"],
        },
        ["tightening torque of the clamping screw"],
    ),
    "shrink_fit": (
        (SHRINK_BORE, SHANK),
        ["set", "heat", "join", "cool", "check"],
        {"set": ["50 mm"], "heat": ["with the shank cold"], "join": ["gloves"], "cool": ["cool"], "check": ["50 mm"]},
        [],
    ),
    "hydraulic": (
        ({**BORE, "coupling": "hydraulic"}, SHANK),
        ["join", "set", "clamp", "check"],
        {"set": [GRIP, PROJECTION], "clamp": ["With the shank inserted", "to its stop"], "check": ["50 mm"]},
        [],
    ),
    "milling_chuck": (
        ({**BORE, "coupling": "milling_chuck"}, SHANK),
        ["join", "set", "clamp", "check"],
        {"set": [GRIP, PROJECTION], "clamp": ["With the shank inserted", "nut of holder"], "check": ["50 mm"]},
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
        {"set": [GRIP, PROJECTION], "clamp": ["its own closer"], "check": ["50 mm"]},
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
    steps = at_joint(report, "holder/end-mill")
    assert [step.action for step in steps] == actions
    for action, parts in words.items():
        for part in parts:
            assert part in words_of(report, "holder/end-mill", action)
    assert [one for step in steps for one in step.from_maker] == maker
    assert report.buildable
    assert [named(step.joint) for step in report.disassembly] == [None, "holder/end-mill"]


def test_every_workpiece_side_is_told() -> None:
    """No coupling that a joint may have is without a test above or a stack below."""
    sides = {name for name, one in COUPLINGS.items() if one.workpiece_side is not None}
    assert sides == {*CASES, "nut_collet", "press_collet"}


@pytest.mark.parametrize("name", [name for name in CASES if CASES[name][0][1] in (SHANK, FLATTED)])
def test_grip_is_set_within_its_bounds(name: str) -> None:
    """First principles: grip as stated, at least the holder's minimum, at most the free depth of the bore."""
    (step,) = (one for one in assembly_of(_request(name)).steps if one.action == "set")
    values = values_of(step)
    assert values["grip length"] == (50.0, 40.0, 58.0)
    assert values["projection"] == (50.0, None, None)
    assert not_stated(step) == []


def test_unknown_grip_names_its_field() -> None:
    """Where the grip is not stated the step says so, and which field would tell it."""
    request = two_parts(*CASES["hydraulic"][0])
    (step,) = (one for one in assembly_of(request).steps if one.action == "set")
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
    """Common practice; size and nut thread by ISO 15488, the torque by the maker alone."""
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
    assert steps[3].from_maker == ["tightening torque of the nut"]
    assert not any(value.unit == "N.m" for step in report.steps for value in step.values)


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


@pytest.mark.parametrize(
    ("name", "concern"),
    [("press_in", "Press collets in and out"), ("nut_collet", "empty collet"), ("shrink", "skin burns")],
)
def test_caution_of_a_coupling_stands_where_the_danger_is(name: str, concern: str) -> None:
    """The press's caution where it is pressed, heat's where it is hot, the nut's where it is turned; nowhere else."""
    where = {"press_in": {"clamp", "open"}, "nut_collet": {"join", "clamp"}, "shrink": {"heat", "join", "cool", "open"}}
    report = assembly_of(base_request(name))
    steps = [*report.steps, *report.disassembly]
    warned = {step.action for step in steps if any(concern in caution for caution in step.caution)}
    assert warned == where[name]


def test_hydraulic_caution_at_its_screw() -> None:
    """Tightening an empty hydraulic holder damages it; the caution is at its actuating screw."""
    report = assembly_of(_request("hydraulic"))
    warned = [step.action for step in report.steps if any("hydraulic holder" in one for one in step.caution)]
    assert warned == ["clamp"]


def test_stated_clocking_is_set_at_its_joint() -> None:
    """First principles: the angle stated for a joint is told there, and is a blank of the record."""
    request = two_parts(*CASES["hydraulic"][0], grip_length_mm=50, clocking_deg=-35)
    report = assembly_of(request)
    assert "end-mill -35° from the mark of holder" in words_of(report, "holder/end-mill", "join")
    (blank,) = (one for one in report.record if one.name == "clocking")
    assert (named(blank.joint), blank.target, blank.unit) == ("holder/end-mill", -35.0, "deg")
