"""What a process has made of the program alone, kept for later processes where Python keeps its bytecode."""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from importlib.metadata import version
from importlib.resources import files
from importlib.util import cache_from_source
from pathlib import Path
from typing import Final

from rules.answer.provenance import installation_sha256

__all__ = ["kept", "program_sha256"]

_HEAD: Final = 2 * 64 + 2


def kept(name: str, of: str, make: Callable[[], bytes]) -> bytes:
    """Return what ``make`` returns, from a file if an earlier process has made it of the same.

    Whoever can write that file can write the bytecode beside it, so it is trusted as that is.

    Parameters
    ----------
    name : str
        Name of the file.
    of : str
        SHA-256 of all that it is made of, 64 hexadecimal digits.
    make : callable
        Makes it anew.
    """
    place = _place(name)
    if place is not None:
        with suppress(OSError):
            content = place.read_bytes()
            head, body = content[:_HEAD], content[_HEAD:]
            if head == _head(of, body):
                return body
    body = make()
    if place is not None and not sys.dont_write_bytecode:
        _keep(place, _head(of, body) + body)
    return body


def _place(name: str) -> Path | None:
    """The file; None where Python keeps no bytecode."""
    try:
        return Path(cache_from_source(str(files("rules").joinpath(f"{name}.py")))).with_suffix(".kept")
    except NotImplementedError:
        return None


def _head(of: str, body: bytes) -> bytes:
    return f"{of} {hashlib.sha256(body).hexdigest()}\n".encode()


def _keep(place: Path, content: bytes) -> None:
    made = place.with_name(f"{place.name}.{os.getpid()}")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        made.write_bytes(content)
        made.replace(place)
    except OSError:  # an installation that cannot be written to makes it each time
        with suppress(OSError):
            made.unlink(missing_ok=True)


def program_sha256() -> str:
    """Return the digest of all that the contract is made of; nothing that an operator mounts changes it."""
    record = [installation_sha256(), *(f"{name} {version(name)}" for name in ("fastapi", "pydantic", "starlette"))]
    folder = Path(str(files("service")))
    for file in sorted(folder.rglob("*")):
        if file.is_file() and "__pycache__" not in file.parts:
            record.append(f"{file.relative_to(folder)} {hashlib.sha256(file.read_bytes()).hexdigest()}")
    return hashlib.sha256("\n".join(record).encode()).hexdigest()
