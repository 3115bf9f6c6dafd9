"""How the service is, and what runs there."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from service.contract.answer import Answer

__all__ = ["State", "Version"]


class State(Answer):
    """How the service is."""

    status: Literal["ok"]


class Version(Answer):
    """What runs here."""

    service: Literal["stackgauge"]
    version: str
    rulebooks: list[str] = Field(description="Rulebooks in force.")
    rulebook_sha256: str = Field(description="SHA-256 over the rules in force; equal rules judge equally.")
