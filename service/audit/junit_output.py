"""``x.junit.xml``: a test case a stack, for programs that show test results; written as it comes.

A stack that fails is a failure, one with something undecided is skipped with the reasons, a line that could not be
judged is an error; a stack that passes or only warns is passed, its warnings in the output of the case.
The counts stand in the opening tags and are known last, so room is left for them.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final
from xml.sax.saxutils import escape, quoteattr

from service.audit.outputs import Output
from service.audit.summary import AuditSummary
from service.audit.tally import problem_words
from service.batch.lines import LineAnswer
from service.report.audit_text import summary_lines

__all__ = ["JunitOutput"]

_ROOM: Final = 120
_SUITES: Final = b'<?xml version="1.0" encoding="UTF-8"?>\n<testsuites name="stackgauge audit"'
_SUITE: Final = b'>\n<testsuite name="stackgauge audit"'
_NOT_XML: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class JunitOutput(Output):
    """One suite of all stacks."""

    needs_reports = True
    _skipped = 0

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Also take over how many were skipped."""
        super().go_on(state)
        self._skipped = int(state["skipped"])

    def state(self) -> dict[str, Any]:
        """Also tell how many were skipped."""
        return {**super().state(), "skipped": self._skipped}

    def head(self) -> bytes:
        """The opening tags, with room for the counts."""
        return _SUITES + b" " * _ROOM + _SUITE + b" " * _ROOM + b">\n"

    def add(self, library: str, answer: LineAnswer) -> None:
        """Write a case."""
        name = answer.stack or f"line {answer.number}"
        start = (
            f"<testcase classname={_quoted(library)} name={_quoted(name)}"
            f' file={_quoted(library)} line="{answer.number}"'
        )
        inner = "".join(self._outcome(answer))
        self.write((f"{start}>{inner}</testcase>\n" if inner else f"{start}/>\n").encode())

    def finish(self, summary: AuditSummary) -> None:
        """Write the summary as the suite's output, and the counts where room was left."""
        text = _escaped("\n".join(summary_lines(summary)))
        self.write(f"<system-out>{text}</system-out>\n</testsuite>\n</testsuites>\n".encode())
        failures = summary.verdicts["fail"]
        counts = (
            f' tests="{summary.stacks + summary.bad_lines}" failures="{failures}"'
            f' errors="{summary.bad_lines}" skipped="{self._skipped}"'
        ).encode()
        self.write_over(len(_SUITES), counts.ljust(_ROOM))
        self.write_over(len(_SUITES) + _ROOM + len(_SUITE), counts.ljust(_ROOM))

    def _outcome(self, answer: LineAnswer) -> Iterator[str]:
        if answer.verdict is None:
            words, fault = problem_words(answer.text)
            yield _element("error", "fault of the program" if fault else "bad line", words, words)
            return
        report = json.loads(answer.text)["report"]
        findings, gaps = report["findings"], [_gap(one) for one in report["undecided"]]
        graver = [one for one in findings if one["severity"] != "advice"]
        told = [_finding(one) for one in graver]
        if answer.verdict == "fail":
            blamed = [one for one in graver if one["severity"] == "error"] or graver or report["undecided"]
            words = "; ".join(dict.fromkeys(f"{one['code']} {one['title']}" for one in blamed))
            yield _element("failure", blamed[0]["code"], words, "\n".join((*told, *gaps)))
        elif gaps:
            self._skipped += 1
            words = f"undecided: {', '.join(answer.undecided)}"
            yield _element("skipped", "undecided", words, "\n".join(gaps))
            yield from _output(told)
        else:
            yield from _output(told)


def _output(lines: Iterable[str]) -> Iterator[str]:
    if text := "\n".join(lines):
        yield f"<system-out>{_escaped(text)}</system-out>"


def _element(tag: str, kind: str, message: str, text: str) -> str:
    return f"<{tag} type={_quoted(kind)} message={_quoted(message)}>{_escaped(text)}</{tag}>"


def _finding(one: Mapping[str, Any]) -> str:
    return (
        f"{one['severity']} {one['code']} {one['title']}: {one['message']} {one['remedy']} At {', '.join(one['at'])}."
    )


def _gap(one: Mapping[str, Any]) -> str:
    lacks = "; ".join(
        f"lacks {lack['fact']}" + (f" ({', '.join(lack['fields'])})" if lack["fields"] else "") for lack in one["lacks"]
    )
    return f"undecided {one['code']} {one['title']}: {lacks}"


def _quoted(text: str) -> str:
    return quoteattr(_NOT_XML.sub("\ufffd", text))


def _escaped(text: str) -> str:
    return escape(_NOT_XML.sub("\ufffd", text))
