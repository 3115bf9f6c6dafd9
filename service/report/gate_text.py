"""Decisions of a gate as plain text: the order, its operations with reasons, what was not required, the digest."""

from __future__ import annotations

from typing import Final

from rich.console import Console
from rich.text import Text

from rules.schema.gate import (
    Decision,
    GateOperationReport,
    GateReason,
    GateReport,
    GateUndecided,
    GateVerificationReport,
)
from service.report.changes_text import CHANGED, changes, thresholds
from service.report.layout import STYLES, count, heading, lacking, say, section

__all__ = ["print_gate", "print_verification"]

_STYLES: Final[dict[Decision, str]] = {
    "release": STYLES["pass"],
    "hold": STYLES["review"],
    "stop": STYLES["fail"],
}


def print_gate(report: GateReport, console: Console) -> None:
    """Print decision, operations with reasons and advice, what was not required, digest, cautions, in this order."""
    name = report.order if report.revision is None else f"{report.order}, revision {report.revision}"
    say(Text.assemble((report.decision.upper(), _STYLES[report.decision]), "  ", (name, "bold")), console)
    counts = report.counts
    say(
        Text(
            f"{count(counts.operations, 'operation')}: {counts.release} to release, {counts.hold} to hold,"
            f" {counts.stop} to stop; evaluation {report.evaluation} {report.evaluation_name}"
        ),
        console,
    )
    section(CHANGED, changes(report.provenance), console)
    heading("Operations", console)
    for one in report.operations:
        _operation(one, console)
        own = [each for each in one.thresholds_changed if each not in report.provenance.thresholds_changed]
        for line in thresholds(own):
            say(Text(f"{CHANGED}: {line}"), console, 6)
    section("Not required", [f"{one.code}  {one.name}: {one.why}" for one in report.not_required], console)
    section("Digest of the decision", [report.digest], console)
    section("Cautions", report.cautions, console)


def print_verification(report: GateVerificationReport, console: Console) -> None:
    """Print whether the decision is reproduced, and what differs."""
    told = ("REPRODUCED", STYLES["pass"]) if report.reproduced else ("NOT REPRODUCED", STYLES["fail"])
    say(Text.assemble(told, "  ", (report.order, "bold"), f", decided now: {report.decision}"), console)
    section("Digests", [f"stored  {report.digest_expected}", f"now     {report.digest_found}"], console)
    section("Differences", report.differences, console)


def _operation(one: GateOperationReport, console: Console) -> None:
    decision = (one.decision, _STYLES[one.decision])
    say(
        Text.assemble(decision, "  ", (one.id, "bold"), f"  {one.stack or 'unnamed stack'} ({one.verdict})"), console, 2
    )
    for reason in one.reasons:
        _reason(reason, console)
    for gap in one.undecided:
        _undecided(gap, console)
    for reason in one.advice:
        _reason(reason, console)
    if one.not_judged:
        say(Text(f"Not judged, since not stated: {', '.join(one.not_judged)}"), console, 6)


def _reason(one: GateReason, console: Console) -> None:
    effect = one.effect or "advice"
    style = STYLES["advice"] if one.effect is None else _STYLES[one.effect]
    say(Text.assemble((effect, style), f"  {one.code}  ", (one.title, "bold")), console, 6)
    for line in (one.message, f"Remedy: {one.remedy}", f"Where: {', '.join(one.at)}"):
        say(Text(line), console, 10)


def _undecided(one: GateUndecided, console: Console) -> None:
    effect = (one.effect, _STYLES[one.effect])
    say(Text.assemble(effect, f"  {one.code}  ", (one.title, "bold"), " could not be decided"), console, 6)
    for lack in one.lacks:
        say(Text(lacking(lack)), console, 10)
