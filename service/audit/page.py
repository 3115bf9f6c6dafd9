"""``x.html``: the summary as a self-contained page for screen and print, with a histogram."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from importlib.resources import files
from typing import Final

from service.audit.outputs import Output
from service.audit.standing import NOTHING_KNOWN, Mark, Standing
from service.audit.tally import (
    AuditSummary,
    BadLine,
    BinCount,
    CodeCount,
    LibraryCount,
    WorstStack,
    bin_words,
    parts_title,
)
from service.batch.lines import LineAnswer
from service.sheets.text import count, fixed

__all__ = ["HtmlOutput", "page"]


_WIDTH: Final = 760
_HEIGHT: Final = 260
_LEFT: Final = 64
_RIGHT: Final = 12
_TOP: Final = 18
_BOTTOM: Final = 46
_LABELLED_UM: Final = 10


def svg_histogram(bins: Sequence[BinCount], not_known: int) -> str:
    """Return the histogram as SVG with title and description."""
    most = max(one.stacks for one in bins)
    top, step = _axis(most)
    wide = (_WIDTH - _LEFT - _RIGHT) / len(bins)
    known = sum(one.stacks for one in bins)
    fullest = max(range(len(bins)), key=lambda place: bins[place].stacks)
    about = (
        f"{known} stacks with known runout, {not_known} without."
        f" Largest bin: {most} stacks at {bin_words(fullest)} µm. The table has all figures."
    )
    parts = [
        f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" aria-labelledby="histogram-title histogram-about">',
        '<title id="histogram-title">Stacks by 95th-percentile runout at the gauge plane</title>',
        f'<desc id="histogram-about">{about}</desc>',
        *_grid(top, step),
        *(_bar(place, one, top, wide) for place, one in enumerate(bins) if one.stacks),
        *_scale(bins, wide),
        "</svg>",
    ]
    return "\n".join(parts)


def _axis(most: int) -> tuple[int, int]:
    """Return end and step of the axis: 1, 2 or 5 times a power of ten, four to ten steps.

    >>> _axis(0), _axis(7), _axis(93), _axis(1000)
    ((1, 1), (7, 1), (100, 20), (1000, 200))
    """
    step = 1
    factors = (2, 2.5, 2)
    turn = 0
    while most > 7 * step:
        step = round(step * factors[turn % 3])
        turn += 1
    return max(-(-most // step) * step, 1), step


def _height(count: int, top: int) -> float:
    return (_HEIGHT - _TOP - _BOTTOM) * count / top


def _bar(place: int, one: BinCount, top: int, wide: float) -> str:
    height = max(_height(one.stacks, top), 1.0)
    x, y = _LEFT + place * wide + 1, _HEIGHT - _BOTTOM - height
    return f'<rect class="bar" x="{x:.1f}" y="{y:.1f}" width="{wide - 2:.1f}" height="{height:.1f}"/>'


def _grid(top: int, step: int) -> Iterator[str]:
    for level in range(0, top + 1, step):
        y = _HEIGHT - _BOTTOM - _height(level, top)
        yield f'<line class="grid" x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>'
        yield f'<text class="end" x="{_LEFT - 6}" y="{y + 4:.1f}">{level}</text>'


def _scale(bins: Sequence[BinCount], wide: float) -> Iterator[str]:
    base = _HEIGHT - _BOTTOM
    for place, one in enumerate(bins):
        x = _LEFT + place * wide
        long = one.from_um % _LABELLED_UM == 0
        yield f'<line class="axis" x1="{x:.1f}" x2="{x:.1f}" y1="{base}" y2="{base + (8 if long else 4)}"/>'
        if long:
            yield f'<text class="mid" x="{x:.1f}" y="{base + 22}">{one.from_um:g}</text>'
    middle = (_LEFT + _WIDTH - _RIGHT) / 2
    yield f'<line class="axis" x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{base}" y2="{base}"/>'
    yield f'<text class="mid" x="{middle:.1f}" y="{_HEIGHT - 6}">runout (total indicator reading), µm</text>'


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

    def add(self, library: str, answer: LineAnswer, marks: Sequence[Mark] = ()) -> None:
        """Do nothing: the page has no single stacks."""

    def finish(self, summary: AuditSummary, standing: Standing = NOTHING_KNOWN) -> None:
        """Write the page."""
        self.write(page(summary).encode())


def page(summary: AuditSummary) -> str:
    """Return the page."""
    parts = [
        _START.format(
            style=files("service.audit").joinpath("page.css").read_text("utf-8"),
            libraries=_libraries(summary.libraries),
            stacks=count(summary.stacks, "stack"),
            bad=count(summary.bad_lines, "invalid line"),
        ),
        *_verdicts(summary),
        *_codes("Findings", "findings", "No findings.", summary.findings),
        *_codes("Undecided", "undecided", "All rules were decided.", summary.undecided),
        *_runout(summary),
        *_parts(summary),
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
    yield f'<li class="bad">not judged <strong>{summary.bad_lines}</strong> invalid lines</li>'
    yield "</ul>"


def _codes(title: str, name: str, none: str, counts: Sequence[CodeCount]) -> Iterator[str]:
    yield f'<h2 id="{name}">{title}</h2>'
    if not counts:
        yield f"<p>{none}</p>"
        return
    rows = ((_head(one.code), _word(one.severity), _cell(one.title), _figure(one.stacks)) for one in counts)
    about = f"{title} by number of stacks, most severe first."
    yield from _table(about, ("Code", "Severity", "Title", "Stacks"), rows)


def _runout(summary: AuditSummary) -> Iterator[str]:
    yield '<h2 id="runout">Runout at the gauge plane</h2>'
    yield "<p>95th percentile of the total indicator reading.</p>"
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
    yield from _table("Figures of the histogram, empty bins omitted.", ("Runout", "Stacks"), rows)


def _parts(summary: AuditSummary) -> Iterator[str]:
    if not summary.parts:
        return
    yield '<h2 id="parts">Parts</h2>'
    rows = (
        (
            _head(one.code),
            _word(one.severity) if one.decided else _cell("undecided"),
            _cell(one.title),
            _figure(one.parts),
            _cell(" ".join(one.first)),
        )
        for one in summary.parts
    )
    yield from _table(f"{parts_title(summary)}.", ("Code", "Severity", "Title", "Parts", "First of them"), rows)


def _worst(worst: Sequence[WorstStack]) -> Iterator[str]:
    if not worst:
        return
    yield '<h2 id="worst">Worst stacks</h2>'
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
    yield '<h2 id="bad-lines">Invalid lines</h2>'
    about = "All lines" if all_of_them == len(first) else f"The first {len(first)} of {all_of_them} lines"
    rows = ((_head(f"{one.library}, line {one.line}"), _cell(one.detail)) for one in first)
    yield from _table(f"{about} that could not be judged.", ("Where", "Fault"), rows)


def _per_library(libraries: Sequence[LibraryCount]) -> Iterator[str]:
    if len(libraries) == 1:
        return
    yield '<h2 id="libraries">Libraries</h2>'
    told = libraries[:_LIBRARIES_TOLD]
    more = len(libraries) - len(told)
    rows = ((_head(one.library), _figure(one.stacks), _figure(one.bad_lines)) for one in told)
    about = f"In the order they were read; {more} more are not listed." if more else "In the order they were read."
    yield from _table(about, ("Library", "Stacks", "Invalid lines"), rows)


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
    """Return a table with columns of figures aligned right, as their cells are."""
    figures = {"Stacks", "Invalid lines", "Runout, µm"}
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
