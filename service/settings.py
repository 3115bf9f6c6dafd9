"""Settings, read from the environment."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field
from pydantic_settings import BaseSettings, SettingsConfigDict

__all__ = ["Settings"]


class Settings(BaseSettings):
    """Each is an environment variable with the prefix ``STACKGAUGE_``; a list is written as JSON."""

    model_config = SettingsConfigDict(env_prefix="STACKGAUGE_", frozen=True, extra="forbid")

    host: str = Field("127.0.0.1", description="Address to listen on.")
    port: int = Field(8713, ge=0, le=65535, description="Port to listen on; 0 takes a free one.")
    log_level: Literal["debug", "info", "warning", "error"] = Field(
        "info", description="Least severity of the messages logged; requests are logged at info."
    )
    max_body_bytes: int = Field(
        512 * 1024,
        ge=1024,
        description="Largest body accepted. The largest stack the contract allows takes about 400 KiB.",
    )
    catalogue: Path | None = Field(
        None, description="Folder of JSON, YAML and CSV files with components that requests may refer to."
    )
    extra_rulebooks: tuple[Path, ...] = Field(
        (), description="Folders with rulebooks that add to or replace the built-in ones, later ones winning."
    )
