"""The parts of the page that say where everything lies and how true it runs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from markupsafe import Markup

from rules.analysis import Derived
from rules.schema.report import PlaneReport, PositionReport, Report, RunoutReport
from service.report.page_figures import Row, Table, figure, share

__all__ = ["contributors_table", "parts_table", "planes_table", "where_of"]

_LAWS: Final = {"limit": "at its limit", "capability": "95 % keep it", "measured": "measured"}


def where_of(limit_at: str) -> str:
    """Name the plane of a limit."""
    return limit_at.replace("_", " ")


def parts_table(report: Report, derived: Derived) -> Table | None:
    """List the parts in the order they are joined, with knobs last; nothing where the stack is not known."""
    rows = tuple(_parts(report, derived))
    if not rows:
        return None
    heads = ("Part", "Part number", "Kind", "From, mm", "To, mm")
    return Table("From the spindle side; distances count from the gauge line.", heads, rows, words=3)


def _parts(report: Report, derived: Derived) -> Iterator[Row]:
    places: list[PositionReport | None] = [*report.geometry.components]
    places += [None] * len(derived.chain.knobs)
    for link, place in zip((*derived.chain.links, *derived.chain.knobs), places, strict=True):
        part = link.part
        ends = ("", "") if place is None else (figure(place.from_mm), figure(place.to_mm))
        number = Markup("<bdi>{}</bdi>").format(part.part_number) if part.part_number else "not stated"
        yield Row((part.id, number, part.kind.replace("_", " "), *ends))


def planes_table(runout: RunoutReport) -> Table | None:
    """Tell the predicted readings; nothing where no plane is known."""
    planes = (("gauge plane", runout.gauge_plane), ("tip", runout.tip))
    rows = tuple(_plane(name, plane, runout.limit_at) for name, plane in planes if plane is not None)
    heads = (
        "Plane",
        "From gauge line, mm",
        "Half below",
        "95 % below",
        "Best clocking",
        "Worst case",
        "In limit",
    )
    known = "" if runout.complete else ", from what is stated only: true readings are larger"
    return Table(f"Predicted total indicator reading, µm{known}.", heads, rows) if rows else None


def _plane(name: str, plane: PlaneReport, limit_at: str) -> Row:
    within = plane.probability_within_limit
    return Row(
        (
            name,
            figure(plane.z_mm),
            figure(plane.p50_um, decimals=1),
            figure(plane.p95_um, decimals=1),
            figure(plane.best_clocking_um, decimals=1),
            "no hard limit" if plane.worst_case_um is None else figure(plane.worst_case_um, decimals=1),
            "no limit asked" if within is None else share(within, 1),
        ),
        marked=within is not None and where_of(limit_at) == name,
    )


def contributors_table(runout: RunoutReport) -> Table | None:
    """Tell what each part adds; nothing where no contributor is known."""
    rows = tuple(
        Row(
            (
                one.name,
                _LAWS[one.law] + (", direction known" if one.direction_known else ""),
                figure(one.gauge_plane_tir_um, decimals=1),
                figure(one.tip_tir_um, decimals=1),
                share(one.gauge_plane_share),
            )
        )
        for one in runout.contributors
    )
    caption = "What each contributor reads alone, µm, and its share of the mean square at the gauge plane."
    heads = ("Contributor", "How it is known", "At gauge plane", "At tip", "Share")
    return Table(caption, heads, rows, words=2) if rows else None
