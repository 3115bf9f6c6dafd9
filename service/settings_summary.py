"""The settings in force, fit to be shown: what is secret is counted and not told."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Set
from pathlib import Path
from typing import Any, Final, TypeAlias

from pydantic import SecretBytes, SecretStr

from service.settings import Settings

__all__ = ["PREFIX", "settings_summary", "unknown_variables"]

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
