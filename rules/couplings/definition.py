"""Base of all couplings: their ends, what mates with what, and the properties of a joint.

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

from rules.quantities.missing import Missing, OrMissing, or_missing, when_both_known
from rules.quantities.models import Force, Model, PositiveLength, SignedMicrons, Torque
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


class Sized(Model):
    """What has a nominal diameter with limits of size."""

    diameter_mm: PositiveLength | None = Field(None, description="Nominal diameter.", examples=[20, "1/4 in"])
    tolerance: ToleranceClass | None = None
    deviation: Deviation | None = Field(
        None, description="Limits of size where no ISO 286 class is stated; they win over the class."
    )


class Rated(Model):
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


def deviation_of(side: object) -> Deviation | None:
    """Return the limits of size that an end states, of whatever coupling it is."""
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
    """What stands at the other end of the same component."""

    def stated(self, field: str) -> OrMissing[Any]:
        """Return the value of a field, or that it is missing."""
        return or_missing(getattr(self.side, field), self.at, field)


class Ends(NamedTuple):
    """Two ends that meet: the workpiece side of the upper component and the machine side of the lower one."""

    upper: End
    lower: End

    def first(self, field: str, at: End, *, lower_first: bool = False) -> OrMissing[Any]:
        """Return the value of a field by the upper end, else by the lower one; missing it is asked for at an end."""
        order = (self.lower, self.upper) if lower_first else (self.upper, self.lower)
        stated = (getattr(end.side, field, None) for end in order)
        return or_missing(next(filter(None, stated), None), at.at, field)


class Figure(NamedTuple):
    """A number of the work instruction with its name and unit."""

    name: str
    unit: str | None
    value: float


Value: TypeAlias = OrMissing[str | float | bool] | None
"""A property for the rules: a value, what is missing for it, or None where it does not concern the joint."""

Word: TypeAlias = OrMissing[str | Figure] | None
"""What a sentence of the instruction names; '' is a circumstance that holds, None one that does not."""


class Clocking(NamedTuple):
    """How a joint may be turned: free, indexed with so many positions, or not stated."""

    kind: Literal["free", "indexed", "not_stated"]
    positions: int | None


class Cone(NamedTuple):
    """Taper behind the gauge line, mm."""

    length_mm: float
    large_mm: float
    small_mm: float


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


class Described(Row):
    """What the YAML beside a coupling's module says of it.

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
    """Rate of taper on the diameter as a fraction; None where there is none or it depends on the size."""
    half_angle_deg: float | None = None
    """Angle of one side of the seat to the axis, where the standard states it and not the rate of taper."""
    clocking: Literal["free", "indexed", "by_form", "not_stated"]
    """Any angle, a few angles, as the form says, or not stated."""
    clocking_positions: int | None = None
    tables: Texts
    """Published tables that hold its dimensions."""
    seating_eccentricity_um: float | None = None
    """Eccentricity that seating it again in a spindle may bring, from memory (the idea of ISO 16084)."""
    seat: Texts | None = None
    """Sentences on how its machine side is put into the spindle of the gauge."""
    instruction: Mapping[str, Any]
    """How a joint of its workpiece side is cleaned, built and opened, worded as in the file of the instruction."""
    source: str = "see the standards named in each row; classes and clocking are this project's own interpretation"
    confidence: Confidence = "common practice"


class _FormClocking(Row):
    coupling: str
    form: str
    clocking: Literal["free", "indexed"]
    clocking_positions: int | None


@cache
def _definitions(module: str) -> Mapping[str, Any]:
    """Definitions in the YAML beside a module, by the name of the coupling."""
    package, _, name = module.rpartition(".")
    found: Mapping[str, Any] = read_definitions(files(package).joinpath(f"{name}.yaml"))["couplings"]
    return found


_NOT_STATED: Final = Clocking("not_stated", None)


class Coupling:
    """One coupling. The attributes and methods below are what the rest of the program may ask of any."""

    name: ClassVar[str]
    """As a request names it."""
    machine_side: ClassVar[type[BaseModel] | None] = None
    """Model of the machine side; None where it stands at no machine side."""
    workpiece_side: ClassVar[type[BaseModel] | None] = None
    """Model of the workpiece side; None where it stands at no workpiece side."""

    has_gauge_line: ClassVar[bool] = True
    """Lengths of a component with this machine side count from a gauge line or contact face, not from its end."""
    pulled_aside: ClassVar[bool] = False
    """A screw pulls the shank across the bore: the whole clearance becomes eccentricity, and the torque of the clamp
    says nothing about its pull-out, since the screw bears and not friction all round."""
    closes_evenly: ClassVar[bool] = False
    """A bore that closes evenly about the shank and relies on the shank's tolerance."""
    grips_by_interference: ClassVar[bool] = False
    """A bore smaller than the shank while cold."""
    round_clamp: ClassVar[bool] = False
    """A clamp all round, in which a flat takes away seat and balance."""
    closes_with_seat: ClassVar[bool] = False
    """A bore that grips only when what holds its own component is closed."""
    sleeve_closes_with_seat: ClassVar[bool] = False
    """A bore that does so in a reducer held by a bore of the same coupling."""
    uses_press_insert: ClassVar[bool] = False
    """Pressed with an insert that belongs to the designation of the seat."""

    decided_by: ClassVar[str | None] = None
    """Field of an end that decides the clocking; None where the coupling alone does."""
    told: ClassVar[tuple[str, ...]] = ()
    """Names of all properties that :meth:`properties` may yield."""
    words: ClassVar[Mapping[str, Callable[[Ends], Word]]] = MappingProxyType({})
    """What the sentences of its instruction may name beyond what every joint has."""
    asked: ClassVar[tuple[str, ...]] = ()
    """Fields that a check will ask of an end, in the order of the contract."""

    @cached_property
    def described(self) -> Described:
        """What the YAML says of it."""
        return Described.model_validate(_definitions(type(self).__module__)[self.name])

    @property
    def ends(self) -> tuple[str, ...]:
        """Ends of a component that may carry it."""
        models = {"machine_side": self.machine_side, "workpiece_side": self.workpiece_side}
        return tuple(end for end, model in models.items() if model is not None)

    @cached_property
    def joint_class(self) -> str:
        """Class of the joint that a workpiece side of this coupling makes."""
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
        """How a joint may be turned about the axis; not stated where the form decides and is not known."""
        if self._clocking is not None:
            return self._clocking
        return self._form_clockings.get(form or "", _NOT_STATED)

    def clocking_of(self, side: Side) -> Clocking:
        """How a joint of this workpiece side may be turned."""
        return self.clocking(None if self.decided_by is None else getattr(side, self.decided_by))

    def properties(self, ends: Ends) -> Iterator[tuple[str, Value]]:  # noqa: ARG002
        """Yield what the rules ask of two ends, the upper one of this coupling, in the order of the fact."""
        return iter(())

    def seat_length(self, end: End) -> OrMissing[float] | None:  # noqa: ARG002
        """Length of the seat of a machine side by the standard's table, mm; None where no table has it."""
        return None

    def cone(self, side: Side) -> Cone | None:  # noqa: ARG002
        """Taper behind the gauge line of a machine side; None where its table does not have it."""
        return None

    def fields_asked(self, end: str) -> tuple[str, ...]:  # noqa: ARG002
        """Fields that a check will ask of such an end."""
        return self.asked

    def designation(self, side: BaseModel) -> str | None:
        """Words for an end where a document wants one designation; None where there is none."""
        stated = side.model_dump(include={"size", "form", "designation"}, exclude_none=True)
        return " ".join([self.name, *(stated[n] for n in ("size", "form", "designation") if n in stated)])

    def both(self, ends: Ends) -> bool:
        """Whether both ends are of this coupling."""
        return all(end.side is not None and end.side.coupling == self.name for end in ends)


class Taper(Coupling):
    """A taper told by its size, and by its form where there are several."""

    told = ("upper_size", "lower_size", "upper_form", "lower_form", "forms_interchange")

    def interchange(self, one: str, other: str) -> Interchange | None:  # noqa: ARG002
        """Whether two forms of one size fit; None for a taper without forms."""
        return None

    def properties(self, ends: Ends) -> Iterator[tuple[str, Value]]:
        """Sizes, forms, and whether the forms interchange; what the sources do not settle is missing."""
        if not self.both(ends):
            return
        upper, lower = ends
        yield "upper_size", upper.stated("size")
        yield "lower_size", lower.stated("size")
        if "form" not in self.asked:
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
