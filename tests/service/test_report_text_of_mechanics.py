"""The text report shows load, grip, shrink fit and stiffness if they are known."""

from __future__ import annotations

import io
import math
from typing import Any

import pytest
from rich.console import Console

from rules.assessor import Assessor
from rules.rulebook.loader import base_request
from rules.schema.parsing import parse_request
from service.sheets.check import print_report
from tests.support.operations import change, operation_of


@pytest.fixture
def told(assessor: Assessor) -> Any:
    """Return a function from a request to its sections: heading to lines."""

    def tell(request: dict[str, Any]) -> dict[str, list[str]]:
        out = io.StringIO()
        print_report(assessor.assess(parse_request(request)), Console(file=out, width=200, highlight=False))
        sections: dict[str, list[str]] = {}
        lines = sections.setdefault("", [])
        for line in out.getvalue().split("\n"):
            if line and not line.startswith(" "):
                lines = sections.setdefault(line.strip(), [])
            elif line.strip():
                lines.append(line.strip())
        return sections

    return tell


def _section(sections: dict[str, list[str]], title: str) -> str | None:
    """Return the words of the one section of this heading, None where there is none."""
    found = ["\n".join(lines) for name, lines in sections.items() if name == title]
    assert len(found) <= 1
    return found[0] if found else None


def _cut() -> dict[str, Any]:
    request = base_request("shrink")
    change(
        request["operations"][0],
        {
            "feed_per_tooth_mm": 0.1,
            "milling": {"axial_depth_mm": 5, "radial_depth_mm": 3, "work_material": "c45"},
        },
    )
    request["stack"]["components"][1]["helix_angle_deg"] = 30
    return request


def test_load_of_a_cut(told: Any, assessor: Assessor) -> None:
    """Torque, pull, force across and power with their units, as the report has them."""
    words = _section(told(_cut()), "Cutting load, operation 10")
    load = assessor.assess(parse_request(_cut())).operation.load
    assert words is not None
    for value, unit in (
        (load.torque_n_m, "N·m"),
        (load.mean_torque_n_m, "N·m"),
        (load.axial_pull_n, "N"),
        (load.radial_force_n, "N"),
        (load.power_kw, "kW"),
    ):
        assert value is not None
        shown = [float(line.split()[-2]) for line in words.split("\n") if line.endswith(f" {unit}")]
        assert any(math.isclose(value, one, rel_tol=0.005) for one in shown), (value, unit)


def test_load_that_is_half_known(told: Any) -> None:
    """Only what is known is told: a stated torque without speed has no power, and no pull."""
    request = base_request("shrink")
    request["operations"] = [operation_of({"torque_n_m": 12})]
    words = _section(told(request), "Cutting load, operation 10")
    assert words is not None
    assert words.endswith("torque: 12 N·m")
    assert "kW" not in words
    assert words.count(" N") == 1


def test_no_load_no_section(told: Any) -> None:
    """Where nothing asks, there is no heading."""
    assert _section(told(base_request("shrink")), "Cutting load, operation 10") is None


def test_grip_with_its_safety(told: Any, assessor: Assessor) -> None:
    """The table of joints has what each holds and how safely."""
    words = _section(told(_cut()), "Grip at speed, operation 10")
    grip = assessor.assess(parse_request(_cut())).operation.grip[0]
    assert words is not None
    assert grip.safety_factor is not None
    assert grip.torque_capacity_n_m is not None
    figures = [float(word) for word in words.split("\n")[-1].split() if word[0].isdigit()]
    for value in (grip.safety_factor.value, grip.torque_capacity_n_m.value):
        assert any(math.isclose(value, one, rel_tol=0.005) for one in figures), value


def test_weakest_of_several_is_marked(told: Any) -> None:
    """Of two rated joints the weaker one is marked; a joint alone is not compared."""
    request = base_request("press_in")
    change(request["operations"][0], {"torque_n_m": 5})
    for index in (1, 3):
        request["stack"]["components"][index]["workpiece_side"] |= {"rated_torque_n_m": 90, "rated_grip_mm": 40}
    words = _section(told(request), "Grip at speed, operation 10")
    assert words is not None
    (line,) = [line for line in words.split("\n") if line.endswith(" lowest")]
    assert "collet-2/end-mill" in line
    alone = _section(told(_cut()), "Grip at speed, operation 10")
    assert alone is not None
    assert "lowest" not in alone


def test_no_straight_shank_no_grip(told: Any) -> None:
    """A shell-mounted cutter has no grip to tell of."""
    assert _section(told(base_request("shell_mill")), "Grip") is None


def test_shrink_fit(told: Any) -> None:
    """Interference, pressure, stress, temperature and the speed at which it lets go."""
    words = _section(told(_cut()), "Shrink fit holder/end-mill")
    assert words is not None
    for part in ("11.0 µm", "30.0 µm", "MPa", "Yield", "°C", "Release speed"):
        assert part in words


@pytest.mark.parametrize("remove", ["material", "profile"])
def test_shrink_fit_that_is_not_known(told: Any, remove: str) -> None:
    """Without outline or material nothing is computed, so nothing is told."""
    request = _cut()
    del request["stack"]["components"][0][remove]
    sections = told(request)
    assert _section(sections, "Shrink fit") is None
    assert _section(sections, "Grip") is not None


def test_a_clamp_that_is_not_shrunk(told: Any) -> None:
    """Other clamps have no such section."""
    assert _section(told(base_request("nut_collet")), "Shrink fit") is None


def test_stiffness(told: Any, assessor: Assessor) -> None:
    """Stiffness, critical speed, frequencies and where it bends, with what the model leaves out."""
    request = base_request("long_reach")
    change(request["operations"][0], {"radial_force_n": 20})
    words = _section(told(request), "Stiffness")
    report = assessor.assess(parse_request(request)).stiffness
    assert words is not None
    for part in (" N/µm", " µm", " Hz", " rpm"):
        assert part in words
    assert "Stiffness assumed: spindle/" in " ".join(words.split())
    stiffness, speed = report.tip_stiffness_n_per_um, report.critical_speed_rpm
    assert stiffness is not None
    assert speed is not None
    assert speed.low is not None
    assert f" ({stiffness.low:.3g} to {stiffness.high:.3g})" in words
    assert all(one.words in words for one in report.shares)


def test_stiffness_without_force(told: Any) -> None:
    """No force asked, no deflection told."""
    words = _section(told(base_request("long_reach")), "Stiffness")
    assert words is not None
    assert " µm\n" not in words


def test_stiffness_that_is_not_known(told: Any) -> None:
    """Without an outline there are no figures, and no note about a model that was not used."""
    request = base_request("long_reach")
    del request["stack"]["components"][2]["profile"]
    assert _section(told(request), "Stiffness") is None


def test_springs_change_the_note(told: Any) -> None:
    """Where the stiffness of the spindle is stated the report no longer says that it is left out."""
    request = base_request("long_reach")
    without = _section(told(request), "Stiffness")
    request["machine"]["spindle_radial_stiffness_n_per_um"] = 100
    springs = _section(told(request), "Stiffness")
    assert without is not None
    assert springs is not None
    assert "the real stack is softer" in without
    assert "the real stack is softer" not in springs
    assert "spindle" in springs.lower()


def test_speed_names_the_joint_of_a_shrink_fit(told: Any) -> None:
    """The list of limits names causes and components, lowest first."""
    words = _section(told(_cut()), "Speed, operation 10")
    assert words is not None
    assert "(machine)" in words
    limits = [line.split() for line in words.split("\n")[words.split("\n").index("Limits, lowest first.") + 1 :]]
    for named in (["machine"], ["holder"], ["shrink", "fit", "holder/end-mill"]):
        assert any(set(named) <= set(line) for line in limits), named
    speeds = [float(line[-1]) for line in limits if line[-1].isdigit()]
    assert speeds == sorted(speeds)
    assert len(speeds) >= 4
