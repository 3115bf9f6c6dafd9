"""Example requests and documents of an invented shop, the Kestrel Bay Toolroom.

They are in the OpenAPI document and in ``openapi/examples``. The readiness check uses the first one.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from rules.rulebook.loader import base_request

__all__ = [
    "BATCH_EXAMPLES",
    "BATCH_LINES",
    "BUDGET_EXAMPLES",
    "CALIBRATION_EXAMPLES",
    "COMPARISON_EXAMPLES",
    "CSV_EXAMPLE",
    "EXAMPLES",
    "EXPLANATION_EXAMPLES",
    "EXTENDED",
    "GATE_EXAMPLES",
    "P21_EXAMPLE",
    "READING_EXAMPLES",
    "SEARCH_EXAMPLES",
    "XML_EXAMPLE",
    "RequestExample",
]


@dataclass(frozen=True, slots=True)
class RequestExample:
    """An example request with its summary."""

    summary: str
    request: Mapping[str, Any]


EXTENDED: Final = "extended"
"""Name of the complete example."""


def _catalogue_page() -> dict[str, Any]:
    """A collet chuck, a collet and an end mill, by standard and size."""
    keys = {"holder": "generic:holder:HSK-A63:iso15488-32:100", "collet": "iso15488:32:12", "mill": "din6535:HA12:83"}
    parts: list[dict[str, Any]] = [
        {"kind": "reference", "id": name, "of": {"from": "standard", "key": key}} for name, key in keys.items()
    ]
    parts[-1]["with"] = {"cutting_diameter_mm": 12, "teeth": 4}
    joints = [{"upper": "collet", "lower": "mill", "projection_mm": 40}]
    spindle = {"coupling": "designated", "designation": "HSK-A63"}
    cut = {"kind": "milling", "axial_depth_mm": 12, "radial_depth_mm": 3, "work_material": "42crmo4"}
    return {
        "stack": {"id": "KB-T-0032", "components": parts, "joints": joints},
        "machine": {"kind": "stated", "spindle": spindle, "max_speed_rpm": 12000},
        "operations": [
            {
                "id": "10",
                "spindle_speed_rpm": 4800,
                "feed_per_tooth_mm": 0.07,
                "limits": {"runout": {"tir_um": 20}},
                "cut": cut,
            }
        ],
        "policy": {"unstated": "typical"},
    }


EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {
        EXTENDED: RequestExample(
            "8 mm end mill on an extension, press-in collets, with operation and machine",
            base_request("press_in"),
        ),
        "catalogue-page": RequestExample("What a catalogue page says; the rest assumed", _catalogue_page()),
        "patchy": RequestExample(
            "Stack with missing data: undecided rules, verdict review",
            {
                "stack": {
                    "id": "KB-T-0031",
                    "components": [
                        {
                            "id": "holder",
                            "kind": "base_holder",
                            "machine_side": {"coupling": "steep_taper", "size": "40"},
                            "workpiece_side": {"coupling": "nut_collet", "size": "16"},
                            "gauge_length_mm": 70,
                        },
                        {
                            "id": "collet",
                            "kind": "collet",
                            "machine_side": {"coupling": "nut_collet", "size": "16"},
                            "workpiece_side": {"coupling": "collet_bore", "nominal_mm": 6},
                        },
                        {
                            "id": "drill",
                            "kind": "cutter",
                            "machine_side": {"coupling": "cylindrical", "diameter_mm": 6, "tolerance": "h6"},
                            "cutting_diameter_mm": 6,
                        },
                    ],
                },
                "operations": [{"id": "10", "spindle_speed_rpm": 8000, "limits": {"runout": {"tir_um": 15}}}],
            },
        ),
    }
)
"""Requests by name, as in ``openapi/examples``."""


def _measured() -> dict[str, Any]:
    """A stack with three parts measured with direction, on a bench gauge."""
    request = base_request("press_in")
    del request["machine"]
    parts = {part["id"]: part for part in request["stack"]["components"]}
    for name, angle in (("holder", 20), ("extension", 150), ("end-mill", 300)):
        parts[name]["runout"]["law"] = "measured"
        for statement in parts[name]["runout"]["statements"]:
            statement["angle_deg"] = angle
    seats = ({"upper": "holder", "lower": "collet-1"}, {"upper": "extension", "lower": "collet-2"})
    request["stack"]["joints"] += seats
    for joint in request["stack"]["joints"]:
        joint["clocking_deg"] = 0
    return request | {"planes": [{"datum": "last_clamping_face", "distance_mm": 10}], "target_um": 8}


BUDGET_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {
        "stated": RequestExample(
            "Tolerance limits, and those required for 8 µm",
            base_request("press_in") | {"target_um": 8},
        ),
        "measured": RequestExample("Three parts measured with direction: clocking of the joints", _measured()),
    }
)


def _wide_collet() -> dict[str, Any]:
    """A shank in a collet that barely closes on it; what the rule does not read is left out."""
    _, collet, mill = base_request("nut_collet")["stack"]["components"]
    collet["workpiece_side"]["nominal_mm"] = 13
    kept = ("id", "kind", "machine_side", "workpiece_side")
    parts = [{name: part[name] for name in kept if name in part} for part in (collet, mill)]
    return {"stack": {"components": parts}, "code": "COL-020"}


EXPLANATION_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {"wide-collet": RequestExample("Collet near the end of its range", _wide_collet())}
)


def _extended_or_one_piece() -> dict[str, Any]:
    """An end mill on an extension, the same with more projection, and one in a long holder; parts stand once."""
    request = base_request("press_in")
    extended = request.pop("stack")
    parts = {part["id"]: part for part in extended["components"]}
    refer = {name: {"kind": "reference", "of": {"from": "request", "key": name}} for name in parts}
    extended["components"] = list(refer.values())
    long = {**extended, "id": "KB-long", "joints": [dict(joint) for joint in extended["joints"]]}
    long["joints"][-1]["grip_length_mm"] -= 6
    one_piece = {
        "id": "KB-one-piece",
        "components": [
            {
                "id": "long",
                "kind": "base_holder",
                "machine_side": parts["holder"]["machine_side"],
                "workpiece_side": {"coupling": "shrink_fit", "diameter_mm": 8, "depth_mm": 45},
                "gauge_length_mm": 170,
                "mass_kg": 1.6,
                "max_speed_rpm": 14000,
            },
            refer["end-mill"],
            refer["knob"],
        ],
        "joints": [{"upper": "long", "lower": "end-mill", "grip_length_mm": 34}],
    }
    return {
        "components": parts,
        "alternatives": [
            {"name": "extended", "stack": extended},
            {"name": "extended-long", "stack": long},
            {"name": "one-piece", "stack": one_piece},
        ],
        **request,
    }


COMPARISON_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {
        "extended-or-one-piece": RequestExample(
            "Extension, more projection, or a long holder with missing data",
            _extended_or_one_piece(),
        )
    }
)
"""Comparisons by name."""


def _with_pin() -> dict[str, Any]:
    """The extension in press-in collets with a gauge pin, without a knob."""
    stack: dict[str, Any] = base_request("press_in")["stack"]
    pin = {
        "id": "pin",
        "kind": "gauge_pin",
        "machine_side": {"coupling": "cylindrical", "diameter_mm": 8, "tolerance": "h5", "form": "plain"},
        "overall_length_mm": 90,
        "runout": {"statements": [{"tir_um": 1, "at_mm": 24}]},
    }
    first, clamp = stack["joints"]
    return {
        **stack,
        "id": "KB-T-0042-PIN",
        "components": [*stack["components"][:4], pin],
        "joints": [first, {**clamp, "lower": "pin"}],
    }


READING_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {
        "range": RequestExample(
            "TIR against a limit, without a stack",
            {
                "planes": [{"kind": "range", "distance_mm": 24, "tir_um": 9}],
                "limit_um": 10,
                "expanded_uncertainty_um": 1.5,
            },
        ),
        "trial": RequestExample(
            "Two planes on a gauge pin at four angles, with a 180° trial turn",
            {
                "planes": [
                    {"kind": "equal_steps", "distance_mm": 24, "readings_um": [4, 2, -4, -2]},
                    {
                        "kind": "dial",
                        "distance_mm": 48,
                        "points": [
                            {"angle_deg": 0, "reading_um": 5},
                            {"angle_deg": 90, "reading_um": 3},
                            {"angle_deg": 180, "reading_um": -5},
                            {"angle_deg": 270, "reading_um": -3},
                        ],
                    },
                ],
                "trial": {
                    "upper": "collet-2",
                    "lower": "pin",
                    "turned_deg": 180,
                    "plane": {"kind": "equal_steps", "distance_mm": 24, "readings_um": [1, 3, -1, -3]},
                },
                "stack": _with_pin(),
                "limit_um": 8,
                "expanded_uncertainty_um": 1.5,
            },
        ),
    }
)
"""Requests by name, as in ``openapi/examples``."""


def _build() -> dict[str, Any]:
    """The holder and the extension of a press-in stack, read one after the other."""
    request = base_request("press_in")

    def plane(distance_mm: float, *readings_um: float) -> dict[str, Any]:
        return {"kind": "equal_steps", "distance_mm": distance_mm, "roundness_um": 0.5, "readings_um": [*readings_um]}

    return {
        "stack": request["stack"],
        "instrument": {"expanded_uncertainty_um": 0.6, "resolution_um": 0.2, "positive": "outward"},
        "limit_um": 11,
        "stages": [
            {
                "part": "holder",
                "planes": [
                    plane(5, 0.4, 0.3, 0.0, -0.3, -0.4, -0.3, 0.0, 0.3),
                    plane(65, 0.7, 0.5, 0.0, -0.5, -0.7, -0.5, 0.0, 0.5),
                ],
            },
            {
                "part": "extension",
                "planes": [
                    plane(40, 1.8, 2.4, 1.6, -0.1, -1.8, -2.4, -1.6, 0.1),
                    plane(90, 2.6, 3.5, 2.3, -0.2, -2.6, -3.5, -2.3, 0.2),
                ],
            },
        ],
        "presetter": {"length_mm": 199.1, "diameter_mm": 8.006},
    }


BUILD_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {
        "two-stages": RequestExample("Holder and extension, each read after it was mounted", _build()),
        "assembled-tool": RequestExample(
            "An assembled tool as an import gives it, beside its stack",
            {
                "stack": base_request("nut_collet")["stack"],
                "machine": {"kind": "stated", "id": "mill 3", "max_tool_mass_kg": 1.4},
                "assembled": {
                    "id": "KB-T-0104",
                    "spindle_side": {"coupling": "designated", "designation": "HSK-A63"},
                    "functional_length_mm": 122.964,
                    "cutting_diameter_mm": 11.988,
                    "mass_kg": 1.41,
                    "status": ["measured"],
                },
            },
        ),
    }
)
"""Requests by name, as in ``openapi/examples``."""


def _reach_and_clearance() -> dict[str, Any]:
    """The parts of one stack and another collet; the reach requires the extension."""
    request = base_request("press_in")
    parts = {part["id"]: part for part in request.pop("stack")["components"]}
    other = {**parts["collet-2"], "workpiece_side": {**parts["collet-2"]["workpiece_side"]}}
    other["workpiece_side"].update(clamping_min_mm=6, clamping_max_mm=6)
    return {
        "components": {
            "KB-ST40-32": parts["holder"],
            "KB-32-25": parts["collet-1"],
            "KB-X25-16": parts["extension"],
            "KB-16-8": parts["collet-2"],
            "KB-16-6": other,
            "KB-EM8-3": parts["end-mill"],
            "KB-RK-40": parts["knob"],
        },
        "requirement": {
            "cutters": ["KB-EM8-3"],
            "projection": {"at_least_mm": 205, "at_most_mm": 230},
            "clearance": [{"to_mm": 25, "radius_mm": 4}, {"to_mm": 110, "radius_mm": 14}],
        },
        **request,
    }


def _nothing_found() -> dict[str, Any]:
    """A reach beyond the parts of a short stack."""
    request = base_request("nut_collet")
    parts = {part["id"]: part for part in request.pop("stack")["components"]}
    return {
        "components": {"KB-HT63-32": parts["holder"], "KB-32-12": parts["collet-1"], "KB-EM12-4": parts["end-mill"]},
        "requirement": {"cutters": ["KB-EM12-4"], "projection": {"at_least_mm": 300}},
        **request,
    }


SEARCH_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {
        "reach-and-clearance": RequestExample(
            "Deep pocket: extension drawn out to the required reach", _reach_and_clearance()
        ),
        "nothing-found": RequestExample("No stack reaches; closest alternatives with reasons", _nothing_found()),
    }
)
"""Searches by name."""


def _hydraulic_chucks() -> dict[str, Any]:
    """Gauge pin in hydraulic chucks of one kind, one of them with a chip in its bore."""
    holder = {
        "kind": "base_holder",
        "id": "holder",
        "machine_side": {"coupling": "hollow_taper", "size": "63", "form": "A"},
        "workpiece_side": {"coupling": "hydraulic", "diameter_mm": 12},
        "gauge_length_mm": 90,
    }
    pin = {
        "kind": "gauge_pin",
        "id": "pin",
        "machine_side": {"coupling": "cylindrical", "diameter_mm": 12, "tolerance": "h6", "length_mm": 100},
        "overall_length_mm": 100,
        "straightness_um": 0.4,
        "roundness_um": 0.5,
    }
    references = [{"kind": "reference", "of": {"from": "request", "key": key}} for key in ("KB-HY12", "KB-GP12")]
    joints = [{"upper": "holder", "lower": "pin", "projection_mm": 60}]
    return {
        "name": "KB-2031-06",
        "expanded_uncertainty_um": 1,
        "components": {"KB-HY12": holder, "KB-GP12": pin},
        "assemblies": [
            {
                "stack": {"components": references, "joints": joints},
                "readings": [{"distance_mm": 36, "tir_um": tir}],
            }
            for tir in (2.5, 4, 1.5, 3.5, 27, 4.5)
        ],
    }


CALIBRATION_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {"hydraulic-chucks": RequestExample("Gauge pin in six hydraulic chucks, one reading far off", _hydraulic_chucks())}
)
"""Calibrations by name."""


XML_EXAMPLE: Final = """\
<?xml version="1.0" encoding="UTF-8"?>
<MTConnectAssets xmlns="urn:mtconnect.org:MTConnectAssets:1.4">
  <Header version="1.4.0.1" creationTime="2031-05-04T08:00:00Z" sender="kestrel-bay" instanceId="1"
    assetBufferSize="16" assetCount="1"/>
  <Assets>
    <CuttingToolArchetype assetId="KB-EM12-4" timestamp="2031-05-04T08:00:00Z" toolId="KB-EM12-4">
      <CuttingToolLifeCycle>
        <ProcessSpindleSpeed maximum="24000"/>
        <Measurements>
          <ShankDiameter code="DMM" units="MILLIMETER" nominal="12"/>
          <OverallToolLength code="OAL" units="MILLIMETER" nominal="83"/>
          <CuttingDiameterMax code="DC" units="MILLIMETER" nominal="12"/>
          <DepthOfCutMax code="APMX" units="MILLIMETER" nominal="26"/>
          <Weight code="WT" nominal="118"/>
        </Measurements>
      </CuttingToolLifeCycle>
    </CuttingToolArchetype>
  </Assets>
</MTConnectAssets>
"""

P21_EXAMPLE: Final = """\
ISO-10303-21;
HEADER;
FILE_DESCRIPTION((''),'2;1');
FILE_NAME('','',(''),(''),'','','');
FILE_SCHEMA(('CUTTING_TOOL_SCHEMA_ARM'));
ENDSEC;
DATA;
#1=ITEM($,'KB-EM6-2',$);
#2=ITEM_VERSION(#1,$,'1');
#3=ITEM_DEFINITION(#2,(),'Body',$);
#4=SPECIFIC_ITEM_CLASSIFICATION((#1),'tool item',$);
#5=UNIT('mm');
#6=PLIB_PROPERTY_REFERENCE('71D084653E57F',$,'001');
#7=PROPERTY((#5),$,'',#6,'',$);
#8=NUMERICAL_VALUE('cutting diameter',$,#5,'6');
#9=PROPERTY_VALUE_REPRESENTATION(#7,$,$,#8,$);
#10=PROPERTY_VALUE_ASSOCIATION($,#3,#9,$,$);
ENDSEC;
END-ISO-10303-21;
"""

CSV_EXAMPLE: Final = """\
KIND,ID,DMM,TCDMM,LS,OAL,DC,NOF,WT,RUNOUT_UM,RUNOUT_AT_MM,machine_side.form,PRICE
cutter,KB-EM8-3,8,h6,36,63,8,3,0.043,3,24,plain,41.20
gauge_pin,KB-GP8,8,h6,100,100,,,0.04,1,24,plain,
cutter,KB-DR5,5,h6,,62,"5,0",2,,,,,
"""


def _extended_twice() -> dict[str, Any]:
    """An end mill on an extension with two grip lengths; shared definitions except the mill."""
    request = base_request("press_in")
    stack = request.pop("stack")
    *held, mill, knob = stack["components"]
    definitions = {part["id"]: part for part in (*held, knob)}
    references = [{"kind": "reference", "of": {"from": "request", "key": part["id"]}} for part in held]
    parts = [*references, mill, {"kind": "reference", "of": {"from": "request", "key": knob["id"]}}]
    short = [dict(joint) for joint in stack["joints"]]
    short[-1]["grip_length_mm"] = 9
    return {
        "components": definitions,
        **request,
        "stacks": [
            {"stack": {"id": "KB-T-0101", "components": parts, "joints": stack["joints"]}},
            {"stack": {"id": "KB-T-0102", "components": parts, "joints": short}},
        ],
        "include": [],
    }


_TWICE: Final = _extended_twice()

BATCH_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {"extended-twice": RequestExample("Two stacks with shared definitions, short verdicts", _TWICE)}
)
"""Batches as one document, by name."""


def _lines() -> str:
    """Two end mills in one chuck, and a line without components; the definitions go first."""
    request = base_request("nut_collet")
    stack = request.pop("stack")
    *held, mill = stack["components"]
    references = [{"kind": "reference", "of": {"from": "request", "key": part["id"]}} for part in held]
    stacks = [
        {"id": "KB-T-0101", "components": [*references, mill], "joints": stack["joints"]},
        {"id": "KB-T-0102", "components": [*references, {**mill, "max_speed_rpm": 5000}], "joints": stack["joints"]},
        {"id": "KB-T-0103", "components": []},
    ]
    shared = {"components": {part["id"]: part for part in held}, **request, "include": []}
    return "".join(json.dumps(one, ensure_ascii=False) + "\n" for one in (shared, *({"stack": one} for one in stacks)))


BATCH_LINES: Final = _lines()
"""A batch as lines, with a definitions line first and an invalid line last."""


def _for_a_gate(check: dict[str, Any]) -> dict[str, Any]:
    """State what a gate asks for beyond the base: envelope, drive, load and ratings of the clamps."""
    check["machine"].update(max_tilting_moment_n_m=20, max_torque_n_m=80, max_power_kw=15)
    check["operations"][0].update(feed_per_tooth_mm=0.3, load={"torque_n_m": 1.5, "axial_pull_n": 150})
    for place, torque in ((1, 160), (3, 20)):
        side = check["stack"]["components"][place]["workpiece_side"]
        side.update(rated_torque_n_m=torque, rated_grip_mm=side["minimum_grip_mm"])
    return check


def _one_held() -> dict[str, Any]:
    """Two operations on one mill: one complete, one without runout and spindle speed; parts they share stand once."""
    good, holes = _for_a_gate(base_request("press_in")), _for_a_gate(base_request("press_in"))
    holes["stack"]["id"] = "KB-with-holes"
    del holes["stack"]["components"][1]["runout"]
    del holes["operations"][0]["spindle_speed_rpm"]
    shared = {part["id"]: part for number, part in enumerate(good["stack"]["components"]) if number != 1}
    for one in (good, holes):
        one["stack"]["components"] = [
            {"kind": "reference", "of": {"from": "request", "key": part["id"]}} if part["id"] in shared else part
            for part in one["stack"]["components"]
        ]
    return {
        "order": "KB-WO-0001",
        "revision": "A",
        "components": shared,
        "machine": good["machine"],
        "operations": [
            {**good["operations"][0], "id": "10", "stack": good["stack"]},
            {**holes["operations"][0], "id": "20", "stack": holes["stack"]},
        ],
        "context": {"job_order": "J-88", "equipment": "mill 3", "shift": 2},
    }


GATE_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {"one-operation-held": RequestExample("Two operations, the second on hold for missing data", _one_held())}
)
"""Work orders by name."""
