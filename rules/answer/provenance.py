"""Provenance of a report: rulebooks, thresholds set by the request, and the cautions for the stack."""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.machinery import EXTENSION_SUFFIXES
from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as installed_version
from importlib.resources import files
from importlib.resources.abc import Traversable
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from rules.quantities.missing import Missing, OrMissing
from rules.quantities.models import Model, construct
from rules.quantities.tables import read_definitions
from rules.quantities.units import ucum
from rules.rulebook.book import Overrides, Rulebook, check_overrides
from rules.schema.parsing import BadRequestError, Fault, FaultCode, pointer
from rules.schema.report import JudgementDeviation, Provenance
from rules.schema.request import AssumptionSet, Policy
from rules.version import CONTRACT, NAME, VERSION

__all__ = [
    "EXAMPLE_JUDGEMENT",
    "MountedDigests",
    "UnknownJudgementError",
    "assumption_set_sha256",
    "canonical_sha256",
    "cautions",
    "general_cautions",
    "installation_sha256",
    "judgement_sha256",
    "provenance",
    "refuse_assumptions",
    "request_sha256",
    "threshold_overrides",
]


EXAMPLE_JUDGEMENT: Final = "0" * 64
"""What examples show as digest of the judgement, so that they do not change with every line of code."""


class UnknownJudgementError(RuntimeError):
    """The installation does not show what judges, so its answers could not be told from those of another program."""


def judgement_sha256(book: Rulebook) -> str:
    """Return the digest of what judges: SHA-256 of the canonical JSON of this record.

    ================  ==============================================================================
    form              2, the form of this record
    service, version  the program
    rulebook_sha256   the rules, adjustments and vocabulary in force
    files             by path in the package, the SHA-256 of each file of `rules` besides the
                      rulebooks that computes or is read: source code, tables of standards,
                      definitions of couplings, gate requirements, cautions
    build             versions of the libraries that compute with them
    ================  ==============================================================================

    Lines end alike in the digest, whatever a checkout made of them. Any other change of a source file changes it, even
    that of a comment, because no program can say which changes make no difference. The engine counts by its version,
    the kernel by its source: each machine compiles them to other bytes, and judges alike. Processor, Python and C
    library may move the last digits of a computation, which the report rounds away; they are not part of it. Neither
    are the request, its policy and the mounted catalogue, which are judged.

    Raises :class:`UnknownJudgementError` for an installation without source code or without names of its libraries.
    """
    if book.of_examples:
        return EXAMPLE_JUDGEMENT
    return _judgement_sha256(book.digest, VERSION, _files(), _build())


@lru_cache(maxsize=64)
def _judgement_sha256(
    rulebook_digest: str, version: str, content: tuple[tuple[str, str], ...], build: tuple[tuple[str, str], ...]
) -> str:
    record = {
        "form": 2,
        "service": NAME,
        "version": version,
        "rulebook_sha256": rulebook_digest,
        "files": dict(content),
        "build": dict(build),
    }
    return hashlib.sha256(json.dumps(record, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


@cache
def _files() -> tuple[tuple[str, str], ...]:
    return tuple(_judging_files(files("rules"), ""))


_LIBRARIES: Final = ("durable-rules", "lark", "numpy", "pydantic", "scipy")
"""What judges besides this program: the engine, the readers of expressions and requests, the mathematics."""


@cache
def _build() -> tuple[tuple[str, str], ...]:
    try:
        return tuple((name, installed_version(name)) for name in _LIBRARIES)
    except PackageNotFoundError as error:
        raise UnknownJudgementError(f"the version of {error.name} is not known; install stackgauge by pip") from None


_BOOKS: Final = "books/"
"""Folder of the built-in rulebooks, which the digest of the rulebook covers as they are read."""


def _judging_files(folder: Traversable, path: str) -> Iterator[tuple[str, str]]:
    entries = {entry.name: entry for entry in folder.iterdir()}
    for name, entry in entries.items():
        if entry.is_dir():
            below = f"{path}{name}/"
            if below != _BOOKS and name != "__pycache__":
                yield from _judging_files(entry, below)
        elif name.endswith((".c", ".py", ".yaml")):
            content = entry.read_bytes().replace(b"\r\n", b"\n")
            yield path + name, hashlib.sha256(content).hexdigest()
        elif _replaces_source(name, entries):
            raise UnknownJudgementError(
                f"rules/{path}{name} is compiled code without its source, which the digest of what judges needs;"
                " install stackgauge with its source files"
            )


def _replaces_source(name: str, beside: Container[str]) -> bool:
    """Whether Python would load this file, and not the source of its name."""
    if name.endswith(tuple(EXTENSION_SUFFIXES)):
        # the kernel says at its import of which source it was compiled
        return f"{name.partition('.')[0]}.c" not in beside
    return name.endswith(".pyc") and name[:-1] not in beside


def installation_sha256() -> str:
    """Return the digest of all that the built-in rulebook is read from and by, on this Python and at this place."""
    books = [file for file in files("rules").joinpath(_BOOKS).iterdir() if file.name.endswith(".yaml")]
    read = {file.name: hashlib.sha256(file.read_bytes()).hexdigest() for file in books}
    record = [sys.version, str(files("rules")), _files(), _build(), read]
    return hashlib.sha256(json.dumps(record, sort_keys=True).encode()).hexdigest()


def request_sha256(request: Model) -> str:
    """Return the digest of the request as understood.

    Unset fields are left out, lengths are in mm, fields are in the order of the contract and the JSON is compact. The
    order of keys and the unit of a length therefore make no difference.
    """
    # Serialised by its own type, a part need not be matched with the models of its field; the text is the same.
    text = request.model_dump_json(exclude_unset=True, serialize_as_any=True)
    return hashlib.sha256(text.encode()).hexdigest()


class MountedDigests(NamedTuple):
    """Digests of what the operator has mounted besides rulebooks; None for what is not."""

    catalogue_sha256: str | None = None
    aliases_sha256: str | None = None


NOTHING_MOUNTED: Final = MountedDigests()


def provenance(
    request: Model,
    policy: Policy | None,
    book: Rulebook,
    mounted: MountedDigests = NOTHING_MOUNTED,
    adjusted: Sequence[int] | None = None,
    assumption_set: str | None = None,
    never_measured: Sequence[str] = (),
) -> Provenance:
    """Return the names and digests of service, rulebooks and request, and the changes from the rulebooks.

    ``adjusted`` are the places of the book's adjustments that counted for the request; all of them if it is None.
    """
    return construct(
        Provenance,
        contract=CONTRACT,
        service=NAME,
        version=VERSION,
        rulebooks=book.book_names(),
        rulebook_sha256=book.digest,
        judgement_sha256=judgement_sha256(book),
        catalogue_sha256=mounted.catalogue_sha256,
        aliases_sha256=mounted.aliases_sha256,
        assumption_set=assumption_set,
        assumption_set_sha256=None,
        request_sha256=request_sha256(request),
        never_measured=list(never_measured),
        deviations=[
            *_changed_thresholds(policy, book),
            *_lowered(book),
            *_replaced(book),
            *_adjusted(book, range(len(book.adjustments)) if adjusted is None else adjusted),
        ],
    )


def _changed_thresholds(policy: Policy | None, book: Rulebook) -> Iterator[JudgementDeviation]:
    changed = (policy.thresholds if policy else None) or ()
    for one in sorted(changed, key=lambda one: (one.code, one.threshold)):
        rule = book.rule(one.code)
        threshold = rule.thresholds[one.threshold]
        yield construct(
            JudgementDeviation,
            kind="threshold",
            code=one.code,
            safety=rule.safety,
            threshold=one.threshold,
            value=one.value,
            default=threshold.value,
            unit=ucum(threshold.unit or "ratio"),
            severity=None,
            default_severity=None,
            book=None,
        )


def _lowered(book: Rulebook) -> Iterator[JudgementDeviation]:
    for item in book.overridden:
        yield construct(
            JudgementDeviation,
            kind="severity",
            code=item.code,
            safety=True,
            threshold=None,
            value=None,
            default=None,
            unit=None,
            severity=item.severity_to,
            default_severity=item.severity_from,
            book=item.file,
        )


def _replaced(book: Rulebook) -> Iterator[JudgementDeviation]:
    for rule in book.replaced:
        yield construct(
            JudgementDeviation,
            kind="rule",
            code=rule.code,
            safety=rule.safety,
            threshold=None,
            value=None,
            default=None,
            unit=None,
            severity=None,
            default_severity=None,
            book=rule.file,
        )


def _adjusted(book: Rulebook, places: Iterable[int]) -> Iterator[JudgementDeviation]:
    for one in (book.adjustments[place] for place in places):
        entry, rule = one.entry, book.rule(one.entry.code)
        plain: dict[str, Any] = {
            "code": rule.code,
            "safety": rule.safety,
            **dict.fromkeys(("threshold", "value", "default", "unit", "severity", "default_severity")),
            "book": one.file,
        }
        if entry.disable:
            yield construct(JudgementDeviation, **plain | {"kind": "off"})
        if entry.severity is not None:
            changed = {"kind": "severity", "severity": entry.severity, "default_severity": rule.severity}
            yield construct(JudgementDeviation, **plain | changed)
        for name, value in entry.thresholds.items():
            threshold = rule.thresholds[name]
            values = {"threshold": name, "value": value, "default": threshold.value}
            unit = ucum(threshold.unit or "ratio")
            yield construct(JudgementDeviation, **plain | values | {"kind": "threshold", "unit": unit})


_CODES: Final[Mapping[str, FaultCode]] = MappingProxyType(
    {"code": "unknown_rule", "threshold": "unknown_threshold", "value": "out_of_range"}
)


def refuse_assumptions(policy: Policy | None, what: str) -> None:
    """Refuse a policy that lays assumed values where an answer rests on what is stated alone.

    ``what`` names the answer, such as "a runout budget". Raises :class:`~rules.schema.parsing.BadRequestError`.
    """
    if policy is not None and policy.unstated != "undecided":
        detail = f"{what} assumes nothing; leave this out or state 'undecided'"
        raise BadRequestError([Fault("/policy/unstated", detail, "not_one_of")])


def threshold_overrides(policy: Policy | None, book: Rulebook) -> Overrides:
    """Return the thresholds set by the policy.

    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows, or set twice, and
    for a set of assumed values that was changed or has no effect.
    """
    overrides: dict[str, dict[str, float]] = {}
    places: dict[tuple[str, str], int] = {}
    faults: list[Fault] = []
    for number, one in enumerate((policy.thresholds if policy else None) or ()):
        if (one.code, one.threshold) in places:
            faults.append(Fault(pointer(("policy", "thresholds", number)), "this threshold is already set", "repeated"))
            continue
        places[one.code, one.threshold] = number
        overrides.setdefault(one.code, {})[one.threshold] = one.value
    if overrides:
        for problem in check_overrides(book.rules, overrides):
            number = next(
                n
                for (code, name), n in places.items()
                if code == problem.code and (not problem.threshold or name == problem.threshold)
            )
            at = pointer(("policy", "thresholds", number, problem.part))
            faults.append(Fault(at, problem.reason, _CODES[problem.part]))
    faults += _faults_of_set(policy)
    if faults:
        raise BadRequestError(faults)
    return overrides


def canonical_sha256(value: object) -> str:
    """Return the SHA-256 of a value as JSON by RFC 8785: sorted keys, no spaces, a whole number without a fraction.

    >>> canonical_sha256({"b": 2.0, "a": "µ"}) == canonical_sha256({"a": "µ", "b": 2})
    True
    """
    text = json.dumps(_plain_numbers(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _plain_numbers(value: object) -> object:
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, Mapping):
        return {name: _plain_numbers(one) for name, one in value.items()}
    return list(map(_plain_numbers, value)) if isinstance(value, list | tuple) else value


def assumption_set_sha256(own: AssumptionSet) -> str:
    """Return the digest that a set of assumed values must have: that of its other fields."""
    return canonical_sha256(own.model_dump(mode="json", exclude={"sha256"}))


def _faults_of_set(policy: Policy | None) -> Iterator[Fault]:
    """Yield what is wrong with the shop's set of assumed values, if there is one."""
    own = None if policy is None else policy.assumption_set
    if policy is None or own is None:
        return
    at = "/policy/assumption_set"
    if policy.unstated == "undecided":
        yield Fault(at, "has no effect: 'unstated' must be typical or cautious", "invalid_value")
    if assumption_set_sha256(own) != own.sha256:
        yield Fault(f"{at}/sha256", "is not the digest of this set; take the set unchanged", "digest_mismatch")
    classes = [(one.quantity, one.category) for one in own.classes]
    for number, one in enumerate(classes):
        if one in classes[:number]:
            yield Fault(f"{at}/classes/{number}", "this class is already in the set", "repeated")
        if own.classes[number].cautious < own.classes[number].typical:
            yield Fault(f"{at}/classes/{number}/cautious", "is below the typical value", "out_of_range")


@dataclass(frozen=True, slots=True)
class _Caution:
    when: str
    text: str
    from_kg: float = 0.0


@cache
def _entries() -> tuple[_Caution, ...]:
    entries = read_definitions(files("rules.answer").joinpath("cautions.yaml"))
    return tuple(_Caution(**entry) for entry in entries)


def cautions(couplings: Iterable[str], mass: OrMissing[float], *, has_knob: bool) -> list[str]:
    """Return the general cautions, then those of the couplings in a stack of this mass, kg."""
    concerns = {"always", *couplings}
    if has_knob:
        concerns.add("steep_taper_knob")
    known = 0.0 if isinstance(mass, Missing) else mass
    return [entry.text for entry in _entries() if entry.when in concerns and known >= entry.from_kg]


def general_cautions() -> list[str]:
    """Return the general cautions, where no stack is known."""
    return [entry.text for entry in _entries() if entry.when == "always" and entry.from_kg == 0.0]
