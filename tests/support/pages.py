"""Pages read by an independent strict HTML parser, and the figures of a report expected on them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any
from xml.etree.ElementTree import Element

import html5lib


def parsed(page: str) -> Element:
    """Return the tree; the parser raises at the first violation of HTML."""
    tree: Element = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    return tree


def words(element: Element) -> str:
    """Return the text of an element and its descendants, with single spaces."""
    return " ".join("".join(element.itertext()).split())


def by_id(tree: Element, name: str) -> Element | None:
    """Return the element with this id."""
    return next((one for one in tree.iter() if one.get("id") == name), None)


def figures_shown(element: Element | None) -> list[float]:
    """Return the values of the figures of an element, in page order."""
    return [] if element is None else [float(one.get("value", "")) for one in element.iter("data")]


def misshown(tree: Element) -> list[tuple[str, str]]:
    """Return the figures whose text differs from their rounded value; shares are in percent, speeds rounded down."""
    wrong = []
    for one in tree.iter("data"):
        text, value = words(one).replace("−", "-"), float(one.get("value", ""))
        error = abs(value) * 1e-9 if "e" in text else 0.5000001 * _place(text)
        told = [value, 100 * value] if (one.tail or "").startswith("\xa0%") else [value]
        # the ends of a range of speeds have no unit of their own, so this holds for all whole numbers
        down = "." not in text and 0 <= value - float(text) < (10 if value > 10_000 else 1)
        if not down and not any(abs(float(text) - each) <= error for each in told):
            wrong.append((text, one.get("value", "")))
    return wrong


def _place(text: str) -> float:
    """Return the value of the last significant digit; beyond the third, zeros of a whole number may be rounded."""
    whole, _, decimals = text.lstrip("-").partition(".")
    zeros = len(whole) - len(whole.rstrip("0"))
    return float(10 ** -len(decimals)) if decimals else float(10 ** max(min(zeros, len(whole) - 3), 0))


def loose_numbers(tree: Element) -> set[str]:
    """Return the numbers in the text of the page that are not figures but part of texts, names and digests."""
    body = tree.find("body")
    assert body is not None
    return {token for text in _loose(body) for token in re.findall(r"\d+(?:[.,]\d+)*", text)}


def _loose(element: Element) -> Iterator[str]:
    if str(element.tag).rpartition("}")[2] not in ("svg", "data"):
        yield element.text or ""
        for inner in element:
            yield from _loose(inner)
            yield inner.tail or ""


def _values(*figures: Any) -> Iterator[Any]:
    """Yield value, low and high end of each estimate; anything else as it is."""
    for figure in figures:
        if isinstance(figure, dict) and "rests_on" in figure:
            yield figure["value"]
            yield from (figure[end] for end in ("low", "high") if figure[end] is not None)
        else:
            yield figure


def _plane(plane: dict[str, Any]) -> list[float | None]:
    """Return the figures of a row: places, median, 95th percentiles of assemblies and at limits, lowest, worst case."""
    told = {one["of"]: one for one in plane["predictions"]}
    parts = told.get("assemblies", {"quantiles_um": {}})
    lowest, worst = (told[of]["quantiles_um"] if of in told else {} for of in ("best_clocking", "worst_case"))
    return [
        plane["from_gauge_line_mm"],
        plane["from_last_clamping_face_mm"],
        parts["quantiles_um"].get("p50"),
        parts["quantiles_um"].get("p95"),
        told.get("parts_at_limits", {"quantiles_um": {}})["quantiles_um"].get("p95"),
        lowest.get("p0"),
        worst.get("p100"),
    ]


def _of_operation(one: dict[str, Any]) -> Iterator[float | None]:
    """Yield the figures of an operation in the order of the page."""
    limit, speed, grips = one["runout"], one["speed"], one["grip"]
    if limit is not None:
        yield from (limit["limit_um"], limit["probability_within_limit"].get("assemblies"))
    yield speed["programmed_rpm"]
    yield from _values(speed["governing"] and speed["governing"]["speed_rpm"])
    yield from (speed[name] for name in ("margin_rpm", "relative_margin"))
    yield from _values(*(each["speed_rpm"] for each in speed["limits"]))
    for grip in grips:
        yield from _values(*(grip[name] for name in ("torque_capacity_n_m", "axial_capacity_n", "safety_factor")))
    for grip in grips:
        yield from (
            value
            for name in ("interference_at_speed_um", "least_pressure_mpa", "hub_stress_mpa", "holding_speed_rpm")
            for value in _values(grip[name])
        )
    load = one["load"]
    yield from (
        load[name]
        for name in (
            "torque_n_m",
            "mean_torque_n_m",
            "axial_pull_n",
            "thrust_n",
            "radial_force_n",
            "force_height_mm",
            "power_kw",
            "mean_chip_thickness_mm",
            "specific_force_mpa",
            "spread",
            "teeth_in_cut",
            "removal_rate_mm3_per_min",
        )
    )
    yield from _values(*one["bending"].values())
    balance = one["balance"]
    yield from (
        value
        for name in (
            "permissible_g_mm",
            "seating_g_mm",
            "highest_speed_rpm",
            "quality_mm_per_s",
            "rotating_force_n",
            "front_bearing_force_n",
            "rear_bearing_force_n",
        )
        for value in _values(balance[name])
    )


def expected_figures(report: dict[str, Any]) -> dict[str, list[float]]:
    """Return the figures of the report that each part of the page should show, in order, by id of the part."""
    runout, speed, grip = report["runout"], report["speed"], report["grip"]
    stiffness, mass, assembly = report["stiffness"], report["mass"], report["assembly"]
    told: dict[str, list[float | None]] = {
        "findings": [
            value
            for one in report["findings"]
            for value in (*(one[name] and one[name]["value"] for name in ("observed", "limit")), one["margin"])
            if not isinstance(value, str)
        ],
        "stack": [
            *(
                report["geometry"][name]
                for name in ("tip_mm", "tip_from_last_clamping_face_mm", "last_clamping_face_mm")
            ),
            *(end for one in report["geometry"]["components"] for end in (one["from_mm"], one["to_mm"])),
        ],
        "runout": [
            *(value for one in runout["planes"] for value in _plane(one)),
            *(
                value
                for one in runout["contributors"]
                for value in (
                    one["tir_um"].get("gauge_plane"),
                    one["tir_um"].get("tip"),
                    one["share"].get("gauge_plane"),
                )
            ),
        ],
        "speed": [
            *_values(speed["governing"] and speed["governing"]["speed_rpm"]),
            *(() if report["operations"] else _values(*(one["speed_rpm"] for one in speed["limits"]))),
        ],
        "grip": [
            *(value for one in grip for value in _values(*list(one.values())[2:9]) if isinstance(value, float)),
            *(
                value
                for one in grip
                if one["shrink_fit"] is not None
                for name in (
                    "least_interference_um",
                    "greatest_interference_um",
                    "greatest_pressure_mpa",
                    "friction",
                    "yield_mpa",
                    "opening_temperature_c",
                    "release_speed_rpm",
                )
                for value in _values(one["shrink_fit"][name])
            ),
        ],
        **{f"operation-{number}": list(_of_operation(one)) for number, one in enumerate(report["operations"])},
        "mass": [
            *list(mass.values())[:4],
            *(value for one in mass["components"] for value in list(one.values())[1:]),
        ],
        "record": [
            one[name]
            for one in assembly["record"]["blanks"]
            for name in (*_SETTING[1:], "expected_median", "expected_p95")
            if one["group"] != "signature"
        ],
        "changes": [one[name] for one in report["provenance"]["deviations"] for name in ("value", "default")],
    }
    return {part: [value for value in values if value is not None] for part, values in told.items()} | {
        part: sorted(value for value in values if value is not None)
        for part, values in {
            "balance": [
                *(value for value in _values(*report["balance"].values()) if not isinstance(value, str | list)),
                *(value for plane in report["balance"]["planes"] for value in plane.values()),
            ],
            "stiffness": [
                *(value for value in _values(*stiffness.values()) if isinstance(value, float)),
                *_values(*stiffness["bending_frequencies_hz"]),
                *(one["share"] for one in stiffness["shares"]),
            ],
            "instruction": [
                *(
                    one[name]
                    for step in assembly["steps"]
                    for one in step["values"]
                    for name in _SETTING
                    if name in one
                ),
                *(value for value in (assembly["acceptance"] or {}).values() if isinstance(value, float)),
                *(
                    one["quantiles_um"][name]
                    for one in (assembly["acceptance"] or {"predictions": []})["predictions"]
                    if one["of"] == "assemblies"
                    for name in ("p50", "p95")
                    if name in one["quantiles_um"]
                ),
            ],
            "disassembly": [
                one[name]
                for step in assembly["disassembly"]
                for one in step["values"]
                for name in _SETTING
                if name in one
            ],
        }.items()
    }


_SETTING = ("value", "target", "tolerance", "inches", "at_least", "at_most")
"""Figures of a value to set, or of a blank, in the order of the page."""

IN_ANY_ORDER = frozenset({"load", "balance", "stiffness", "instruction", "disassembly"})
"""Parts whose figures have names and may be in any order."""
