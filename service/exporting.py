"""A request of a check to a CuttingTool document, the same for HTTP and command line."""

from __future__ import annotations

from rules.assessor import Assessor
from rules.exchange.tool_asset_export import EPOCH, Standard, export_cutting_tool
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from rules.stack.chain import resolve

__all__ = ["Exporter"]


class Exporter:
    """Checks stacks and writes them."""

    def __init__(self, assessor: Assessor) -> None:
        self._assessor = assessor

    def export(self, request: CheckRequest, *, timestamp: str = EPOCH, standard: Standard = "1.4") -> bytes:
        """The document of a request's stack; errors as those of a check."""
        return self.export_with_report(request, timestamp=timestamp, standard=standard)[0]

    def export_with_report(
        self, request: CheckRequest, *, timestamp: str = EPOCH, standard: Standard = "1.4"
    ) -> tuple[bytes, Report]:
        """The document, and the report it was written from."""
        report = self._assessor.assess(request)
        resolved = resolve(request, self._assessor.catalogue.definitions)
        # A reference that leads nowhere stays in place: what it is is then not known.
        stack = request.stack if resolved.broken else resolved.request.stack
        return export_cutting_tool(stack, report, timestamp=timestamp, standard=standard), report
