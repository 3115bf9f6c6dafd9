"""Every picture is well-formed, self-contained SVG, legible without colour, with a text description."""

from __future__ import annotations

import copy
import json
import random
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from rules.schema.parsing import BadRequestError, parse_request
from service.drawing.pictures import NOTHING_TO_SHOW, Pictures, picture_or_words, pictures_of
from service.drawing.svg import document, element, figure, text
from tests.support.extreme_requests import extreme_request
from tests.support.pictures import NAMES, SVG, drawn, judged, outside, overlapping, parsed, shown, words_in
from tests.support.random_stacks import random_stack

STACKS = sorted((Path(__file__).parents[2] / "demo_data/stacks").glob("*.json"))

_ALLOWED = {"circle", "defs", "desc", "g", "path", "pattern", "polygon", "rect", "svg", "text", "title"}


def _request(file: Path) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return told


def _sound(pictures: Pictures) -> None:
    """What holds of every picture, whatever the stack."""
    for name, picture in shown(pictures):
        root = parsed(picture)
        for one in root.iter():
            assert one.tag.removeprefix(SVG) in _ALLOWED, (name, one.tag)
            for key, value in one.attrib.items():
                assert key != "style", (name, one.tag)
                assert not key.startswith("on"), (name, key)
                assert "href" not in key, (name, key)
                assert "nan" not in value.lower().split(), (name, key, value)
                assert "inf" not in value.lower().split(), (name, key, value)
                if "url(" in value:
                    assert root.find(f".//*[@id='{value[5:-1]}']") is not None, value
        assert picture.replace('xmlns="http://www.w3.org/2000/svg"', "").count("://") == 0
        ids = [one.get("id") for one in root.iter() if one.get("id")]
        assert len(ids) == len(set(ids))
        title, about = root.get("aria-labelledby", "").split()
        assert root.get("role") == "img"
        for told in (title, about):
            (alternative,) = root.findall(f"{SVG}*[@id='{told}']")
            assert (alternative.text or "").strip()
        assert overlapping(root) == [], name
        assert outside(root) == [], name


@pytest.mark.parametrize("file", STACKS, ids=lambda file: file.stem)
def test_every_stack_of_the_shop_has_sound_pictures(file: Path) -> None:
    """All five, the distribution only of a complete budget, bent and straight, and the same text each time."""
    request = _request(file)
    pictures = drawn(request)
    complete = not file.stem.startswith("15")
    assert [name for name, _ in shown(pictures)] == [name for name in NAMES if complete or name != "distribution"]
    _sound(pictures)
    assert pictures == drawn(request)
    straight = drawn(request, bent=False)
    _sound(straight)
    assert straight.stack != pictures.stack
    assert (straight.budget, straight.speed) == (pictures.budget, pictures.speed)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_any_stack_has_sound_pictures(seed: int) -> None:
    """Senseless and incomplete ones too: nothing raises, nothing overlaps, no number but finite ones."""
    request = random_stack(random.Random(seed))
    try:
        parse_request(copy.deepcopy(request))
    except BadRequestError:
        return
    _sound(drawn(request))


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_figures_at_the_ends_of_their_range_are_drawn(seed: int) -> None:
    """A thousandth of a millimetre, five metres, ten millimetres of runout."""
    _sound(drawn(extreme_request(random.Random(seed))))


@pytest.mark.parametrize("seed", [1116, 1212])
def test_runout_of_next_to_nothing_and_of_beyond_all_measure_is_drawn(seed: int) -> None:
    """Figures stay on the sheet and axes keep figures that differ."""
    _sound(drawn(extreme_request(random.Random(seed))))


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_whatever_is_left_out_is_drawn_as_not_stated(data: st.DataObject) -> None:
    """Fields of parts are dropped at will."""
    request = _request(data.draw(st.sampled_from(STACKS)))
    for part in request["stack"]["components"]:
        given_fields = sorted(set(part) - {"id", "kind"})
        for field in data.draw(st.sets(st.sampled_from(given_fields))):
            del part[field]
    _sound(drawn(request))


def test_ids_of_two_prefixes_never_meet() -> None:
    """Pictures of one page do not take each other's hatching."""
    request = _request(STACKS[0])
    ids = [
        one.get("id")
        for prefix in ("first-", "second-", "")
        for _, picture in shown(drawn(request, prefix=prefix))
        for one in parsed(picture).iter()
        if one.get("id")
    ]
    assert len(ids) == len(set(ids)) > 30


@pytest.mark.parametrize("prefix", ["1", '"', "a b", "a&", "-"])
def test_a_prefix_that_cannot_begin_an_id_is_refused(prefix: str) -> None:
    """Before it stands in a page."""
    with pytest.raises(ValueError, match="prefix"):
        drawn(_request(STACKS[0]), prefix=prefix)


def test_hostile_words_stay_words() -> None:
    """Names and titles, of an operator's rules too, are escaped wherever they stand."""
    hostile = "</title><script>alert(1)</script>\"'&\x00\ud800"
    report, derived = judged(_request(STACKS[2]))
    report = report.model_copy(
        update={
            "stack_id": hostile,
            "findings": [one.model_copy(update={"code": hostile, "title": hostile}) for one in report.findings],
            "runout": report.runout.model_copy(
                update={
                    "contributors": [one.model_copy(update={"text": hostile}) for one in report.runout.contributors]
                }
            ),
        }
    )
    known = tuple(one._replace(name=hostile) for one in derived.contributors.known)
    derived = replace(derived, contributors=derived.contributors._replace(known=known))
    pictures = pictures_of(report, derived)
    for _, picture in shown(pictures):
        root = parsed(picture)
        assert {one.tag.removeprefix(SVG) for one in root.iter()} <= _ALLOWED
        assert "alert(1)" in "".join(root.itertext())


def test_the_writer_escapes_and_refuses() -> None:
    """Text and attributes, to an independent parser; numbers that are none."""
    words = "a<b>&\"'c]]>"
    root = etree.fromstring(document("n", words, words, (10.0, 10.0), [text(0.0, 0.0, words, data_name=words)]))
    assert [one.text for one in root.iter(f"{SVG}text", f"{SVG}title", f"{SVG}desc")] == [words] * 3
    assert root.find(f"{SVG}text").get("data-name") == words  # type: ignore[union-attr]
    for bad in (float("nan"), float("inf"), -float("inf")):
        with pytest.raises(ValueError, match="finite"):
            element("rect", x=bad)
    assert [figure(value) for value in (-0.004, 1e-9, 2.5)] == ["0", "0", "2.5"]


def test_a_picture_with_nothing_to_show_says_so() -> None:
    """A stack of which nothing but the names is known has one picture; a broken reference none."""
    bare = {"stack": {"components": [{"id": "c", "kind": "cutter"}]}}
    report, derived = judged(bare)
    assert [name for name, _ in shown(pictures_of(report, derived))] == ["stack"]
    broken, nothing = judged(
        {"stack": {"components": [{"kind": "reference", "of": {"from": "request", "key": "missing"}}]}}
    )
    assert [name for name, _ in shown(pictures_of(broken, nothing))] == []
    for name in NAMES:
        root = parsed(picture_or_words(name, broken, nothing))
        assert [one.words for one in words_in(root)] == [NOTHING_TO_SHOW[name]]
        assert outside(root) == []


def test_the_words_tell_what_the_side_view_shows() -> None:
    """Who cannot see it reads the parts, the places, and each finding."""
    request = _request(STACKS[2])
    report, _ = judged(request)
    picture = drawn(request).stack
    assert picture is not None
    about = parsed(picture).findtext(f"{SVG}desc") or ""
    for part in request["stack"]["components"]:
        assert part["id"] in about
    assert "227 mm from the gauge line" in about
    assert report.findings
    for one in report.findings:
        assert one.code in about
        assert one.title in about
