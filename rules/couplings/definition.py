"""Base of all couplings: their ends, mating and the properties of a joint.

Each coupling derives :class:`Coupling` in its own module; ``sides.py`` is the registry. A coupling receives two ends
and their pointers, never a joint of the stack.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from functools import cache, cached_property
from importlib.resources import files
from types import MappingProxyType
from typing import Annotated, Any, ClassVar, Final, Literal, NamedTuple, Protocol, TypeAlias

from pydantic import BaseModel, Field

from rules.quantities.missing import Missing, OrMissing, or_missing, when_both_known, when_known
from rules.quantities.models import Force, Key, Model, PositiveLength, SignedMicrons, Torque
from rules.quantities.tables import Confidence, Row, Texts, read_definitions, read_rows

__all__ = [
    "Clocking",
    "Cone",
    "Coupling",
    "Deviation",
    "End",
    "Ends",
    "Figure",
    "Interchange",
    "Rated",
    "Side",
    "Sized",
    "Taper",
    "ToleranceClass",
    "Value",
    "Word",
    "compare_forms",
    "deviation_of",
]


ToleranceClass = Annotated[
    Key,
    Field(
        description="Tolerance class of ISO 286, lower-case letter for a shank, capital for a bore; also with its"
        " diameter, or deviations in mm. Not decided where it is not known.",
        examples=["h6", "12 h6", "0/-0.009"],
    ),
]


class Deviation(Model):
    """Limits of size stated as deviations from the nominal diameter, where no class of ISO 286 is given."""

    lower_um: SignedMicrons = Field(description="Lower deviation from the nominal diameter, µm.", examples=[-13])
    upper_um: SignedMicrons = Field(description="Upper deviation from the nominal diameter, µm.", examples=[0])


class Sized(Model):
    """An end that has a nominal diameter with limits of size."""

    diameter_mm: PositiveLength | None = Field(None, description="Nominal diameter.", examples=[20, "1/4 in"])
    tolerance: ToleranceClass | None = None
    deviation: Deviation | None = Field(
        None, description="Limits of size where no ISO 286 class is stated; they take precedence over the class."
    )


class Rated(Model):
    """Rated capacity of a clamp; reduced in proportion for a grip length below the rated one."""

    rated_torque_n_m: Torque | None = Field(None, description="Rated torque capacity by its maker, N·m.", examples=[85])
    rated_axial_force_n: Force | None = Field(None, description="Rated axial pull by its maker, N.", examples=[6000])
    rated_grip_mm: PositiveLength | None = Field(None, description="Grip length of the ratings.", examples=[40])


def deviation_of(side: object) -> Deviation | None:
    """Return the limits of size of an end of any coupling, where stated."""
    stated = getattr(side, "deviation", None)
    return stated if isinstance(stated, Deviation) else None


class Side(Protocol):
    """One end of a component, as a request states it."""

    @property
    def coupling(self) -> str:
        """Name of the coupling."""


class End(NamedTuple):
    """One of two ends that meet."""

    side: Side | None
    """None where the request does not state it."""
    at: str
    """JSON Pointer of the end."""
    kind: str | None = None
    """Kind of the component it belongs to; None for a machine's spindle."""
    opposite: Side | None = None
    """The other end of the same component."""

    def stated(self, field: str) -> OrMissing[Any]:
        """Return the value of a field, or a `Missing` with its pointer."""
        return or_missing(getattr(self.side, field), self.at, field)


class Ends(NamedTuple):
    """Two ends that meet: the workpiece side of the upper component and the machine side of the lower one."""

    upper: End
    lower: End

    def first(self, field: str, at: End, *, lower_first: bool = False) -> OrMissing[Any]:
        """Return the value of a field at the upper end, else at the lower one, else a `Missing` with its pointer."""
        order = (self.lower, self.upper) if lower_first else (self.upper, self.lower)
        stated = (getattr(end.side, field, None) for end in order)
        return or_missing(next(filter(None, stated), None), at.at, field)


class Figure(NamedTuple):
    """A number of the work instruction with its name and unit."""

    name: str
    unit: str | None
    value: float


Value: TypeAlias = OrMissing[str | float | bool] | None
"""A property for the rules: a value, the fields missing for it, or None where it does not concern the joint."""

Word: TypeAlias = OrMissing[str | Figure] | None
"""Value of a name in a sentence of the instruction; '' for a condition that is met, None for one that is not."""


class Clocking(NamedTuple):
    """Clocking of a joint: free, indexed with a number of positions, or not stated."""

    kind: Literal["free", "indexed", "not_stated"]
    positions: int | None


class Cone(NamedTuple):
    """Taper behind the gauge line, mm."""

    length_mm: float
    large_mm: float
    small_mm: float


Interchange = Literal["fits", "not_settled", "differs"]
"""Same interchange group; not decided by the available sources; different flange or drive."""


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


class Described(Row):
    """Definition of a coupling in the YAML file next to its module.

    The list of accepted couplings covers the kind only. The rules check size, form, fit and designation.
    """

    title: str
    what: str
    standards: Texts
    """Open standards that describe it; empty where there is none."""
    accepts: Texts
    """Machine sides that its workpiece side takes."""
    joint_class: str
    """Class of the joint that its workpiece side makes."""
    taper: str | None = None
    """Rate of taper on the diameter as a fraction; None if there is none or it depends on the size."""
    half_angle_deg: float | None = None
    """Half angle of the seat, where the standard states it instead of the rate of taper."""
    clocking: Literal["free", "indexed", "by_form", "not_stated"]
    """Any angle, indexed positions, by the form, or not stated."""
    clocking_positions: int | None = None
    tables: Texts
    """Published tables with its dimensions."""
    seating_eccentricity_um: float | None = None
    """Eccentricity from reseating in a spindle at best; the idea of ISO 16084."""
    seating_eccentricity_up_to_um: float | None = None
    """The same of new parts at worst."""
    seat: Texts | None = None
    """Sentences on seating its machine side in the spindle of the gauge."""
    instruction: Mapping[str, Any]
    """Sentences on cleaning, assembling and opening a joint of its workpiece side."""
    source: str = "see the standards named in each row; classes and clocking are this project's own interpretation"
    confidence: Confidence = "common practice"


class _FormClocking(Row):
    coupling: str
    form: str
    clocking: Literal["free", "indexed"]
    clocking_positions: int | None


@cache
def _definitions(module: str) -> Mapping[str, Any]:
    """Return the definitions in the YAML file next to a module, by name of the coupling."""
    package, _, name = module.rpartition(".")
    found: Mapping[str, Any] = read_definitions(files(package).joinpath(f"{name}.yaml"))["couplings"]
    return found


_NOT_STATED: Final = Clocking("not_stated", None)


_CONTACT_RATIO: Final = 0.9
"""Mean diameter of the contact ring over that of the flange; proposed by this project."""


class Coupling:
    """One coupling. Other modules use only the attributes and methods below."""

    name: ClassVar[str]
    """Name in requests."""
    machine_side: ClassVar[type[BaseModel] | None] = None
    """Model of the machine side; None if it cannot be a machine side."""
    workpiece_side: ClassVar[type[BaseModel] | None] = None
    """Model of the workpiece side; None if it cannot be a workpiece side."""

    has_gauge_line: ClassVar[bool] = True
    """Whether lengths of a component with this machine side start at a gauge line or contact face, not at its end."""
    face_contact: ClassVar[bool] = False
    """Whether it is a taper that seats on a flange face, too."""
    pulled_aside: ClassVar[bool] = False
    """Whether a screw pushes the shank to one side of the bore. The full clearance then adds to eccentricity, and no
    axial capacity follows from the torque capacity, since the screw carries the load, not friction all round."""
    tilts_in_bore: ClassVar[bool] = True
    """Whether a shank pushed aside may also tilt; a side-lock screw pulls it to one wall along its whole length."""
    seats_on_flange: ClassVar[bool] = False
    """Whether the face of its flange is in contact."""
    tilts_about_face: ClassVar[bool] = False
    """Whether its machine side tilts about contact face, gauge line or mouth of the grip, not about mid-seat: a face
    decides the tilt, a 7/24 taper bears first at its big end, an 8° collet grips first at its mouth."""
    closes_evenly: ClassVar[bool] = False
    """Whether it is a bore that closes evenly around the shank and depends on the shank's tolerance."""
    grips_by_interference: ClassVar[bool] = False
    """Whether it is a bore that is smaller than the shank when cold."""
    round_clamp: ClassVar[bool] = False
    """Whether it clamps all round, so that a flat reduces seat and balance."""
    closes_with_seat: ClassVar[bool] = False
    """Whether it is a bore that grips only once the seat of its own component is closed."""
    sleeve_closes_with_seat: ClassVar[bool] = False
    """Whether it does so in a reducer in a bore of the same coupling."""
    uses_press: ClassVar[bool] = False
    """Whether it is pressed in with an insert that matches the designation of the seat."""

    tightened_about_axis: ClassVar[bool] = False
    """Whether it is closed by a torque about the axis, which a joint behind it would pass on."""

    decided_by: ClassVar[str | None] = None
    """Field of an end on which the clocking depends; None if it depends on the coupling only."""
    property_names: ClassVar[tuple[str, ...]] = ()
    """Names of all properties that :meth:`properties` may yield."""
    words: ClassVar[Mapping[str, Callable[[Ends], Word]]] = MappingProxyType({})
    """Names that the sentences of its instruction may use, in addition to those of every joint."""
    needed_fields: ClassVar[tuple[str, ...]] = ()
    """Fields that a check needs of an end, in the order of the contract."""

    @cached_property
    def described(self) -> Described:
        """Its definition in the YAML file."""
        return Described.model_validate(_definitions(type(self).__module__)[self.name])

    @property
    def ends(self) -> tuple[str, ...]:
        """Ends of a component that may have it."""
        models = {"machine_side": self.machine_side, "workpiece_side": self.workpiece_side}
        return tuple(end for end, model in models.items() if model is not None)

    @cached_property
    def joint_class(self) -> str:
        """Class of the joint at a workpiece side of this coupling."""
        return self.described.joint_class

    @cached_property
    def _form_clockings(self) -> Mapping[str, Clocking]:
        rows = read_rows("coupling_clocking", _FormClocking)
        return {r.form: Clocking(r.clocking, r.clocking_positions) for r in rows if r.coupling == self.name}

    @cached_property
    def _clocking(self) -> Clocking | None:
        kind = self.described.clocking
        return None if kind == "by_form" else Clocking(kind, self.described.clocking_positions)

    def clocking(self, form: str | None = None) -> Clocking:
        """Return the clocking of a joint; not stated where it depends on an unknown form."""
        if self._clocking is not None:
            return self._clocking
        return self._form_clockings.get(form or "", _NOT_STATED)

    def clocking_of(self, side: Side) -> Clocking:
        """Return the clocking of a joint at this workpiece side."""
        return self.clocking(None if self.decided_by is None else getattr(side, self.decided_by))

    def properties(self, ends: Ends) -> Iterator[tuple[str, Value]]:  # noqa: ARG002
        """Yield the properties of two ends, the upper one of this coupling, in the order of the fact."""
        return iter(())

    def seat_length(self, end: End) -> OrMissing[float] | None:  # noqa: ARG002
        """Return the seat length of a machine side by the table of the standard, mm; None where no table has it."""
        return None

    def flange_diameter(self, side: Side) -> float | None:  # noqa: ARG002
        """Return the diameter of the flange of a machine side, mm; None where its table does not have it."""
        return None

    def contact_diameter(self, end: End) -> OrMissing[float] | None:
        """Return the mean diameter of the contact ring of a machine side, mm; None without face contact."""
        if not self.seats_on_flange or end.side is None:
            return None
        flange = self.flange_diameter(end.side)
        return Missing((f"{end.at}/size",)) if flange is None else _CONTACT_RATIO * flange

    def cone(self, side: Side) -> Cone | None:  # noqa: ARG002
        """Return the taper behind the gauge line of a machine side; None where its table does not have it."""
        return None

    def taper_mm3(self, side: Side) -> float | None:  # noqa: ARG002
        """Return the volume of a solid taper behind the gauge line, mm³; None where the tables do not give it."""
        return None

    def usual_torque_n_m(self, side: Side, shank_mm: float | None) -> tuple[float, float] | None:  # noqa: ARG002
        """Return the usual tightening torque of a workpiece side for a shank, N·m, from and up to; None without one."""
        return None

    def clamping_force_n(self, side: Side) -> float | None:  # noqa: ARG002
        """Return the recommended clamping force by the table, N; None where no table has it."""
        return None

    def fields_needed(self, end: str) -> tuple[str, ...]:  # noqa: ARG002
        """Return the fields that a check needs of such an end."""
        return self.needed_fields

    def both(self, ends: Ends) -> bool:
        """Whether both ends are of this coupling."""
        return all(end.side is not None and end.side.coupling == self.name for end in ends)


class Taper(Coupling):
    """Coupling of a taper, identified by its size, and by its form where there are several."""

    property_names = (
        *("upper_size", "lower_size", "upper_form", "lower_form", "forms_interchange"),
        "lower_for_manual_change",
    )

    def for_manual_change(self, form: str) -> bool | None:  # noqa: ARG002
        """Return whether a form has no gripper groove; None for a taper without forms."""
        return None

    def interchange(self, one: str, other: str) -> Interchange | None:  # noqa: ARG002
        """Return whether two forms of one size fit; None for a taper without forms."""
        return None

    def properties(self, ends: Ends) -> Iterator[tuple[str, Value]]:
        """Yield sizes, forms, and whether the forms interchange; missing where the sources do not decide it."""
        if not self.both(ends):
            return
        upper, lower = ends
        yield "upper_size", upper.stated("size")
        yield "lower_size", lower.stated("size")
        if "form" not in self.needed_fields:
            return
        forms = upper.stated("form"), lower.stated("form")
        yield "upper_form", forms[0]
        yield "lower_form", forms[1]

        def fit(one: str, other: str) -> OrMissing[bool]:
            answer = self.interchange(one, other)
            if answer == "not_settled":
                return Missing((f"{upper.at}/form", f"{lower.at}/form"))
            return answer == "fits"

        yield "forms_interchange", when_both_known(fit, *forms)
        if upper.kind is None:
            by_hand = when_known(self.for_manual_change, forms[1])
            if by_hand is not None:
                yield "lower_for_manual_change", by_hand
