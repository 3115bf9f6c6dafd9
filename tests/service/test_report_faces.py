"""Every field of the report appears in the text and on the page."""

from __future__ import annotations

import typing
from collections.abc import Iterator
from functools import cache
from itertools import count
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Final, Literal, Union, get_args, get_origin

import pytest
from pydantic import BaseModel

from rules.quantities.models import Out
from rules.schema.report import Estimate, JudgementDeviation, Quantity, Report, RunoutPrediction, SpeedLimit, estimate
from rules.schema.strict_json import parse_json
from service.drawing.pictures import Pictures
from service.sheets import page
from service.sheets.assumed import assumed
from service.sheets.check import acceptance, finding_facts, provenance, report_text, runout, stack
from service.sheets.figures import Section, line
from service.sheets.mechanics import mechanics
from tests.support.stacks import derived_of

_LEVELS: Final = "people read the median and the 95th percentile"
_AT_LIMITS: Final = "people read the 95th percentile of parts at their limits"
_LIMITS: Final = "the limits of every operation are these and its own"

UNSEEN: Final = {
    "assembly.acceptance.predictions[assemblies].quantiles_um.p80": _LEVELS,
    "assembly.acceptance.predictions[assemblies].quantiles_um.p99": _LEVELS,
    "assembly.acceptance.predictions[parts_at_limits].quantiles_um.p50": _AT_LIMITS,
    "assembly.acceptance.predictions[parts_at_limits].quantiles_um.p80": _AT_LIMITS,
    "assembly.acceptance.predictions[parts_at_limits].quantiles_um.p95": "the runout table has it",
    "assembly.acceptance.predictions[parts_at_limits].quantiles_um.p99": _AT_LIMITS,
    "assembly.acceptance.predictions[worst_case].quantiles_um.p100": "the runout table has it",
    "assembly.acceptance.predictions[best_clocking].quantiles_um.p0": "the runout table has it",
    "assembly.disassembly[].at": "place in the request; the step names the joint",
    "assembly.disassembly[].not_stated[].at": "for programs; the step says in words what is missing",
    "assembly.steps[].not_stated[].at": "for programs; the step says in words what is missing",
    "findings[].rests_on": "ids for programs; the message names the joint that decides",
    "understood[].at": "place in the request; the designation is there",
    "summary.assumed": "for programs; the notes say what is assumed",
    "assembly.disassembly[].components": "the step names the joint",
    "assembly.steps[].at": "place in the request; the step names the joint",
    "assembly.steps[].components": "the step names the joint",
    "geometry.datum": "there is only one; labels and captions name it",
    "grip[].at": "place in the request; the row names the joint",
    "runout.contributors[].component": "the text of the contributor has it",
    "runout.contributors[].id": "for programs; the text of the contributor says the same",
    "runout.contributors[].joint.lower": "the text of the contributor has it",
    "runout.contributors[].joint.upper": "the text of the contributor has it",
    "runout.contributors[].kind": "the text of the contributor has it",
    "runout.contributors[].rests_on": "empty in every report",
    "runout.contributors[].offset_across_um": "for computing on; people read the total indicator readings",
    "runout.contributors[].offset_um": "for computing on; people read the total indicator readings",
    "runout.contributors[].slope_across_um_per_mm": "for computing on; people read the total indicator readings",
    "runout.contributors[].slope_um_per_mm": "for computing on; people read the total indicator readings",
    "runout.contributors[].share.tip": "the shares differ little between the planes",
    "operations[].runout.probability_within_limit.gauge_plane": "no subject of a prediction",
    "operations[].runout.probability_within_limit.tip": "no subject of a prediction",
    "runout.contributors[].share.assemblies": "no plane",
    "runout.contributors[].tir_um.assemblies": "no plane",
    "runout.planes[].predictions[assemblies].quantiles_um.p80": _LEVELS,
    "runout.planes[].predictions[assemblies].quantiles_um.p99": _LEVELS,
    "runout.planes[].predictions[parts_at_limits].quantiles_um.p50": _AT_LIMITS,
    "runout.planes[].predictions[parts_at_limits].quantiles_um.p80": _AT_LIMITS,
    "runout.planes[].predictions[parts_at_limits].quantiles_um.p99": _AT_LIMITS,
    "speed.limits[].cause": _LIMITS,
    "speed.limits[].component": _LIMITS,
    "speed.limits[].speed_rpm": _LIMITS,
}
"""Leaves of the report that people need not see, and why."""

TOLD_BY: Final[dict[type[BaseModel], str]] = {JudgementDeviation: "kind", RunoutPrediction: "of"}
"""Parts of which one field says how the others are shown."""

FOR_PROGRAMS: Final = ("assumptions[].", "not_judged[].", "stated_by_standard[].")
"""Assumptions and values of standards, of which people see the figures and the source, and the rules without anything
to judge, which the rule catalogue describes."""

ON_THE_PAGE_ONLY: Final = {
    "decided": "the text counts them",
    "runout.planes[].readable": "the work instruction says where the indicator meets flutes or nothing",
    "provenance.aliases_sha256": "for the record, which is the page or the JSON",
    "provenance.catalogue_sha256": "for the record, which is the page or the JSON",
    "provenance.contract": "for the record, which is the page or the JSON",
    "provenance.judgement_sha256": "for the record, which is the page or the JSON",
    "provenance.request_sha256": "for the record, which is the page or the JSON",
    "provenance.rulebook_sha256": "for the record, which is the page or the JSON",
    "provenance.rulebooks": "for the record, which is the page or the JSON",
    "provenance.service": "for the record, which is the page or the JSON",
    "provenance.version": "for the record, which is the page or the JSON",
}

_STACK: Final = Path(__file__).parents[2] / "demo_data/stacks/04-shrink-fit-rougher.json"


def _without_none(annotation: Any) -> Any:
    if get_origin(annotation) is typing.Annotated:
        return _without_none(get_args(annotation)[0])
    if get_origin(annotation) in (Union, UnionType):
        return _without_none(next(one for one in get_args(annotation) if one is not NoneType))
    return annotation


def _filled_model(kind: type[BaseModel], numbers: Iterator[int]) -> dict[str, Any]:
    names = {"value"} if kind in (Estimate, Quantity) else set()
    return {name: _filled(one.annotation, numbers) for name, one in kind.model_fields.items() if name not in names}


def _filled(annotation: Any, numbers: Iterator[int]) -> Any:
    """Return a value with every leaf known, each number and each text another."""
    kind = _without_none(annotation)
    if kind in (Estimate, Quantity):
        return {**_filled_model(kind, numbers), "value": next(numbers) + 0.5}
    if kind == list[RunoutPrediction]:
        return _predictions(numbers)
    if kind == list[JudgementDeviation]:
        return _deviations(numbers)
    if get_origin(kind) is dict:
        return {name: next(numbers) + 0.5 for name in ("gauge_plane", "tip", "assemblies")}
    if get_origin(kind) is list:
        return [_filled(get_args(kind)[0], numbers), _filled(get_args(kind)[0], numbers)]
    if get_origin(kind) is Literal:
        return get_args(kind)[0]
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return _filled_model(kind, numbers)
    return {bool: True, int: next(numbers), float: next(numbers) + 0.5, str: f"text {next(numbers)}"}[kind]


def _deviations(numbers: Iterator[int]) -> list[dict[str, Any]]:
    empty = dict.fromkeys(JudgementDeviation.model_fields)
    severities = {"severity": "advice", "default_severity": "error"}
    limits = {"threshold": "most_mm", "value": next(numbers) + 0.5, "default": next(numbers) + 0.5, "unit": "mm"}
    return [
        {**empty, "kind": "threshold", "code": f"code {next(numbers)}", "safety": True, **limits},
        {**empty, "kind": "severity", "code": f"code {next(numbers)}", "safety": True, **severities, "book": "a.yaml"},
        {**empty, "kind": "rule", "code": f"code {next(numbers)}", "safety": True, "book": "b.yaml"},
    ]


def _predictions(numbers: Iterator[int]) -> list[dict[str, Any]]:
    levels = ("p50", "p80", "p95", "p99")
    quantiles = {"assemblies": levels, "parts_at_limits": levels, "worst_case": ("p100",), "best_clocking": ("p0",)}
    return [
        {
            "of": of,
            "quantiles_um": {name: next(numbers) + 0.5 for name in names},
        }
        for of, names in quantiles.items()
    ]


def _leaves(value: Any, kind: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Yield each leaf's place, and the whole value with this leaf changed; of a list its first item stands for all."""
    kind = _without_none(kind)
    if value is None:
        return
    if kind in (Estimate, Quantity):
        # the range is shown where there is one; what it rests on is for programs
        yield path, {**value, "value": 2 * value["value"]}
    elif isinstance(kind, type) and issubclass(kind, BaseModel):
        for name, field in kind.model_fields.items():
            for place, changed in _leaves(value[name], field.annotation, f"{path}.{name}"):
                yield place, {**value, name: changed}
    elif get_origin(kind) is list and get_args(kind)[0] in TOLD_BY:
        # one field says how the others are shown
        model = get_args(kind)[0]
        for number, one in enumerate(value):
            for name in model.model_fields.keys() - {TOLD_BY[model]}:
                inner = model.model_fields[name].annotation
                for place, changed in _leaves(one[name], inner, f"{path}[{one[TOLD_BY[model]]}].{name}"):
                    yield place, [*value[:number], {**one, name: changed}, *value[number + 1 :]]
    elif get_origin(kind) is dict:
        for name, one in value.items():
            yield f"{path}.{name}", {**value, name: 2 * one}
    elif get_origin(kind) is list:
        for place, changed in _leaves(value[0], get_args(kind)[0], f"{path}[]"):
            yield place, [changed, *value[1:]]
    elif get_origin(kind) is Literal:
        others = get_args(kind)[1:]
        yield path, others[0] if others else value
    elif isinstance(value, bool):
        yield path, not value
    else:
        yield path, value + " changed" if isinstance(value, str) else 2 * value


def _faces(data: Any) -> tuple[str, str]:
    report = Report.model_validate(data)
    return report_text(report), page.report_page(report, _analysis())


@cache
def _analysis() -> Any:
    return derived_of(parse_json(_STACK.read_bytes()))


@pytest.fixture(autouse=True)
def _no_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    """A picture that changes must not hide a figure that is missing beside it."""
    monkeypatch.setattr(page, "pictures_of", lambda *_, **__: Pictures(None, None, None, None, None))


@cache
def _whole() -> Any:
    data = _filled(Report, count(100))
    # The page takes part numbers from the request, so the first parts must be those of the stack.
    members = _analysis().chain.members
    for plane, name in zip(data["runout"]["planes"], ("gauge_plane", "tip"), strict=True):
        plane["plane"] = name
    for place, member in zip(data["geometry"]["components"], members, strict=True):
        place["component"] = member.part.id
    # A limit and a share belong to a component or to a joint.
    speeds = [data["speed"], *(one["speed"] for one in data["operations"])]
    for listed in (*(one["limits"] for one in speeds), data["stiffness"]["shares"]):
        listed[0]["joint"] = None
        listed[1]["component"] = None
    for one in speeds:
        one["governing"] = {**one["governing"], "joint": None}
    return data


def test_every_leaf_is_on_every_face() -> None:
    """Text and page change with each leaf of the report, but for the few that people need not see."""
    text, sheet = _faces(_whole())
    not_in_text, not_on_page = set(), set()
    for path, changed in _leaves(_whole(), Report):
        place = path.removeprefix(".").removesuffix("[]")
        if place.startswith(FOR_PROGRAMS):
            continue
        other_text, other_sheet = _faces(changed)
        if other_text == text:
            not_in_text.add(place)
        if other_sheet == sheet:
            not_on_page.add(place)
    assert not_in_text == {*UNSEEN, *ON_THE_PAGE_ONLY}
    assert not_on_page == set(UNSEEN)


def _labels(section: Section) -> Iterator[str]:
    yield from (one.label for one in section.facts)
    yield from (head for one in section.tables for head in one.heads)
    for part in section.parts:
        yield from _labels(part)


def _numeric(model: type[Out], path: str = "") -> Iterator[tuple[type[Out], str, str]]:
    for name, field in model.model_fields.items():
        kind, place = _without_none(field.annotation), f"{path}.{name}".removeprefix(".")
        if get_origin(kind) is list:
            kind, place = _without_none(get_args(kind)[0]), f"{place}[]"
        if kind is float or kind in (Estimate, Quantity):
            yield model, name, place
        elif isinstance(kind, type) and issubclass(kind, Out):
            yield from _numeric(kind, place)


def test_every_figure_has_its_label_from_the_contract() -> None:
    """The title in the JSON Schema is what text and page call the figure."""
    report = Report.model_validate(_whole())
    assert report.assembly is not None
    sections = (assumed(report), stack(report), runout(report.runout), *mechanics(report), provenance(report))
    shown = {label for one in sections for label in _labels(one)}
    shown |= {one.label for one in (*finding_facts(report.findings[0]), *acceptance(report.assembly.acceptance))}
    for model, name, place in _numeric(Report):
        in_words = place.startswith(
            (
                "provenance.",
                "assembly.acceptance.surfaces",
                "assembly.steps",
                "assembly.disassembly",
                "assembly.record.",
            )
        )
        if (
            place in UNSEEN or in_words or place.startswith(FOR_PROGRAMS)
        ):  # a sentence or a row that names the quantity itself
            continue
        declared = line(model, name)
        assert Report.model_json_schema()["$defs"][model.__name__]["properties"][name]["title"] == declared.label
        assert {declared.label, declared.head} & shown, place


def test_every_cause_of_a_limit_has_words() -> None:
    """No code of the contract is shown as it is."""
    causes = get_args(SpeedLimit.model_fields["cause"].annotation)
    assert len(
        {
            SpeedLimit(cause=one, component="collet-1", joint=None, speed_rpm=estimate(1.0, "rpm")).words
            for one in causes
        }
    ) == len(causes)
