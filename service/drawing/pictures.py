"""Drawing and charts of a checked stack, each a standalone SVG."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, get_args

from rules.analysis import StackAnalysis
from rules.schema.report import Report
from service.contract import PictureName
from service.drawing.dimensions import NO_FIELDS, RequestFields
from service.drawing.plots_of_law import plot_axis, plot_distribution
from service.drawing.plots_of_report import plot_budget, plot_speed
from service.drawing.side_view import draw_stack
from service.drawing.svg import document, text

__all__ = ["NOTHING_TO_SHOW", "PictureName", "Pictures", "picture_of", "picture_or_words", "pictures_of"]

NOTHING_TO_SHOW: Final[Mapping[PictureName, str]] = {
    "stack": "No drawing: the stack refers to a part that is not defined.",
    "budget": "No chart: no runout is stated.",
    "distribution": "No chart: the runout of a part or the gauge plane is not known.",
    "axis": "No chart: runout or lengths are not stated.",
    "speed": "No chart: no speed limit is stated.",
}
"""Texts for missing pictures."""


@dataclass(frozen=True, slots=True)
class Pictures:
    """The pictures as SVG text; None without data."""

    stack: str | None
    """Side view to scale."""
    budget: str | None
    """Runout budget by contributor."""
    distribution: str | None
    """Distribution of the runout."""
    axis: str | None
    """Runout along the axis."""
    speed: str | None
    """Speed limits."""


def picture_of(
    name: PictureName,
    report: Report,
    derived: StackAnalysis,
    *,
    bent: bool = True,
    prefix: str = "",
    fields: RequestFields = NO_FIELDS,
) -> str | None:
    """Return one picture; arguments as `pictures_of`, `fields` as `draw_stack`."""
    match name:
        case "stack":
            return draw_stack(report, derived, bent=bent, prefix=prefix, fields=fields)
        case "budget":
            return plot_budget(report, prefix=prefix)
        case "distribution":
            return plot_distribution(report, derived, prefix=prefix)
        case "axis":
            return plot_axis(report, derived, prefix=prefix)
        case "speed":
            return plot_speed(report, prefix=prefix)


def pictures_of(report: Report, derived: StackAnalysis, *, bent: bool = True, prefix: str = "") -> Pictures:
    """Return the pictures of a check; identical arguments give identical text.

    Parameters
    ----------
    report, derived
        From `Assessor.assess_derived`.
    bent
        Whether the side view shows the runout of the axis.
    prefix
        Prefix of the ids, for several pictures in one page; starts with a letter.

    Raises
    ------
    ValueError
        For an invalid prefix.
    """
    made = {name: picture_of(name, report, derived, bent=bent, prefix=prefix) for name in get_args(PictureName)}
    return Pictures(**made)


def picture_or_words(
    name: PictureName, report: Report, derived: StackAnalysis, *, bent: bool = True, fields: RequestFields = NO_FIELDS
) -> str:
    """Return one picture, or one with a text why there is none."""
    made = picture_of(name, report, derived, bent=bent, fields=fields)
    if made is not None:
        return made
    words = NOTHING_TO_SHOW[name]
    return document(name, words, words, (640.0, 60.0), [text(20.0, 35.0, words)])
