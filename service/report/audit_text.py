"""The summary of an audit as plain text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import starmap
from typing import Final

from rich.console import Console
from rich.text import Text

from service.audit.histogram import bin_words
from service.audit.summary import AuditSummary, CodeCount, WorstStack
from service.sheets.text import STYLES, count, fixed, say

__all__ = ["print_audit", "summary_lines"]

_LONGEST_BAR: Final = 40


def print_audit(summary: AuditSummary, console: Console) -> None:
    """Print the summary: counts, findings, gaps, runout, the worst, bad lines."""
    for line in summary_lines(summary):
        word = line.split(" ", 1)[0].lower()
        text = Text(line.strip())
        if word in STYLES and line[:1].isupper():
            text.stylize(STYLES[word], 0, len(word))
        say(text, console, len(line) - len(line.lstrip()))


def summary_lines(summary: AuditSummary) -> Iterator[str]:
    """Yield the summary, a line at a time; what is set in belongs to the heading above."""
    judged = summary.stacks or 1
    yield f"{count(summary.stacks, 'stack')} judged, {count(summary.bad_lines, 'bad line')}"
    verdicts = (
        ("Pass", summary.verdicts["pass"]),
        ("Review", summary.verdicts["review"]),
        ("Fail", summary.verdicts["fail"]),
    )
    for word, many in verdicts:
        yield f"{word:6} {many:>9}  {100 * many / judged:5.1f} %"
    yield from _headed("Findings, by stacks", starmap(_code, _pairs(summary.findings)))
    yield from _headed("Undecided, by stacks", starmap(_code, _pairs(summary.undecided)))
    yield from _headed(
        "Runout at the gauge plane that 95 % stay below, µm, by stacks; bins without stacks are left out",
        _bars(summary),
    )
    yield from _headed("The worst", map(_worst, summary.worst))
    told = (f"{one.library}, line {one.line}: {one.detail}" for one in summary.first_bad_lines)
    more = summary.bad_lines - len(summary.first_bad_lines)
    yield from _headed("Bad lines" if more == 0 else f"Bad lines, and {more} more", told)


def _headed(title: str, lines: Iterator[str]) -> Iterator[str]:
    first = next(lines, None)
    if first is None:
        return
    yield ""
    yield title
    yield f"  {first}"
    yield from (f"  {line}" for line in lines)


def _pairs(counts: Sequence[CodeCount]) -> Iterator[tuple[CodeCount, int]]:
    width = max((len(str(one.stacks)) for one in counts), default=0)
    return ((one, width) for one in counts)


def _code(one: CodeCount, width: int) -> str:
    return f"{one.stacks:>{width}}  {one.code}  {one.severity}: {one.title}"


def _bars(summary: AuditSummary) -> Iterator[str]:
    bins = summary.runout_histogram
    most = max(one.stacks for one in bins)
    width = len(str(max(most, summary.runout_not_known)))
    for place, one in enumerate(bins):
        if one.stacks:
            bar = "#" * -(-_LONGEST_BAR * one.stacks // most)
            yield f"{bin_words(place):>12}  {one.stacks:>{width}}  {bar}"
    if summary.runout_not_known:
        yield f"{'not known':>12}  {summary.runout_not_known:>{width}}"


def _worst(one: WorstStack) -> str:
    codes = ", ".join((*one.errors, *one.warnings)) or "no error, no warning"
    name = one.stack or "unnamed stack"
    return (
        f"{one.verdict}  {name} ({one.library}, line {one.line}): {codes};"
        f" runout {fixed(one.gauge_plane_p95_um, 1, ' µm')}"
    )
