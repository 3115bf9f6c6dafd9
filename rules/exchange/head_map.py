"""An operator's map of column heads and of DIN 4000 property names to fields of components."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, Field
from pydantic_core import PydanticCustomError

from rules.exchange.fields import is_field
from rules.exchange.symbols import symbols
from rules.quantities.models import Model, Text
from rules.schema.imports import ComponentKind
from rules.schema.parsing import parse
from rules.schema.strict_json import parse_json

__all__ = ["MAX_MAP_BYTES", "NO_MAP", "HeadMap", "Outline", "PropertyList", "folded", "numbered_of", "read_map"]

MAX_MAP_BYTES: Final = 64 * 1024
MAX_PIECES: Final = 20
"""Most numbered values of an outline."""

Outline = Literal["individual", "cumulative"]
"""Whether each of the numbered lengths of a body counts alone or from the workpiece end."""


_NUMBERED: Final = re.compile(r"(BD|LB|BHTA)_?([1-9][0-9]?)")


def numbered_of(name: str) -> tuple[str, int] | None:
    """Return symbol and number of a numbered value of an outline.

    >>> numbered_of("bd_2"), numbered_of("LB1"), numbered_of("BD_21"), numbered_of("BDX")
    (('BD', 2), ('LB', 1), None, None)
    """
    found = _NUMBERED.fullmatch(name.upper())
    return None if found is None or int(found[2]) > MAX_PIECES else (found[1], int(found[2]))


def _known(name: str) -> str:
    if name.upper() not in symbols() and not is_field(name.lower()) and numbered_of(name) is None:
        raise PydanticCustomError("unknown_head", "neither a symbol nor a field of a component")
    return name


Target = Annotated[Text, AfterValidator(_known)]
"""Symbol or path of a field."""

_Targets = Annotated[dict[Text, Target | None], Field(max_length=400)]


class PropertyList(Model):
    """Property names of one figure of one list of DIN 4000."""

    list: Text = Field(description="List as the document names it.", examples=["DIN 4000-89"])
    figure: Text | None = Field(None, description="Figure of the list; any if absent.", examples=["1"])
    kind: ComponentKind | None = Field(None, description="Kind of these parts.")
    fields: _Targets = Field(description="Field or symbol by property name; null to pass over it.")


class HeadMap(Model):
    """What names of other documents mean."""

    heads: _Targets = Field({}, description="Field or symbol by column head; null to pass over the column.")
    outline: Outline | None = Field(None, description="Meaning of the numbered lengths LB_1, LB_2.")
    din_4000: Annotated[list[PropertyList], Field(max_length=200)] = Field(
        [], description="Meaning of DIN 4000 property names, by list and figure."
    )

    def head(self, name: str) -> tuple[bool, str | None]:
        """Return whether the map has the head, case and blanks at its ends aside, and what it means."""
        wanted = folded(name)
        found = next((one for one in self.heads if folded(one) == wanted), None)
        return found is not None, None if found is None else self.heads[found]


NO_MAP: Final = HeadMap()


def folded(name: str) -> str:
    """Return a head as it is compared.

    >>> folded("  Shank   Diameter ")
    'shank diameter'
    """
    return " ".join(name.split()).casefold()


def read_map(data: bytes) -> HeadMap:
    """Return the map in a JSON text.

    Raises :class:`~rules.schema.parsing.BadRequestError` or :class:`~rules.schema.strict_json.NotJSONError`.
    """
    value: Mapping[str, object] = parse_json(data)
    return parse(HeadMap, value)
