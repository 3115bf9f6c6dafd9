"""The pictures of a checked stack, each a standalone SVG."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, get_args

from rules.analysis import StackAnalysis
from rules.schema.report import Report
from service.contract import PictureName
from service.drawing.plots_of_law import plot_axis, plot_distribution
from service.drawing.plots_of_report import plot_budget, plot_speed
from service.drawing.side_view import draw_stack
from service.drawing.svg import document, text

__all__ = ["NOTHING_TO_SHOW", "PictureName", "Pictures", "picture_of", "picture_or_words", "pictures_of"]

NOTHING_TO_SHOW: Final[Mapping[PictureName, str]] = {
    "stack": "There is nothing to draw: the stack names a part that is not defined.",
    "budget": "There is no budget to show: no runout is stated.",
    "distribution": "There is no distribution to show: runout or the gauge plane is not known.",
    "axis": "There is no axis to show: runout or lengths are not stated.",
    "speed": "There are no speeds to show: nothing that limits the speed is stated.",
}
"""Why a picture can be missing."""


@dataclass(frozen=True, slots=True)
class Pictures:
    """The pictures as SVG text; None where there is nothing to show."""

    stack: str | None
    """Side view to scale."""
    budget: str | None
    """What each contributor adds."""
    distribution: str | None
    """How likely which reading is."""
    axis: str | None
    """Runout along the axis."""
    speed: str | None
    """What limits the speed."""


def picture_of(
    name: PictureName, report: Report, derived: StackAnalysis, *, bent: bool = True, prefix: str = ""
) -> str | None:
    """Return one picture; arguments as `pictures_of`."""
    match name:
        case "stack":
            return draw_stack(report, derived, bent=bent, prefix=prefix)
        case "budget":
            return plot_budget(report, prefix=prefix)
        case "distribution":
            return plot_distribution(report, derived, prefix=prefix)
        case "axis":
            return plot_axis(report, derived, prefix=prefix)
        case "speed":
            return plot_speed(report, prefix=prefix)


def pictures_of(report: Report, derived: StackAnalysis, *, bent: bool = True, prefix: str = "") -> Pictures:
    """Draw what a check found.

    Parameters: report and derived, from `Assessor.assess_derived`; bent, whether the side view shows how the
    contributors bend the axis; prefix, letters that make the ids unique where several pictures stand in one page, a
    letter first. The same arguments give the same text. Raises ValueError for a prefix that cannot begin an id.
    """
    made = {name: picture_of(name, report, derived, bent=bent, prefix=prefix) for name in get_args(PictureName)}
    return Pictures(**made)


def picture_or_words(name: PictureName, report: Report, derived: StackAnalysis, *, bent: bool = True) -> str:
    """Return one picture, or one that says in words why there is nothing to show."""
    made = picture_of(name, report, derived, bent=bent)
    if made is not None:
        return made
    words = NOTHING_TO_SHOW[name]
    return document(name, words, words, (640.0, 60.0), [text(20.0, 35.0, words)])
