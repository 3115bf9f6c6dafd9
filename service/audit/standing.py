"""What is known of a finding beforehand: the earlier audit, the baseline and the waivers.

A baseline is generated and holds fingerprints only. A waiver is written by hand and says why, who and until when.
Neither touches what could not be judged, and both leave alone the rules of :data:`NEVER_COVERED`.
"""

from __future__ import annotations

import base64
import hashlib
import json
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import isfinite
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple, TypeAlias, get_args

from rules.audit_items import VERDICTS, AuditItem, Kind
from rules.library import NOT_USABLE
from rules.rulebook.book import Rulebook
from rules.schema.parsing import BadRequestError, parse
from rules.schema.report import Severity, Verdict
from rules.schema.short_form import NotYAMLError, read_yaml
from rules.schema.strict_json import NotJSONError, parse_json
from rules.schema.waivers import Waiver, WaiverFile
from rules.stack.chain import INVALID_PART
from service.audit.libraries import AuditInputError
from service.batch.lines import LineAnswer

__all__ = [
    "FINGERPRINT",
    "NEVER_COVERED",
    "NOTHING_KNOWN",
    "Earlier",
    "EarlierItem",
    "Mark",
    "Standing",
    "WaiverCase",
    "baseline_bytes",
    "digest_of",
    "read_baseline",
    "read_earlier",
    "read_waivers",
    "standing_verdict",
]

FINGERPRINT: Final = "stackRulePlace/v1"
"""Name of the identity in SARIF."""

NEVER_COVERED: Final = frozenset(
    {
        *("SPD-010", "SPD-030", "SPD-040", "SHR-010", "SHR-030"),  # speed: bursting, spindle, whirling, release
        *("KNOB-010", "KNOB-020", "KNOB-030", "KNOB-040", "STK-060"),
        *("MCH-010", "MCH-020", "MCH-030", "MCH-040", "MCH-050", "MCH-060", "MCH-070", "MCH-080", "MCH-090", "MCH-100"),
        *("SPN-010", "TAP-030", "BAL-030"),
        *(INVALID_PART, NOT_USABLE),
    }
)
"""Rules that no waiver or baseline covers: speed at which something bursts or lets go, retention knob, machine, and
stacks that could not be judged."""

_MOST_BYTES: Final = 1024 * 1024 * 1024
_BASELINE_FORM: Final = "stackgauge-baseline-1"

State: TypeAlias = Literal["new", "unchanged", "updated"]


@dataclass(frozen=True, slots=True)
class Mark:
    """Where a finding stands."""

    state: State | None = None
    """Against the earlier audit; None without one."""
    before: tuple[Any, Any] | None = None
    """Observed value and limit of the earlier audit, where numbers have changed."""
    in_baseline: bool = False
    waiver: Waiver | None = None

    @property
    def covered(self) -> bool:
        """Return whether the finding does not count, by the baseline or by a waiver."""
        return self.in_baseline or self.waiver is not None


class EarlierItem(NamedTuple):
    """A finding of the earlier audit."""

    identity: str
    kind: Kind
    code: str
    severity: Severity
    stack: str | None
    message: str
    values: tuple[Any, ...]
    observed: Any
    limit: Any


class _Seen:
    """Entries by identity, each taken once; what is taken can be saved in a few bytes."""

    def __init__(self, identities: Sequence[str]) -> None:
        self._places: dict[bytes, list[int]] = {}
        for place, one in enumerate(identities):
            self._places.setdefault(bytes.fromhex(one), []).append(place)
        self.taken = bytearray(len(identities))

    def free(self, identity: str) -> list[int]:
        """Return the entries of this identity that are not taken."""
        return [place for place in self._places.get(bytes.fromhex(identity), ()) if not self.taken[place]]

    def dump(self) -> str:
        """Return what is taken, for a state file."""
        return base64.b85encode(zlib.compress(bytes(self.taken), 6)).decode("ascii")

    def load(self, text: str) -> None:
        """Restore what is taken."""
        self.taken[:] = zlib.decompress(base64.b85decode(text))


class Earlier:
    """The findings of an earlier audit."""

    def __init__(self, name: str, items: Sequence[EarlierItem], rules: str | None, digest: str) -> None:
        self.name = name
        self.items = items
        self.rules = rules
        """SHA-256 of its rulebooks."""
        self.digest = digest
        """SHA-256 of the file."""
        self.seen = _Seen([one.identity for one in items])
        self.stacks = {one.stack: number for number, one in enumerate(items) if one.stack is not None}
        self.judged = bytearray(len(items))
        """Set at the number of a stack once it was judged in this audit."""

    def take(self, items: Sequence[AuditItem]) -> list[tuple[State, tuple[Any, Any] | None]]:
        """Return the state of each finding of one stack; equal values find each other first."""
        found: list[tuple[State, tuple[Any, Any] | None] | None] = [None] * len(items)
        for exactly in (True, False):
            for number, one in enumerate(items):
                if found[number] is not None:
                    continue
                for place in self.seen.free(one.identity):
                    before = self.items[place]
                    same = _plain(before.values) == _plain(one.values)
                    if same or not exactly:
                        self.seen.taken[place] = 1
                        found[number] = ("unchanged", None) if same else ("updated", (before.observed, before.limit))
                        break
        return [one or ("new", None) for one in found]

    def note_judged(self, stack: str | None) -> None:
        """Note that a stack was judged."""
        number = None if stack is None else self.stacks.get(stack)
        if number is not None:
            self.judged[number] = 1

    def absent(self) -> Iterator[tuple[EarlierItem, bool]]:
        """Yield each finding that is no longer there, and whether its stack was judged."""
        for place, one in enumerate(self.items):
            if not self.seen.taken[place]:
                yield one, one.stack is None or bool(self.judged[self.stacks[one.stack]])


def _plain(values: Iterable[Any]) -> tuple[Any, ...]:
    return tuple(float(one) if isinstance(one, int | float) else one for one in values)


@dataclass(slots=True)
class WaiverCase:
    """A waiver of the file, and what became of it."""

    waiver: Waiver
    void: str | None = None
    """Why it holds for nothing: lapsed, or its day unreadable."""
    used: int = 0
    beyond: int = 0
    """Findings beyond its limit."""
    undecided: int = 0
    """Rules that it names and that are undecided, which no waiver covers."""

    @property
    def outcome(self) -> str:
        """Return what is to say of it in words; empty if it was used and that is all."""
        if self.void is not None:
            return self.void
        words = []
        if self.beyond:
            words.append("the value is beyond its limit")
        if self.undecided:
            words.append("the rule is undecided, which a waiver does not cover")
        if not self.used and not words:
            words.append("it matches no finding")
        return "; ".join(words)


class Standing:
    """Marks findings by what is known beforehand."""

    def __init__(
        self,
        earlier: Earlier | None = None,
        baseline: Sequence[str] | None = None,
        waivers: Sequence[WaiverCase] = (),
        digests: Mapping[str, str] | None = None,
    ) -> None:
        self.earlier = earlier
        self.baseline = None if baseline is None else sorted(baseline)
        self.waivers = waivers
        self.digests = dict(digests or {})
        """SHA-256 of the files behind it, by name of the option; a resumed audit needs the same."""
        self._known = None if self.baseline is None else _Seen(self.baseline)
        self._by_place: dict[tuple[str, str], list[WaiverCase]] = {}
        for one in waivers:
            self._by_place.setdefault((one.waiver.code, one.waiver.stack), []).append(one)

    def marks(self, answer: LineAnswer) -> tuple[Mark, ...]:
        """Return the marks of the findings of one stack."""
        return self.marked(answer.items, answer.stack, judged=not answer.invalid)

    def marked(self, items: Sequence[AuditItem], stack: str | None, *, judged: bool = True) -> tuple[Mark, ...]:
        """Return the marks of findings of one stack, or of parts of the library.

        What a stack lacks that waits for an invalid part, and so was not ``judged``, is not fixed.
        """
        if self.earlier is None and self._known is None and not self._by_place:
            return (_NO_MARK,) * len(items)
        states: Sequence[tuple[State | None, tuple[Any, Any] | None]] = [(None, None)] * len(items)
        if self.earlier is not None:
            if judged:
                self.earlier.note_judged(stack)
            states = self.earlier.take(items)
        return tuple(
            Mark(state, before, self._is_known(one), self._waiver(one, stack))
            for one, (state, before) in zip(items, states, strict=True)
        )

    def _is_known(self, item: AuditItem) -> bool:
        if self._known is None or item.code in NEVER_COVERED:
            return False
        free = self._known.free(item.identity)
        if free:
            self._known.taken[free[0]] = 1
        return bool(free)

    def _waiver(self, item: AuditItem, stack: str | None) -> Waiver | None:
        for case in self._by_place.get((item.code, stack or ""), ()):
            if case.void is not None or not _is_at(case.waiver.at, item.at):
                continue
            if item.kind == "undecided":
                case.undecided += 1
            elif not _within(case.waiver.limit, item):
                case.beyond += 1
            else:
                case.used += 1
                return case.waiver
        return None

    def remaining(self) -> list[str]:
        """Return the entries of the baseline that still occur, sorted."""
        if self._known is None or self.baseline is None:
            return []
        return [one for one, taken in zip(self.baseline, self._known.taken, strict=True) if taken]

    def dump(self) -> dict[str, Any]:
        """Return what has been met so far as JSON values."""
        return {
            "earlier": None if self.earlier is None else self.earlier.seen.dump(),
            "judged": None if self.earlier is None else _packed(self.earlier.judged),
            "baseline": None if self._known is None else self._known.dump(),
            "waivers": [[one.used, one.beyond, one.undecided] for one in self.waivers],
        }

    def load(self, dumped: Mapping[str, Any]) -> None:
        """Restore what :meth:`dump` returned."""
        if self.earlier is not None:
            self.earlier.seen.load(dumped["earlier"])
            self.earlier.judged[:] = zlib.decompress(base64.b85decode(dumped["judged"]))
        if self._known is not None:
            self._known.load(dumped["baseline"])
        for one, (used, beyond, undecided) in zip(self.waivers, dumped["waivers"], strict=True):
            one.used, one.beyond, one.undecided = used, beyond, undecided


_NO_MARK: Final = Mark()

NOTHING_KNOWN: Final = Standing()


def _packed(data: bytearray) -> str:
    return base64.b85encode(zlib.compress(bytes(data), 6)).decode("ascii")


def _is_at(place: str | None, at: Sequence[str]) -> bool:
    return not place or any(one == place or one.startswith(f"{place}/") for one in at)


def _within(limit: float | None, item: AuditItem) -> bool:
    """Return whether the observed value is no farther than the limit of a waiver, on the side of the finding."""
    if limit is None:
        return True
    if not isinstance(item.observed, int | float) or not isinstance(item.limit, int | float):
        return False
    return item.observed <= limit if item.observed > item.limit else item.observed >= limit


def standing_verdict(answer: LineAnswer, marks: Sequence[Mark], *, baseline: bool = True) -> Verdict:
    """Return the verdict of a stack without its covered findings.

    Parameters
    ----------
    answer
        As judged; it has a verdict.
    marks
        Of its findings.
    baseline
        Whether those of the baseline are left out, too.

    Returns
    -------
    Verdict
        Never better than what undecided rules outside the baseline and assumptions allow.
    """
    open_weights = [
        one.weight
        for one, mark in zip(answer.items, marks, strict=True)
        if not (mark.covered if baseline else mark.waiver is not None)
    ]
    return max((*open_weights, answer.floor), key=VERDICTS.index)


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file; raises :class:`~service.audit.libraries.AuditInputError`."""
    return hashlib.sha256(_read(path)).hexdigest()


def _read(path: Path) -> bytes:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise AuditInputError(f"{path}: more than {_MOST_BYTES >> 20} MiB")
        return path.read_bytes()
    except OSError as error:
        raise AuditInputError(f"{path}: {error.strerror}") from None


# --- waivers ---------------------------------------------------------------------------------------------------


def read_waivers(path: Path, book: Rulebook, today: date) -> list[WaiverCase]:
    """Return the waivers of a file; raises :class:`~service.audit.libraries.AuditInputError` with every fault.

    Parameters
    ----------
    path
        YAML or JSON.
    book
        Rules in force; a code that none of them has is a fault.
    today
        Day on which a waiver must not have lapsed.

    Returns
    -------
    list of WaiverCase
        In the order of the file; void ones with their reason.
    """
    try:
        value = read_yaml(_read(path))
        if isinstance(value, dict) and isinstance(value.get("$schema"), str):
            value = {name: one for name, one in value.items() if name != "$schema"}
        held = parse(WaiverFile, value)
    except NotYAMLError as error:
        raise AuditInputError(f"{path}: line {error.line}: {error.detail}") from None
    except BadRequestError as error:
        raise AuditInputError("\n".join(f"{path}: {one.pointer}: {one.detail}" for one in error.faults)) from None
    known = {rule.code for rule in book.rules}
    faults = []
    for number, one in enumerate(held.waivers):
        at = f"{path}: /waivers/{number}/code"
        if one.code not in known:
            faults.append(f"{at}: no rule has the code {one.code}")
        elif one.code in NEVER_COVERED:
            faults.append(f"{at}: {one.code} cannot be waived: bursting speed, retention knob and machine limits never")
    if faults:
        raise AuditInputError("\n".join(faults))
    return [WaiverCase(one, _void(one.expires, today)) for one in held.waivers]


def _void(expires: str, today: date) -> str | None:
    try:
        # The basic format and weeks are ISO 8601, too, but nobody reads them at a glance.
        day = date.fromisoformat(expires) if len(expires) == 10 else None
    except ValueError:
        day = None
    if day is None:
        return f"void: the day {expires!r} is unreadable, expected YYYY-MM-DD"
    return f"void: lapsed on {day.isoformat()}" if day < today else None


# --- baseline --------------------------------------------------------------------------------------------------


def baseline_bytes(identities: Iterable[str]) -> bytes:
    """Return a baseline file: a line each, sorted, so that two of them can be compared by any tool."""
    lines = ",\n".join(f'  "{one}"' for one in sorted(identities))
    body = f"[\n{lines}\n ]" if lines else "[]"
    return f'{{\n "form": "{_BASELINE_FORM}",\n "fingerprints": {body}\n}}\n'.encode("ascii")


def read_baseline(path: Path) -> list[str]:
    """Return the fingerprints of a baseline; raises :class:`~service.audit.libraries.AuditInputError`."""
    try:
        value = parse_json(_read(path))
    except NotJSONError as error:
        raise AuditInputError(f"{path}: {error}") from None
    listed = value.get("fingerprints") if isinstance(value, dict) and value.get("form") == _BASELINE_FORM else None
    if not isinstance(listed, list):
        raise AuditInputError(f"{path}: not a baseline of this program; write one by --write-baseline")
    for number, one in enumerate(listed):
        if not _is_fingerprint(one):
            raise AuditInputError(f"{path}: /fingerprints/{number}: expected 64 hexadecimal digits")
    return listed


def _is_fingerprint(value: object) -> bool:
    return isinstance(value, str) and len(value) == 64 and all(one in "0123456789abcdef" for one in value)


# --- the earlier audit -----------------------------------------------------------------------------------------


def read_earlier(path: Path) -> Earlier:
    """Return the findings of a SARIF file that an audit wrote.

    Raises :class:`~service.audit.libraries.AuditInputError` for anything else.
    """
    data = _read(path)
    try:
        value = json.loads(data)
        (run,) = value["runs"]
        if run["tool"]["driver"]["name"] != "stackgauge":
            raise AuditInputError(f"{path}: written by another program; expected the .sarif file of an audit")
        items = [_earlier_item(one) for one in run["results"] if one.get("baselineState") != "absent"]
        rules = run.get("properties", {}).get("rulebookSha256")
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        raise AuditInputError(f"{path}: not the .sarif file of an audit") from None
    return Earlier(str(path), items, rules if isinstance(rules, str) else None, hashlib.sha256(data).hexdigest())


def _earlier_item(result: Mapping[str, Any]) -> EarlierItem:
    identity, told = result["partialFingerprints"][FINGERPRINT], result["properties"]
    if not _is_fingerprint(identity):
        raise ValueError(identity)
    stack, observed, limit = told.get("stack"), _value(told.get("observed")), _value(told.get("limit"))
    message = _clean(result["message"]["text"])
    kind: Kind = "undecided" if result.get("kind") == "open" else "finding"
    words = message if kind == "undecided" else ""
    severity: Severity = told["severity"]
    if severity not in get_args(Severity):
        raise ValueError(severity)
    return EarlierItem(
        identity=identity,
        kind=kind,
        code=_clean(result["ruleId"]),
        severity=severity,
        stack=None if stack is None else _clean(stack),
        message=message,
        values=(severity, observed, limit, words),
        observed=observed,
        limit=limit,
    )


def _clean(text: object) -> str:
    """Return a text of the file on one line, which no terminal obeys."""
    if not isinstance(text, str):
        raise TypeError(text)
    return "".join(one if one.isprintable() else "·" for one in text)


def _value(value: object) -> float | str | None:
    if value is None or isinstance(value, str):
        return None if value is None else _clean(value)
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(float(value)):
        raise ValueError(value)
    return float(value)
