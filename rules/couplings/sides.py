"""Couplings: what stands at the machine side and at the workpiece side of a component.

A coupling names its kind; its dimensions may be left out, since real libraries are patchy.
A rule that needs a missing dimension is then reported as undecided, never passed over.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.quantities.models import Force, Length, Microns, Model, PositiveLength, SignedMicrons, Token, Torque

__all__ = [
    "ArborShellMill",
    "Bore",
    "ColletBore",
    "CylindricalBore",
    "CylindricalShank",
    "Declared",
    "Deviation",
    "HollowTaper",
    "Hydraulic",
    "MachineSide",
    "MillingChuck",
    "MorseTaper",
    "NutCollet",
    "PolygonalTaper",
    "PressCollet",
    "ShrinkFit",
    "SideLock",
    "SpindleSide",
    "SteepTaper",
    "SteepTaperForm",
    "WorkpieceSide",
]

SteepTaperForm = Literal[
    "iso_7388_1_a",
    "iso_7388_1_ad",
    "iso_7388_1_af",
    "iso_7388_1_u",
    "iso_7388_1_ud",
    "iso_7388_1_uf",
    "iso_7388_2_j",
    "iso_7388_2_jd",
    "iso_7388_2_jf",
    "mas_403",
    "asme_b5_50",
    "iso_297",
]

ToleranceClass = Annotated[
    str,
    Field(
        pattern=r"^(?:[a-z]{1,2}|[A-Z]{1,2})[1-9][0-9]?$",
        description="Tolerance class of ISO 286, small letter for a shank, capital for a bore.",
        examples=["h6", "H7"],
    ),
]


class Deviation(Model):
    """Limits of size stated as deviations from the nominal diameter, where no class of ISO 286 is given."""

    lower_um: SignedMicrons = Field(description="Lower deviation from the nominal diameter, µm.", examples=[-13])
    upper_um: SignedMicrons = Field(description="Upper deviation from the nominal diameter, µm.", examples=[0])


class SteepTaper(Model):
    """7/24 taper of ISO 7388-1, ISO 7388-2, ASME B5.50, MAS 403 or ISO 297."""

    coupling: Literal["steep_taper"]
    size: Literal["30", "35", "40", "45", "50", "55", "60"] | None = Field(
        None, description="Taper number.", examples=["40"]
    )
    form: SteepTaperForm | None = Field(
        None,
        description="Flange, drive and knob family: the cone alone does not tell.",
        examples=["iso_7388_2_jd"],
    )


class HollowTaper(Model):
    """Hollow taper shank with face contact, ISO 12164."""

    coupling: Literal["hollow_taper"]
    size: Literal["25", "32", "40", "50", "63", "80", "100", "125", "160"] | None = Field(
        None, description="Nominal size: the flange diameter, mm.", examples=["63"]
    )
    form: Literal["A", "B", "C", "D", "E", "F", "T"] | None = Field(
        None, description="Form letter of ISO 12164.", examples=["A"]
    )


class PolygonalTaper(Model):
    """Polygonal taper with face contact, ISO 26623."""

    coupling: Literal["polygonal_taper"]
    size: Literal["32", "40", "50", "63", "80", "100"] | None = Field(
        None, description="Nominal size: the flange diameter, mm.", examples=["63"]
    )


class NutCollet(Model):
    """8° collet and its socket with clamping nut, ISO 15488."""

    coupling: Literal["nut_collet"]
    size: Literal["8", "11", "16", "20", "25", "32", "40", "50"] | None = Field(
        None, description="Size of the collet series.", examples=["16"]
    )


class PressCollet(Model):
    """Press-in collet and its socket: no open standard, so the shop's own designation says what fits."""

    coupling: Literal["press_collet"]
    designation: Token | None = Field(
        None,
        description="The shop's designation of the seat; both ends must carry the same.",
        examples=["own-26"],
    )


class MorseTaper(Model):
    """Morse taper, ISO 296."""

    coupling: Literal["morse_taper"]
    size: Literal["0", "1", "2", "3", "4", "5", "6"] | None = Field(
        None, description="Morse taper number.", examples=["3"]
    )
    form: Literal["tang", "drawbar_thread"] | None = Field(
        None, description="Held by friction and a tang, or drawn in by a thread.", examples=["drawbar_thread"]
    )


class ArborShellMill(Model):
    """Pilot arbor with drive keys for shell-mounted cutters, ISO 6462 and kin."""

    coupling: Literal["shell_mill_arbor"]
    pilot_diameter_mm: PositiveLength | None = Field(None, description="Pilot diameter.", examples=[22])
    drive: Literal["keys", "keyway"] | None = Field(
        None, description="Transverse keys at the face, or a keyway along the bore.", examples=["keys"]
    )


class Declared(Model):
    """An interface the shop describes itself."""

    coupling: Literal["declared"]
    designation: Token | None = Field(None, description="The shop's name for it.", examples=["screw-in M8"])
    gender: Literal["male", "female"] | None = Field(None, description="Which half this end is.", examples=["male"])
    diameter_mm: PositiveLength | None = Field(None, description="Locating diameter.", examples=[8.5])
    tolerance: ToleranceClass | None = None
    deviation: Deviation | None = None


class _Sized(Model):
    diameter_mm: PositiveLength | None = Field(None, description="Nominal diameter.", examples=[20, "1/4 in"])
    tolerance: ToleranceClass | None = None
    deviation: Deviation | None = Field(
        None, description="Limits of size where no ISO 286 class is stated; they win over the class."
    )


class CylindricalShank(_Sized):
    """Straight shank of ISO 3338, DIN 1835 or DIN 6535."""

    coupling: Literal["cylindrical"]
    form: Literal["plain", "side_lock_flat", "inclined_flat"] | None = Field(
        None, description="Plain, with side-lock flat, or with inclined flat.", examples=["plain"]
    )
    length_mm: PositiveLength | None = Field(None, description="Length of the cylindrical shank.", examples=[50])
    minimum_grip_mm: PositiveLength | None = Field(
        None, description="Shortest grip the maker of the shank allows.", examples=[36]
    )
    roughness_rz_um: Microns | None = Field(None, description="Roughness Rz of the shank, µm.", examples=[0.8])


class _Rated(Model):
    """What a clamp is rated to hold; scaled down with the grip length where less than the rated grip is held."""

    rated_torque_n_m: Torque | None = Field(
        None, description="Torque it holds by its maker's rating, N·m.", examples=[85]
    )
    rated_axial_force_n: Force | None = Field(
        None, description="Axial pull it holds by its maker's rating, N.", examples=[6000]
    )
    rated_grip_mm: PositiveLength | None = Field(
        None, description="Grip length the ratings were stated for.", examples=[40]
    )


class Bore(_Sized, _Rated):
    """What every bore that holds a straight shank has in common."""

    depth_mm: PositiveLength | None = Field(
        None, description="Free depth from the face to the stop: a shank cannot go deeper.", examples=[51]
    )
    minimum_grip_mm: PositiveLength | None = Field(
        None, description="Shortest grip the maker of the holder allows.", examples=[40]
    )


class CylindricalBore(Bore):
    """Plain bore held by a screw, an adhesive or a press fit of the shop's choice; a slip fit."""

    coupling: Literal["cylindrical"]


class SideLock(Bore):
    """Slip-fit bore with one or two clamping screws on a flat, DIN 1835 forms B and E, DIN 6535 HB and HE."""

    coupling: Literal["side_lock"]
    flat: Literal["side_lock_flat", "inclined_flat"] | None = Field(
        None, description="The flat its screws need.", examples=["side_lock_flat"]
    )


class ShrinkFit(Bore):
    """Bore opened by heat that grips by interference when cold."""

    coupling: Literal["shrink_fit"]
    friction: Annotated[float, Field(ge=0.01, le=1)] | None = Field(
        None, description="Coefficient of friction to the shank; the table of shrink joints where not given."
    )
    roughness_rz_um: Microns | None = Field(
        None, description="Roughness Rz of the bore: what is smoothed is lost to the interference, µm.", examples=[1.6]
    )


class Hydraulic(Bore):
    """Expansion bore closed by fluid pressure."""

    coupling: Literal["hydraulic"]


class MillingChuck(Bore):
    """Thick-walled bore closed by a roller nut."""

    coupling: Literal["milling_chuck"]


class ColletBore(_Rated):
    """The bore of a collet, which closes over a clamping range."""

    coupling: Literal["collet_bore"]
    nominal_mm: PositiveLength | None = Field(
        None,
        description="Nominal bore. For an 8° collet the range follows from it by ISO 15488 where none is stated.",
        examples=[10],
    )
    clamping_min_mm: PositiveLength | None = Field(None, description="Smallest shank it may hold.", examples=[9])
    clamping_max_mm: PositiveLength | None = Field(None, description="Largest shank it may hold.", examples=[10])
    length_mm: PositiveLength | None = Field(None, description="Length of the clamping bore.", examples=[27.5])
    depth_mm: PositiveLength | None = Field(
        None, description="Free depth from the collet's face to the first stop behind it.", examples=[60]
    )
    minimum_grip_mm: Length | None = Field(None, description="Shortest grip the maker allows.", examples=[20])


MachineSide = Annotated[
    SteepTaper
    | HollowTaper
    | PolygonalTaper
    | CylindricalShank
    | NutCollet
    | PressCollet
    | MorseTaper
    | ArborShellMill
    | Declared,
    Field(discriminator="coupling"),
]
"""The end turned to the spindle: the male half."""

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
    | Declared,
    Field(discriminator="coupling"),
]
"""The end turned to the workpiece: the socket, or the pilot of an arbor."""

SpindleSide = Annotated[
    SteepTaper | HollowTaper | PolygonalTaper | MorseTaper | Declared, Field(discriminator="coupling")
]
"""What the machine's spindle takes."""
