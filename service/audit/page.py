"""``x.html``: a self-contained page of differences, summary and all stacks; it prints as a summary."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import Any, Final, NamedTuple

from rules.answer.provenance import general_cautions
from rules.audit_items import AuditItem
from rules.library import PartFinding
from rules.rulebook.book import Rulebook
from service.audit.outputs import Output
from service.audit.page_data import BLOCK, block, entry_of, item_row, sections_of
from service.audit.standing import NOTHING_KNOWN, Mark, Standing
from service.audit.tally import (
    Against,
    AuditSummary,
    BadLine,
    CodeCount,
    InvalidPart,
    LibraryCount,
    WaiverOutcome,
    WorstStack,
    against_words,
    before_words,
    bin_words,
    gap_words,
    gaps_title,
    not_judged_words,
    parts_title,
)
from service.batch.lines import Extract, LineAnswer
from service.sheets.text import count, fixed

__all__ = ["HtmlOutput", "page"]


_WIDTH: Final = 760
_HEIGHT: Final = 260
_LEFT: Final = 64
_RIGHT: Final = 12
_TOP: Final = 18
_BOTTOM: Final = 46
_LABELLED: Final = 5
"""Every so many bins the scale has a number, if they are many."""


class Bin(NamedTuple):
    """One bar of a histogram."""

    low: float
    words: str
    stacks: int


def svg_histogram(
    name: str, title: str, axis: str, bins: Sequence[Bin], not_known: int, limit: float | None = None
) -> str:
    """Return a histogram as SVG with title and description.

    Parameters
    ----------
    name
        Start of its ids.
    title
        What is counted.
    axis
        Name of the horizontal axis.
    bins
        Of equal width.
    not_known
        Number of stacks without a value.
    limit
        Value at which a line is drawn.

    Returns
    -------
    str
        The element.
    """
    most = max(one.stacks for one in bins)
    top, step = _axis(most)
    wide = (_WIDTH - _LEFT - _RIGHT) / len(bins)
    known = sum(one.stacks for one in bins)
    fullest = max(bins, key=lambda one: one.stacks)
    about = f"{known} stacks with a known value, {not_known} without. Largest bin: {most} stacks at {fullest.words}."
    parts = [
        f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" aria-labelledby="{name}-title {name}-about">',
        f'<title id="{name}-title">{title}</title>',
        f'<desc id="{name}-about">{about}</desc>',
        *_grid(top, step),
        *(_bar(place, one.stacks, top, wide) for place, one in enumerate(bins) if one.stacks),
        *_scale(bins, wide, axis),
    ]
    if limit is not None:
        x = _LEFT + limit / (bins[1].low - bins[0].low) * wide
        parts.append(f'<line class="limit" x1="{x:.1f}" x2="{x:.1f}" y1="{_TOP - 6}" y2="{_HEIGHT - _BOTTOM}"/>')
    return "\n".join((*parts, "</svg>"))


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


def _bar(place: int, stacks: int, top: int, wide: float) -> str:
    height = max(_height(stacks, top), 1.0)
    x, y = _LEFT + place * wide + 1, _HEIGHT - _BOTTOM - height
    return f'<rect class="bar" x="{x:.1f}" y="{y:.1f}" width="{wide - 2:.1f}" height="{height:.1f}"/>'


def _grid(top: int, step: int) -> Iterator[str]:
    for level in range(0, top + 1, step):
        y = _HEIGHT - _BOTTOM - _height(level, top)
        yield f'<line class="grid" x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>'
        yield f'<text class="end" x="{_LEFT - 6}" y="{y + 4:.1f}">{level}</text>'


def _scale(bins: Sequence[Bin], wide: float, axis: str) -> Iterator[str]:
    base = _HEIGHT - _BOTTOM
    for place, one in enumerate(bins):
        x = _LEFT + place * wide
        long = place % (_LABELLED if len(bins) > 4 * _LABELLED else _LABELLED - 1) == 0
        yield f'<line class="axis" x1="{x:.1f}" x2="{x:.1f}" y1="{base}" y2="{base + (8 if long else 4)}"/>'
        if long:
            yield f'<text class="mid" x="{x:.1f}" y="{base + 22}">{one.low:g}</text>'
    middle = (_LEFT + _WIDTH - _RIGHT) / 2
    yield f'<line class="axis" x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{base}" y2="{base}"/>'
    yield f'<text class="mid" x="{middle:.1f}" y="{_HEIGHT - 6}">{axis}</text>'


_LIBRARIES_TOLD: Final = 50

_START: Final = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src '{style_hash}'; \
script-src '{script_hash}'">
<style>{style}</style>
"""

_HEADER: Final = """<title>Audit of {libraries}</title>
</head>
<body>
<a class="skip" href="#stacks">To the stacks</a>
<header>
<h1>Audit of {libraries}</h1>
<p>{stacks}{not_judged}, {bad}.</p>
</header>
<main>"""


@cache
def _asset(name: str) -> tuple[str, str]:
    """Return a file of the page and its hash for the content policy."""
    text = files("service.audit").joinpath(name).read_text("utf-8")
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")
    return text, f"sha256-{digest}"


def _start() -> str:
    """Return the beginning of the page, which is the same in every audit."""
    style, style_hash = _asset("page.css")
    return _START.format(style=style, style_hash=style_hash, script_hash=_asset("page.js")[1])


class HtmlOutput(Output):
    """A page of the summary and of all stacks."""

    def __init__(self, path: Path, book: Rulebook | None = None) -> None:
        super().__init__(path)
        self._titles = {} if book is None else {rule.code: rule.title for rule in book.rules}
        self._names: dict[str, int] = {}
        self._entries: list[list[Any]] = []
        self._parts: list[list[Any]] = []

    @property
    def extract(self) -> Extract:
        """The sections of the report."""
        return sections_of

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Open the file at a saved state, with the stacks of the block that is not full."""
        super().go_on(state)
        self._names, self._entries = dict(state["names"]), list(state["entries"])

    def state(self) -> dict[str, Any]:
        """Return the state with the stacks of the block that is not full."""
        return {**super().state(), "names": self._names, "entries": self._entries}

    def head(self) -> bytes:
        """The beginning of the page; the stacks follow."""
        return _start().encode()

    def add(self, library: str, answer: LineAnswer, marks: Sequence[Mark] = ()) -> None:
        """Keep one stack, and write a block of them."""
        number = self._names.setdefault(library, len(self._names))
        self._entries.append(entry_of(number, answer, marks))
        if len(self._entries) == BLOCK:
            self.write(block(self._entries))
            self._entries = []

    def add_part(self, found: PartFinding, item: AuditItem, mark: Mark) -> None:
        """Keep a finding on a part for the causes."""
        self._titles.setdefault(found.code, found.title)
        self._parts.append([", ".join(found.places), item_row(item, mark)])

    def finish(self, summary: AuditSummary, standing: Standing = NOTHING_KNOWN) -> None:
        """Write the last block and the summary."""
        if self._entries:
            self.write(block(self._entries))
        told = {
            "libraries": list(self._names),
            "titles": self._titles,
            "parts": self._parts,
            "against": summary.against is not None,
            "covers": standing.baseline is not None or bool(standing.waivers),
        }
        self.write("\n".join(_rest(summary, told)).encode())


def page(summary: AuditSummary) -> str:
    """Return the page of a summary without stacks."""
    return _start() + "\n".join(_rest(summary, {}))


def _rest(summary: AuditSummary, told: Mapping[str, Any]) -> Iterator[str]:
    """Yield what follows the stacks."""
    yield _HEADER.format(
        libraries=_libraries(summary.libraries),
        stacks=count(summary.stacks, "stack"),
        not_judged=not_judged_words(summary),
        bad=count(summary.bad_lines, "invalid line"),
    )
    yield from _invalid(summary.invalid_parts)
    if summary.against is not None:
        yield from _differences(summary.against)
    yield from _verdicts(summary)
    if told:
        yield _EXPLORER
    yield from _codes("Findings", "findings", "No findings.", summary.findings)
    yield from _codes("Undecided", "undecided", "All rules were decided.", summary.undecided)
    yield from _gaps(summary)
    yield from _distributions(summary)
    yield from _waivers(summary.waivers)
    yield from _parts(summary)
    yield from _worst(summary.worst)
    yield from _bad(summary.first_bad_lines, summary.bad_lines)
    yield from _per_library(summary.libraries)
    yield "</main>"
    yield from _footer(summary)
    if told:
        # A script element ends at the first "</script", whatever quotes it is in.
        text = json.dumps(told, ensure_ascii=False, separators=(",", ":")).replace("<", "\\u003c")
        yield f'<script type="application/json" id="told">{text}</script>'
        yield f"<script>{_asset('page.js')[0]}</script>"
    yield "</body>\n</html>\n"


_EXPLORER: Final = """<h2 id="stacks" tabindex="-1">Stacks</h2>
<div id="explorer"><p>The list of all stacks needs scripts, which are part of this file.</p></div>"""


def _invalid(parts: Sequence[InvalidPart]) -> Iterator[str]:
    """Yield the parts for which stacks are not judged, first of all: nothing else is known of those stacks."""
    if not parts:
        return
    yield '<h2 id="invalid-parts">Invalid parts</h2>'
    told = parts[:_CAUSES_TOLD]
    left = f"; the first {len(told)} of {len(parts)}, the JSON summary has all" if len(parts) > len(told) else ""
    rows = (
        (
            _head(one.part or "a part"),
            _cell(one.source),
            _cell(one.reason),
            _figure(one.stacks),
            _cell(
                ("; ".join(one.first) or "none")
                + (f"; and {one.stacks - len(one.first)} more" * (one.stacks > len(one.first)))
            ),
        )
        for one in told
    )
    about = f"Stacks that refer to these parts are not judged{left}."
    yield from _table(about, ("Part", "Defined in", "What is wrong", "Stacks", "Waiting stacks"), rows)


_CAUSES_TOLD: Final = 100


def _differences(one: Against) -> Iterator[str]:
    yield f'<h2 id="differences">Differences from {escape(one.audit)}</h2>'
    yield f"<p>{against_words(one)[:1].upper()}{against_words(one)[1:]}.</p>"
    for title, many, first in (
        ("New", one.new, one.first_new),
        ("Changed", one.updated, one.first_updated),
        ("Fixed", one.fixed, one.first_fixed),
        ("Stack not judged this time", one.gone, one.first_gone),
    ):
        if first:
            left = f", the first {len(first)} of {many}; the .sarif file has all" if many > len(first) else ""
            rows = (
                (
                    _head(noted.stack or "library"),
                    _cell(noted.code),
                    _word(noted.severity if noted.kind == "finding" else "undecided"),
                    _cell(noted.message + before_words(noted)),
                )
                for noted in first
            )
            yield from _table(f"{title}: {many}{left}.", ("Stack", "Code", "Severity", "Finding"), rows)


def _waivers(waivers: Sequence[WaiverOutcome]) -> Iterator[str]:
    if not waivers:
        return
    yield '<h2 id="waivers">Waivers</h2>'
    rows = (
        (
            _head(one.stack),
            _cell(one.code),
            _cell(one.expires),
            _cell(one.owner),
            _cell(one.reason),
            _figure(one.findings),
            _cell(one.said or "in force"),
        )
        for one in waivers
    )
    heads = ("Stack", "Code", "Until", "Owner", "Reason", "Findings", "State")
    yield from _table("As in the waiver file.", heads, rows)


def _gaps(summary: AuditSummary) -> Iterator[str]:
    if not summary.gaps:
        return
    yield '<h2 id="gaps">Missing data</h2>'
    rows = (
        (
            _head(gap_words(one)),
            _figure(one.decides),
            _figure(one.stacks),
            _figure(one.parts or ""),
            _cell(", ".join(one.rules)),
        )
        for one in summary.gaps
    )
    heads = ("To state", "Decides alone", "Missing on", "Parts", "Rules")
    yield from _table(f"{gaps_title(summary)}.", heads, rows)


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
    if summary.stacks_not_judged:
        yield f'<li class="bad">not judged <strong>{summary.stacks_not_judged}</strong> stacks with invalid parts</li>'
    yield "</ul>"


def _codes(title: str, name: str, none: str, counts: Sequence[CodeCount]) -> Iterator[str]:
    yield f'<h2 id="{name}">{title}</h2>'
    if not counts:
        yield f"<p>{none}</p>"
        return
    rows = ((_head(one.code), _word(one.severity), _cell(one.title), _figure(one.stacks)) for one in counts)
    about = f"{title} by number of stacks, most severe first."
    yield from _table(about, ("Code", "Severity", "Title", "Stacks"), rows)


def _distributions(summary: AuditSummary) -> Iterator[str]:
    yield '<h2 id="runout">Distributions</h2>'
    yield '<div class="plots">'
    runout = [
        Bin(one.from_um, f"{bin_words(place)} µm", one.stacks) for place, one in enumerate(summary.runout_histogram)
    ]
    yield from _plot("runout", *_RUNOUT, runout, summary.runout_not_known)
    for one in summary.distributions:
        bins = [
            Bin(bar.low, f"{bar.low:g} and more" if bar.high is None else f"{bar.low:g} to {bar.high:g}", bar.stacks)
            for bar in one.bins
        ]
        yield from _plot(one.of, *_RATIOS[one.of], bins, one.not_known, 1.0)
    yield "</div>"


_RUNOUT: Final = ("Runout at the gauge plane, 95th percentile", "runout (total indicator reading), µm")
_RATIOS: Final = {
    "runout_share": ("Share of the runout limit used", "runout, 95th percentile, over its limit"),
    "speed_ratio": ("Speed reserve", "lowest speed limit over programmed speed"),
}


def _plot(
    name: str, title: str, axis: str, bins: Sequence[Bin], not_known: int, limit: float | None = None
) -> Iterator[str]:
    yield f"<section>\n<h3>{title}</h3>"
    if any(one.stacks for one in bins):
        yield "<figure>"
        yield svg_histogram(name, f"Stacks by {axis}", axis, bins, not_known, limit)
        yield "</figure>"
    rows = [(_head(one.words), _figure(one.stacks)) for one in bins if one.stacks]
    rows.append((_head("not known"), _figure(not_known)))
    yield "<details><summary>Figures</summary>"
    yield from _table("Empty bins are omitted.", (title, "Stacks"), rows)
    yield "</details>\n</section>"


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
    yield from _table(f"{parts_title(summary)}.", ("Code", "Severity", "Title", "Number", "First of them"), rows)


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
    yield "<footer>"
    yield from (f"<p>{escape(one)}</p>" for one in general_cautions())
    yield "<dl>"
    for name, value in (
        ("stackgauge", summary.version),
        ("rulebooks, SHA-256", summary.rulebook_sha256),
        ("catalogue, SHA-256", summary.catalogue_sha256 or "none mounted"),
    ):
        yield f"<dt>{name}</dt><dd><code>{value}</code></dd>"
    yield "</dl>\n</footer>"


def _table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """Return a table with columns of figures aligned right, as their cells are."""
    figures = {"Stacks", "Invalid lines", "Runout, µm", "Findings", "Decides alone", "Missing on"}
    yield f'<div class="table" tabindex="0" role="group" aria-label="{escape(caption)}"><table>'
    yield f"<caption>{escape(caption)}</caption>\n<thead><tr>"
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
