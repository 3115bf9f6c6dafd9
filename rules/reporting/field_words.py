"""Fields of a request in words: '/stack/components/1/runout' is the runout of collet-1."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from rules.schema.components import ComponentReference
from rules.schema.request import Stack

__all__ = ["enumerated", "field_in_words"]

_UNIT: Final = re.compile(r"_(?:mm|um|gmm|kg|rpm|deg)$")
_LONGEST_LIST: Final = 3


def field_in_words(pointer: str, stack: Stack) -> str:
    """Name a field of the request.

    >>> stack = Stack.model_validate({"components": [{"kind": "collet", "id": "c1"}]})
    >>> field_in_words("/stack/components/0/workpiece_side/length_mm", stack)
    'workpiece side length of c1'
    """
    steps = pointer.split("/")[1:]
    number, rest = "".join(steps[2:3]), steps[3:]
    if steps[:2] == ["stack", "components"]:
        if not number.isdigit():
            return "the cutter at the end"
        entry = stack.components[int(number)]
        owner = entry.id or (entry.of if isinstance(entry, ComponentReference) else "")
    elif steps[:2] == ["stack", "joints"]:
        joints = stack.joints or []
        joint = joints[int(number)] if number.isdigit() and int(number) < len(joints) else None
        owner = "a joint" if joint is None else f"{joint.upper}/{joint.lower}"
    else:
        owner, rest = f"the {steps[0]}", steps[1:]
    words = " ".join(_UNIT.sub("", step).replace("_", " ") for step in rest if not step.isdigit())
    return f"{words} of {owner}" if words else owner


def enumerated(words: Sequence[str]) -> str:
    """List one word or more, the first few by name.

    >>> enumerated(["a", "b"]), enumerated(["a", "b", "c", "d", "e"])
    ('a and b', 'a, b, c and 2 more')
    """
    shown = list(words[:_LONGEST_LIST])
    if len(words) > _LONGEST_LIST:
        shown.append(f"{len(words) - _LONGEST_LIST} more")
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"
