"""``x.html``: the summary as one page that needs nothing else: no script, no request, made to be printed, too."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from importlib.resources import files
from typing import Final

from service.audit.histogram import bin_words
from service.audit.outputs import Output
from service.audit.summary import AuditSummary, BadLine, CodeCount, LibraryCount, WorstStack
from service.audit.svg_histogram import svg_histogram
from service.batch.lines import LineAnswer
from service.sheets.text import count, fixed

__all__ = ["HtmlOutput", "page"]

_LIBRARIES_TOLD: Final = 50

_START: Final = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>Audit of {libraries}</title>
<style>
{style}</style>
</head>
<body>
<header>
<h1>Audit of {libraries}</h1>
<p>{stacks} judged, {bad}.</p>
</header>
<main>"""


class HtmlOutput(Output):
    """A page of the summary."""

    def add(self, library: str, answer: LineAnswer) -> None:
        """Do nothing: the page tells figures, not single stacks."""

    def finish(self, summary: AuditSummary) -> None:
        """Write the page."""
        self.write(page(summary).encode())


def page(summary: AuditSummary) -> str:
    """Return the page."""
    parts = [
        _START.format(
            style=files("service.audit").joinpath("page.css").read_text("utf-8"),
            libraries=_libraries(summary.libraries),
            stacks=count(summary.stacks, "stack"),
            bad=count(summary.bad_lines, "bad line"),
        ),
        *_verdicts(summary),
        *_codes("Findings", "findings", "No rule objects to any stack.", summary.findings),
        *_codes("Undecided", "undecided", "Every rule could be decided.", summary.undecided),
        *_runout(summary),
        *_worst(summary.worst),
        *_bad(summary.first_bad_lines, summary.bad_lines),
        *_per_library(summary.libraries),
        "</main>",
        *_footer(summary),
        "</body>\n</html>\n",
    ]
    return "\n".join(parts)


def _libraries(libraries: Sequence[LibraryCount]) -> str:
    return escape(libraries[0].library) if len(libraries) == 1 else f"{len(libraries)} libraries"


def _verdicts(summary: AuditSummary) -> Iterator[str]:
    judged = summary.stacks or 1
    yield '<h2 id="verdicts">Verdicts</h2>'
    yield '<ul class="verdicts">'
    for word, stacks in (
        ("pass", summary.verdicts["pass"]),
        ("review", summary.verdicts["review"]),
        ("fail", summary.verdicts["fail"]),
    ):
        yield (
            f'<li class="{word}"><span class="{word}-word">{word}</span> <strong>{stacks}</strong>'
            f" {100 * stacks / judged:.1f} %</li>"
        )
    yield f'<li class="bad">not judged <strong>{summary.bad_lines}</strong> bad lines</li>'
    yield "</ul>"


def _codes(title: str, name: str, none: str, counts: Sequence[CodeCount]) -> Iterator[str]:
    yield f'<h2 id="{name}">{title}</h2>'
    if not counts:
        yield f"<p>{none}</p>"
        return
    rows = ((_head(one.code), _word(one.severity), _cell(one.title), _figure(one.stacks)) for one in counts)
    about = f"{title} by the number of stacks, gravest rules first."
    yield from _table(about, ("Code", "Severity", "Title", "Stacks"), rows)


def _runout(summary: AuditSummary) -> Iterator[str]:
    yield '<h2 id="runout">Runout at the gauge plane</h2>'
    yield "<p>The total indicator reading that 95 % of the assemblies stay below.</p>"
    if any(one.stacks for one in summary.runout_histogram):
        yield "<figure>"
        yield svg_histogram(summary.runout_histogram, summary.runout_not_known)
        yield "</figure>"
    rows = [
        (_head(f"{bin_words(place)} µm"), _figure(one.stacks))
        for place, one in enumerate(summary.runout_histogram)
        if one.stacks
    ]
    rows.append((_head("not known"), _figure(summary.runout_not_known)))
    yield from _table("The figures of the drawing; bins without stacks are left out.", ("Runout", "Stacks"), rows)


def _worst(worst: Sequence[WorstStack]) -> Iterator[str]:
    if not worst:
        return
    yield '<h2 id="worst">The worst</h2>'
    rows = (
        (
            _head(one.stack or "unnamed"),
            _cell(f"{one.library}, line {one.line}"),
            _word(one.verdict),
            _cell(", ".join(one.errors) or "none"),
            _cell(", ".join(one.warnings) or "none"),
            _figure(fixed(one.gauge_plane_p95_um, 1)),
        )
        for one in worst
    )
    yield from _table(
        "Most errors first, then most warnings, then the largest runout.",
        ("Stack", "Where", "Verdict", "Errors", "Warnings", "Runout, µm"),
        rows,
    )


def _bad(first: Sequence[BadLine], all_of_them: int) -> Iterator[str]:
    if not first:
        return
    yield '<h2 id="bad-lines">Bad lines</h2>'
    about = "All lines" if all_of_them == len(first) else f"The first {len(first)} of {all_of_them} lines"
    rows = ((_head(f"{one.library}, line {one.line}"), _cell(one.detail)) for one in first)
    yield from _table(f"{about} that could not be judged.", ("Where", "What is wrong"), rows)


def _per_library(libraries: Sequence[LibraryCount]) -> Iterator[str]:
    if len(libraries) == 1:
        return
    yield '<h2 id="libraries">Libraries</h2>'
    told = libraries[:_LIBRARIES_TOLD]
    more = len(libraries) - len(told)
    rows = ((_head(one.library), _figure(one.stacks), _figure(one.bad_lines)) for one in told)
    about = f"In the order they were read; {more} more are not listed." if more else "In the order they were read."
    yield from _table(about, ("Library", "Stacks", "Bad lines"), rows)


def _footer(summary: AuditSummary) -> Iterator[str]:
    yield "<footer>\n<dl>"
    for name, value in (
        ("stackgauge", summary.version),
        ("rulebooks, SHA-256", summary.rulebook_sha256),
        ("catalogue, SHA-256", summary.catalogue_sha256 or "none mounted"),
    ):
        yield f"<dt>{name}</dt><dd><code>{value}</code></dd>"
    yield "</dl>\n</footer>"


def _table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """A table whose columns of figures stand to the right, as their cells do."""
    figures = {"Stacks", "Bad lines", "Runout, µm"}
    yield f'<div class="table"><table>\n<caption>{caption}</caption>\n<thead><tr>'
    for head in heads:
        kind = ' class="figure"' if head in figures else ""
        yield f'<th scope="col"{kind}>{head}</th>'
    yield "</tr></thead>\n<tbody>"
    for row in rows:
        yield f"<tr>{''.join(row)}</tr>"
    yield "</tbody>\n</table></div>"


def _head(text: str) -> str:
    return f'<th scope="row">{escape(text)}</th>'


def _cell(text: str) -> str:
    return f"<td>{escape(text)}</td>"


def _word(text: str) -> str:
    return f'<td class="{text}-word">{text}</td>'


def _figure(value: int | str) -> str:
    return f'<td class="figure">{value}</td>'
