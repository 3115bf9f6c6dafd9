"""A search finds the same stacks as judging every sequence, with the reasons against the others."""

from __future__ import annotations

import copy
import random
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import rules.search.search
from rules.analysis import joint_facts
from rules.assessor import Assessor
from rules.exchange.documents import Catalogue
from rules.schema.parsing import BadRequestError, parse, parse_request
from rules.schema.request import StackRequest
from rules.schema.search import MAX_INVENTORY, SearchReport, SearchRequest, SearchResult
from rules.search.fitting import BY_GRIP, BY_JOINT, BY_KNOB, BY_PART
from rules.search.search import search
from rules.stack.chain import Mounted, chain_of
from tests.oracles.every_stack import every_order, every_stack
from tests.support.inventories import large_shelf, random_search, shelf
from tests.support.operations import change, operation_of
from tests.support.stacks import quantile
from tests.support.toolroom_parts import SPINDLES

ASSESSOR = Assessor.load()


def _search(request: dict[str, Any]) -> SearchReport:
    return search(parse(SearchRequest, copy.deepcopy(request)), ASSESSOR)


def _pages(request: dict[str, Any], **page: int) -> list[SearchReport]:
    pages = [_search({**request, "page": page})]
    while pages[-1].next is not None:
        pages.append(_search({**request, "page": page, "continuation": pages[-1].next}))
        assert len(pages) < 2000
    return pages


def _told(results: list[SearchResult]) -> dict[tuple[str, ...], tuple[str, tuple[float, ...]]]:
    return {
        tuple(one.components): (one.verdict, tuple(round(joint.grip_length_mm, 4) for joint in one.joints))
        for one in results
    }


@given(seed=st.integers(0, 2**32))
@settings(max_examples=3)
def test_finds_what_judging_every_order_finds(seed: int) -> None:
    """Nothing is lost and nothing is added, with the same verdicts and grips; and every order is accounted for."""
    _assert_finds_what_judging_every_order_finds(seed)


@pytest.mark.long
@given(seed=st.integers(0, 2**32))
@settings(max_examples=60)
def test_finds_in_many_inventories_what_judging_every_order_finds(seed: int) -> None:
    """The same with ten times as many inventories."""
    _assert_finds_what_judging_every_order_finds(seed)


def _assert_finds_what_judging_every_order_finds(seed: int) -> None:
    request = random_search(random.Random(seed))
    pages = _pages(request, judged_at_most=1000, results_at_most=200)
    results = [one for page in pages for one in page.items]
    assert _told(results) == every_stack(request, ASSESSOR)
    counts = [page.counts for page in pages]
    structured = [
        order
        for order in every_order(request)
        if [request["components"][key]["kind"] for key in order].count("base_holder") == 1
        and request["components"][order[0]]["kind"] == "base_holder"
        and not any(request["components"][key]["kind"] in ("cutter", "gauge_pin") for key in order[1:-2])
        and sum(request["components"][key]["kind"] in ("cutter", "gauge_pin") for key in order) == 1
    ]
    assert counts[0].orders_possible == len(structured)
    assert sum(one.orders_cut + one.judged for one in counts) == counts[0].orders_possible
    assert sum(one.orders for page in pages for one in page.cut) == sum(one.orders_cut for one in counts)


@given(seed=st.integers(0, 2**32), judged=st.integers(1, 5), results=st.integers(1, 4))
@settings(max_examples=6, deadline=None, derandomize=True)
def test_pages_together_are_the_whole(seed: int, judged: int, results: int) -> None:
    """However small the pages: the same results once each, the same counts, no page over its share."""
    request = random_search(random.Random(seed))
    whole = _pages(request, judged_at_most=1000, results_at_most=200)
    pages = _pages(request, judged_at_most=judged, results_at_most=results)
    found = [one for page in pages for one in page.items]
    assert len({tuple(one.components) for one in found}) == len(found)
    key = {tuple(one.components): one.model_dump(exclude={"place"}) for page in whole for one in page.items}
    assert {tuple(one.components): one.model_dump(exclude={"place"}) for one in found} == key
    for name in ("orders_cut", "judged", "kept", "refused"):
        assert sum(getattr(page.counts, name) for page in pages) == sum(getattr(page.counts, name) for page in whole)
    assert all(page.counts.judged <= judged and page.counts.kept <= results for page in pages)
    assert [page.complete for page in pages] == [False] * (len(pages) - 1) + [True]


@pytest.mark.parametrize("steps", [1, 2])
def test_pages_end_by_their_steps_too(steps: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A page that gives up more than it may without judging ends, and the next goes on behind it."""
    request = _two_ways()
    whole = _search(request)
    monkeypatch.setattr(rules.search.search, "STEPS_AT_MOST", steps)
    pages = _pages(request)
    assert len(pages) > 3
    assert {tuple(one.components) for page in pages for one in page.items} == set(_told(whole.items))
    assert sum(page.counts.orders_cut for page in pages) == whole.counts.orders_cut
    told = [note for page in pages for note in page.notes if note.startswith("No stack on this page")]
    assert len(told) == sum(not page.items and not page.complete for page in pages) > 0


def _two_ways(**requirement: Any) -> dict[str, Any]:
    """Two holders: one takes the mill in a collet, one takes an extension that shrinks on it."""
    return {
        "components": shelf(
            "KB-HT63-press-12-075",
            "KB-press-12-8",
            "KB-HT63-S16-085",
            "KB-X16-060-S08",
            "KB-EM8-4",
            "KB-EM8L-4",
            "KB-press-12-6",
        ),
        "requirement": requirement,
        "operations": [operation_of({"spindle_speed_rpm": 9000, "runout_limit_um": 40, "balance_grade": "G16"})],
        "machine": SPINDLES["HT63"].machine,
    }


_COLLET = ("KB-HT63-press-12-075", "KB-press-12-8", "KB-EM8-4")
_SHRUNK = ("KB-HT63-S16-085", "KB-X16-060-S08", "KB-EM8-4")


def _long(way: tuple[str, ...]) -> tuple[str, ...]:
    return (*way[:-1], "KB-EM8L-4")


def test_both_ways_are_found() -> None:
    """Two holders and two mills make four stacks; what else is on the shelf is told by the rule that refuses it."""
    report = _search(_two_ways())
    assert set(_told(report.items)) == {_COLLET, _long(_COLLET), _SHRUNK, _long(_SHRUNK)}
    assert {one.verdict for one in report.items} == {"pass"}
    assert (report.complete, report.next, report.nearest, report.notes) == (True, None, [], [])
    assert {one.code for one in report.cut} == {"JNT-010", "COL-010", "BOR-020"}
    assert [one.place for one in report.items] == [1, 2, 3, 4]


def test_a_result_is_its_check() -> None:
    """The request that comes with a result is judged just so, and what the result tells is what that report tells."""
    for one in _search(_two_ways(projection={"at_least_mm": 115})).items:
        check = ASSESSOR.assess(parse_request(copy.deepcopy(one.check)))
        assert check.verdict == one.verdict
        assert check.summary == one.summary
        assert [finding.code for finding in check.findings] == one.codes
        assert check.geometry.tip_mm == one.tip_from_gauge_line_mm
        assert (check.runout.planes, check.runout.complete) == (one.planes, one.runout_complete)
        assert (check.lowest_limit, check.mass.total_kg) == (one.governing_speed, one.mass_kg)
        assert check.stiffness.tip_stiffness_n_per_um == one.tip_stiffness_n_per_um
        assert check.stiffness.bending_frequencies_hz[0] == one.bending_frequency_hz
        assert [it.component for it in check.geometry.components] == one.components
        told = {(it.joint.upper, it.joint.lower): it.grip_length_mm for it in one.joints}
        stated = {(it["upper"], it["lower"]): it["grip_length_mm"] for it in one.check["stack"]["joints"]}
        assert told == stated


@pytest.mark.parametrize(
    ("grip", "at_least", "expected"),
    [
        # gauge 75, mill of 61 mm of which 36 may be held, and 26 must: first principles
        ("longest", None, (100.0, 36.0)),
        ("longest", 100.0, (100.0, 36.0)),
        ("longest", 100.1, None),
        ("shortest", None, (110.0, 26.0)),
        ("to_reach", None, (100.0, 36.0)),
        ("to_reach", 100.0, (100.0, 36.0)),
        ("to_reach", 104.25, (104.25, 31.75)),
        ("to_reach", 110.0, (110.0, 26.0)),
        ("to_reach", 110.001, None),
    ],
)
def test_grips_are_set_as_asked(grip: str, at_least: float | None, expected: tuple[float, float] | None) -> None:
    """As deep as they go, as shallow as is allowed, or drawn out just as far as the reach needs."""
    request = _two_ways(grip=grip, cutters=["KB-EM8-4"], max_components=3)
    mill, collet = request["components"]["KB-EM8-4"], request["components"]["KB-press-12-8"]["workpiece_side"]
    assert (mill["overall_length_mm"], mill["machine_side"]["length_mm"]) == (62, 36)
    mill["overall_length_mm"] = 61
    mill["profile"][0]["length_mm"] = 61
    assert (collet["minimum_grip_mm"], collet["depth_mm"]) == (26, 90)
    if at_least is not None:
        request["requirement"]["projection"] = {"at_least_mm": at_least}
    found = {tuple(one.components): one for one in _search(request).items}
    if expected is None:
        assert _COLLET not in found
        return
    one = found[_COLLET]
    (joint,) = one.joints
    assert (one.tip_from_gauge_line_mm, joint.grip_length_mm) == expected
    assert (joint.longest_mm, joint.shortest_mm, joint.drawn_out_mm) == (36, 26, 36 - expected[1])


def test_the_joint_nearest_the_spindle_is_drawn_out_first() -> None:
    """Two shanks have 12 and 9 mm to give: the extension gives first, the mill what is left to give."""
    near = _search(_two_ways(cutters=["KB-EM8-4"])).items
    (one,) = [it for it in near if tuple(it.components) == _SHRUNK]
    assert one.tip_from_gauge_line_mm is not None
    assert [(it.longest_mm, it.shortest_mm) for it in one.joints] == [(48, 36), (36, 27)]
    for wanted, drawn in ((5, [5, 0]), (12, [12, 0]), (15, [12, 3])):
        request = _two_ways(cutters=["KB-EM8-4"], projection={"at_least_mm": one.tip_from_gauge_line_mm + wanted})
        (it,) = [it for it in _search(request).items if tuple(it.components) == _SHRUNK]
        assert [joint.drawn_out_mm for joint in it.joints] == drawn
    request = _two_ways(cutters=["KB-EM8-4"], projection={"datum": "last_clamping_face", "at_least_mm": 36 - 27 + 20})
    (it,) = [it for it in _search(request).items if tuple(it.components) == _SHRUNK]
    assert it.joints[0].drawn_out_mm == 0
    assert it.tip_from_last_clamping_face_mm == 29


@pytest.mark.parametrize(("radius", "fits"), [(7.9, False), (8.0, True), (8.1, True)])
def test_clearance_counts_from_the_tip(radius: float, fits: bool) -> None:
    """The extension of ⌀16 begins 26 mm behind the tip: a zone that ends before it does not mind it."""
    for to_mm, expected in ((26, True), (26.01, fits), (60, fits)):
        request = _two_ways(cutters=["KB-EM8-4"], clearance=[{"to_mm": to_mm, "radius_mm": radius}], grip="longest")
        assert (_SHRUNK in _told(_search(request).items)) is expected


@pytest.mark.parametrize(("radius", "fits"), [(3.9, False), (4.0, True)])
def test_the_cutting_part_counts_too(radius: float, fits: bool) -> None:
    """A mill whose outline is slimmer than it cuts is as wide as it cuts."""
    request = _two_ways(cutters=["KB-EM8-4"], clearance=[{"to_mm": 5, "radius_mm": radius}])
    for piece in request["components"]["KB-EM8-4"]["profile"]:
        piece["outer_mm"] = 7
    assert bool(_search(request).items) is fits


def test_what_the_requirement_can_not_tell_is_no_pass() -> None:
    """Without its outline nobody knows whether the extension is clear: review at best, and not kept where a pass is."""
    request = _two_ways(cutters=["KB-EM8-4"], clearance=[{"to_mm": 60, "radius_mm": 9}])
    assert _told(_search(request).items)[_SHRUNK][0] == "pass"
    del request["components"]["KB-X16-060-S08"]["profile"]
    (one,) = [it for it in _search(request).items if tuple(it.components) == _SHRUNK]
    assert (one.verdict, one.not_known) == ("review", ["clearance"])
    report = _search({**request, "accept": "pass"})
    assert _SHRUNK not in _told(report.items)
    assert "REQ-060" in {one.code for one in report.refused_by}


def test_pieces_on_hand_limit_a_stack() -> None:
    """One sleeve is used once; two of it may sit in each other; none of it is told, and not searched."""
    sleeve = {
        "id": "s",
        "kind": "reducer",
        "machine_side": {"coupling": "cylindrical", "diameter_mm": 8, "tolerance": "h6", "length_mm": 36},
        "workpiece_side": {"coupling": "hydraulic", "diameter_mm": 8, "tolerance": "H6", "depth_mm": 40},
        "overall_length_mm": 60,
    }
    request: dict[str, Any] = {"components": {**shelf("KB-HT63-S08-085", "KB-EM8-4"), "KB-SL8": sleeve}}

    def sleeves(pieces: int) -> set[int]:
        report = _search({**request, "stock": {"KB-SL8": pieces}})
        for one in report.items:
            names = [part["id"] for part in one.check["stack"]["components"]]
            assert len(set(names)) == len(names)
        return {one.components.count("KB-SL8") for one in report.items}

    assert (sleeves(0), sleeves(1), sleeves(2), sleeves(9)) == ({0}, {0, 1}, {0, 1, 2}, {0, 1, 2, 3})
    (left,) = _search({**request, "stock": {"KB-SL8": 0}}).left_out
    assert (left.key, left.reason) == ("KB-SL8", "none on hand")


def test_parts_that_a_rule_refuses_by_themselves_are_told() -> None:
    """A holder that may not turn so fast, and one of another taper, with the rule and its words."""
    request = _two_ways()
    request["components"] |= shelf("KB-HT63-L08-065", "KB-ST40-press-12-075")
    change(request["operations"][0], {"spindle_speed_rpm": 13000})
    told = {one.key: one for one in _search(request).left_out}
    assert {key: one.code for key, one in told.items()} == {
        "KB-HT63-L08-065": "SPD-010",
        "KB-ST40-press-12-075": "SPN-010",
    }
    assert all(part in told["KB-HT63-L08-065"].reason for part in ("13000 rpm", "12000 rpm"))
    assert all(part in told["KB-ST40-press-12-075"].reason for part in ("steep taper", "hollow taper"))


def test_keys_that_lead_nowhere_are_told() -> None:
    """Unknown, circular or doubled keys, and tools that are none; the search goes on without them."""
    request = _two_ways(cutters=["KB-EM8-4", "KB-press-12-8", "KB-NO"])
    request["components"] |= {
        key: {"kind": "reference", "of": {"from": "request", "key": of}}
        for key, of in (("A", "B"), ("B", "A"), ("C", "D"))
    }
    request["stock"] = {"KB-TWICE": 1, "KB-NEVER": 1}
    part = parse(SearchRequest, request).components["KB-EM8-4"]  # type: ignore[index]
    assessor = Assessor(ASSESSOR.book, Catalogue(Mounted({"KB-TWICE": [part, part]}, {}), "0" * 64))
    report = search(parse(SearchRequest, request), assessor)
    assert {one.key: one.reason for one in report.left_out} == {
        "A": "its definition leads back to itself",
        "B": "its definition leads back to itself",
        "C": "no definition for this key",
        "KB-NEVER": "no definition for this key",
        "KB-NO": "required as a cutting tool, but not in the inventory",
        "KB-press-12-8": "required as a cutting tool, but is neither one nor a gauge pin",
        "KB-TWICE": "the mounted catalogue defines it more than once",
    }
    assert set(_told(report.items)) == {_COLLET, _SHRUNK}


def test_the_mounted_catalogue_is_searched_where_asked() -> None:
    """By key or whole; the checks that come back need no catalogue."""
    request = _two_ways()
    parts = parse(SearchRequest, request).components
    assert parts is not None
    mounted = {key: [parts[key]] for key in ("KB-press-12-8", "KB-EM8-4")}
    assessor = Assessor(ASSESSOR.book, Catalogue(Mounted(mounted, {}), "0" * 64))
    for key in mounted:
        del request["components"][key]

    def found(**more: Any) -> set[tuple[str, ...]]:
        return set(_told(search(parse(SearchRequest, {**request, **more}), assessor).items))

    assert found() == {_long(_SHRUNK)}
    assert found(stock={"KB-press-12-8": 1}) == {_long(_SHRUNK), _long(_COLLET)}
    assert found(whole_catalogue=True) == {_COLLET, _long(_COLLET), _SHRUNK, _long(_SHRUNK)}
    report = search(parse(SearchRequest, {**request, "whole_catalogue": True}), assessor)
    checks = [ASSESSOR.assess(parse_request(copy.deepcopy(one.check))) for one in report.items]
    assert [one.verdict for one in checks] == [one.verdict for one in report.items]


@pytest.mark.parametrize("where", ["stock", "whole_catalogue"])
def test_an_inventory_has_a_limit(where: str) -> None:
    """More keys than a search takes are refused with their number and the place that brought them."""
    part = parse(SearchRequest, _two_ways()).components["KB-EM8-4"]  # type: ignore[index]
    keys = [f"K{n}" for n in range(MAX_INVENTORY + 1)]
    assessor = Assessor(ASSESSOR.book, Catalogue(Mounted({key: [part] for key in keys}, {}), "0" * 64))
    request = {"whole_catalogue": True} if where == "whole_catalogue" else {
        "stock": dict.fromkeys(keys[:-1], 1), "components": {"X": {"kind": "collet", "id": "x"}}
    }  # fmt: skip
    with pytest.raises(BadRequestError) as caught:
        search(parse(SearchRequest, request), assessor)
    (fault,) = caught.value.faults
    assert (fault.pointer, fault.detail) == (
        f"/{where}",
        "2001 components in the inventory; at most 2000 can be searched",
    )


def _by_ends(upper: dict[str, Any], lower: dict[str, Any]) -> dict[str, Any]:
    stack = {"components": [{**upper, "id": "upper"}, {**lower, "id": "lower"}]}
    chain = chain_of(parse(StackRequest, {"stack": stack}))
    facts = joint_facts(chain, (), None)
    (found,) = [{**fact.known, **fact.lacking} for fact in facts if fact.kind == "joint"]
    return {name: value for name, value in found.items() if name in BY_JOINT}


@pytest.mark.parametrize("without", [None, "length_mm", "depth_mm", "diameter_mm"])
def test_what_decides_by_the_ends_follows_from_the_ends(without: str | None) -> None:
    """A longer part of the same end has the same properties there, so one of them is judged for all."""
    shop = large_shelf(330)
    lowers = [part for part in shop.values() if part["kind"] in ("cutter", "collet", "extension")]
    uppers = {
        repr(part["workpiece_side"]): part for part in shop.values() if part["kind"] in ("base_holder", "extension")
    }

    checked = 0
    for lower in lowers[::7]:
        side = {name: value for name, value in lower["machine_side"].items() if name != without}
        short = {**lower, "machine_side": side}
        long = {name: value + 25 if name.endswith("_length_mm") else value for name, value in short.items()}
        long["profile"] = [{"length_mm": 31.5, "outer_mm": 3}]
        for upper in uppers.values():
            checked += 1
            assert _by_ends(upper, short) == _by_ends(upper, long)
    assert checked > 200


def test_a_gauge_pin_is_judged_with_its_length() -> None:
    """It may be gripped over all of it, so its end says too little."""
    upper = shelf("KB-HT63-S08-085")["KB-HT63-S08-085"]
    side = {"coupling": "cylindrical", "diameter_mm": 8, "tolerance": "h5", "form": "plain"}
    pins = [{"kind": "gauge_pin", "overall_length_mm": length, "machine_side": side} for length in (40, 80)]
    assert [_by_ends(upper, pin)["shank_length_mm"] for pin in pins] == [40, 80]


def test_two_thousand_parts_hide_nothing() -> None:
    """Parts that do not go on this machine, or are not asked for, change no result, only the orders ruled out."""
    request = _two_ways(cutters=["KB-EM8-4", "KB-EM8L-4"], max_components=4)
    few = _search(request)
    others = [
        (key, part)
        for key, part in large_shelf(2 * MAX_INVENTORY).items()
        if part["kind"] == "cutter" or (part["kind"] == "base_holder" and "HT63" not in key)
    ][: MAX_INVENTORY - len(request["components"])]
    many = _search({**request, "components": {**dict(others), **request["components"]}})
    holders = sum(part["kind"] == "base_holder" for _, part in others)
    assert (len(others) > 1900, holders > 500) == (True, True)
    assert many.counts.parts == few.counts.parts + holders
    assert many.counts.orders_possible == few.counts.orders_possible * (2 + holders) // 2
    assert many.counts.orders_cut + many.counts.judged == many.counts.orders_possible
    assert _told(many.items) == _told(few.items) != {}


def test_keys_that_are_not_defined_do_not_count() -> None:
    """Whatever the schema allows is answered where nothing is mounted."""
    stock = {f"K{n}": 1 for n in range(MAX_INVENTORY)}
    report = _search({**_two_ways(), "stock": stock})
    assert len(report.left_out) == MAX_INVENTORY
    assert len(report.items) == 4


def test_knobs_are_tried_where_the_drawbar_needs_one() -> None:
    """The knob of the machine's form is in the stack; without a demand none is tried."""
    request = {
        **_two_ways(),
        "components": shelf("KB-ST40-press-12-075", "KB-press-12-8", "KB-EM8-4", "KB-RK-40JD", "KB-RK-OTHER"),
        "machine": SPINDLES["ST40"].machine,
    }
    report = _search(request)
    stack = ("KB-ST40-press-12-075", "KB-press-12-8", "KB-EM8-4")
    assert set(_told(report.items)) == {(*stack, "KB-RK-40JD")}
    assert {one.code for one in report.cut} >= {"KNOB-010", "KNOB-020"}
    request["machine"] = {name: value for name, value in request["machine"].items() if name != "retention_knob"}
    assert set(_told(_search(request).items)) == {stack}


def test_a_gauge_pin_is_used_where_it_is_named() -> None:
    """It stands in place of a cutter when asked for, and is no cutter otherwise."""
    request = _two_ways()
    pin = {"id": "pin", "kind": "gauge_pin", "overall_length_mm": 80, "straightness_um": 1}
    pin["machine_side"] = {"coupling": "cylindrical", "diameter_mm": 8, "tolerance": "h5", "form": "plain"}
    request["components"]["KB-PIN8"] = pin
    assert not any("KB-PIN8" in one.components for one in _search(request).items)
    request["requirement"] = {"cutters": ["KB-PIN8"]}
    assert {one.components[-1] for one in _search(request).items} == {"KB-PIN8"}


@pytest.mark.parametrize(
    ("criteria", "value"),
    [
        (["runout_p95"], lambda one: quantile(one, "gauge_plane", "p95")),
        (["projection"], lambda one: one.tip_from_gauge_line_mm),
        (["stiffness"], lambda one: -one.tip_stiffness_n_per_um.value),
        (["mass"], lambda one: one.mass_kg),
    ],
    ids=["runout", "projection", "stiffness", "mass"],
)
def test_results_are_ranked_as_asked(criteria: list[str], value: Callable[[SearchResult], float]) -> None:
    """The best first; the key says by what, smaller being better, and ties go by the names of the parts."""
    request = _two_ways()
    request["components"]["KB-TWIN"] = request["components"]["KB-EM8-4"]
    results = _search({**request, "rank_by": criteria}).items
    values = [value(one) for one in results]
    assert values == sorted(values)
    assert [one.rank_key for one in results] == [[it] for it in values]
    assert len(set(values)) < len(values)
    order = [(key, one.components) for key, one in zip(values, results, strict=True)]
    assert order == sorted(order)


def test_what_is_not_known_ranks_last() -> None:
    """A stack of which no mass is known comes behind those of which it is."""
    request = _two_ways(cutters=["KB-EM8-4"])
    del request["components"]["KB-HT63-press-12-075"]["mass_kg"]
    results = _search({**request, "rank_by": ["mass", "mass", "components"]}).items
    assert [tuple(one.components) for one in results] == [_SHRUNK, _COLLET]
    assert results[-1].rank_key == [None, 3.0]


def test_verdicts_decide_first_and_pass_alone_where_asked() -> None:
    """By default a pass stands before a review; with 'pass' a review is refused, with what stands against it."""
    request = _two_ways(cutters=["KB-EM8-4"])
    del request["components"]["KB-X16-060-S08"]["max_speed_rpm"]
    report = _search(request)
    assert [one.verdict for one in report.items] == ["pass", "review"]
    assert report.items[1].undecided_codes == ["SPD-010"]
    report = _search({**request, "accept": "pass"})
    assert [tuple(one.components) for one in report.items] == [_COLLET]
    assert [(one.code, one.stacks, one.alone) for one in report.refused_by] == [("SPD-010", 1, 1)]


def test_an_empty_result_tells_the_nearest_misses() -> None:
    """Beyond every reach: the longest stacks first, with the reach alone against them."""
    report = _search(_two_ways(projection={"at_least_mm": 400}))
    assert (report.items, report.complete) == ([], True)
    assert {one.code for one in report.cut} >= {"REQ-010"}
    assert [[it.code for it in one.reasons] for one in report.nearest] == [["REQ-010"]] * 3
    told = [one.tip_from_gauge_line_mm or 0.0 for one in report.nearest]
    assert told == sorted(told, reverse=True)
    assert tuple(report.nearest[0].components) == _long(_SHRUNK)
    assert "the minimum is 400 mm" in report.nearest[0].reasons[0].message


def test_a_joint_that_does_not_fit_is_a_near_miss() -> None:
    """Where no collet holds the shank: the stack with that one joint refused, and nothing of kinds that never mate."""
    request = _two_ways()
    request["components"] = shelf("KB-HT63-press-12-075", "KB-press-12-6", "KB-EM8-4", "KB-N16-8")
    report = _search(request)
    assert report.items == []
    (miss,) = report.nearest
    assert miss.components == ["KB-HT63-press-12-075", "KB-press-12-6", "KB-EM8-4"]
    assert "COL-010" in {it.code for it in miss.reasons}
    assert ASSESSOR.assess(parse_request(copy.deepcopy(miss.check))).verdict == "fail"


def test_a_rule_that_stops_every_stack_is_told_with_its_share() -> None:
    """A runout limit that nothing keeps: all are judged, refused for it alone, and the nearest read least."""
    request = _two_ways()
    change(request["operations"][0], {"runout_limit_um": 1})
    report = _search(request)
    assert [(one.code, one.stacks, one.alone) for one in report.refused_by] == [("RUN-010", 4, 4)]
    assert len(report.nearest) == 3
    assert report.counts.refused == 4


def test_an_empty_inventory_is_answered() -> None:
    """Nothing to search is told, not refused."""
    report = _search({})
    assert (report.counts.parts, report.counts.orders_possible, report.complete) == (0, 0, True)
    assert report.notes == [
        "The inventory has no holder, so there is no stack.",
        "The inventory has no required cutting tool, so there is no stack.",
    ]


def test_the_same_search_gives_the_same_answer_whatever_the_order_of_its_keys() -> None:
    """Deterministic, and independent of how the inventory was written down; the input is left as it was."""
    request = _two_ways()
    before = copy.deepcopy(request)
    turned = {**request, "components": dict(reversed(request["components"].items()))}
    assert _search(request) == _search(request)
    assert _search(turned).model_dump(exclude={"provenance"}) == _search(request).model_dump(exclude={"provenance"})
    assert request == before


def test_thresholds_of_the_request_hold_in_the_search() -> None:
    """A joint that the rulebook accepts is given up where the request asks for more; an unknown one is a fault."""
    strict = {"policy": {"thresholds": [{"code": "BOR-050", "threshold": "least_interference_um", "value": 150}]}}
    report = _search({**_two_ways(), **strict})
    assert not any("KB-X16-060-S08" in one.components for one in report.items)
    assert "BOR-050" in {one.code for one in report.cut}
    with pytest.raises(BadRequestError) as caught:
        _search({**_two_ways(), "policy": {"thresholds": [{"code": "OVH-999", "threshold": "a", "value": 1}]}})
    assert caught.value.faults[0].pointer == "/policy/thresholds/0/code"


@pytest.mark.parametrize(("kind", "names"), [("component", BY_PART), ("joint", BY_JOINT | BY_GRIP), ("stack", BY_KNOB)])
def test_settled_properties_are_of_the_vocabulary(kind: str, names: frozenset[str]) -> None:
    """No name that no fact has: a rule would then never be settled."""
    assert names <= ASSESSOR.book.vocabulary.of(kind).keys()
