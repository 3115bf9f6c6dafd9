"""Large invented libraries, one line of JSON per stack, identical for identical arguments.

Run: python -m tests.support.libraries LIBRARY [STACKS [SEED [inline|references]]]
"""

from __future__ import annotations

import json
import random
import sys
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any, Literal, TypeAlias

from tests.support.operations import operation_of
from tests.support.toolroom_parts import PRESS_RANGES, SHANK_LENGTHS, SPINDLES, Part, Spindle, old_card, parts

__all__ = ["Style", "flawless_request", "library_lines", "write_library"]

Style: TypeAlias = Literal["inline", "references"]

OLD_SHARE = 0.10
"""Share of stacks with missing data."""

MISTAKEN_SHARE = 0.07
"""Share of stacks with parts that do not fit or a limit that is exceeded."""

_DEFINITIONS_A_LINE = 100
_LOST_FROM = {
    "base_holder": ("runout", "mass_kg", "max_speed_rpm"),
    "collet": ("runout", "mass_kg"),
    "extension": ("runout", "max_speed_rpm"),
    "cutter": ("runout", "unbalance_g_mm", "max_speed_rpm"),
}
_SETTING_SPEEDS = {"press": 140, "nut": 110, "shrink": 160, "hydraulic": 130, "side_lock": 90, "shell": 150}


def write_library(path: Path, stacks: int = 100_000, seed: int = 1, style: Style = "inline") -> None:
    """Write this number of stacks; with ``references`` the parts come first and stacks refer to them by number."""
    with path.open("wb") as file:
        file.writelines(library_lines(stacks, seed, style))


def library_lines(stacks: int, seed: int = 1, style: Style = "inline") -> Iterator[bytes]:
    """Yield the lines of a library; stacks are the same in both styles."""
    rng = random.Random(seed)
    catalogue = _catalogue()
    if style == "references":
        listed = [(key, {"id": "part", **part}) for key, part in catalogue.items()]
        for start in range(0, len(listed), _DEFINITIONS_A_LINE):
            yield _line({"components": dict(listed[start : start + _DEFINITIONS_A_LINE])})
    for number in range(stacks):
        yield _line(_request(rng, number, catalogue, style))


def _line(value: dict[str, Any]) -> bytes:
    return json.dumps(value, separators=(",", ":")).encode() + b"\n"


@cache
def _catalogue() -> dict[str, Part]:
    """Return every part, and for some an old card with a missing field."""
    made = dict(parts())
    for place, part in enumerate(parts().values()):
        lost = _LOST_FROM.get(part["kind"])
        if lost and place % 2 == 0:
            old = old_card(part, lost[place // 2 % len(lost)])
            made[old["part_number"]] = old
    return made


class _Draft:
    """A stack under construction: part numbers from the spindle side, grip lengths by index of the upper part."""

    def __init__(self, rng: random.Random, spindle: Spindle) -> None:
        self.rng = rng
        self.spindle = spindle
        self.keys: list[str] = ["KB-RK-40JD"] if spindle.name == "ST40" else []
        self.grips: dict[int, float] = {}

    def holder(self, sign: str, gauges: tuple[int, ...]) -> None:
        self.keys.append(f"KB-{self.spindle.name}-{sign}-{self.rng.choice(gauges):03}")

    def hold(self, grip: float, key: str) -> None:
        """Add a part to the last one, with a grip length."""
        self.grips[len(self.keys) - 1] = grip
        self.keys.append(key)

    def press_in(self, seat: str, shank: int) -> float:
        """Add the collet for a shank and return the grip length."""
        self.keys.append(f"KB-{seat}-{shank}")
        return round(0.72 * SHANK_LENGTHS[shank]) + 4.0

    def end_mill(self, diameter: int, grip: float, form: str = "") -> None:
        length = self.rng.choice(("", "", "L"))
        self.hold(grip, f"KB-EM{diameter}{length}{form}-{3 if diameter < 8 else 4}")


def _press(draft: _Draft) -> int:
    rng = draft.rng
    seat = rng.choice(("press-12", "press-16", "press-25", "press-25", "press-40"))
    draft.holder(seat, (75, 100, 130, 160))
    if seat in ("press-25", "press-40") and rng.random() < 0.5:
        shank = {"press-25": (12, 16), "press-40": (16, 20, 25)}[seat]
        return _extended(draft, draft.press_in(seat, size := rng.choice(shank)), size)
    least, most = PRESS_RANGES[seat]
    diameter = rng.choice([size for size in SHANK_LENGTHS if least <= size <= most])
    draft.end_mill(diameter, draft.press_in(seat, diameter))
    return diameter


def _extended(draft: _Draft, grip: float, shank: int) -> int:
    """Add an extension with this shank and grip length, and an end mill in its collet or shrink-fit bore."""
    rng = draft.rng
    reach = rng.choice((60, 100))
    inner = {16: "press-12", 25: "press-16"}.get(shank)
    if inner and rng.random() < 0.6:
        draft.hold(grip, f"KB-X{shank}-{reach:03}-{inner}")
        least, most = PRESS_RANGES[inner]
        diameter = rng.choice([size for size in SHANK_LENGTHS if least <= size <= most])
        draft.end_mill(diameter, draft.press_in(inner, diameter))
        return diameter
    diameter = {12: 6, 16: 8, 20: 10, 25: 12}[shank]
    draft.hold(grip, f"KB-X{shank}-{reach:03}-S{diameter:02}")
    draft.end_mill(diameter, SHANK_LENGTHS[diameter] - 2)
    return diameter


def _nut(draft: _Draft) -> int:
    size, bores, grip = draft.rng.choice(
        (("16", (3, 4, 6, 8, 10), 27.5), ("25", (6, 8, 10, 12), 34.0), ("32", (6, 10, 12, 16, 20), 40.0))
    )
    draft.holder(f"N{size}", (70, 100, 130))
    diameter = draft.rng.choice(bores)
    draft.keys.append(f"KB-N{size}-{diameter}")
    draft.end_mill(diameter, min(grip, SHANK_LENGTHS[diameter] - 1))
    return diameter


def _bored(sign: str, gauges: tuple[int, ...], bores: tuple[int, ...], form: str = "") -> Callable[[_Draft], int]:
    def build(draft: _Draft) -> int:
        bore = draft.rng.choice(bores)
        draft.holder(f"{sign}{bore:02}", gauges)
        draft.end_mill(bore, SHANK_LENGTHS[bore] - 2, form)
        return bore

    return build


def _shell(draft: _Draft) -> int:
    pilot, cutting = draft.rng.choice(((16, 40), (22, 50), (27, 63), (32, 80)))
    draft.holder(f"A{pilot}", (50, 100))
    draft.keys.append(f"KB-SM{cutting}-{draft.rng.choice((cutting // 13, cutting // 10))}")
    return cutting


_BUILDERS: dict[str, Callable[[_Draft], int]] = {
    "press": _press,
    "nut": _nut,
    "shrink": _bored("S", (85, 120, 160), (6, 8, 10, 12, 16, 20)),
    "hydraulic": _bored("H", (80, 110), (12, 20)),
    "side_lock": _bored("L", (65, 100), (6, 8, 10, 12, 16, 20, 25), "F"),
    "shell": _shell,
}
_RUNOUT_LIMITS = {"press": 40, "nut": 80, "shrink": 40, "hydraulic": 40, "side_lock": 60, "shell": 60}


def flawless_request(rng: random.Random, number: int) -> dict[str, Any]:
    """Return a stack in which nothing is forgotten or mistaken, for machines that take the shop's longest stacks."""
    made = _request(rng, number, _catalogue(), "inline", flawless=True)
    return {**made, "machine": {**made["machine"], "max_tool_length_mm": 400}}


def _request(
    rng: random.Random, number: int, catalogue: dict[str, Part], style: Style, *, flawless: bool = False
) -> dict[str, Any]:
    spindle = SPINDLES[rng.choice(("HT63", "HT63", "HT100", "ST40"))]
    family = rng.choices(list(_BUILDERS), weights=(8, 6, 5, 2, 3, 2))[0]
    draft = _Draft(rng, spindle)
    diameter = _BUILDERS[family](draft)
    speed = min(round(_SETTING_SPEEDS[family] * 1000 / (3.1416 * diameter), -1), 9000)
    operation: dict[str, Any] = {
        "spindle_speed_rpm": speed,
        "runout_limit_um": _RUNOUT_LIMITS[family],
        "balance_grade": "G40",
        "coolant": "external",
    }
    luck = 1.0 if flawless else rng.random()
    if luck < MISTAKEN_SHARE:
        _mistake(rng, draft, operation)
    elif luck < MISTAKEN_SHARE + OLD_SHARE:
        _forget(rng, draft, catalogue)
    return {
        "stack": {
            "id": f"KB-{number:07}",
            "description": f"{family.replace('_', ' ')} stack for {diameter} mm",
            **_put_together(draft, catalogue, style),
        },
        "operations": [operation_of(operation)],
        "machine": spindle.machine,
    }


def _put_together(draft: _Draft, catalogue: dict[str, Part], style: Style) -> dict[str, Any]:
    components: list[Part] = []
    names = [f"{catalogue[key]['kind'].replace('_', '-')}-{place}" for place, key in enumerate(draft.keys)]
    for name, key in zip(names, draft.keys, strict=True):
        if style == "references":
            components.append({"kind": "reference", "of": {"from": "request", "key": key}, "id": name})
        else:
            components.append({"id": name, **catalogue[key]})
    joints = [
        {"upper": names[place], "lower": names[place + 1], "grip_length_mm": grip}
        for place, grip in draft.grips.items()
    ]
    return {"components": components, "joints": joints} if joints else {"components": components}


def _mistake(rng: random.Random, draft: _Draft, operation: dict[str, Any]) -> None:
    kind = rng.randrange(5)
    if kind == 0:
        operation["runout_limit_um"] = 2
    elif kind == 1:
        operation["spindle_speed_rpm"] = 40000
    elif kind == 2 and draft.grips:
        draft.grips[max(draft.grips)] = 4.0
    elif kind == 3:
        operation["coolant"] = "through"
        draft.keys[-1] = draft.keys[-1] if "SM" in draft.keys[-1] else "KB-EM5-3"
    else:
        draft.keys[-1] = "KB-EM18-4"


def _forget(rng: random.Random, draft: _Draft, catalogue: dict[str, Part]) -> None:
    old = [place for place, key in enumerate(draft.keys) if f"{key}-OLD" in catalogue]
    if old and rng.random() < 0.8:
        place = rng.choice(old)
        draft.keys[place] += "-OLD"
    elif draft.grips:
        del draft.grips[max(draft.grips)]


def main() -> None:
    """Write a library from the command line."""
    given = dict(enumerate(sys.argv[1:]))
    style: Style = "references" if given.get(3) == "references" else "inline"
    write_library(Path(given[0]), int(given.get(1, "100000")), int(given.get(2, "1")), style)


if __name__ == "__main__":
    main()
