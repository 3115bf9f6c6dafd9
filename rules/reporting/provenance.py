"""Where an answer comes from."""

from __future__ import annotations

import hashlib

from rules.quantities.models import Model, made
from rules.rulebook.book import Rulebook
from rules.schema.report import OverrideReport, Provenance, ReplacedRule, ThresholdReport
from rules.schema.request import Policy
from rules.version import NAME, VERSION

__all__ = ["provenance", "request_sha256"]


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
    return made(
        Provenance,
        service=NAME,
        version=VERSION,
        rulebooks=book.book_names(),
        rulebook_sha256=book.digest,
        catalogue_sha256=catalogue_sha256,
        request_sha256=request_sha256(request),
        thresholds_changed=[
            made(
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
            made(
                OverrideReport,
                code=item.code,
                from_severity=item.severity_from,
                to_severity=item.severity_to,
                book=item.file,
            )
            for item in book.overridden
        ],
        rules_replaced=[
            made(ReplacedRule, code=rule.code, safety=rule.safety, book=rule.file) for rule in book.replaced
        ],
    )
