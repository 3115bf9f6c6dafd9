"""A calibration from request to report, and the check that takes its set back."""

from __future__ import annotations

import copy
import json
import math
import random
from pathlib import Path
from typing import Any

import pytest

from rules.answer.provenance import assumption_set_sha256
from rules.calibration.calibrating import calibrate
from rules.calibration.formulas import Kind, Prior, fit, quantiles_on
from rules.gate.gate import gate
from rules.quantities.work_limit import Allowance, TooMuchWorkError, allowing
from rules.random_vectors.random_sum import RandomClocking
from rules.schema.calibration import CalibrationReport, CalibrationRequest
from rules.schema.gate import GateRequest
from rules.schema.parsing import BadRequestError, parse
from rules.schema.request import AssumptionSet
from service.examples import CALIBRATION_EXAMPLES
from tests.support.orders import order_of
from tests.support.random_stacks import random_stack
from tests.support.stacks import assessor, report_of

SHOP: dict[str, Any] = json.loads(
    Path(__file__).parents[3].joinpath("demo_data/calibrations/01-holders-and-end-mills.json").read_bytes()
)
EXAMPLE: dict[str, Any] = json.loads(json.dumps(CALIBRATION_EXAMPLES["hydraulic-chucks"].request))


def _calibrated(request: dict[str, Any]) -> CalibrationReport:
    return calibrate(parse(CalibrationRequest, copy.deepcopy(request)), assessor().book)


def _with(request: dict[str, Any], *readings: float, **fields: Any) -> dict[str, Any]:
    """Return the request with these readings of its first assembly's stack."""
    first = request["assemblies"][0]
    distance = first["readings"][0]["distance_mm"]
    assemblies = [{"stack": first["stack"], "readings": [{"distance_mm": distance, "tir_um": one}]} for one in readings]
    return {**request, "assemblies": assemblies, **fields}


def _faults(request: dict[str, Any]) -> list[tuple[str, str]]:
    with pytest.raises(BadRequestError) as caught:
        _calibrated(request)
    return [(one.pointer, one.code) for one in caught.value.faults]


def test_a_shop_finds_its_truth() -> None:
    """The file was drawn with limits of 4.6, 3.0 and 4.2 µm, and one reading then set to 27 µm."""
    report = _calibrated(SHOP)
    intervals = {one.category: (one.low_um, one.high_um) for one in report.classes}
    for category, truth in (("hydraulic", 4.6), ("shrink_fit", 3.0), ("above 2.8 mm", 4.2)):
        low, high = intervals[category]
        assert low < truth < high, category
    assert [one.at for one in report.outliers] == ["/assemblies/9/readings/0"]
    assert report.outliers[0].reason.startswith("It exceeds the worst case of")
    assert (report.used, report.warnings, report.not_used) == (42, [], [])


def test_the_order_of_the_assemblies_makes_no_difference() -> None:
    shuffled = copy.deepcopy(SHOP)
    random.Random(3).shuffle(shuffled["assemblies"])
    first, other = _calibrated(SHOP), _calibrated(shuffled)
    assert (first.classes, first.warnings, first.assumption_set) == (
        other.classes,
        other.warnings,
        other.assumption_set,
    )
    assert [one.tir_um for one in first.outliers] == [one.tir_um for one in other.outliers]


def test_a_changed_reading_changes_the_digests() -> None:
    changed = copy.deepcopy(SHOP)
    changed["assemblies"][0]["readings"][0]["tir_um"] += 0.5
    first, other = _calibrated(SHOP).assumption_set, _calibrated(changed).assumption_set
    assert first is not None
    assert other is not None
    assert first.input_sha256 != other.input_sha256
    assert first.sha256 != other.sha256


def test_more_readings_narrow_and_outweigh_the_table() -> None:
    sizes = [2.5, 4.0, 1.5, 3.5, 4.5]
    reports = [_calibrated(_with(EXAMPLE, *sizes * times)).classes[0] for times in (1, 4, 16)]
    widths = [math.log(one.high_um / one.low_um) for one in reports]
    assert widths == sorted(widths, reverse=True)
    assert [one.data_share for one in reports] == sorted(one.data_share for one in reports)


def test_the_weight_of_the_table_draws_toward_it() -> None:
    medians = [
        _calibrated(_with(EXAMPLE, *[7.0, 6.0, 8.0] * 3, prior_weight=weight)).classes[0].median_um
        for weight in (0.1, 1, 30)
    ]
    assert medians == sorted(medians, reverse=True)
    assert medians[-1] > 3.0


def test_two_readings_of_an_assembly_count_as_one() -> None:
    """They share its parts; the same reading twice says nothing new."""
    twice = copy.deepcopy(EXAMPLE)
    for assembly in twice["assemblies"]:
        assembly["readings"] *= 2
    first, other = _calibrated(EXAMPLE).classes[0], _calibrated(twice).classes[0]
    assert (first.low_um, first.high_um) == pytest.approx((other.low_um, other.high_um), abs=0.002)


@pytest.mark.parametrize(
    ("name", "change", "kinds"),
    [
        ("too few", _with(EXAMPLE, 3.0, 4.0), {"too_few"}),
        ("prior dominates", _with(EXAMPLE, 3.0, prior_weight=20), {"too_few", "prior_dominates"}),
        ("contradictory", _with(EXAMPLE, *[20.0, 22.0, 15.0, 17.0, 24.0, 12.0, 8.0, 23.0] * 5), {"contradictory"}),
        ("many outliers", _with(EXAMPLE, *[3.0, 2.0, 4.0, 3.5, 2.5] * 4, 60.0, 200.0, 500.0), {"many_outliers"}),
        ("poor fit", _with(EXAMPLE, *[4.0, 4.1, 4.2, 3.9] * 10), {"poor_fit"}),
    ],
)
def test_doubts_are_told(name: str, change: dict[str, Any], kinds: set[str]) -> None:
    assert kinds <= {one.kind for one in _calibrated(change).warnings}, name


SOUND = [2.5, 4.0, 1.5, 3.5, 4.5, 3.0, 2.0, 4.2] * 3


def test_a_reading_off_hardly_counts_and_is_told_with_its_probability() -> None:
    """Just beyond what fits: a limit of 7 µm would explain it, if the 24 others were not all below 4.5 µm."""
    without, found = _calibrated(_with(EXAMPLE, *SOUND)), _calibrated(_with(EXAMPLE, *SOUND, 7.5))
    [outlier] = found.outliers
    assert outlier.at == "/assemblies/24/readings/0"
    assert 0.5 < outlier.probability < 0.9999
    assert found.classes[0].median_um == pytest.approx(without.classes[0].median_um, rel=0.1)
    assert without.outliers == []


@pytest.mark.parametrize(
    ("law", "runout_um", "reading", "words"),
    [("limit", None, 40.0, "exceeds"), ("capability", None, 40.0, "as much"), ("limit", 60.0, 5.0, "as little")],
)
def test_an_outlier_has_a_reason(law: str, runout_um: float | None, reading: float, words: str) -> None:
    """A worst case where there is one; with a pin measured at 60 µm, a small reading is the strange one."""
    request = copy.deepcopy(_with(EXAMPLE, *(one + (runout_um or 0.0) for one in SOUND), reading, law=law))
    if runout_um is not None:
        measured = {"law": "measured", "statements": [{"tir_um": runout_um, "at_mm": 36}]}
        request["components"]["KB-GP12"]["runout"] = {**measured, "character": "offset"}
    [outlier] = _calibrated(request).outliers
    assert words in outlier.reason
    assert (outlier.worst_case_um is None) == (law == "capability")


def test_a_reading_errs_by_a_quarter_of_its_uncertainty_on_each_axis() -> None:
    """JCGM 100:2008, 6.2.1: U is twice the standard uncertainty of the reading, which is twice the eccentricity."""
    request = copy.deepcopy(_with(EXAMPLE, *SOUND, expanded_uncertainty_um=4, law="capability"))
    request["components"]["KB-GP12"].update(straightness_um=0, roundness_um=0)
    kind = Kind((), (), (), 0.0, ((0, (0.5,)),), 1.0)
    prior = Prior(3.0, math.log(5.0 / 3.0) / 1.2815515655446004)
    by_hand = fit([kind] * len(SOUND), SOUND, [1.0] * len(SOUND), [prior], [5.0], law="capability")
    found = _calibrated(request).classes[0]
    levels = (0.05, 0.5, 0.95)
    assert (found.low_um, found.median_um, found.high_um) == pytest.approx(
        quantiles_on(by_hand.marginals[0], levels), abs=0.001
    )


def test_classes_that_are_never_apart_are_told() -> None:
    """Plane Gaussians add up to one, so only the sum of the squares is known."""
    mills = [one for one in SHOP["assemblies"] if "EM12" in json.dumps(one)] * 20
    report = _calibrated({**SHOP, "assemblies": mills, "law": "capability"})
    [warning] = [one for one in report.warnings if one.kind == "not_separable"]
    assert set(warning.categories) == {"hydraulic", "above 2.8 mm"}


def test_what_a_stack_states_is_no_class() -> None:
    """Stated runouts stay; an assembly that lacks a length is not used, with the place of the field."""
    request = copy.deepcopy(EXAMPLE)
    request["components"]["KB-HY13"] = {
        **request["components"]["KB-HY12"],
        "runout": {"law": "limit", "statements": [{"tir_um": 3, "at_mm": 36}]},
    }
    stated = copy.deepcopy(request["assemblies"][0])
    stated["stack"]["components"][0]["of"]["key"] = "KB-HY13"
    lacking = copy.deepcopy(request["assemblies"][0])
    del lacking["stack"]["joints"]
    broken = copy.deepcopy(request["assemblies"][0])
    broken["stack"]["components"][1]["of"]["key"] = "none"
    far = copy.deepcopy(request["assemblies"][0])
    far["readings"][0]["distance_mm"] = 61
    request["assemblies"] += [stated, lacking, broken, far]
    report = _calibrated(request)
    found = [(one.at, one.cause) for one in report.not_used]
    assert found == [
        ("/assemblies/6", "no_class"),
        ("/assemblies/7", "not_stated"),
        ("/assemblies/8", "not_stated"),
        ("/assemblies/9/readings/0", "beyond_the_tip"),
    ]
    assert report.not_used[1].lacks[0].at
    assert all(one.startswith("/assemblies/7/stack/joints/-/") for one in report.not_used[1].lacks[0].at)
    assert report.not_used[2].lacks[0].at == ["/assemblies/8/stack/components/1/of"]
    assert report.classes == _calibrated(EXAMPLE).classes


def test_nothing_usable_gives_no_set() -> None:
    request = copy.deepcopy(EXAMPLE)
    request["components"]["KB-HY12"]["runout"] = {"law": "limit", "statements": [{"tir_um": 3, "at_mm": 36}]}
    report = _calibrated(request)
    assert (report.used, report.classes, report.assumption_set) == (0, [], None)
    assert len(report.not_used) == 6


def test_a_reading_without_uncertainty_is_refused() -> None:
    request = {name: value for name, value in EXAMPLE.items() if name != "expanded_uncertainty_um"}
    assert _faults(request)[0] == ("/assemblies/0/readings/0", "missing_field")


def test_a_fault_of_a_stack_is_led_to_its_assembly() -> None:
    request = copy.deepcopy(EXAMPLE)
    request["assemblies"][2]["stack"]["components"][1]["with"] = {"teeth": 4}
    [(pointer, _)] = _faults(request)
    assert pointer.startswith("/assemblies/2/stack/components/1")


def test_work_is_counted_before_it_is_done() -> None:
    with allowing(Allowance(1_000_000)), pytest.raises(TooMuchWorkError):
        _calibrated(SHOP)


def _any_shop(seed: int) -> dict[str, Any]:
    """Return random stacks, most without runouts, with readings that fit them badly."""
    rng = random.Random(seed)
    assemblies = []
    for _ in range(rng.randint(1, 6)):
        stack = random_stack(rng)["stack"]
        for part in stack["components"]:
            if rng.random() < 0.8:
                part.pop("runout", None)
        readings = [
            {"distance_mm": rng.choice([0, 0.001, 5, 20, 500]), "tir_um": rng.choice([0, 0.01, 1, 5, 30, 10_000])}
            for _ in range(rng.randint(1, 3))
        ]
        assemblies.append({"stack": stack, "readings": readings})
    return {
        "name": "any",
        "assemblies": assemblies,
        "expanded_uncertainty_um": rng.choice([0.1, 1, 50, 1000]),
        "law": rng.choice(["limit", "capability"]),
        "prior_weight": rng.choice([0.1, 1, 100]),
        "foreign_share": rng.choice([0.0001, 0.01, 0.2]),
    }


def test_every_valid_request_gets_an_answer() -> None:
    answered = 0
    for seed in range(60):
        try:
            request = parse(CalibrationRequest, _any_shop(seed))
        except BadRequestError:
            continue
        report = calibrate(request, assessor().book)
        assert CalibrationReport.model_validate_json(report.model_dump_json()) == report
        assert all(0.0 < one.low_um <= one.median_um <= one.high_um <= 10_000 for one in report.classes), seed
        answered += bool(report.classes)
    assert answered > 15


# --- a check with the set ----------------------------------------------------------------------------------------


def _own(law: str = "limit") -> dict[str, Any]:
    found = _calibrated({**EXAMPLE, "law": law}).assumption_set
    assert found is not None
    own: dict[str, Any] = found.model_dump(mode="json")
    return own


def _check(own: dict[str, Any] | None, unstated: str = "typical") -> dict[str, Any]:
    policy = {"unstated": unstated} | ({} if own is None else {"assumption_set": own})
    stack = EXAMPLE["assemblies"][0]["stack"]
    return {"stack": stack, "components": EXAMPLE["components"], "policy": policy}


@pytest.mark.parametrize("unstated", ["typical", "cautious"])
def test_a_check_takes_the_values_of_the_set(unstated: str) -> None:
    """The prediction is the exact law with the pin's own vectors: a disc of half the set's value beside them."""
    own = _own()
    report = report_of(_check(own, unstated))
    [runout] = [one for one in report.assumptions if one.quantity == "runout_tir"]
    assert runout.value == own["classes"][0]["typical"]
    assert (runout.low, runout.high) == (own["classes"][0]["typical"], own["classes"][0]["cautious"])
    assert runout.source == "calibrated on 6 assemblies"
    assert (runout.confidence, runout.set) == ("calibrated", "KB-2031-06")
    assert report.provenance.assumption_set == "KB-2031-06"
    assert report.provenance.assumption_set_sha256 == own["sha256"]
    plane = report.runout.plane("gauge_plane")
    assert plane is not None
    known = [one for one in report.runout.contributors if one.kind in ("roundness", "straightness")]
    sizes = [one.tir_um["gauge_plane"] / 2.0 for one in known]
    law = RandomClocking([], 0.0, [own["classes"][0][unstated] / 2.0, *sizes])
    assert plane.quantile_um("p95") == pytest.approx(2.0 * float(law.quantiles([0.95])[0]), abs=0.002)


def test_without_the_set_the_table_holds() -> None:
    report = report_of(_check(None))
    [runout] = [one for one in report.assumptions if one.quantity == "runout_tir"]
    assert (runout.value, runout.set) == (3.0, "common_practice_1")
    assert report.provenance.assumption_set_sha256 is None


def test_a_class_that_the_set_lacks_is_the_tables() -> None:
    request = _check(_own())
    request["components"] = copy.deepcopy(request["components"])
    request["components"]["KB-HY12"]["workpiece_side"]["coupling"] = "shrink_fit"
    report = report_of(request)
    [runout] = [one for one in report.assumptions if one.quantity == "runout_tir"]
    assert (runout.value, runout.set) == (3.0, "common_practice_1")
    assert report.provenance.assumption_set == "common_practice_1"


def test_the_law_of_the_set_is_that_of_the_contributor() -> None:
    for law in ("limit", "capability"):
        report = report_of(_check(_own(law)))
        assert [one.law for one in report.runout.contributors if one.id == "part_runout:holder"] == [law]


def _resigned(own: dict[str, Any]) -> dict[str, Any]:
    unsigned = AssumptionSet.model_validate_json(json.dumps(own))
    return {**own, "sha256": assumption_set_sha256(unsigned)}


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        (lambda own: own["classes"][0].update(typical=1.0), "/policy/assumption_set/sha256", "digest_mismatch"),
        (lambda own: own.update(name="other"), "/policy/assumption_set/sha256", "digest_mismatch"),
        (lambda own: own.update(assemblies=500), "/policy/assumption_set/sha256", "digest_mismatch"),
        (lambda own: own.update(sha256="0" * 64), "/policy/assumption_set/sha256", "digest_mismatch"),
    ],
)
def test_a_changed_set_is_refused(change: Any, pointer: str, code: str) -> None:
    own = _own()
    change(own)
    with pytest.raises(BadRequestError) as caught:
        report_of(_check(own))
    assert [(one.pointer, one.code) for one in caught.value.faults] == [(pointer, code)]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        (lambda own: own["classes"][0].update(category="magnetic"), "/policy/assumption_set/classes/0/category"),
        (lambda own: own["classes"].append(own["classes"][0]), "/policy/assumption_set/classes/1"),
        (lambda own: own["classes"][0].update(cautious=1.0), "/policy/assumption_set/classes/0/cautious"),
    ],
)
def test_a_set_that_makes_no_sense_is_refused(change: Any, pointer: str) -> None:
    """Even with a digest that is right: a digest proves that nothing was changed, not who made it."""
    own = _own()
    change(own)
    with pytest.raises(BadRequestError) as caught:
        report_of(_check(_resigned(own)))
    assert [one.pointer for one in caught.value.faults] == [pointer]


def test_a_set_without_effect_is_refused() -> None:
    with pytest.raises(BadRequestError) as caught:
        report_of(_check(_own(), "undecided"))
    assert [one.pointer for one in caught.value.faults] == ["/policy/assumption_set"]


@pytest.mark.parametrize("unstated", ["typical", "undecided"])
def test_a_gate_takes_no_assumed_value(unstated: str) -> None:
    order = {**order_of("good"), "policy": {"unstated": unstated, "assumption_set": _own()}}
    with pytest.raises(BadRequestError):
        gate(parse(GateRequest, order), assessor())


def test_a_set_survives_a_client_that_writes_whole_numbers_without_a_fraction() -> None:
    own = _own()
    own["classes"][0].update(typical=4.0, cautious=5.0)
    own = _resigned(own)
    own["classes"][0].update(typical=4, cautious=5)
    assert report_of(_check(own)).provenance.assumption_set_sha256 == own["sha256"]
