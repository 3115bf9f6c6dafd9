"""Chain of a stack: its components in order, with references resolved, and the joints between them.

It exists for any valid request: ids may repeat and joints may be wrong, which the rules report.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from types import MappingProxyType
from typing import Any, Final, Literal, NamedTuple, TypeAlias, TypeVar, cast, get_args

from pydantic import BaseModel, TypeAdapter

from rules.couplings.definition import Coupling, End, Ends
from rules.couplings.designation import Designated, EndName, thread_of, tolerance_of, understood
from rules.couplings.sides import COUPLINGS, MachineSide, SpindleSide, WorkpieceSide, accepts
from rules.parts.aliases import NO_ALIASES, Aliases
from rules.parts.standard_parts import StandardPart, StatedValue, standard_part
from rules.quantities.missing import or_missing
from rules.quantities.models import construct
from rules.rulebook.fact import Fact, Properties
from rules.schema.components import (
    BaseHolder,
    Collet,
    ComponentReference,
    Cutter,
    Extension,
    GaugePin,
    InvalidPart,
    Overlay,
    Reducer,
    ReferenceTarget,
    RetentionKnob,
    StackEntry,
    StackPart,
)
from rules.schema.parsing import BadRequestError, Fault, pointer
from rules.schema.report import JointEnds
from rules.schema.request import Joint, Machine, MachineReference, Operation, StackRequest

__all__ = [
    "INVALID_PART",
    "NOTHING_MOUNTED",
    "SPINDLE",
    "UNREAD",
    "Chain",
    "Home",
    "Member",
    "Mounted",
    "Resolved",
    "StackJoint",
    "UnderstoodText",
    "chain_of",
    "designation_facts",
    "machine_of",
    "reference_facts",
    "resolve",
    "trouble_of",
]


INVALID_PART: Final = "REF-050"
"""Code of the rule on references to parts with invalid data."""

SPINDLE: Final = "spindle"
"""Name of the spindle in joints of a request."""

_TOOLS: Final = (Cutter, GaugePin)


class Member(NamedTuple):
    """A component in the chain."""

    part: StackPart
    at: str
    """JSON Pointer of the component."""
    machine_side: MachineSide | None
    """Machine side; None where not stated or the kind has none."""
    workpiece_side: WorkpieceSide | None
    """Workpiece side; None where not stated or the kind has none."""
    is_tool: bool
    """Whether it is a cutting tool or a gauge pin."""


class StackJoint(NamedTuple):
    """Joint of two neighbours; the upper one is None for the spindle."""

    upper: Member | None
    lower: Member
    upper_side: WorkpieceSide | SpindleSide | None
    upper_at: str
    lower_at: str
    """JSON Pointer of the lower component's machine side."""
    statement: Joint | None
    statement_at: str
    upper_name: str
    """The upper component's id, or 'spindle'."""
    name: str
    """Name of the joint for readers."""
    coupling: Coupling | None
    """Definition of the workpiece side's coupling; None where that side is not stated."""

    @property
    def ends_named(self) -> JointEnds:
        """The joint as an answer names it."""
        return construct(JointEnds, upper=self.upper_name, lower=self.lower.part.id)

    @property
    def joint_class(self) -> str | None:
        """Class of the joint by its workpiece side, such as taper or grip."""
        return None if self.coupling is None else self.coupling.joint_class

    @property
    def ends(self) -> Ends:
        """The two ends, as passed to their coupling."""
        upper, lower = self.upper, self.lower
        return Ends(
            End(
                self.upper_side,
                self.upper_at,
                None if upper is None else upper.part.kind,
                None if upper is None else upper.machine_side,
            ),
            End(lower.machine_side, self.lower_at, lower.part.kind, lower.workpiece_side),
        )

    @property
    def mated(self) -> bool | None:
        """Whether the kinds of the two ends mate; None if one is not stated."""
        lower_side = self.lower.machine_side
        if self.upper_side is None or lower_side is None:
            return None
        return accepts(self.upper_side.coupling, lower_side.coupling)


class Chain(NamedTuple):
    """Members and joints of a request."""

    request: StackRequest
    machine: Machine | None
    operation: Operation | None
    operation_at: str
    """JSON Pointer of the operation."""
    members: tuple[Member, ...]
    knobs: tuple[Member, ...]
    joints: tuple[StackJoint, ...]
    """Between neighbours, from the spindle side."""
    spindle_joint: StackJoint | None
    """Joint at the spindle, if a machine is given and the stack has a component for it."""
    stray_joints: tuple[str, ...]
    """Pointers of joints in the request that name no pair of neighbours, or name a pair again."""
    is_read_only: bool
    """Whether the chain has a gauge pin; such a stack is measured, not run."""


def chain_of(request: StackRequest, operation: Operation | None = None, operation_at: str = "/operations/0") -> Chain:
    """Return members and joints of a request."""
    machine = request.machine if isinstance(request.machine, Machine) else None
    members: list[Member] = []
    knobs: list[Member] = []
    is_read_only = False
    for place, part in enumerate(request.stack.components):
        at = f"/stack/components/{place}"
        if isinstance(part, RetentionKnob):
            knobs.append(Member(part, at, None, None, False))
        elif not isinstance(part, ComponentReference):  # references have been resolved
            members.append(_member(part, at))
            is_read_only = is_read_only or part.kind == "gauge_pin"
    unused = list(enumerate(request.stack.joints or ()))
    joints = []
    for upper, lower in pairwise(members):
        number, statement = _take(unused, upper.part.id, lower.part.id)
        side_at = f"{upper.at}/workpiece_side"
        joints.append(_case(upper, lower, upper.workpiece_side, side_at, statement, f"/stack/joints/{number}"))
    spindle_joint = None
    if machine is not None and members:
        spindle = machine.spindle
        number, statement = _take(unused, SPINDLE, members[0].part.id)
        spindle_joint = _case(None, members[0], spindle, "/machine/spindle", statement, f"/stack/joints/{number}")
    stray = tuple([f"/stack/joints/{n}" for n, _ in unused])
    return Chain(
        request,
        machine,
        operation,
        operation_at,
        tuple(members),
        tuple(knobs),
        tuple(joints),
        spindle_joint,
        stray,
        is_read_only,
    )


def _take(unused: list[tuple[int, Joint]], upper: str, lower: str) -> tuple[int | str, Joint | None]:
    """Remove the first joint of two neighbours from the list; the pointer of a joint not stated ends in "-"."""
    for place, (number, joint) in enumerate(unused):
        if (joint.upper, joint.lower) == (upper, lower):
            del unused[place]
            return number, joint
    return "-", None


def _member(part: BaseHolder | Extension | Reducer | Collet | Cutter | GaugePin, at: str) -> Member:
    if isinstance(part, _TOOLS):
        return Member(part, at, part.machine_side, None, True)
    return Member(part, at, part.machine_side, part.workpiece_side, False)


def _case(
    upper: Member | None,
    lower: Member,
    side: WorkpieceSide | SpindleSide | None,
    side_at: str,
    statement: Joint | None,
    statement_at: str,
) -> StackJoint:
    upper_name = SPINDLE if upper is None else upper.part.id
    return StackJoint(
        upper,
        lower,
        side,
        side_at,
        f"{lower.at}/machine_side",
        statement,
        statement_at,
        upper_name,
        f"{upper_name}/{lower.part.id}",
        None if side is None else COUPLINGS[side.coupling],
    )


class Mounted(NamedTuple):
    """The mounted catalogue: every definition of each key, in the order they were read; and the shop's own names."""

    components: Mapping[str, Sequence[StackEntry | InvalidPart]]
    machines: Mapping[str, Sequence[Machine | InvalidPart]]
    aliases: Aliases = NO_ALIASES
    revisions: Mapping[str, Sequence[str | None]] = MappingProxyType({})
    """Revisions of the definitions of a key, in the same order; a key without any is not among them."""
    unread: tuple[str, ...] = ()
    """Files that could not be read: a key that is not found may be in one of them."""

    def of_component(self, key: str, revision: str | None) -> Sequence[StackEntry | InvalidPart]:
        """Return the definitions that a reference may mean."""
        found = self.components.get(key, ())
        if revision is None:
            return found
        pairs = list(zip(found, self.revisions.get(key, (None,) * len(found)), strict=True))
        meant = [one for one, own in pairs if own == revision]
        # an invalid definition need not state its revision
        return meant or [one for one, own in pairs if own is None and isinstance(one, InvalidPart)]


NOTHING_MOUNTED: Final = Mounted(MappingProxyType({}), MappingProxyType({}))

Trouble: TypeAlias = Literal["missing", "cyclic", "ambiguous", "invalid"]


@dataclass(frozen=True, slots=True)
class ReferenceCase:
    """One reference that cannot be resolved, that the catalogue defines more than once, or whose part is invalid."""

    pointer: str
    name: str
    source: str
    key: str
    """Key that was not found or is in a circular reference, with the revision where one is stated."""
    trouble: Trouble
    detail: str = ""
    """The definitions of an ambiguous key, or the reason why a part is invalid."""


class Layer(NamedTuple):
    """Fields laid over a definition."""

    at: str
    """JSON Pointer of the reference that states them."""
    fields: frozenset[str]


class Home(NamedTuple):
    """Where the request states the fields of a referenced component."""

    layers: tuple[Layer, ...]
    """The reference in the stack first, then those it leads through."""
    definition: str | None
    """JSON Pointer of the definition; None for one of the catalogue or the standards."""

    def lead(self, field: str, rest: str) -> str:
        """Return the pointer of a field and what follows it; a field that nobody states belongs to the reference."""
        for layer in self.layers:
            if field in layer.fields:
                return f"{layer.at}/with/{rest}"
        return f"{self.layers[0].at}/with/{rest}" if self.definition is None else f"{self.definition}/{rest}"


class UnderstoodText(NamedTuple):
    """Designation of an end, a thread or a tolerance or the shop's name of a part, and what it was understood as."""

    at: str
    """JSON Pointer of the end, of the field, or of the key."""
    designation: str
    became: str | None
    """What the alias file makes of it; None where it has no part in it."""
    words: str | None
    """For people; None where the designation is not known, or contradicted: it then counts as not stated."""
    left_open: str | None
    """What the designation does not say, or what contradicts it."""


@dataclass(frozen=True, slots=True)
class Resolved:
    """A request whose stack holds no references and no designations."""

    request: StackRequest
    cases: tuple[ReferenceCase, ...]
    homes: Mapping[str, Home]
    """Where the fields of each referenced component stand, by the pointer of its reference in the stack."""
    understood: tuple[UnderstoodText, ...] = ()
    """Every end that the request designates, and every part named by an alias."""
    by_standard: tuple[tuple[str, StatedValue], ...] = ()
    """Values that standard parts bring, each with the pointer of its field."""

    def lead(self, pointer: str) -> str:
        """Lead a pointer below a reference in the stack to the place in the request that states the field."""
        steps = pointer.split("/", 4)
        home = self.homes.get("/".join(steps[:4])) if len(steps) > 4 else None
        return pointer if home is None or steps[4] == "of/key" else home.lead(steps[4].partition("/")[0], steps[4])

    @property
    def broken(self) -> bool:
        """Whether some reference leads nowhere: then there is no stack to judge."""
        return bool(self.cases)

    @property
    def lacking(self) -> tuple[str, ...]:
        """Keys that lead nowhere, as pointers into the request."""
        return tuple(f"{case.pointer}/of" for case in self.cases)

    def without_standard_values(self) -> StackRequest:
        """Return the request without the values that standard parts bring."""
        parts = list(self.request.stack.components)
        for at, value in self.by_standard:
            place = int(at.split("/")[3])
            parts[place] = _without(parts[place], value.field.split("."))
        stack = self.request.stack.model_copy(update={"components": parts})
        return self.request.model_copy(update={"stack": stack})

    def without_stack(self) -> StackRequest:
        """Return the request without a stack, for an answer about its references only."""
        stack = self.request.stack.model_copy(update={"components": [], "joints": None})
        return self.request.model_copy(update={"stack": stack, "machine": None})


ModelT = TypeVar("ModelT", bound=BaseModel)


def _without(part: ModelT, steps: Sequence[str]) -> ModelT:
    inner = getattr(part, steps[0])
    return part.model_copy(update={steps[0]: _without(inner, steps[1:]) if len(steps) > 1 and inner else None})


def resolve(request: StackRequest, mounted: Mounted) -> Resolved:
    """Replace references by what they name, with the stated fields laid over.

    Raises :class:`~rules.schema.parsing.BadRequestError` for a field that the kind of component does not have.
    """
    return _without_designations(_followed(request, mounted), mounted.aliases)


def _followed(request: StackRequest, mounted: Mounted) -> Resolved:
    entries, machine = request.stack.components, request.machine
    cases: list[ReferenceCase] = []
    if isinstance(machine, MachineReference):
        found_machine = _only(mounted.machines.get(machine.of.key, ()), (), mounted)
        if isinstance(found_machine, Machine):
            request = request.model_copy(update={"machine": found_machine})
        else:
            cases.append(ReferenceCase("/machine", "the machine", "catalogue", machine.of.key, *found_machine))
    if not any(isinstance(entry, ComponentReference) for entry in entries):
        return Resolved(request, tuple(cases), {})
    parts: list[StackEntry] = []
    homes: dict[str, Home] = {}
    by_standard: list[tuple[str, StatedValue]] = []
    named: list[UnderstoodText] = []
    for place, entry in enumerate(entries):
        if not isinstance(entry, ComponentReference):
            parts.append(entry)
            continue
        at = f"/stack/components/{place}"
        found = _follow(entry, at, request.components or {}, mounted)
        if isinstance(found, ReferenceCase):
            cases.append(found)
            continue
        part, homes[at], values, by_alias = found
        named += [UnderstoodText(f"{at}/of/key", key, one.key, one.title, None) for key, one in by_alias]
        by_standard += [(f"{at}/{value.field.replace('.', '/')}", value) for value in values]
        parts.append(part if entry.id is None else part.model_copy(update={"id": entry.id}))
    stack = request.stack.model_copy(update={"components": parts})
    return Resolved(request.model_copy(update={"stack": stack}), tuple(cases), homes, tuple(named), tuple(by_standard))


def _without_designations(resolved: Resolved, aliases: Aliases) -> Resolved:
    """Replace each designated end by what its designation means; one that is not known counts as not stated."""
    request = resolved.request
    found: list[UnderstoodText] = []

    def end(name: EndName, side: object, at: str) -> dict[str, Any]:
        if not isinstance(side, Designated):
            return {}
        meaning, became = understood(side.designation, name), None
        if meaning is None and (became := aliases.of(side.designation)) is not None:
            meaning = understood(became, name)
        told = (None, None) if meaning is None else (meaning.words, meaning.left_open)
        found.append(UnderstoodText(f"{at}/{name}", side.designation, became, *told))
        return {name: None if meaning is None else _ENDS[name].validate_python(dict(meaning.fields))}

    parts: list[StackEntry] = []
    for place, part in enumerate(request.stack.components):
        at = f"/stack/components/{place}"
        changed: dict[str, Any] = {}
        for name in _PART_ENDS:
            side = getattr(part, name, None)
            if side is None:
                continue
            changed |= end(name, side, at)
            if fields := _plain_fields(side, f"{at}/{name}", aliases, found):
                changed[name] = side.model_copy(update=fields)
        changed |= _plain_fields(part, at, aliases, found)
        parts.append(part.model_copy(update=changed) if changed else part)
    machine = request.machine
    if isinstance(machine, Machine) and (spindle := end("spindle", machine.spindle, "/machine")):
        request = request.model_copy(update={"machine": machine.model_copy(update=spindle)})
    if not found:
        return resolved
    stack = request.stack.model_copy(update={"components": parts})
    texts = (*resolved.understood, *found)
    return replace(resolved, request=request.model_copy(update={"stack": stack}), understood=texts)


def _plain_fields(stated: BaseModel, at: str, aliases: Aliases, found: list[UnderstoodText]) -> dict[str, Any]:
    """Return the fields that the texts of a thread and a tolerance become, and note what they were understood as."""
    fields: dict[str, Any] = {}
    tolerance = getattr(stated, "tolerance", None)
    if isinstance(tolerance, str):
        fields |= _tolerance_fields(stated, tolerance, at, found)
    thread = getattr(stated, "thread", None)
    if isinstance(thread, str):
        fields |= _thread_fields(stated, thread, at, aliases, found)
    return fields


def _tolerance_fields(stated: BaseModel, text: str, at: str, found: list[UnderstoodText]) -> dict[str, Any]:
    meaning = tolerance_of(text)
    if meaning is not None and text == meaning.tolerance:
        return {}
    words = None if meaning is None else meaning.words
    left_open: str | None = None
    fields: dict[str, Any] = {"tolerance": None if meaning is None else meaning.tolerance}
    if meaning is not None and meaning.diameter_mm is not None:
        diameter = getattr(stated, "diameter_mm", None)
        if diameter is None:
            fields["diameter_mm"] = meaning.diameter_mm
        elif diameter != meaning.diameter_mm:
            words, left_open = None, f"it names {meaning.diameter_mm:g} mm, and {diameter:g} mm is stated"
            fields["tolerance"] = None
    if meaning is not None and meaning.deviation is not None and getattr(stated, "deviation", None) is None:
        fields["deviation"] = meaning.deviation
    found.append(UnderstoodText(f"{at}/tolerance", text, None, words, left_open))
    return fields


_OF_THREAD: Final[Mapping[str, str]] = MappingProxyType({"cutting_diameter_mm": "diameter_mm", "pitch_mm": "pitch_mm"})
"""Fields of a tap that its thread gives."""

_SAME_THREAD_MM: Final = 0.005


def _thread_fields(
    stated: BaseModel, text: str, at: str, aliases: Aliases, found: list[UnderstoodText]
) -> dict[str, Any]:
    meaning, became = thread_of(text), None
    if meaning is None and (became := aliases.of(text)) is not None:
        meaning = thread_of(became)
    words, left_open = (None, None) if meaning is None else (meaning.words, meaning.left_open)
    fields: dict[str, Any] = {"thread": None if meaning is None else meaning.name}
    if meaning is not None and isinstance(stated, Cutter):
        if stated.kind != "tap":
            left_open = "diameter and pitch, since the tool is no tap"
        for field, own in _OF_THREAD.items() if stated.kind == "tap" else ():
            value, already = getattr(meaning, own), getattr(stated, field)
            if already is None:
                fields[field] = value
            elif abs(already - value) > _SAME_THREAD_MM:  # which of them is right is not known
                fields |= {field: None, "thread": None}
                words, left_open = None, f"it has {value:g} mm where {already:g} mm is stated"
    found.append(UnderstoodText(f"{at}/thread", text, became, words, left_open))
    return fields


_PART_ENDS: Final[tuple[EndName, ...]] = ("machine_side", "workpiece_side")

_ENDS: Final[Mapping[EndName, TypeAdapter[Any]]] = MappingProxyType(
    {
        "machine_side": TypeAdapter(MachineSide),
        "workpiece_side": TypeAdapter(WorkpieceSide),
        "spindle": TypeAdapter(SpindleSide),
    }
)


def machine_of(entry: Machine | MachineReference | None, mounted: Mounted) -> Machine | None:
    """Return the machine with its limits.

    Raises :class:`~rules.schema.parsing.BadRequestError` for a key that the catalogue does not define just once.
    """
    if not isinstance(entry, MachineReference):
        return entry
    found = _only(mounted.machines.get(entry.of.key, ()), (), mounted)
    if isinstance(found, Machine):
        return found
    trouble, reason = found
    detail = {
        "ambiguous": "the catalogue defines this machine more than once",
        "invalid": f"the catalogue's machine is invalid: {reason}",
    }.get(trouble, "the catalogue has no such machine")
    raise BadRequestError([Fault("/machine/of/key", detail, "unknown_key")])


UNREAD: Final = "it is not among the parts that can be read; not readable: "
"""Begin of the reason why a key is not known; names of files follow."""

EntryT = TypeVar("EntryT")


def _only(
    found: Sequence[EntryT | InvalidPart], revisions: Sequence[str | None], mounted: Mounted | None
) -> EntryT | tuple[Trouble, str]:
    """Return the only definition, or what is wrong and why.

    Without a catalogue the key of a part that is not found cannot be in a file that was not read.
    """
    for one in found:
        if isinstance(one, InvalidPart):  # it may be the one that is meant
            return "invalid", one.reason
    if not found:
        if mounted is not None and mounted.unread:
            return "invalid", f"{UNREAD}{_listed(mounted.unread)}"
        return "missing", ""
    if len(found) > 1:
        names = [f"revision {one}" for one in revisions if one is not None]
        bare = len(found) - len(names)
        if bare:
            names.append(f"{bare} without a revision")
        return "ambiguous", _listed(names)
    return cast(EntryT, found[0])


_LISTED: Final = 3


def _listed(names: Sequence[str]) -> str:
    """Return some names in one line.

    >>> _listed(["a", "b", "c", "d", "e"])
    'a, b, c and 2 more'
    """
    more = len(names) - _LISTED
    return ", ".join(names[:_LISTED]) + (f" and {more} more" if more > 0 else "")


def _follow(
    reference: ComponentReference, at: str, own: Mapping[str, StackEntry | InvalidPart], mounted: Mounted
) -> tuple[StackPart, Home, tuple[StatedValue, ...], list[tuple[str, StandardPart]]] | ReferenceCase:
    """Follow a reference until it reaches a component.

    The values are those of a standard that nothing replaces. Beside them stand the names that the alias file gave to
    standard parts.
    """
    name = reference.id or reference.of.key
    seen: set[tuple[str, str, str | None]] = set()
    layers: list[tuple[Layer, Overlay | None]] = []
    named: list[tuple[str, StandardPart]] = []
    here: str | None = at
    while True:
        source, key = reference.of.source, reference.of.key
        overlay = reference.overlay
        fields = frozenset() if overlay is None else frozenset(overlay.model_fields_set)
        layers.append((Layer(at if here is None else here, fields if here is not None else frozenset()), overlay))
        definitions = _definitions(reference.of, own, mounted)
        aliased = not definitions and (source == "standard" or (source == "catalogue" and not mounted.unread))
        if aliased and (part := standard_part(mounted.aliases.of(key) or "")):
            named.append((key, part))
            source, key, definitions = "standard", part.key, (part.component,)
        if (source, key, reference.of.revision) in seen:
            return ReferenceCase(at, name, source, _labelled(reference.of), "cyclic")
        seen.add((source, key, reference.of.revision))
        of_catalogue = source == "catalogue"
        revisions = mounted.revisions.get(key, ()) if of_catalogue and reference.of.revision is None else ()
        definition: StackEntry | tuple[Trouble, str] = _only(definitions, revisions, mounted if of_catalogue else None)
        if isinstance(definition, tuple):
            return ReferenceCase(at, name, source, _labelled(reference.of), *definition)
        here = pointer(("components", key)) if source == "request" else None
        if not isinstance(definition, ComponentReference):
            found = definition
            for layer, over in reversed(layers):
                found = found if over is None else _laid_over(found, over, layer.at)
            values: tuple[StatedValue, ...] = ()
            if source == "standard" and (standard := standard_part(key)) is not None:
                laid = {field for _, over in layers if over is not None for field in over.model_fields_set}
                values = tuple(one for one in standard.stated if one.field.partition(".")[0] not in laid)
            return found, Home(tuple(layer for layer, _ in layers), here), values, named
        reference = definition


MAX_HOPS: Final = 64
"""Most definitions of the catalogue that lead from one to the next."""


def trouble_of(reference: ComponentReference, mounted: Mounted) -> str | None:
    """Return what is wrong with a definition of the catalogue that refers to another one; None if nothing is.

    A definition that leads to an invalid part is not wrong itself.
    """
    here: StackEntry | InvalidPart = reference
    for _ in range(MAX_HOPS):
        if not isinstance(here, ComponentReference) or here.of.source != "catalogue":
            break
        found = mounted.of_component(here.of.key, here.of.revision)
        if len(found) != 1:
            break
        here = found[0]
    else:
        return f"it leads through more than {MAX_HOPS} definitions, or back to itself"
    if isinstance(here, ComponentReference) and here.of.source == "request":
        return "it leads to the components of a request; a part of the catalogue cannot rest on a request"
    try:
        case = _follow(reference, "", {}, mounted)
    except BadRequestError as error:
        return "; ".join(f"{fault.pointer.removeprefix('/')}: {fault.detail}" for fault in error.faults)
    if not isinstance(case, ReferenceCase) or case.trouble == "invalid":
        return None
    if case.trouble == "ambiguous":
        return f"it refers to {case.key}, which the catalogue defines more than once: {case.detail}"
    return f"it refers to {case.key}, which the {case.source} does not define"


def _labelled(of: ReferenceTarget) -> str:
    return of.key if of.revision is None else f"{of.key} revision {of.revision}"


def _definitions(
    of: ReferenceTarget, own: Mapping[str, StackEntry | InvalidPart], mounted: Mounted
) -> Sequence[StackEntry | InvalidPart]:
    if of.source == "catalogue":
        return mounted.of_component(of.key, of.revision)
    if of.revision is not None:  # only parts of the catalogue have revisions
        return ()
    if of.source == "request":
        return (own[of.key],) if of.key in own else ()
    part = standard_part(of.key)
    return () if part is None else (part.component,)


def _laid_over(part: StackPart, overlay: Overlay, at: str) -> StackPart:
    """Return the part with the stated fields in place of its own."""
    stated = overlay.model_fields_set
    wrong = sorted(stated - type(part).model_fields.keys())
    if wrong:
        kind = part.kind.replace("_", " ")
        raise BadRequestError(
            Fault(f"{at}/with/{field}", f"a {kind} has no such field", "unknown_field") for field in wrong
        )
    return part.model_copy(update={field: getattr(overlay, field) for field in stated})


def designation_facts(resolved: Resolved) -> list[Fact]:
    """Return a fact for each designation of the request; one that is not known lacks what it means."""
    parts, facts = resolved.request.stack.components, []
    for text in resolved.understood:
        _, first, *steps = text.at.split("/")
        if steps[-1] == "key":  # the shop's name of a part; one without a part is a reference that leads nowhere
            continue
        name = parts[int(steps[1])].id if first == "stack" else None
        fact = Properties(
            "component",
            f"designation:{text.at}",
            (text.at,),
            component=name or "the machine",
            component_kind="designation",
            designation=text.designation,
        )
        known = "none" if text.words is not None else text.left_open
        fact.add("designation_conflict", or_missing(known, text.at))
        facts.append(fact.build())
    return facts


def reference_facts(resolved: Resolved) -> list[Fact]:
    """Return a fact for each reference noted in resolving."""
    facts = []
    for case in resolved.cases:
        fact = Properties(
            "component", f"reference:{case.pointer}", (case.pointer,), component=case.name, component_kind="reference"
        )
        fact.add("reference_key", case.key)
        fact.add("reference_source", case.source)
        for trouble in get_args(Trouble):
            fact.add(f"reference_{trouble}", case.trouble == trouble)
        if case.trouble == "ambiguous":
            fact.add("reference_definitions", case.detail)
        if case.trouble == "invalid":
            fact.add("reference_reason", case.detail)
        facts.append(fact.build())
    return facts
