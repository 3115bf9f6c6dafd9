"""Mass and length of bare tapers with their flanges."""

from __future__ import annotations

from functools import cache

from rules.couplings.hollow_taper import HollowTaper
from rules.couplings.polygonal_taper import PolygonalTaper
from rules.couplings.steep_taper import SteepTaper
from rules.quantities.tables import Row, read_rows

__all__ = ["BareTaper", "bare_taper"]


class BareTaper(Row):
    """A taper with its flange, no body on it."""

    coupling: str
    size: str
    family: str | None
    mass_kg: float
    flange_mm: float
    flange_diameter_mm: float
    cone_mm: float


@cache
def _rows() -> tuple[BareTaper, ...]:
    return read_rows("bare_tapers", BareTaper)


def bare_taper(side: object) -> BareTaper | None:
    """Return the bare taper of a machine side, of its own family of dimensions if that has a row.

    Parameters
    ----------
    side : object
        Machine side of a component, or None.

    Returns
    -------
    BareTaper | None
        Its row; None for any other coupling and for sizes without one.

    Notes
    -----
    Source: the table.

    Examples
    --------
    >>> bare_taper(HollowTaper(coupling="hollow_taper", size="63", form="A")).flange_mm
    26.0
    """
    if not isinstance(side, SteepTaper | HollowTaper | PolygonalTaper):
        return None
    family = getattr(side, "form", None)
    sized = [row for row in _rows() if row.coupling == side.coupling and row.size == side.size]
    return next(
        (row for row in sized if row.family is not None and row.family == family),
        next((row for row in sized if row.family is None), None),
    )
