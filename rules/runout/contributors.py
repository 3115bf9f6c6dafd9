"""Contributors to runout, each a line along the axis, and the clocking of the joints between them."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from itertools import accumulate
from typing import Final, Literal, NamedTuple

from rules.grip.fits import clearance_of, is_slip_fit
from rules.quantities.missing import Missing, OrMissing, missing_of, when_both_known, when_known
from rules.quantities.models import MIN_LENGTH_MM
from rules.random_vectors.moments import gaussian_sigma
from rules.runout.formulas import (
    Line,
    Tir,
    TirVector,
    line_from_bow,
    line_from_offset,
    line_from_pivot,
    line_from_tilt,
    line_from_two_readings,
    slip_fit_lines,
)
from rules.schema.components import Cutter, GaugePin, Runout, RunoutLaw, RunoutStatement
from rules.schema.report import ContributorKind, JointEnds
from rules.schema.request import DEFAULT_POLICY
from rules.stack.chain import Chain, Member, StackJoint
from rules.stack.positions import Position, Positions, grip_of

__all__ = ["NO_BODY", "Contributor", "Contributors", "contributors_of", "frames_of", "positions_of"]


class Frame(NamedTuple):
    """Clocking of a component: its group, and the factor from its own directions to those of the group."""

    group: int
    turn: complex


def frames_of(chain: Chain) -> tuple[Frame, ...]:
    """Return the frame of the spindle, then of every link.

    A joint without stated clocking begins a new group, since the parts beyond it may have any direction.
    """
    frames = [Frame(0, 1 + 0j)]
    cases: list[StackJoint | None] = [chain.spindle_joint, *chain.joints]
    for case in cases[: len(chain.members)]:
        last = frames[-1]
        clocking = None if case is None or case.statement is None else case.statement.clocking_deg
        if clocking is None:
            frames.append(Frame(last.group + 1, 1 + 0j))
        else:
            frames.append(Frame(last.group, last.turn * cmath.rect(1.0, math.radians(clocking))))
    return tuple(frames)


NO_BODY: Final = 1_000_000
"""Index beyond any link, for a contributor that only the indicator sees and that moves no mass."""


class Contributor(NamedTuple):
    """One source of eccentricity."""

    id: str
    """Kind with component or joint, such as part_runout:collet; a number follows where it is not the first."""
    kind: ContributorKind
    name: str
    """The contributor as people read it."""
    component: str | None
    """Component that it belongs to; that of a clearance is the lower one."""
    joint: JointEnds | None
    law: RunoutLaw
    line: Line
    """Bound of its amplitude along the axis."""
    displaces_from: int
    """Index of the first displaced link."""
    stated_um: Tir
    """The stated reading; of two, the outermost."""
    group: int | None = None
    """Contributors of one group have known relative directions."""
    parts: tuple[Line, ...] = ()
    """Lines of independent vectors, where it has several; their amplitudes add up to that of `line`."""
    least_share: float | None = None
    """Least size over the largest, where every size between is equally likely."""
    turns_with: int = 0
    """Contributors of equal number cannot be re-clocked against each other."""

    @property
    def lines(self) -> tuple[Line, ...]:
        """Lines of its vectors, each with a direction of its own."""
        return self.parts or (self.line,)


class Contributors(NamedTuple):
    """All known contributors, and the missing fields of the others."""

    known: tuple[Contributor, ...]
    lacking: Missing | None


def _readings(statements: Sequence[RunoutStatement], directed: bool) -> list[TirVector]:
    """Return the readings, complex where their directions are known."""
    if not directed:
        return [TirVector(statement.tir_um) for statement in statements]
    return [TirVector(cmath.rect(one.tir_um, math.radians(one.angle_deg or 0.0))) for one in statements]


def _line(runout: Runout, at: str, reference: OrMissing[float], pivot: OrMissing[float]) -> Line | Missing:
    """Return the line through one or two stated readings; ``reference`` is the zero of their distances."""
    statements = runout.statements
    readings = _readings(statements, runout.is_directed)
    if len(statements) == 2:
        first, second = statements
        if abs(first.at_mm - second.at_mm) < MIN_LENGTH_MM:
            return Missing((f"{at}/statements/1/at_mm",))
        return when_known(
            lambda zero: line_from_two_readings(readings[0], zero + first.at_mm, readings[1], zero + second.at_mm),
            reference,
        )
    (only,) = statements
    if runout.character == "offset" or only.tir_um == 0.0 or runout.max_tilt_um_per_m is not None:
        return line_from_offset(readings[0])

    def tilt(zero: float, middle: float) -> Line | Missing:
        if not zero + only.at_mm - middle >= MIN_LENGTH_MM:
            return Missing((f"{at}/statements/1",))
        return line_from_pivot(readings[0], zero + only.at_mm, middle)

    return when_both_known(tilt, reference, pivot)


def _stated(statements: Sequence[RunoutStatement]) -> Tir:
    """Return the outermost of one or two readings."""
    first, last = statements[0], statements[-1]
    return Tir((last if last.at_mm > first.at_mm else first).tir_um)


def _component(index: int, member: Member, places: Sequence[Position], frame: Frame) -> list[Contributor | Missing]:
    part = member.part
    held = member.is_tool and index > 0
    found = _form(member, places[index]) if held else []
    if part.runout is None:
        # a pin with stated straightness and roundness needs no stated runout
        described = isinstance(part, GaugePin) and part.straightness_um is not None and part.roundness_um is not None
        return found if described else [*found, Missing((f"{member.at}/runout",))]
    law, directed = part.runout.law or "limit", part.runout.is_directed
    reference = places[index - 1].face if held else places[index].face
    line = _line(part.runout, f"{member.at}/runout", reference, places[index].pivot)
    if isinstance(line, Missing):
        return [*found, line]
    if directed:
        line = line.turned(frame.turn)
    group = frame.group if directed else None
    return [
        _of_part(
            "part_runout", f"runout of {part.id}", part.id, law, line, index + 1, _stated(part.runout.statements), group
        ),
        *_tilt(f"tilt:{part.id}", part.id, part.runout, reference, index + 1),
        *_uncertainties(part.id, part.runout, f"{member.at}/runout", reference, places[index].pivot, index + 1),
        *found,
    ]


def _tilt(
    name: str, component: str | None, runout: Runout, reference: OrMissing[float], displaces_from: int
) -> list[Contributor]:
    """Return the stated bound of the tilt: a vector of its own, zero at the plane of the only reading."""
    if runout.max_tilt_um_per_m is None or len(runout.statements) != 1 or isinstance(reference, Missing):
        return []
    (only,) = runout.statements
    line = line_from_tilt(runout.max_tilt_um_per_m, reference + only.at_mm)
    # a reading does not show the tilt, and what bounds it remains a limit
    law: RunoutLaw = "capability" if runout.law == "capability" else "limit"
    at_100_mm = Tir(0.2 * runout.max_tilt_um_per_m)
    of = "the spindle" if component is None else component
    return [Contributor(name, "tilt", f"tilt of {of}", component, None, law, line, displaces_from, at_100_mm)]


_WITHIN_95: Final = 2.0 / gaussian_sigma(1.0) / 4.0
"""Reading that 95 % of the errors of a measured one stay within, over its expanded uncertainty: σ of each coordinate of
the eccentricity is U/4, since the reading is twice the eccentricity and U is twice its standard uncertainty (GUM)."""


def _uncertainties(
    component: str, runout: Runout, at: str, reference: OrMissing[float], pivot: OrMissing[float], displaces_from: int
) -> list[Contributor | Missing]:
    """Return the error of each reading with a stated uncertainty, a plane Gaussian along the same line."""
    found: list[Contributor | Missing] = []
    for place, statement in enumerate(runout.statements):
        if not statement.uncertainty_um:
            continue
        tir = _WITHIN_95 * statement.uncertainty_um
        # as computed, since the error of a reading at the limit of the contract lies beyond that limit
        errors = [
            one.model_copy(
                update={"tir_um": tir if one is statement else 0.0, "angle_deg": None, "uncertainty_um": None}
            )
            for one in runout.statements
        ]
        line = _line(runout.model_copy(update={"law": None, "statements": errors}), at, reference, pivot)
        if isinstance(line, Missing):
            found.append(line)
            continue
        name = f"uncertainty of the reading of {component}"
        one = _of_part("uncertainty", name, component, "capability", line, displaces_from, Tir(tir), None)
        found.append(one if place == 0 else one._replace(id=f"{one.id}#2"))
    return found


def _form(member: Member, place: Position) -> list[Contributor | Missing]:
    """Return bow and out-of-roundness of the shank of a cutting tool or of a pin, where stated."""
    part = member.part
    found: list[Contributor | Missing] = []
    if not isinstance(part, Cutter | GaugePin):
        return found
    if part.straightness_um is not None:
        straightness, length = part.straightness_um, part.overall_length_mm
        bow: Line | Missing = Missing((f"{member.at}/overall_length_mm",))
        if length is not None:

            def bowed(pivot: float, tip: float, length: float = length) -> Line | Missing:
                if not tip - pivot >= MIN_LENGTH_MM:
                    return Missing((f"{member.at}/overall_length_mm",))
                return line_from_bow(straightness, length, pivot, tip)

            # clamped along its tangent in the middle of the grip
            bow = when_both_known(bowed, when_both_known(_halfway, place.start, place.seat_length), place.face)
        found.append(bow if isinstance(bow, Missing) else _own("straightness", part.id, bow, Tir(straightness)))
    if part.roundness_um is not None:
        line = line_from_offset(TirVector(part.roundness_um))
        found.append(_own("roundness", part.id, line, Tir(part.roundness_um)))
    return found


def _halfway(start: float, length: float) -> float:
    return start + length / 2.0


def _of_part(
    kind: ContributorKind,
    name: str,
    component: str,
    law: RunoutLaw,
    line: Line,
    displaces_from: int,
    stated_um: Tir,
    group: int | None,
) -> Contributor:
    return Contributor(f"{kind}:{component}", kind, name, component, None, law, line, displaces_from, stated_um, group)


def _own(kind: Literal["straightness", "roundness"], component: str, line: Line, stated_um: Tir) -> Contributor:
    """Return a contributor that affects the reading, but displaces no part."""
    return _of_part(kind, f"{kind} of {component}", component, "limit", line, NO_BODY, stated_um, None)


def _clearance(index: int, case: StackJoint, mouth: OrMissing[float], mean: bool) -> Contributor | Missing | None:
    """Return the play of a slip fit.

    A side-lock screw pulls the shank along its whole length to the far wall: an offset between the least and the
    largest clearance. In a plain bore the shank may tilt as well.
    """
    if not is_slip_fit(case):
        return None
    clearance = clearance_of(case)
    if isinstance(clearance, Missing):
        return clearance
    least, most = (max(0.0, one) for one in ((sum(clearance) / 2.0,) * 2 if mean else clearance))
    found = Contributor(
        f"clearance:{case.name}",
        "clearance",
        f"clearance of {case.name}",
        case.lower.part.id,
        case.ends_named,
        "limit",
        line_from_offset(TirVector(most)),
        index,
        Tir(most),
    )
    if most == 0.0:
        return found
    if case.coupling is not None and not case.coupling.tilts_in_bore:
        return found._replace(least_share=least / most)
    grip = grip_of(case)
    if isinstance(grip, Missing) or isinstance(mouth, Missing):
        return missing_of(grip, mouth)
    if grip < MIN_LENGTH_MM:
        return Missing((f"{case.statement_at}/grip_length_mm",))
    lines = slip_fit_lines(most, grip, mouth)
    return found._replace(line=lines.bound, parts=(lines.at_mouth, lines.at_rear))


def _spindle(chain: Chain, geometry: Positions, frame: Frame) -> list[Contributor | Missing]:
    machine = chain.machine
    if machine is None or machine.spindle_runout is None or not geometry.places:
        return []
    runout = machine.spindle_runout
    line = _line(runout, "/machine/spindle_runout", 0.0, geometry.places[0].pivot)
    if isinstance(line, Missing):
        return [line]
    group = frame.group if runout.is_directed else None
    name, law, stated = "runout of the spindle", runout.law or "limit", _stated(runout.statements)
    return [
        Contributor("spindle_runout", "spindle_runout", name, None, None, law, line, 0, stated, group),
        *_tilt("tilt:spindle", None, runout, 0.0, 0),
    ]


def contributors_of(chain: Chain, geometry: Positions) -> Contributors:
    """Return the contributors of spindle, components and slip fits.

    Where nothing at all is stated, the runout is missing, not zero.
    """
    frames = frames_of(chain)
    mean = (chain.request.policy or DEFAULT_POLICY).slip_fit == "mean"
    turns = [0, *accumulate(int(count != 1) for count in positions_of(chain))]
    found: list[Contributor | Missing | None] = [*_spindle(chain, geometry, frames[0])]
    for index, member in enumerate(chain.members):
        own = turns[index + 1]
        if index > 0:
            play = _clearance(index, chain.joints[index - 1], geometry.places[index - 1].face, mean)
            # the bore holds the play: it does not turn with the shank
            found.append(play._replace(turns_with=turns[index]) if isinstance(play, Contributor) else play)
        found += [
            one._replace(turns_with=own) if isinstance(one, Contributor) else one
            for one in _component(index, member, geometry.places, frames[index + 1])
        ]
    known = [item for item in found if isinstance(item, Contributor)]
    if not known:
        found.append(Missing(tuple(f"{member.at}/runout" for member in chain.members) or ("/stack/components/-",)))
    return Contributors(_distinct(known), missing_of(*found))


def _distinct(known: Sequence[Contributor]) -> tuple[Contributor, ...]:
    """Number the ids that repeat, as those of two components with one id do."""
    ids = [item.id for item in known]
    if len(set(ids)) == len(ids):
        return tuple(known)
    counts = [ids[: place + 1].count(one) for place, one in enumerate(ids)]
    return tuple(
        item if count == 1 else item._replace(id=f"{item.id}#{count}")
        for item, count in zip(known, counts, strict=True)
    )


def _positions(case: StackJoint | None) -> int:
    """Return the number of positions of a joint: 0 for any angle, 1 for a fixed joint or unstated clocking."""
    side, coupling = (None, None) if case is None else (case.upper_side, case.coupling)
    if side is None or coupling is None:
        return 1
    found = coupling.clocking_of(side)
    return 0 if found.kind == "free" else found.positions or 1


def positions_of(chain: Chain) -> list[int]:
    """Return the number of positions of the spindle joint, then of every joint between neighbours."""
    return [_positions(case) for case in (chain.spindle_joint, *chain.joints)]
