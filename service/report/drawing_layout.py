"""Where labels go: side by side without overlap, and lines in lanes."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["lanes", "spread"]


def spread(wanted: Sequence[float], widths: Sequence[float], first: float, last: float) -> list[float]:
    """Return middles of labels in a row, as near as can be to where they are wanted, none over another.

    Least squares under the order given, by pooling neighbours that would overlap. Wanted middles ascend. What does not
    fit between first and last runs over the last.

    >>> spread([10.0, 11.0, 50.0], [10.0, 10.0, 10.0], 0.0, 100.0)
    [5.5, 15.5, 50.0]
    """
    offsets, total = [], 0.0
    for width in widths:
        offsets.append(total + width / 2.0)
        total += width
    # without their own widths the middles only have to ascend: isotonic regression
    pools: list[list[float]] = []
    for middle, offset in zip(wanted, offsets, strict=True):
        pools.append([middle - offset, 1.0])
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            value, count = pools.pop()
            before, weight = pools[-1]
            pools[-1] = [(before * weight + value * count) / (weight + count), weight + count]
    free = [value for value, count in pools for _ in range(int(count))]
    most = max(first, last - total)
    return [min(max(value, first), most) + offset for value, offset in zip(free, offsets, strict=True)]


def lanes(spans: Sequence[tuple[float, float]], gap: float) -> list[int]:
    """Return a lane for each span, so that in one lane none comes nearer to another than the gap.

    Short spans first, so that they lie nearest to what they measure.

    >>> lanes([(0.0, 100.0), (10.0, 20.0), (30.0, 40.0)], 5.0)
    [1, 0, 0]
    """
    taken: list[list[tuple[float, float]]] = []
    chosen = [0] * len(spans)
    order = sorted(range(len(spans)), key=lambda place: (spans[place][1] - spans[place][0], spans[place], place))
    for place in order:
        start, end = spans[place]
        lane = 0
        while lane < len(taken) and any(start < e + gap and s < end + gap for s, e in taken[lane]):
            lane += 1
        if lane == len(taken):
            taken.append([])
        taken[lane].append((start, end))
        chosen[place] = lane
    return chosen
