"""Settings from environment variables and a file, and a summary of them without secrets."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping, Set
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any, Final, Literal, NamedTuple, TypeAlias

from pydantic import Field, SecretBytes, SecretStr
from pydantic.fields import FieldInfo
from pydantic_settings import BaseSettings, PydanticBaseSettingsSource, SettingsConfigDict

from rules.rulebook.book import CODE_PATTERN
from service.operations import PREFIX

__all__ = [
    "PREFIX",
    "Origin",
    "Settings",
    "SettingsFileError",
    "is_in_environment",
    "origin_of",
    "place_of",
    "settings_summary",
    "today",
    "unknown_variables",
]


class SettingsFileError(ValueError):
    """A settings file that cannot be read or has a name that is no setting; a line for each fault, with its place."""


class _SettingsFile(PydanticBaseSettingsSource):
    """The TOML file that ``settings_file`` names; what the environment sets too is overridden."""

    def get_field_value(self, field: FieldInfo, field_name: str) -> tuple[Any, str, bool]:
        """Not used: all fields are read at once."""
        raise NotImplementedError

    def __call__(self) -> dict[str, Any]:
        """The settings of the file; raises :class:`SettingsFileError`."""
        name = self.current_state.get("settings_file")
        if not name:
            return {}
        try:
            text = Path(name).read_text(encoding="utf-8")
            found = tomllib.loads(text)
        except OSError as error:
            raise SettingsFileError(f"{name}: {error.strerror}") from None
        except ValueError as error:  # of TOML or of UTF-8
            # The message of a codec shows bytes of the file.
            reason = error if isinstance(error, tomllib.TOMLDecodeError) else "not written in UTF-8"
            raise SettingsFileError(f"{name}: {reason}") from None
        known = self.settings_cls.model_fields.keys() - {"settings_file"}
        faults = [f"{place_of(one, name)}: {one} is not a setting" for one in found if one not in known]
        if faults:
            raise SettingsFileError("\n".join(faults))
        return found


def today() -> date:
    """The local day, since adjustments end with the shop's day."""
    return datetime.now().astimezone().date()


class Settings(BaseSettings):
    """Settings; each is an environment variable with the prefix ``STACKGAUGE_``, or a name in the settings file.

    The environment wins. Lists are JSON in the environment and TOML in the file.
    """

    model_config = SettingsConfigDict(env_prefix=PREFIX, frozen=True, extra="forbid")

    host: str = Field("127.0.0.1", description="Address to listen on.")
    port: int = Field(8713, ge=0, le=65535, description="Port to listen on; 0 picks a free port.")
    workers: int = Field(1, ge=1, le=64, description="Worker processes; limits apply to each worker.")
    shutdown_grace_s: float = Field(
        2,
        ge=0,
        le=600,
        description="Grace period after SIGTERM in s: readiness fails, requests are accepted. Set it to the time the"
        " load balancer takes to notice.",
    )
    shutdown_timeout_s: int = Field(
        30, ge=1, le=3600, description="Time for running requests to finish after the grace period, in s."
    )
    log_level: Literal["debug", "info", "warning", "error"] = Field(
        "info", description="Lowest level logged; requests are logged at info."
    )
    keep_alive_s: int = Field(
        75,
        ge=1,
        description="Time an idle connection is kept open, in s. Set it longer than in clients and proxies (often 60),"
        " or requests may fail on a closing connection.",
    )
    max_connections: int = Field(
        1000,
        ge=8,
        le=100_000,
        description="Connections of each worker; a new one beyond it takes the place of an idle one.",
    )
    max_head_seconds: float = Field(
        10, gt=0, le=3600, description="Time for a request head in s, then 408; before any token is known."
    )
    max_head_bytes: int = Field(
        16 * 1024, ge=1024, le=1024 * 1024, description="Longest request head in bytes: target and headers; then 431."
    )
    max_unread_seconds: float = Field(
        300, gt=0, le=86_400, description="Longest time in which a client takes nothing of a response, in s."
    )
    max_body_bytes: int = Field(
        512 * 1024,
        ge=1024,
        description="Largest request body in bytes. The largest valid stack has about 400 KiB.",
    )
    max_batch_body_bytes: int = Field(
        8 * 1024 * 1024,
        ge=1024,
        description="Largest batch as one JSON document, in bytes; a batch of lines has no limit.",
    )
    max_search_body_bytes: int = Field(
        4 * 1024 * 1024,
        ge=1024,
        description="Largest request of a search in bytes; an inventory of 2,000 parts has some 1 to 2 MiB.",
    )
    max_import_body_bytes: int = Field(
        8 * 1024 * 1024,
        ge=1024,
        description="Largest exchange file, package or form of an import, in bytes. An exchange file may have 4 MiB, a"
        " package 64 MiB.",
    )
    max_line_bytes: int = Field(
        1024 * 1024, ge=1024, description="Longest line of a batch in bytes; longer lines get a problem."
    )
    max_batch_lines: int = Field(
        1_000_000, ge=1, description="Most lines in a batch; the next line ends the batch with a problem."
    )
    max_batch_spool_bytes: int = Field(
        512 * 1024 * 1024,
        ge=64 * 1024,
        description="Bytes of unread results of a batch buffered in a temporary file; at the limit the service stops"
        " reading.",
    )
    max_request_seconds: float = Field(
        30.0,
        gt=0,
        le=3600,
        description="Time limit of a request in s, then 503; not for batches of lines.",
    )
    max_request_steps: int = Field(
        500_000_000,
        ge=1_000_000,
        description="Work limit of a budget, comparison, search or work order in steps of about 10 ns; beyond it 422."
        " A single stack is always judged.",
    )
    max_steps_per_kib: int = Field(
        50_000_000,
        ge=1_000_000,
        description="The same for each KiB of the request, begun or full: a short request gets no long computation.",
    )
    max_heavy_requests: int = Field(
        8, ge=1, description="Concurrent long-running requests other than gates; beyond it 503."
    )
    max_heavy_gates: int = Field(64, ge=1, description="Concurrent long-running gates, which go first; beyond it 503.")
    max_batches: int = Field(8, ge=1, description="Concurrent batches; beyond it 503.")
    batch_workers: int = Field(
        0,
        ge=0,
        le=64,
        description="Processes for large batches, started with the first one; 0 means one per core, shared by the"
        " workers.",
    )
    max_body_seconds: float = Field(
        30.0,
        gt=0,
        le=3600,
        description="Time limit for receiving a body in s; for a batch of lines, for each chunk.",
    )
    tokens_sha256: tuple[Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")], ...] = Field(
        (), repr=False, description="SHA-256 digests of the accepted bearer tokens; several allow rotation."
    )
    open_behind_proxy: bool = Field(
        False, description="Allow any listen address without tokens, because a proxy in front controls access."
    )
    cors_origins: tuple[Annotated[str, Field(pattern=r"^https?://[^/*\s]+$")], ...] = Field(
        (), description="Origins allowed by CORS, exact match; none by default."
    )
    allowed_hosts: tuple[Annotated[str, Field(pattern=r"^(?:[A-Za-z0-9._-]+|\[[0-9A-Fa-f:.]+\])$")], ...] = Field(
        (), description="Allowed names in the Host header, without port; all by default."
    )
    catalogue: Path | None = Field(
        None, description="Folder with the component catalogue: JSON, NDJSON, YAML and CSV files; or one such file."
    )
    catalogue_strict: bool = Field(
        False,
        description="Whether an invalid part of the catalogue stops the start; otherwise it is quarantined, and stacks"
        " with it are not judged.",
    )
    aliases: Path | None = Field(
        None,
        description="YAML file with the shop's own names of designations and standard parts: a list of pattern, becomes"
        " and reason.",
    )
    gate_profile: Path | None = Field(
        None,
        description="YAML file with the profile of gates: policy, machines and waivers, which a request can only"
        " tighten; strict without one.",
    )
    gate_key_file: Path | None = Field(
        None,
        repr=False,
        description="File with the private Ed25519 key that signs the answers of gates, JWK or PEM, readable by the"
        " service alone; unsigned without one.",
    )
    gate_public_key_files: tuple[Path, ...] = Field(
        (),
        repr=False,
        description="Files with further public keys to serve, JWK, JWK set or PEM: retired ones, and the next one"
        " before it signs.",
    )
    extra_rulebooks: tuple[Path, ...] = Field(
        (), description="Folders with rulebooks that extend or replace the built-in ones; later folders win."
    )
    as_of: date = Field(
        default_factory=today,
        description="Day on which adjustments of rulebooks and waivers of gates count or have ended. Without it, that"
        " of the start for adjustments and the present one for waivers.",
    )
    weakened_safety_rules: frozenset[Annotated[str, Field(pattern=CODE_PATTERN)]] = Field(
        frozenset(),
        description="Codes of safety rules that rulebooks may weaken: by a replacement, a lower severity or off.",
    )
    expect_judgement_sha256: str | None = Field(
        None,
        pattern=r"^[0-9a-f]{64}$",
        description="Digest of the judgement that must be in force, as /version shows it; with another the service does"
        " not start.",
    )
    settings_file: Path | None = Field(
        None, description="TOML file with settings that the environment does not set; only in the environment."
    )

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,
        dotenv_settings: PydanticBaseSettingsSource,  # noqa: ARG003 - the framework passes it by name
        file_secret_settings: PydanticBaseSettingsSource,  # noqa: ARG003
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        """Arguments, then the environment, then the file."""
        return init_settings, env_settings, _SettingsFile(settings_cls)


Shown: TypeAlias = str | int | float | bool | list[str] | None


_TELLING: Final = re.compile(r"token|secret|password|credential|(^|_)keys?($|_)")
"""Parts of names that mark a setting as secret, whatever its type."""


class Place(NamedTuple):
    """Line number in the settings file; 0 if the name has no line of its own."""

    file: str
    line: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}" if self.line else self.file


def place_of(name: str, file: str | Path) -> Place:
    """Where the file sets a name."""
    pattern = re.compile(rf"""\s*\[*\s*["']?{re.escape(name)}["']?\s*[=.\]]""")
    try:
        lines = Path(file).read_text(encoding="utf-8").splitlines()
    except (OSError, ValueError):
        lines = []
    return Place(str(file), next((number for number, line in enumerate(lines, 1) if pattern.match(line)), 0))


Origin: TypeAlias = Literal["environment", "file", "default"]


def origin_of(name: str, settings: Settings) -> Origin:
    """Where the value of a setting comes from."""
    if is_in_environment(name):
        return "environment"
    return "file" if name in settings.model_fields_set else "default"


def is_in_environment(name: str) -> bool:
    """Whether the environment sets it; upper and lower case make no difference."""
    return any(one.upper() == f"{PREFIX}{name}".upper() for one in os.environ)


def settings_summary(settings: Settings) -> dict[str, Shown]:
    """Values by setting name; for secrets only 'set' or their count."""
    fields = type(settings).model_fields
    return {name: _shown(name, field.annotation, getattr(settings, name)) for name, field in fields.items()}


def unknown_variables(environment: Mapping[str, str] | None = None) -> list[str]:
    """Environment variables with the prefix that are not settings.

    They do not prevent the start: an orchestrator may set ``STACKGAUGE_SERVICE_HOST`` itself.
    """
    names = os.environ if environment is None else environment
    known = {f"{PREFIX}{name}".upper() for name in Settings.model_fields}
    return sorted(name for name in names if name.upper().startswith(PREFIX) and name.upper() not in known)


def _shown(name: str, annotation: object, value: Any) -> Shown:
    if _TELLING.search(name) or "Secret" in repr(annotation):
        return _counted(value)
    if value is None or isinstance(value, str | int | float | bool):
        return value
    if isinstance(value, Path | date):
        return str(value)
    if isinstance(value, list | tuple | Set) and all(isinstance(one, str | Path) for one in value):
        return sorted(map(str, value)) if isinstance(value, Set) else list(map(str, value))
    # An unforeseen type may hold anything.
    return _counted(value)


def _counted(value: Any) -> str:
    if isinstance(value, list | tuple | Set | Mapping):
        return f"{len(value)} set"
    if isinstance(value, SecretStr | SecretBytes):
        value = value.get_secret_value()
    return "not set" if value is None or value in ("", b"") else "set"
