"""Registry of the couplings, and the ends that each component may have.

Dimensions are optional, since real tool libraries have gaps. A rule that needs a missing dimension is reported as not
decided.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Annotated, Final

from pydantic import Field

from rules.couplings.collets import NUT_COLLET, PRESS_COLLET, NutCollet, PressCollet
from rules.couplings.declared import DECLARED, Declared
from rules.couplings.definition import Coupling
from rules.couplings.designation import Designated
from rules.couplings.hollow_taper import HOLLOW_TAPER, HollowTaper
from rules.couplings.morse_taper import MORSE_TAPER, MorseTaper
from rules.couplings.polygonal_taper import POLYGONAL_TAPER, PolygonalTaper
from rules.couplings.shell_mill_arbor import SHELL_MILL_ARBOR, ArborShellMill
from rules.couplings.steep_taper import STEEP_TAPER, SteepTaper
from rules.couplings.straight_shank import (
    COLLET_BORE,
    CYLINDRICAL,
    HYDRAULIC,
    MILLING_CHUCK,
    SHRINK_FIT,
    SIDE_LOCK,
    ColletBore,
    CylindricalBore,
    CylindricalShank,
    Hydraulic,
    MillingChuck,
    ShrinkFit,
    SideLock,
)
from rules.couplings.threaded_head import THREADED_HEAD, ThreadedHead
from rules.quantities.tables import UnknownEntryError

__all__ = ["COUPLINGS", "MachineSide", "SpindleSide", "WorkpieceSide", "accepts", "coupling", "joint_classes"]

MachineSide = Annotated[
    SteepTaper
    | HollowTaper
    | PolygonalTaper
    | CylindricalShank
    | NutCollet
    | PressCollet
    | MorseTaper
    | ArborShellMill
    | ThreadedHead
    | Declared
    | Designated,
    Field(discriminator="coupling"),
]
"""The machine side: the male end toward the spindle."""

WorkpieceSide = Annotated[
    SteepTaper
    | HollowTaper
    | PolygonalTaper
    | CylindricalBore
    | SideLock
    | ShrinkFit
    | Hydraulic
    | MillingChuck
    | ColletBore
    | NutCollet
    | PressCollet
    | MorseTaper
    | ArborShellMill
    | ThreadedHead
    | Declared
    | Designated,
    Field(discriminator="coupling"),
]
"""The workpiece side: the socket, or the pilot of an arbor."""

SpindleSide = Annotated[
    SteepTaper | HollowTaper | PolygonalTaper | MorseTaper | Declared | Designated, Field(discriminator="coupling")
]
"""The coupling of the machine spindle."""

COUPLINGS: Final[Mapping[str, Coupling]] = MappingProxyType(
    {
        one.name: one
        for one in (
            STEEP_TAPER,
            HOLLOW_TAPER,
            POLYGONAL_TAPER,
            NUT_COLLET,
            PRESS_COLLET,
            COLLET_BORE,
            CYLINDRICAL,
            SIDE_LOCK,
            SHRINK_FIT,
            HYDRAULIC,
            MILLING_CHUCK,
            SHELL_MILL_ARBOR,
            MORSE_TAPER,
            THREADED_HEAD,
            DECLARED,
        )
    }
)
"""The definitions by name, in order of publication."""


def coupling(name: str) -> Coupling:
    """A coupling by name; raises :class:`UnknownEntryError` for an unknown one."""
    if name not in COUPLINGS:
        raise UnknownEntryError("couplings", name, COUPLINGS)
    return COUPLINGS[name]


@cache
def accepts(workpiece_side: str, machine_side: str) -> bool:
    """Whether a workpiece side of one coupling mates with a machine side of another, by kind only.

    >>> accepts("shrink_fit", "cylindrical"), accepts("cylindrical", "nut_collet")
    (True, False)

    Raises :class:`UnknownEntryError` for an unknown coupling.
    """
    return coupling(machine_side).name in coupling(workpiece_side).described.accepts


@cache
def joint_classes() -> tuple[str, ...]:
    """Classes of joint of the couplings, each once.

    >>> joint_classes()
    ('taper', 'collet_seat', 'grip', 'arbor', 'threaded', 'declared')
    """
    return tuple(dict.fromkeys(one.joint_class for one in COUPLINGS.values()))
