"""The operator's profile of a gate: its policy, machines and waivers. A request can only tighten it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Annotated, Final

from pydantic import Field, ValidationError

from rules.answer.provenance import threshold_overrides
from rules.quantities.models import Model, Text, Token
from rules.rulebook.book import Rulebook, stricter
from rules.rulebook.source import Problem, RulebookError, read_source
from rules.schema.gate import PolicyDeviation, ProfileReport, RequirementName, WaiverReport
from rules.schema.parsing import BadRequestError
from rules.schema.request import DEFAULT_POLICY, Machine, Policy

__all__ = ["STRICT", "Profile", "Waiver", "changed_policy", "load_profile", "merged_policy"]


class Waiver(Model):
    """Requirement that the operator lifts: for one machine or all, for a reason, until a day."""

    requirement: RequirementName
    machine: Text | None = Field(None, description="Id of the machine; all if absent.")
    reason: Text = Field(min_length=1)
    owner: Text = Field(min_length=1)
    until: Annotated[date, Field(strict=False)]


class Profile(Model):
    """What the operator of a gate has decided."""

    profile: Token = Field(description="Name of the profile.")
    revision: Token | None = None
    policy: Policy | None = None
    machines: dict[Text, Machine] = Field(default_factory=dict, description="Machines by id; no others are accepted.")
    waivers: list[Waiver] = Field(default_factory=list, max_length=200)

    @property
    def digest(self) -> str:
        """SHA-256 of the profile as understood, with the waivers in force."""
        text = json.dumps(self.model_dump(mode="json"), sort_keys=True, separators=(",", ":"), ensure_ascii=True)
        return hashlib.sha256(text.encode("ascii")).hexdigest()

    def report(self) -> ProfileReport:
        """Return what an answer tells of the profile."""
        waivers = [WaiverReport.model_validate(one.model_dump(mode="json")) for one in self.waivers]
        return ProfileReport(name=self.profile, revision=self.revision, sha256=self.digest, waivers=waivers)

    def on(self, day: date) -> Profile:
        """Return the profile without the waivers that have ended before this day."""
        left = [one for one in self.waivers if day <= one.until]
        return self if len(left) == len(self.waivers) else self.model_copy(update={"waivers": left})

    def waived(self, machine: str | None) -> set[str]:
        """Return the requirements lifted for a machine."""
        return {one.requirement for one in self.waivers if one.machine is None or one.machine == machine}


STRICT: Final = Profile(profile="strict")
"""The profile of a gate without one: nothing waived, every machine as its order states it."""


def load_profile(path: Path, book: Rulebook, today: date) -> Profile:
    """Return the profile of a YAML file, without the waivers that have ended before ``today``.

    Raises :class:`~rules.rulebook.source.RulebookError` with every fault: of the file, of its fields, of a machine
    whose id is not its name, thresholds that no rule has or allows, and assumed values.
    """
    source = read_source(path)
    if source.problems:
        raise RulebookError(source.problems)
    try:
        profile = Profile.model_validate(source.value)
    except ValidationError as error:
        raise RulebookError(
            Problem(source.file, source.lines.at(one["loc"]), "", f"{'/'.join(map(str, one['loc']))}: {one['msg']}")
            for one in error.errors()
        ) from None
    policy = profile.policy or DEFAULT_POLICY
    faults = ["policy/unstated: a gate assumes nothing"] if policy.unstated != "undecided" else []
    try:
        threshold_overrides(policy, book)
    except BadRequestError as error:
        faults += [f"{one.pointer.removeprefix('/')}: {one.detail}" for one in error.faults]
    for name, machine in profile.machines.items():
        if machine.id not in (None, name):
            faults.append(f"machines/{name}/id: {machine.id!r} is not the name of the entry")
    if faults:
        raise RulebookError([Problem(str(path), 0, "", one) for one in faults])
    machines = {name: one.model_copy(update={"id": name}) for name, one in profile.machines.items()}
    return profile.model_copy(update={"machines": machines}).on(today)


def merged_policy(order: Policy | None, own: Policy | None) -> Policy | None:
    """Return a policy with the fields that another states laid over, thresholds one by one."""
    if order is None or own is None:
        return own or order
    fields = {name: getattr(own, name) for name in own.model_fields_set if name != "thresholds"}
    thresholds = {(one.code, one.threshold): one for one in (*(order.thresholds or ()), *(own.thresholds or ()))}
    return order.model_copy(update={**fields, "thresholds": list(thresholds.values()) or None})


_MORE_IS_STRICTER: Final = {"gauge_plane_diameters": True, "flute_bending_ratio": False, "edge_wear": True}
_STRICT_WORD: Final = {
    "on_undecided": "fail",
    "on_warning": "fail",
    "slip_fit": "maximum",
    "judged_runout": "parts_at_limits",
}


def changed_policy(base: Policy | None, own: Policy | None, at: str, book: Rulebook) -> Iterator[PolicyDeviation]:
    """Yield each field of a policy that differs from that of the profile, and whether it may judge less strictly."""
    before = base or DEFAULT_POLICY
    for name in () if own is None else [one for one in Policy.model_fields if one in own.model_fields_set]:
        value, default = getattr(own, name), getattr(before, name)
        if name == "thresholds" or value == default:
            continue
        if name in _MORE_IS_STRICTER:
            weakens = (value < default) == _MORE_IS_STRICTER[name]
        else:
            weakens = value != _STRICT_WORD.get(name)
        yield PolicyDeviation(at=f"{at}/{name}", value=str(value), default=str(default), weakens=weakens)
    set_before = {(one.code, one.threshold): one.value for one in before.thresholds or ()}
    for number, one in enumerate((own.thresholds if own else None) or ()):
        rule = book.rule(one.code)
        floor = set_before.get((one.code, one.threshold), rule.thresholds[one.threshold].value)
        if one.value == floor:
            continue
        sense = stricter(rule, one.threshold)
        weakens = sense is None or (one.value > floor if sense == "at most" else one.value < floor)
        yield PolicyDeviation(at=f"{at}/thresholds/{number}", value=str(one.value), default=str(floor), weakens=weakens)
