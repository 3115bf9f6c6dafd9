"""What an interrupted audit needs to go on: a small JSON file, always whole, replaced now and then."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from rules.schema.strict_json import NotJSONError, parse_json
from rules.version import VERSION
from service.audit.libraries import AuditInputError, Library
from service.audit.outputs import Output
from service.audit.portions import Place
from service.audit.tally import Tally

__all__ = ["State"]

_FORMAT: Final = 1


class State:
    """The file of ``--resume``: written while the audit runs, gone once it is done."""

    def __init__(self, path: Path, libraries: Sequence[Library], outputs: Sequence[Output], rules: str) -> None:
        self.path = path
        self._outputs = outputs
        self._same: dict[str, Any] = {
            "format": _FORMAT,
            "version": VERSION,
            "rules": rules,
            "outputs": [str(output.path) for output in outputs],
            "libraries": [
                {"name": library.name, "bytes": library.size, "sha256": library.sha256()} for library in libraries
            ],
        }
        """What must be the same when the audit goes on: else its second half would not fit its first."""

    def save(self, place: Place, tally: Tally) -> None:
        """Note that everything before this place is counted and written."""
        held = {
            **self._same,
            "place": place._asdict(),
            "files": [output.state() for output in self._outputs],
            "tally": tally.dump(),
        }
        beside = self.path.with_name(f"{self.path.name}.new")
        with beside.open("w", encoding="utf-8") as file:
            json.dump(held, file)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(self.path)

    def restore(self, tally: Tally) -> Place | None:
        """Take up tally and outputs where the file says; None where there is no file.

        Raises :class:`~service.audit.libraries.AuditInputError` where the audit is not the one that was interrupted.
        """
        try:
            held = parse_json(self.path.read_bytes())
        except FileNotFoundError:
            return None
        except (OSError, NotJSONError) as error:
            raise AuditInputError(f"{self.path}: {error}") from None
        if not isinstance(held, dict) or held.get("format") != _FORMAT:
            raise AuditInputError(f"{self.path}: this is not the state of an audit")
        for name, now in self._same.items():
            if held.get(name) != now:
                raise AuditInputError(
                    f"{self.path}: {_WORDS[name]} not those of the interrupted audit; delete the file to begin anew"
                )
        for output, state in zip(self._outputs, held["files"], strict=True):
            output.go_on(state)
        tally.load(held["tally"])
        return Place(**held["place"])

    def remove(self) -> None:
        """The audit is done."""
        self.path.unlink(missing_ok=True)


_WORDS: Final = {
    "version": "the version of stackgauge is",
    "rules": "rulebooks or catalogue are",
    "outputs": "the outputs are",
    "libraries": "the libraries are",
}
