"""Provenance of a report: rulebooks, thresholds set by the request, and the cautions for the stack."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import yaml

from rules.quantities.missing import Missing, OrMissing
from rules.quantities.models import Model, construct
from rules.rulebook.book import OverrideProblem, Overrides, Rulebook, check_overrides
from rules.schema.parsing import MAX_NAME, BadRequestError, Fault, FaultCode, pointer
from rules.schema.report import OverrideReport, Provenance, ReplacedRule, ThresholdReport
from rules.schema.request import Policy
from rules.version import NAME, VERSION

__all__ = ["cautions", "general_cautions", "provenance", "request_sha256", "threshold_overrides"]


def request_sha256(request: Model) -> str:
    """Return the digest of the request as understood.

    Unset fields are left out, lengths are in mm, fields stand in the order of the contract and the JSON
    is compact; so the order of the keys and the unit a length was written in make no difference.
    """
    # Written as what it is, each part is not first looked up among the models its field allows; the text is the same.
    text = request.model_dump_json(exclude_unset=True, serialize_as_any=True)
    return hashlib.sha256(text.encode()).hexdigest()


def provenance(
    request: Model, policy: Policy | None, book: Rulebook, catalogue_sha256: str | None = None
) -> Provenance:
    """Name service, rulebooks and request, and everything that was changed against the books."""
    changed = (policy.thresholds if policy else None) or {}
    rules = {code: book.rule(code) for code in changed}
    return construct(
        Provenance,
        service=NAME,
        version=VERSION,
        rulebooks=book.book_names(),
        rulebook_sha256=book.digest,
        catalogue_sha256=catalogue_sha256,
        request_sha256=request_sha256(request),
        thresholds_changed=[
            construct(
                ThresholdReport,
                code=code,
                threshold=name,
                value=value,
                rulebook_value=rules[code].thresholds[name].value,
                unit=rules[code].thresholds[name].unit,
            )
            for code, values in sorted(changed.items())
            for name, value in sorted(values.items())
        ],
        severities_lowered=[
            construct(
                OverrideReport,
                code=item.code,
                from_severity=item.severity_from,
                to_severity=item.severity_to,
                book=item.file,
            )
            for item in book.overridden
        ],
        rules_replaced=[
            construct(ReplacedRule, code=rule.code, safety=rule.safety, book=rule.file) for rule in book.replaced
        ],
    )


def threshold_overrides(policy: Policy | None, book: Rulebook) -> Overrides:
    """Return the thresholds the policy sets, none where it sets none.

    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows.
    """
    overrides = (policy.thresholds if policy else None) or {}
    if overrides and (problems := check_overrides(book, overrides)):
        raise BadRequestError(_fault(problem) for problem in problems)
    return overrides


def _fault(problem: OverrideProblem) -> Fault:
    """Locate a wrong threshold; a name that is not to be repeated is left out of the pointer and of the words."""
    if len(problem.threshold) > MAX_NAME or not problem.threshold.isprintable():
        return Fault(
            pointer(("policy", "thresholds", problem.code)),
            "a threshold of this name is not known",
            "unknown_threshold",
        )
    steps = ("policy", "thresholds", problem.code, *([problem.threshold] if problem.threshold else ()))
    if problem.known:
        code: FaultCode = "out_of_range"
    else:
        code = "unknown_threshold" if problem.threshold else "unknown_rule"
    return Fault(pointer(steps), problem.reason, code)


@dataclass(frozen=True, slots=True)
class _Caution:
    when: str
    text: str
    from_kg: float = 0.0


@cache
def _entries() -> tuple[_Caution, ...]:
    text = files("rules.answer").joinpath("cautions.yaml").read_text(encoding="utf-8")
    return tuple(_Caution(**entry) for entry in yaml.safe_load(text))


def cautions(couplings: Iterable[str], mass: OrMissing[float], *, has_knob: bool) -> list[str]:
    """Return the cautions for everyone, then those of the couplings in a stack of this mass, kg."""
    concerns = {"always", *couplings}
    if has_knob:
        concerns.add("steep_taper_knob")
    known = 0.0 if isinstance(mass, Missing) else mass
    return [entry.text for entry in _entries() if entry.when in concerns and known >= entry.from_kg]


def general_cautions() -> list[str]:
    """Return the cautions for everyone, where no stack is known."""
    return [entry.text for entry in _entries() if entry.when == "always" and entry.from_kg == 0.0]
