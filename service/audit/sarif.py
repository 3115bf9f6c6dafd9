"""``x.sarif``: SARIF 2.1.0, one result per finding or undecided rule, for viewers and for the comparison of audits."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from pydantic_core import to_json

from rules.audit_items import AuditItem
from rules.library import NOT_USABLE, SAME_ID, PartFinding
from rules.rulebook.book import Rulebook
from rules.version import VERSION
from service.audit.outputs import Output
from service.audit.standing import FINGERPRINT, NOTHING_KNOWN, EarlierItem, Mark, Standing
from service.audit.tally import AuditSummary, problem_words
from service.batch.lines import LineAnswer

__all__ = ["SarifOutput"]

_SCHEMA: Final = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
_LEVELS: Final = {"error": "error", "warning": "warning", "advice": "note"}
_MOST_NOTIFICATIONS: Final = 10_000
_NAMESPACE: Final = uuid.uuid5(uuid.NAMESPACE_URL, "https://stackgauge.invalid/audits")
_ROOT: Final = "LIBRARIES"


class SarifOutput(Output):
    """A log of one run. Results come first, since they are written as they arrive; order of members has no meaning."""

    def __init__(self, path: Path, book: Rulebook) -> None:
        super().__init__(path)
        self._book = book
        self._first = True
        self._notices: list[dict[str, Any]] = []
        self._unlisted = 0

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Open the file at a saved state, with the invalid lines so far."""
        super().go_on(state)
        self._first, self._notices, self._unlisted = state["first"], list(state["notices"]), state["unlisted"]

    def state(self) -> dict[str, Any]:
        """Return the state with the invalid lines so far."""
        return {**super().state(), "first": self._first, "notices": self._notices, "unlisted": self._unlisted}

    def head(self) -> bytes:
        """The beginning, up to the results."""
        return b'{"$schema":%s,"version":"2.1.0","runs":[{"results":[' % to_json(_SCHEMA)

    def add(self, library: str, answer: LineAnswer, marks: Sequence[Mark] = ()) -> None:
        """Write a result for each finding, or keep a notification of an invalid line."""
        place = _place(library, answer.number)
        if answer.verdict is None:
            self._notice(answer, place)
            return
        told = {"stack": answer.stack, "machine": answer.machine or None, "line": answer.number}
        for one, mark in zip(answer.items, marks, strict=True):
            self._write(_result(one, mark, [place], told))

    def add_part(self, found: PartFinding, item: AuditItem, mark: Mark) -> None:
        """Write a finding on a part."""
        self._write(_result(item, mark, [_named(one) for one in found.places], {"stack": None}))

    def finish(self, summary: AuditSummary, standing: Standing = NOTHING_KNOWN) -> None:
        """Write what is gone since the earlier audit, the tool with its rules, and the invocation."""
        earlier = standing.earlier
        if earlier is not None:
            for one, judged in earlier.absent():
                self._write(_absent(one, judged=judged))
        run: dict[str, Any] = {
            "tool": {"driver": self._driver()},
            "automationDetails": {"id": "stackgauge/audit/"},
            "columnKind": "unicodeCodePoints",
            "originalUriBaseIds": {_ROOT: {"description": {"text": "Folder in which the audit ran."}}},
            "invocations": [self._invocation(summary)],
            "properties": {
                "rulebookSha256": summary.rulebook_sha256,
                "catalogueSha256": summary.catalogue_sha256,
                "stacks": summary.stacks,
                "stacksNotJudged": summary.stacks_not_judged,
                "verdicts": summary.verdicts,
                "invalidLines": summary.bad_lines,
            },
        }
        if earlier is not None:
            run["baselineGuid"] = str(uuid.uuid5(_NAMESPACE, earlier.digest))
        self.write(b"\n]," + to_json(run)[1:] + b"]}\n")

    def _write(self, result: Mapping[str, Any]) -> None:
        self.write((b"\n" if self._first else b",\n") + to_json(result))
        self._first = False

    def _notice(self, answer: LineAnswer, place: Mapping[str, Any]) -> None:
        if len(self._notices) >= _MOST_NOTIFICATIONS:
            self._unlisted += 1
            return
        words, fault = problem_words(answer.text)
        self._notices.append(
            {
                "level": "error",
                "message": {"text": f"{answer.stack or 'Line'} not judged: {words}"},
                "locations": [place],
                "descriptor": {"id": "internal-fault" if fault else "invalid-line"},
            }
        )

    def _invocation(self, summary: AuditSummary) -> dict[str, Any]:
        notices = [*self._notices]
        if self._unlisted:
            words = f"{self._unlisted} more lines could not be judged."
            notices.append({"level": "error", "message": {"text": words}, "descriptor": {"id": "invalid-line"}})
        for one in summary.waivers:
            if one.said:
                words = f"Waiver of {one.code} for {one.stack} by {one.owner}: {one.said}."
                notices.append({"level": "warning", "message": {"text": words}, "descriptor": {"id": "waiver"}})
        return {"executionSuccessful": summary.faults == 0, "toolExecutionNotifications": notices}

    def _driver(self) -> dict[str, Any]:
        rules = [
            {
                "id": rule.code,
                "shortDescription": {"text": rule.title},
                "fullDescription": {"text": rule.why or rule.title},
                "help": {"text": rule.remedy or rule.title},
                "defaultConfiguration": {"level": _LEVELS[rule.severity]},
                "properties": {"source": rule.source, "safety": rule.safety},
            }
            for rule in self._book.rules
        ]
        rules.append(
            {
                "id": SAME_ID,
                "shortDescription": {"text": "Stack id used more than once"},
                "fullDescription": {"text": "Two stacks with one id cannot be told apart in a tool list."},
                "help": {"text": "Give each stack an id of its own, or remove the copy."},
                "defaultConfiguration": {"level": "warning"},
                "properties": {"source": "common practice", "safety": False},
            }
        )
        rules.append(
            {
                "id": NOT_USABLE,
                "shortDescription": {"text": "Part with invalid data"},
                "fullDescription": {"text": "Stacks that refer to it are not judged; this is their one cause."},
                "help": {"text": "Correct the part where it is defined, and audit again."},
                "defaultConfiguration": {"level": "warning"},
                "properties": {"source": "definition of the contract", "safety": True},
            }
        )
        return {
            "name": "stackgauge",
            "semanticVersion": VERSION,
            "rules": sorted(rules, key=lambda one: str(one["id"])),
            "notifications": [
                {"id": "internal-fault", "shortDescription": {"text": "Fault of the program"}},
                {"id": "invalid-line", "shortDescription": {"text": "Line that could not be judged"}},
                {"id": "waiver", "shortDescription": {"text": "Waiver that covers nothing, or not all"}},
            ],
        }


def _result(one: AuditItem, mark: Mark, places: Sequence[dict[str, Any]], told: Mapping[str, Any]) -> dict[str, Any]:
    decided = one.kind == "finding"
    logical = [{"fullyQualifiedName": at, "kind": "object" if at[-1:].isdigit() else "property"} for at in one.at]
    locations = [dict(place) for place in places] or [{}]
    if logical:
        locations[0]["logicalLocations"] = logical
    result: dict[str, Any] = {
        "ruleId": one.code,
        "kind": "fail" if decided else "open",
        "level": _LEVELS[one.severity] if decided else "none",
        "message": {"text": one.message},
        "locations": [place for place in locations if place],
        "partialFingerprints": {FINGERPRINT: one.identity},
        "properties": {
            **told,
            "severity": one.severity,
            "operation": one.operation,
            "components": [part.id for part in one.parts],
            "partNumbers": [part.part for part in one.parts],
            "observed": one.observed,
            "limit": one.limit,
            "unit": one.unit,
        },
    }
    if mark.state is not None:
        result["baselineState"] = mark.state
    suppressions = []
    if mark.waiver is not None:
        waiver = mark.waiver
        words = f"{waiver.reason} ({waiver.owner}, until {waiver.expires})"
        suppressions.append({"kind": "external", "status": "accepted", "justification": words})
    if mark.in_baseline:
        suppressions.append({"kind": "external", "status": "accepted", "justification": "in the baseline"})
    if suppressions:
        result["suppressions"] = suppressions
    return result


def _absent(one: EarlierItem, *, judged: bool) -> dict[str, Any]:
    undecided = one.kind == "undecided"
    return {
        "ruleId": one.code,
        "kind": "open" if undecided else "fail",
        "level": "none" if undecided else _LEVELS[one.severity],
        "message": {"text": one.message},
        "partialFingerprints": {FINGERPRINT: one.identity},
        "baselineState": "absent",
        "properties": {"stack": one.stack, "severity": one.severity, "stackJudged": judged},
    }


def _place(library: str, line: int) -> dict[str, Any]:
    """Return the location of a stack: its line in a file of lines, the file alone in a document."""
    place: dict[str, Any] = {"artifactLocation": _artifact(library)}
    if not library.lower().endswith(".json"):
        place["region"] = {"startLine": line}
    return {"physicalLocation": place}


def _named(place: str) -> dict[str, Any]:
    name, _, line = place.rpartition(", line ")
    return _place(name, int(line)) if name and line.isdecimal() else _place(place, 1)


def _artifact(library: str) -> dict[str, str]:
    """Return a relative reference; an absolute name loses its root, which is nobody's business."""
    return {"uri": quote(Path(library).as_posix().lstrip("/")), "uriBaseId": _ROOT}
