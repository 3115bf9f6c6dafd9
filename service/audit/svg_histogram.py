"""The histogram of an audit as a drawing that stands in a page of its own: no script, nothing fetched."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from service.audit.histogram import bin_words
from service.audit.summary import BinCount

__all__ = ["svg_histogram"]

_WIDTH: Final = 760
_HEIGHT: Final = 260
_LEFT: Final = 64
_RIGHT: Final = 12
_TOP: Final = 18
_BOTTOM: Final = 46
_LABELLED_UM: Final = 10


def svg_histogram(bins: Sequence[BinCount], not_known: int) -> str:
    """Draw the bins as bars from zero, with an axis of round counts; title and description say the same in words."""
    most = max(one.stacks for one in bins)
    top, step = _axis(most)
    wide = (_WIDTH - _LEFT - _RIGHT) / len(bins)
    known = sum(one.stacks for one in bins)
    fullest = max(range(len(bins)), key=lambda place: bins[place].stacks)
    about = (
        f"{known} stacks with a known runout, {not_known} without;"
        f" most of them, {most}, at {bin_words(fullest)} µm. The table holds every figure."
    )
    parts = [
        f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" aria-labelledby="histogram-title histogram-about">',
        '<title id="histogram-title">Stacks by their 95 % runout at the gauge plane</title>',
        f'<desc id="histogram-about">{about}</desc>',
        *_grid(top, step),
        *(_bar(place, one, top, wide) for place, one in enumerate(bins) if one.stacks),
        *_scale(bins, wide),
        "</svg>",
    ]
    return "\n".join(parts)


def _axis(most: int) -> tuple[int, int]:
    """Return the end of the axis and its step: 1, 2 or 5 times a power of ten, four to ten steps.

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
    for count in range(0, top + 1, step):
        y = _HEIGHT - _BOTTOM - _height(count, top)
        yield f'<line class="grid" x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>'
        yield f'<text class="end" x="{_LEFT - 6}" y="{y + 4:.1f}">{count}</text>'


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
