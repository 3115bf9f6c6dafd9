"""The names of the pictures of a stack."""

from __future__ import annotations

from typing import Literal, TypeAlias

__all__ = ["PictureName"]

PictureName: TypeAlias = Literal["stack", "budget", "distribution", "axis", "speed"]
