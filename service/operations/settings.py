"""Settings, read from the environment.

The settings in force, fit to be shown: what is secret is counted and not told.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Set
from pathlib import Path
from typing import Annotated, Any, Final, Literal, TypeAlias

from pydantic import Field, SecretBytes, SecretStr
from pydantic_settings import BaseSettings, SettingsConfigDict

__all__ = ["PREFIX", "Settings", "settings_summary", "unknown_variables"]


class Settings(BaseSettings):
    """Each is an environment variable with the prefix ``STACKGAUGE_``; a list is written as JSON."""

    model_config = SettingsConfigDict(env_prefix="STACKGAUGE_", frozen=True, extra="forbid")

    host: str = Field("127.0.0.1", description="Address to listen on.")
    port: int = Field(8713, ge=0, le=65535, description="Port to listen on; 0 takes a free one.")
    workers: int = Field(
        1, ge=1, le=64, description="Processes that answer side by side; limits hold for each of them."
    )
    shutdown_grace_s: float = Field(
        2,
        ge=0,
        le=600,
        description="Seconds from SIGTERM on in which all is answered but readiness is denied; as long as whatever asks"
        " for it takes to notice.",
    )
    shutdown_timeout_s: int = Field(
        30, ge=1, le=3600, description="Seconds that requests under way may take to end after that."
    )
    log_level: Literal["debug", "info", "warning", "error"] = Field(
        "info", description="Least severity of the messages logged; requests are logged at info."
    )
    keep_alive_s: int = Field(
        75,
        ge=1,
        description="Seconds that a connection is kept while nothing is asked. Longer than clients and proxies keep"
        " theirs (60 is common), else a request now and then meets a connection that is just being closed.",
    )
    max_body_bytes: int = Field(
        512 * 1024,
        ge=1024,
        description="Largest body accepted. The largest stack the contract allows takes about 400 KiB.",
    )
    max_batch_body_bytes: int = Field(
        8 * 1024 * 1024, ge=1024, description="Largest batch accepted as one JSON document; as lines it has no limit."
    )
    max_line_bytes: int = Field(
        1024 * 1024, ge=1024, description="Longest line of a batch; a longer one is answered with a problem."
    )
    max_batch_lines: int = Field(
        1_000_000, ge=1, description="Most lines of a batch; the first beyond them ends it with a problem."
    )
    max_batch_spool_bytes: int = Field(
        512 * 1024 * 1024,
        ge=64 * 1024,
        description="Answers of a batch that wait in a temporary file while its client sends and does not read; beyond"
        " it reading stops.",
    )
    max_request_seconds: float = Field(
        30.0,
        gt=0,
        le=3600,
        description="Time an answer may take; then it is given up with 503. Batches of lines have none.",
    )
    max_request_steps: int = Field(
        500_000_000,
        ge=1_000_000,
        description="Work of a budget, comparison or work order, in steps of about 10 ns; more is refused with 422."
        " A single stack is always judged.",
    )
    max_heavy_requests: int = Field(
        8, ge=1, description="Requests that take long answered at the same time; one more is asked to come later."
    )
    max_batches: int = Field(8, ge=1, description="Batches answered at the same time; one more is asked to come later.")
    batch_workers: int = Field(
        0,
        ge=0,
        le=64,
        description="Processes that judge large batches, started with the first; 0 takes one a core,"
        " shared by the workers.",
    )
    max_body_seconds: float = Field(
        30.0,
        gt=0,
        le=3600,
        description="Time a client may take to send a body; of a batch of lines, to send the next piece of it.",
    )
    tokens_sha256: tuple[Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")], ...] = Field(
        (), repr=False, description="SHA-256 digests of the bearer tokens that are taken, several at once for rotation."
    )
    open_behind_proxy: bool = Field(
        False, description="Start without tokens on any address: a proxy in front decides who may ask."
    )
    cors_origins: tuple[Annotated[str, Field(pattern=r"^https?://[^/*\s]+$")], ...] = Field(
        (), description="Origins of pages elsewhere that may ask from a browser, each exactly; none by default."
    )
    allowed_hosts: tuple[Annotated[str, Field(pattern=r"^(?:[A-Za-z0-9._-]+|\[[0-9A-Fa-f:.]+\])$")], ...] = Field(
        (), description="Names in the Host header that are answered, without port; all by default."
    )
    catalogue: Path | None = Field(
        None, description="Folder of JSON, YAML and CSV files with components that requests may refer to."
    )
    extra_rulebooks: tuple[Path, ...] = Field(
        (), description="Folders with rulebooks that add to or replace the built-in ones, later ones winning."
    )


Shown: TypeAlias = str | int | float | bool | list[str] | None

PREFIX: Final = str(Settings.model_config["env_prefix"])

_TELLING: Final = re.compile(r"token|secret|password|credential|(^|_)keys?($|_)")
"""A setting of such a name is taken for secret, whatever its type."""


def settings_summary(settings: Settings) -> dict[str, Shown]:
    """Each setting by its name; of a secret only whether it is set, of several secrets only their count."""
    fields = type(settings).model_fields
    return {name: _shown(name, field.annotation, getattr(settings, name)) for name, field in fields.items()}


def unknown_variables(environment: Mapping[str, str] | None = None) -> list[str]:
    """Names of variables that look like settings and are none.

    They are no reason not to start: an orchestrator may set ``STACKGAUGE_SERVICE_HOST`` on its own account.
    """
    names = os.environ if environment is None else environment
    known = {f"{PREFIX}{name}".upper() for name in Settings.model_fields}
    return sorted(name for name in names if name.upper().startswith(PREFIX) and name.upper() not in known)


def _shown(name: str, annotation: object, value: Any) -> Shown:
    if _TELLING.search(name) or "Secret" in repr(annotation):
        return _counted(value)
    if value is None or isinstance(value, str | int | float | bool):
        return value
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, list | tuple | Set) and all(isinstance(one, str | Path) for one in value):
        return sorted(map(str, value)) if isinstance(value, Set) else list(map(str, value))
    # What nobody has thought of may hold anything.
    return _counted(value)


def _counted(value: Any) -> str:
    if isinstance(value, list | tuple | Set | Mapping):
        return f"{len(value)} set"
    if isinstance(value, SecretStr | SecretBytes):
        value = value.get_secret_value()
    return "not set" if value is None or value in ("", b"") else "set"
