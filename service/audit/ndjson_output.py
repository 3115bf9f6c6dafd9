"""``x.ndjson``: the answers themselves, each with its library, and the summary as the last line."""

from __future__ import annotations

from pydantic_core import to_json

from service.audit.outputs import Output
from service.audit.summary import AuditSummary
from service.batch.lines import LineAnswer

__all__ = ["NdjsonOutput"]


class NdjsonOutput(Output):
    """One JSON object a line."""

    needs_reports = True

    def add(self, library: str, answer: LineAnswer) -> None:
        """Write the answer behind the name of its library."""
        self.write(b'{"library":%s,%s\n' % (to_json(library), answer.text[1:]))

    def finish(self, summary: AuditSummary) -> None:
        """Write the summary."""
        self.write(b'{"summary":%s}\n' % to_json(summary))
