"""The waiver file of an audit: findings that somebody has accepted, written by hand in YAML or JSON."""

from __future__ import annotations

import copy
from functools import cache
from typing import Annotated, Any, Final

from pydantic import Field, StringConstraints

from rules.quantities.models import Identifier, Model, Text

__all__ = ["WAIVER_SCHEMA_ID", "WAIVER_SCHEMA_PATH", "Waiver", "WaiverFile", "waiver_schema"]

WAIVER_SCHEMA_PATH: Final = "/v1/schemas/audit-waivers.json"
"""Where a service serves the schema."""

WAIVER_SCHEMA_ID: Final = f"https://stackgauge.invalid{WAIVER_SCHEMA_PATH}"
"""Its name, the same in every installation."""

_SaidWhy = Annotated[str, StringConstraints(min_length=1, max_length=500, pattern=r"\S")]


class Waiver(Model):
    """One accepted finding."""

    code: Annotated[str, StringConstraints(pattern=r"^[A-Z]{2,8}-[0-9]{3}$")] = Field(
        description="Code of the rule.", examples=["OVH-020"]
    )
    stack: Identifier = Field(description="Id of the stack.", examples=["KB-0204"])
    at: Annotated[str, StringConstraints(max_length=500, pattern="^(/.*)?$")] | None = Field(
        None,
        description="JSON Pointer into the request; only findings at it or below it are waived. All if absent.",
        examples=["/stack/components/1"],
    )
    reason: _SaidWhy = Field(description="Why the finding is acceptable.", examples=["proven by a trial cut"])
    owner: Text = Field(min_length=1, description="Who answers for it.", examples=["tool room"])
    expires: Annotated[str, StringConstraints(min_length=1, max_length=40)] = Field(
        description="Last day on which it holds, as YYYY-MM-DD. A lapsed or unreadable day makes it void.",
        examples=["2031-06-30"],
    )
    limit: float | None = Field(
        None,
        description="Farthest observed value, in the unit of the finding, up to which the waiver holds.",
        examples=[14.5],
    )


class WaiverFile(Model):
    """A list of waivers."""

    waivers: list[Waiver] = Field(max_length=20_000, description="Accepted findings.")


@cache
def waiver_schema() -> dict[str, Any]:
    """Return the JSON Schema of the file, draft 2020-12, for editors."""
    root = copy.deepcopy(WaiverFile.model_json_schema())
    root["properties"]["$schema"] = {"type": "string", "description": "Address of this schema, for editors; ignored."}
    root["$defs"]["Waiver"]["properties"]["expires"]["format"] = "date"
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": WAIVER_SCHEMA_ID, **root}
