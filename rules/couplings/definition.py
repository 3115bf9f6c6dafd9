"""Couplings: which kinds go together, what class of joint they make, how they may be clocked.

Whether two forms of one taper fit the same spindle.
"""

from __future__ import annotations

from collections.abc import Collection
from fractions import Fraction
from functools import cache
from typing import Literal, NamedTuple, Protocol

from rules.quantities.tables import Row, Texts, UnknownEntryError, read_rows

__all__ = [
    "Clocking",
    "Interchange",
    "JointClass",
    "accepts",
    "clocking",
    "compare_forms",
    "coupling",
    "couplings",
    "joint_class",
    "taper_rate",
]


JointClass = Literal["taper", "collet_seat", "grip", "arbor", "declared"]


class Clocking(NamedTuple):
    """How a joint may be turned: free, indexed with so many positions, or not stated."""

    kind: Literal["free", "indexed", "not_stated"]
    positions: int | None


class Coupling(Row):
    """A coupling the service knows."""

    name: str
    title: str
    what: str
    standards: Texts
    ends: Texts
    accepts: Texts
    joint_class: JointClass
    taper: str | None
    half_angle_deg: float | None
    clocking: Literal["free", "indexed", "by_form", "not_stated"]
    clocking_positions: int | None
    tables: Texts
    seating_eccentricity_um: float | None


class _FormClocking(Row):
    coupling: str
    form: str
    clocking: Literal["free", "indexed"]
    clocking_positions: int | None


@cache
def _couplings() -> dict[str, Coupling]:
    return {row.name: row for row in read_rows("couplings", Coupling)}


@cache
def _form_clockings() -> dict[tuple[str, str], Clocking]:
    rows = read_rows("coupling_clocking", _FormClocking)
    return {(row.coupling, row.form): Clocking(row.clocking, row.clocking_positions) for row in rows}


def couplings() -> tuple[str, ...]:
    """Names of the couplings."""
    return tuple(_couplings())


def coupling(name: str) -> Coupling:
    """A coupling by name; raises :class:`UnknownEntryError` for an unknown one."""
    found = _couplings().get(name)
    if found is None:
        raise UnknownEntryError("couplings", name, couplings())
    return found


@cache
def accepts(workpiece_side: str, machine_side: str) -> bool:
    """Whether a workpiece side of one coupling takes a machine side of another, by kind alone.

    >>> accepts("shrink_fit", "cylindrical"), accepts("cylindrical", "nut_collet")
    (True, False)

    Raises :class:`UnknownEntryError` for an unknown coupling.
    """
    return coupling(machine_side).name in coupling(workpiece_side).accepts


@cache
def joint_class(name: str) -> JointClass:
    """Class of the joint that a workpiece side of this coupling makes.

    >>> joint_class("nut_collet"), joint_class("collet_bore")
    ('collet_seat', 'grip')
    """
    return coupling(name).joint_class


@cache
def taper_rate(name: str) -> float | None:
    """Rate of taper on the diameter, or None where there is none or it depends on the size.

    >>> taper_rate("polygonal_taper")
    0.05
    """
    written = coupling(name).taper
    return None if written is None else float(Fraction(written))


def clocking(name: str, form: str | None = None) -> Clocking:
    """How a joint of this coupling may be turned about the axis.

    >>> clocking("hollow_taper", "E"), clocking("steep_taper")
    (Clocking(kind='free', positions=None), Clocking(kind='indexed', positions=2))

    Where the form decides and is not given or not known, it is not stated.
    """
    found = coupling(name)
    if found.clocking == "by_form":
        return _form_clockings().get((name, form or ""), Clocking("not_stated", None))
    return Clocking(found.clocking, found.clocking_positions)


Interchange = Literal["fits", "not_settled", "differs"]
"""Same interchange group; could not be decided from the sources at hand; other flange or drive."""


class _Grouped(Protocol):
    @property
    def interchange_group(self) -> str: ...

    @property
    def not_settled_with(self) -> Collection[str]: ...


def compare_forms(one: _Grouped, other: _Grouped) -> Interchange:
    """Compare two forms by their interchange groups; the order does not matter."""
    if one.interchange_group == other.interchange_group:
        return "fits"
    if other.interchange_group in one.not_settled_with or one.interchange_group in other.not_settled_with:
        return "not_settled"
    return "differs"
