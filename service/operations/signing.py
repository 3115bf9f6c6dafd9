"""Keys of the operator: the one that signs the answers of gates, and the public ones that are served."""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from rules.schema.gate import GateReport
from service.contract import PublicKey, PublicKeySet
from service.operations.settings import PREFIX, Settings

__all__ = ["NO_KEYS", "GateKeys", "KeyFileError", "load_keys"]


class KeyFileError(ValueError):
    """A file of keys that cannot be used; the message names the setting and holds nothing of the file."""


@dataclass(frozen=True, slots=True)
class GateKeys:
    """What signs the answers of gates in this process; other processes get the same."""

    public: PublicKeySet
    """Keys that verify, the one that signs first."""
    _private: Mapping[str, str] | None = field(default=None, repr=False)

    def signed(self, report: GateReport) -> GateReport:
        """Return the report with its signature; unchanged without a key."""
        if self._private is None:
            return report
        from service.signature import sign

        return report.model_copy(update={"signature": sign(report, self._private)})


NO_KEYS: Final = GateKeys(PublicKeySet(keys=[]))


def load_keys(settings: Settings) -> GateKeys:
    """Return the keys in the files of the settings.

    Raises :class:`KeyFileError` for a file that cannot be read, that everybody can read, or that has another kind of
    key.
    """
    if settings.gate_key_file is None and not settings.gate_public_key_files:
        return NO_KEYS
    # Only a gate with a key needs the library.
    from service.signature import KeyDataError, private_key, public_key, public_keys

    private = None
    listed: list[PublicKey] = []
    name = f"{PREFIX}GATE_KEY_FILE"
    try:
        if settings.gate_key_file is not None:
            private = private_key(_content(settings.gate_key_file, name, secret=True))
            listed.append(public_key(private))
        for number, file in enumerate(settings.gate_public_key_files, 1):
            name = f"{PREFIX}GATE_PUBLIC_KEY_FILES: file {number}"
            listed += public_keys(_content(file, name, secret=False))
    except KeyDataError as error:
        raise KeyFileError(f"{name}: {error}") from None
    distinct = {one.kid: one for one in listed}
    return GateKeys(PublicKeySet(keys=list(distinct.values())), private)


_LONGEST: Final = 64 * 1024
"""Bytes of the largest file of keys."""


def _content(file: Path, name: str, *, secret: bool) -> bytes:
    # The path is never shown: someone may have put the key itself there.
    try:
        if not stat.S_ISREG(file.stat().st_mode):
            raise KeyFileError(f"{name}: not a file")
        with file.open("rb") as opened:
            state = os.fstat(opened.fileno())
            if secret and os.name == "posix" and state.st_mode & (stat.S_IROTH | stat.S_IWOTH):
                mode = stat.S_IMODE(state.st_mode)
                raise KeyFileError(
                    f"{name}: everybody on this machine can read or write the file (mode {mode:04o});"
                    " make it 0400 or 0440, and a new key if others have had access"
                )
            content = opened.read(_LONGEST + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, KeyFileError):
            raise
        reason = error.strerror if isinstance(error, OSError) else "the path has invalid characters"
        raise KeyFileError(f"{name}: cannot be read: {reason}; the path of a file is needed") from None
    if len(content) > _LONGEST:
        raise KeyFileError(f"{name}: longer than {_LONGEST} bytes")
    return content
