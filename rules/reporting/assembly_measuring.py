"""Seating, reading and signing: the last steps of the work instruction, the acceptance and the record."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

from rules.facts.derive import Derived
from rules.quantities.missing import Lack, Maybe, lift
from rules.quantities.rounding import rounded, rounded_or_none
from rules.reporting.assembly_drafts import Draft, draft
from rules.reporting.assembly_joints import Objections
from rules.reporting.assembly_texts import heavy_cautions, instruction, maker_units
from rules.reporting.assembly_words import Number, Tellable, Words, say
from rules.runout.analysis import PlaneBudget
from rules.schema.components import Cutter
from rules.schema.report import Finding
from rules.stack.chain import JointCase

__all__ = ["Measuring"]


_SET_AT_JOINTS: Final = ("grip", "projection", "opening_temperature", "clocking")


class Measuring:
    """Where the finished assembly is read, and what counts as good."""

    def __init__(self, derived: Derived) -> None:
        operation = derived.chain.request.operation
        geometry = derived.geometry
        at_tip = operation is not None and operation.runout_limit_at == "tip"
        self._derived = derived
        self._limit = None if operation is None else operation.runout_limit_um
        self._limit_at = "tip" if at_tip else "gauge_plane"
        self._plane = geometry.tip if at_tip else geometry.gauge_plane
        self._distance: Maybe[float] = lift(lambda z, face: z - face, self._plane, geometry.last_clamping_face)
        self._budget = derived.tip if at_tip else derived.gauge_plane
        if derived.contributors.lacking is not None:
            self._budget = derived.contributors.lacking  # a partial sum would promise too little
        links = derived.chain.links
        self._base = links[0] if links else None
        self._tool = links[-1] if links else None
        self._face_of = links[-2].part.id if len(links) > 1 else None

    def acceptance(self) -> dict[str, Any]:
        """Return the section on acceptance."""
        budget = self._budget if isinstance(self._budget, PlaneBudget) else None
        return {
            "limit_at": self._limit_at,
            "plane_mm": rounded_or_none(self._plane, "mm"),
            "counted_from": "last_clamping_face",
            "face_of": self._face_of,
            "distance_mm": rounded_or_none(self._distance, "mm"),
            "limit_um": self._limit,
            "expected_p50_um": budget and rounded(budget.p50_um, "um"),
            "expected_p95_um": budget and rounded(budget.p95_um, "um"),
            "rule": self._rule(),
        }

    def _rule(self) -> str:
        rules = instruction().rules
        if self._limit is None:
            return rules["no_limit"]
        return rules["limit"].format(limit=Number("limit", "um", self._limit).told())

    def steps(self, objections: Objections) -> list[Draft]:
        """Return seating, reading and signing."""
        return [step for step in (self._seat(objections), self._measure(), self._record()) if step is not None]

    def _seat(self, objections: Objections) -> Draft | None:
        base = self._base
        if base is None:
            return None
        side, file = base.machine_side, instruction()
        kind = "unknown" if side is None else side.coupling if side.coupling in file.seats else "other"
        at = f"{base.at}/machine_side"
        case = self._derived.chain.spindle_joint
        against: Sequence[Finding] = () if case is None else objections.get((case.upper_at, case.lower_at), ())
        return {
            "number": 0,
            "action": "seat",
            "components": [base.part.id],
            "joint": None,
            "text": say(file.seats[kind], Words({"base": base.part.id}), []),
            "values": [],
            "caution": [
                *(file.cautions["finding"].format(code=one.code, message=one.message) for one in against),
                *heavy_cautions(self._derived.masses.total),
            ],
            "at": [at],
            "not_stated": [] if side is not None else [at],
            "from_maker": [],
        }

    def _measure(self) -> Draft | None:
        tool = self._tool
        if tool is None:
            return None
        step = draft(
            instruction().general["measure"],
            Words({"tool": tool.part.id, "rule": self._rule()}, self._find),
            [tool.part.id],
            ["/operation/runout_limit_um"] if self._limit is not None else [tool.at],
        )
        if step is not None and self._limit is None:
            step["not_stated"].append("/operation/runout_limit_um")
        return step

    def _find(self, name: str) -> Tellable:
        budget = self._budget
        if name == "plane":
            return _length("gauge plane from the gauge line", self._plane)
        if name == "distance":
            return _length("distance from the last clamping face", self._distance)
        if name == "reading":
            return None if self._limit is None else Number("reading", "um", None, None, self._limit)
        if name == "face_of":
            return self._face_of
        if name == "incomplete":
            return "" if isinstance(budget, Lack) else None
        if name in ("on_flutes", "beyond_tip"):
            return self._touches(name)
        if isinstance(budget, Lack):
            return budget
        if name == "p50":
            return Number("half of such assemblies read less", "um", budget.p50_um)
        return Number("95 % of such assemblies read less", "um", budget.p95_um) if name == "p95" else None

    def _touches(self, what: str) -> str | None:
        """Return '' where the indicator meets flutes, or nothing at all."""
        tip, plane = self._derived.geometry.tip, self._plane
        if isinstance(tip, Lack) or isinstance(plane, Lack):
            return None
        if what == "beyond_tip":
            return "" if plane > tip else None
        part = None if self._tool is None else self._tool.part
        flutes = part.flute_length_mm if isinstance(part, Cutter) else None
        return "" if flutes is not None and tip - flutes < plane <= tip else None

    def _record(self) -> Draft | None:
        ids = [link.part.id for link in self._derived.chain.links]
        return draft(instruction().general["record"], Words({}), ids, ["/stack"])

    def record(self, joints: Iterable[tuple[JointCase, Words]], steps: Iterable[Draft]) -> list[dict[str, Any]]:
        """Return the blanks: readings, what was set at each joint, what the makers state, who did it and when."""
        where = "tip" if self._limit_at == "tip" else "gauge plane"
        fields = [
            _blank(f"reading at the {where}", None, "um", at_most=self._limit),
            _blank("expanded uncertainty of the reading", None, "um"),
        ]
        for case, words in joints:
            for name in _SET_AT_JOINTS:
                number = None if name == "projection" and case.joint_class == "collet_seat" else words.number(name)
                if isinstance(number, Number):
                    told = number.fields()
                    told["target"] = told.pop("value")
                    fields.append({**told, "joint": case.name})
        for step in steps:
            fields.extend(_blank(name, step["joint"], maker_units()[name]) for name in step["from_maker"])
        fields.extend(_blank(name, None, None) for name in ("operator", "date", "signature"))
        return fields


def _length(name: str, value: Maybe[float]) -> Tellable:
    return value if isinstance(value, Lack) else Number(name, "mm", value)


def _blank(name: str, joint: str | None, unit: str | None, at_most: float | None = None) -> dict[str, Any]:
    return {"name": name, "joint": joint, "unit": unit, "target": None, "at_least": None, "at_most": at_most}
