"""How a decision as it is made now differs from what a caller stored of it, in words."""

from __future__ import annotations

from collections.abc import Iterator

from rules.schema.gate import GateReport, GateVerification

__all__ = ["differences"]

_CONTEXT = "The context is not the one that came with the decision; it is not judged, so it does not enter the digest."
_UNTOLD = (
    "The digest differs and nothing else that was given does: the order, the version, the rulebooks or the catalogue"
    " changed since."
)
_ANOTHER = "The digest is reproduced all the same, so what else was given belongs to another decision."


def differences(stored: GateVerification, report: GateReport) -> list[str]:
    """Name everything stored that is not as it is now; nothing where all is as it was."""
    told = list(_judged(stored, report))
    reproduced = stored.digest == report.digest
    if not (reproduced or told):
        told.append(_UNTOLD)
    if reproduced and told:
        told.append(_ANOTHER)
    if stored.context_sha256 not in (None, report.context_sha256):
        told.append(_CONTEXT)
    return told


def _judged(stored: GateVerification, report: GateReport) -> Iterator[str]:
    source = report.provenance
    if stored.version not in (None, source.version):
        yield f"Version {stored.version} decided then; this is {source.version}."
    if stored.rulebook_sha256 not in (None, source.rulebook_sha256):
        yield f"The rulebooks were {_short(stored.rulebook_sha256)}; in force are {_short(source.rulebook_sha256)}."
    if stored.catalogue_sha256 not in (None, source.catalogue_sha256):
        yield f"The catalogue was {_short(stored.catalogue_sha256)}; mounted is {_short(source.catalogue_sha256)}."
    if stored.input_sha256 not in (None, report.input_sha256):
        yield (
            f"The order is not the one that was decided: {_short(stored.input_sha256)} then,"
            f" {_short(report.input_sha256)} now."
        )
    if stored.decision not in (None, report.decision):
        yield f"The decision was {stored.decision}; it is {report.decision} now."


def _short(digest: str | None) -> str:
    """The beginning of a digest, enough to tell it from another."""
    return "none" if digest is None else f"{digest[:12]}…"
