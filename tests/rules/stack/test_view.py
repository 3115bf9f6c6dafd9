"""What rules see of a request: every name gives a value, a gap that says what to state, or nothing."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any, Final, NamedTuple

import pytest

from rules.rulebook.expression import Gap, Result, View
from rules.rulebook.fact import Fact
from rules.rulebook.loader import base_names, base_request
from rules.rulebook.vocabulary import LABELS, Property
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.request import CheckRequest
from rules.stack.view import request_vocabulary, views_of
from tests.support.stacks import analysis_of

STACKS: Final = Path(__file__).resolve().parents[3] / "demo_data" / "stacks"


OF_STACKS: Final = ("stack", "component", "joint", "operation")


class Seen(NamedTuple):
    """A subject of a request, and the view of it."""

    name: str
    fact: Fact
    view: View


def _requests() -> Iterator[tuple[str, Mapping[str, Any]]]:
    for file in sorted(STACKS.glob("*.json")):
        yield file.stem, json.loads(file.read_text(encoding="utf-8"))
    for base in base_names():
        yield base, base_request(base)


@cache
def seen() -> tuple[Seen, ...]:
    """Return every subject of the demo stacks and of the requests of the rules' examples."""
    found: list[Seen] = []
    for name, raw in _requests():
        try:
            analysis = analysis_of(parse_request({**raw, "labels": {"cell": "A"}}))
        except BadRequestError:
            continue  # one that refers to a library
        view_of = views_of(analysis.chain, analysis.facts)
        found += [Seen(name, fact, view_of(fact)) for fact in analysis.facts]
    return tuple(found)


def names(kind: str) -> dict[str, Property]:
    """Return the names of a kind of subject, that of one label among them."""
    return {f"{name}cell" if name == LABELS else name: one for name, one in request_vocabulary().of(kind).items()}


def has_type(value: Result, known: Property) -> bool:
    if known.type == "number":
        return isinstance(value, float | int) and not isinstance(value, bool)
    if known.type == "flag":
        return isinstance(value, bool)
    return isinstance(value, str) and (known.values is None or value in known.values)


@cache
def _schema() -> dict[str, Any]:
    return CheckRequest.model_json_schema()


@cache
def exists_in_schema(pointer: str) -> bool:
    """Whether the contract has the field of a JSON Pointer."""
    places = [_schema()]
    for step in pointer.split("/")[1:]:
        places = [below for place in places for below in _below(place, step)]
    return bool(places)


def _below(place: dict[str, Any], step: str) -> Iterator[dict[str, Any]]:
    if "$ref" in place:
        yield from _below(_schema()["$defs"][place["$ref"].rpartition("/")[2]], step)
    for alternatives in ("anyOf", "oneOf", "allOf"):
        for one in place.get(alternatives, ()):
            yield from _below(one, step)
    if step in place.get("properties", {}):
        yield place["properties"][step]
    elif isinstance(place.get("additionalProperties"), dict):
        yield place["additionalProperties"]
    if "items" in place and (step.isdigit() or step == "-"):
        yield place["items"]


@pytest.mark.parametrize("kind", OF_STACKS)
def test_every_name_gives_a_value_of_its_type_or_a_gap_with_a_field_of_the_contract(kind: str) -> None:
    """Or nothing; on every subject of every demo stack."""
    subjects = [one for one in seen() if one.fact.kind == kind]
    assert len(subjects) > 15
    wrong: set[tuple[str, str]] = set()
    for subject in subjects:
        for name, known in names(kind).items():
            found = subject.view.get(name)
            if isinstance(found, Gap):
                fields = [field for fields in found.lacking.values() for field in fields]
                if list(found.lacking) != [name] or not fields or not all(map(exists_in_schema, fields)):
                    wrong.add((name, f"{found.lacking}"))
            elif found is not None and not has_type(found, known):
                wrong.add((name, repr(found)))
    assert not wrong


OF_ANOTHER: Final = ("tool", "holder", "above", "below", "upper", "lower", "component", "joint")
NOT_IN_THE_DEMO: Final = frozenset(
    {
        # a machine whose spindle has a declared coupling
        "machine.spindle.designation", "machine.spindle.gender", "machine.spindle.diameter_mm",
        "machine.spindle.tolerance", "machine.spindle.deviation.lower_um", "machine.spindle.deviation.upper_um",
        # an operation with two speeds, a joint in no place, knobs with stated angles, a taper below a taper
        "operation.implied_speed_rpm", "operation.speed_mismatch_ratio", "stack.stray_joints", "stack.knob_angle_deg",
        "stack.drawbar_angle_deg", "workpiece_side.form",
        # a machine with stated bearings, a spindle of stated stiffness or a tap test, an axis with a limit of its force
        "operation.bearing_force_n", "operation.bearing_load_share", "operation.bearing_rating_n",
        "operation.bending_frequency_hz", "operation.stiff_frequency_hz", "operation.critical_speed_rpm",
        "operation.spindle_to_critical", "operation.spindle_to_stiff", "operation.tooth_passing_to_critical",
        "operation.tooth_passing_to_stiff", "operation.machine_max_feed_force_n", "operation.thrust_n",
        # taps, long drills and holes that are there before
        "operation.clutch_torque_n_m", "operation.drill_projection_ratio", "operation.existing_hole_mm",
        "operation.feed_follows", "operation.least_thread_torque_n_m", "operation.pilot_hole",
        "operation.square_difference_mm", "operation.square_driven", "operation.tap_square_mm",
        "operation.tap_torque_limit_n_m", "operation.thread_torque_basis", "operation.thread_torque_material",
        "operation.thread_torque_n_m",
        # a polygonal taper without a stated drawbar
        "operation.clamping_polygonal_taper",
    }
)  # fmt: skip


@pytest.mark.parametrize("kind", OF_STACKS)
def test_every_name_that_requests_state_is_seen_somewhere(kind: str) -> None:
    """A name that gives nothing on any subject would make a rule that concerns nothing."""
    subjects = [one for one in seen() if one.fact.kind == kind]
    own = [
        name for name, known in names(kind).items() if known.from_request and name.partition(".")[0] not in OF_ANOTHER
    ]
    never = {name for name in own if all(one.view.get(name) is None for one in subjects)}
    assert len(own) > 50
    assert never <= NOT_IN_THE_DEMO


@pytest.mark.parametrize("end", ["upper", "lower"])
def test_a_joint_sees_of_its_components_what_they_see_of_themselves(end: str) -> None:
    """Every name, on every joint of the demo stacks; a gap keeps its fields."""
    components = {(one.name, one.view.get("component")): one.view for one in seen() if one.fact.kind == "component"}
    compared = 0
    for joint in (one for one in seen() if one.fact.kind == "joint"):
        of = components.get((joint.name, joint.view.get(end)))
        if of is None:
            continue
        for name in names("component"):
            if name.partition(".")[0] in (*OF_ANOTHER, "machine", "operation", "stack", "labels"):
                continue
            if name == "max_cutting_speed_m_per_min":
                continue  # the analysis leaves it out where no speed is stated, the request states it all the same
            ours, theirs = joint.view.get(f"{end}.{name}"), of.get(name)
            if isinstance(theirs, Gap):
                assert isinstance(ours, Gap)
                assert list(ours.lacking) == [f"{end}.{name}"]
                assert list(ours.lacking.values()) == list(theirs.lacking.values())
            else:
                assert ours == theirs
            compared += 1
    assert compared > 2_000


def test_a_field_of_some_kinds_is_there_on_these_and_on_no_others() -> None:
    """As the vocabulary says it, so that a scope that narrows to these kinds is all that a rule needs."""
    checked = 0
    for subject in seen():
        if subject.fact.kind != "component" or subject.view.get("kind") is None:
            continue
        for name, known in names("component").items():
            if not known.from_request or known.only or "." in name.removeprefix("machine_side.").removeprefix(
                "workpiece_side."
            ) or name in request_vocabulary().kinds["component"]:  # fmt: skip
                continue
            keys = {key: subject.view.get(key) for key in known.kinds or {}}
            if any(isinstance(value, Gap) for value in keys.values()):
                continue
            fits = all(keys[key] in values for key, values in (known.kinds or {}).items())
            assert (subject.view.get(name) is not None) == fits, (subject.name, subject.fact.key, name)
            checked += 1
    assert checked > 2_000


def test_a_name_that_is_computed_and_stated_is_one_of_these() -> None:
    """Of two properties under one name, only the computed one is seen on the subject itself."""
    vocabulary = request_vocabulary()
    both = {kind: set(vocabulary.kinds[kind]) & set(vocabulary.stated[kind]) for kind in vocabulary.kinds}
    assert both == {
        "stack": set(),
        "component": {"max_cutting_speed_m_per_min"},
        "joint": {"grip_length_mm"},
        "operation": {"spindle_speed_rpm", "feed_per_tooth_mm"},
        "part": set(),
    }


def test_what_the_analysis_leaves_out_is_not_there() -> None:
    """A taper joint has no grip length, and a joint of which nothing is stated has no bore."""
    tapers = [one for one in seen() if one.fact.kind == "joint" and "grip_length_mm" not in one.fact.known]
    tapers = [one for one in tapers if "grip_length_mm" not in one.fact.lacking]
    assert len(tapers) > 5
    for one in tapers:
        assert one.view.get("grip_length_mm") is None
        assert one.view.get("joint.grip_length_mm") is None
    for one in seen():
        for name in request_vocabulary().kinds[one.fact.kind]:
            assert (one.view.get(name) is None) == (name not in one.fact.known and name not in one.fact.lacking)


@pytest.mark.parametrize(
    ("name", "value", "admitted"),
    [
        ("machine_side.form", "plain", True),  # of a cylindrical shank
        ("machine_side.form", "A", True),  # of a hollow taper
        ("machine_side.form", "iso_7388_1_ad", True),
        ("machine_side.form", "round", False),
        ("machine_side.size", "63", True),
        ("machine_side.size", "40", True),
        ("kind", "reference", False),
    ],
)
def test_a_closed_list_holds_the_values_of_every_model(name: str, value: str, admitted: bool) -> None:
    """A part may be of several models, each with its own list."""
    values = request_vocabulary().of("component")[name].values
    assert values is not None
    assert (value in values) is admitted


def by_hand() -> Callable[[str], View]:
    """Return the views of a small request by the key of the subject."""
    request = base_request("nut_collet")
    request["labels"] = {"cell": "A"}
    analysis = analysis_of(parse_request(request))
    view_of = views_of(analysis.chain, analysis.facts)
    keys = {fact.key: fact for fact in analysis.facts}
    return lambda key: view_of(keys[key])


def test_names_lead_where_they_say() -> None:
    """Against the request itself: own fields, those above and below, of tool, holder, machine, operation and label."""
    request, view = base_request("nut_collet"), by_hand()
    parts = request["stack"]["components"]
    first, middle, last = (view(f"component:/stack/components/{place}") for place in range(3))
    assert middle.get("kind") == middle.get("component.kind") == parts[1]["kind"]
    assert (middle.get("above.kind"), middle.get("below.kind")) == (parts[0]["kind"], parts[2]["kind"])
    assert (first.get("above.kind"), last.get("below.kind")) == (None, None)
    assert first.get("tool.teeth") == last.get("teeth") == parts[2]["teeth"]
    assert last.get("holder.gauge_length_mm") == parts[0]["gauge_length_mm"]
    assert first.get("teeth") is None
    assert last.get("machine_side.diameter_mm") == parts[2]["machine_side"]["diameter_mm"]
    assert (last.get("labels.cell"), last.get("labels.hall")) == ("A", Gap({"labels.hall": ("/labels/hall",)}))
    joints = [one for one in (view("stack"), first, last) for _ in one.subjects("joints")]
    assert joints
    for one in view("stack").subjects("joints"):
        ids = [part["id"] for part in parts]
        upper, lower = one.get("upper"), one.get("lower")
        assert one.get("lower.kind") == parts[ids.index(str(lower))]["kind"]
        assert one.get("upper.kind") == (None if upper not in ids else parts[ids.index(str(upper))]["kind"])


def test_a_part_that_is_left_out_is_missing_as_far_as_it_could_be_stated() -> None:
    """Without a side, what lies in it lacks the side; without machine or operation, nothing of them is there."""
    request = base_request("nut_collet")
    request.pop("machine", None)
    request.pop("operations", None)
    request["stack"]["components"][2].pop("runout", None)
    request["stack"]["components"][2].pop("teeth", None)
    analysis = analysis_of(parse_request(request))
    view_of = views_of(analysis.chain, analysis.facts)
    (last,) = [view_of(fact) for fact in analysis.facts if fact.key == "component:/stack/components/2"]
    assert last.get("runout.tir_um") == Gap({"runout.tir_um": ("/stack/components/2/runout",)})
    assert last.get("tool.teeth") == Gap({"tool.teeth": ("/stack/components/2/teeth",)})
    for name in ("machine.max_speed_rpm", "machine.spindle.coupling", "operation.spindle_speed_rpm"):
        assert last.get(name) is None
