"""Verifying a decision that a caller stored: the request and the report."""

from __future__ import annotations

from pydantic import Field

from rules.model.gate import Decision, Evaluation, EvaluationName, GateRequest, Sha256
from rules.model.report import Provenance
from rules.quantities.models import Model, Out, Token

__all__ = ["GateVerification", "GateVerificationReport"]


class GateVerification(Model):
    """The request of a gate and what was stored of its answer; the more is given, the more a difference is told."""

    gate: GateRequest = Field(description="The request as it was sent to the gate.")
    digest: Sha256 = Field(description="The digest the gate answered.")
    decision: Decision | None = Field(None, description="The decision it answered.")
    input_sha256: Sha256 | None = Field(None, description="The digest of the order it answered.")
    context_sha256: Sha256 | None = Field(None, description="The digest of the context it answered.")
    rulebook_sha256: Sha256 | None = Field(None, description="The rulebooks named in its provenance.")
    catalogue_sha256: Sha256 | None = Field(None, description="The catalogue named in its provenance.")
    version: Token | None = Field(None, description="The version named in its provenance.", examples=["0.1.0"])


class GateVerificationReport(Out):
    """Whether the same order still gets the same decision."""

    reproduced: bool = Field(
        description="The digest is the stored one: the same order, judged by the same version, rulebooks and catalogue,"
        " gets the same decision for the same reasons."
    )
    decision: Decision = Field(description="The decision as it is made now.")
    evaluation: Evaluation
    evaluation_name: EvaluationName
    order: str
    digest_expected: Sha256 = Field(description="The stored digest.")
    digest_found: Sha256 = Field(description="The digest as it is made now.")
    same_rulebook: bool | None = Field(description="Null where none was given to compare with.")
    differences: list[str] = Field(description="What differs from what was given, in words.")
    provenance: Provenance
