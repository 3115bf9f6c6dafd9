"""Export of a checked stack as one CuttingTool asset of MTConnect, and of components as archetypes.

Only figures known for the whole stack are written. An incomplete figure is left out, since the format cannot mark it as
incomplete. The verdict is in the definition, which is free text.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Final, TypeAlias, cast

from lxml import etree

from rules.couplings.declared import Declared
from rules.couplings.designation import Designated, designated_as, understood
from rules.couplings.sides import MachineSide
from rules.couplings.straight_shank import CylindricalShank
from rules.schema.components import (
    BaseHolder,
    Collet,
    ComponentReference,
    Cutter,
    Extension,
    GaugePin,
    Reducer,
    RetentionKnob,
    StackPart,
)
from rules.schema.imports import Standard
from rules.schema.report import Report
from rules.schema.request import Stack

__all__ = ["EPOCH", "TIMESTAMP_PATTERN", "connection_code", "export_archetypes", "export_cutting_tool", "is_timestamp"]

EPOCH: Final = "1970-01-01T00:00:00Z"
"""Timestamp if none is given. The schema requires one, and the same request must give the same bytes."""

_DAY: Final = (
    r"(?:(?:19[7-9][0-9]|20[0-9]{2})-(?:(?:0[13578]|1[02])-(?:0[1-9]|[12][0-9]|3[01])"
    r"|(?:0[469]|11)-(?:0[1-9]|[12][0-9]|30)|02-(?:0[1-9]|1[0-9]|2[0-8]))"
    r"|(?:19(?:7[26]|8[048]|9[26])|20(?:[02468][048]|[13579][26]))-02-29)"
)

TIMESTAMP_PATTERN: Final = rf"^{_DAY}T(?:[01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](?:\.[0-9]{{1,6}})?Z$"
"""Pattern of a time in UTC, from 1970 to 2099."""


def export_cutting_tool(stack: Stack, report: Report, *, timestamp: str = EPOCH, standard: Standard = "1.4") -> bytes:
    """Return an assets document with one CuttingTool for a stack and its report.

    Resolve references to components first; nothing is known of an unresolved one.
    FunctionalLength runs from the gauge line to the tip; Weight is in grams.
    Raises :class:`ValueError` for an invalid timestamp.
    """
    if not is_timestamp(timestamp):
        raise ValueError("a timestamp is a time in UTC such as 2031-05-04T12:00:00Z")
    name = stack.id or f"stack-{report.provenance.request_sha256[:16]}"
    root, assets = _document(timestamp, standard, 1)
    tool = _add(assets, "CuttingTool", assetId=name, timestamp=timestamp, serialNumber=name, toolId=name)
    _add(tool, "CuttingToolDefinition", _words(report), format="TEXT")
    _life_cycle(tool, stack, report)
    return _text(root)


def export_archetypes(parts: Sequence[StackPart], *, timestamp: str = EPOCH, standard: Standard = "1.4") -> bytes:
    """Return an assets document with one CuttingToolArchetype for each component.

    The format carries id, part number, description, the connection code, five measurements, mass and the speed limit;
    :func:`~rules.exchange.tool_asset_import.read_cutting_tools` reads them back as they are. What a component states
    besides, and its kind, is not in the document. Version 1.4 has no description of an archetype and requires a tool
    id: the component's id where it has no part number.
    Raises :class:`ValueError` for an invalid timestamp.
    """
    if not is_timestamp(timestamp):
        raise ValueError("a timestamp is a time in UTC such as 2031-05-04T12:00:00Z")
    root, assets = _document(timestamp, standard, len(parts))
    for part in parts:
        number = part.part_number
        if number is None or _NO_XML.search(number):
            number = part.id if standard == "1.4" else None
        own = {} if number is None else {"toolId": number}
        asset = _add(assets, "CuttingToolArchetype", assetId=part.id, timestamp=timestamp, **own)
        if standard != "1.4" and part.description is not None and not _NO_XML.search(part.description):
            _add(asset, "Description", part.description)
        _add(asset, "CuttingToolDefinition", f"{part.kind.replace('_', ' ')} {part.id}", format="TEXT")
        life_cycle = _add(asset, "CuttingToolLifeCycle")
        if part.max_speed_rpm is not None:
            _add(life_cycle, "ProcessSpindleSpeed", maximum=_number(part.max_speed_rpm))
        side = getattr(part, "machine_side", None)
        if (code := connection_code(side)) is not None:
            _add(life_cycle, "ConnectionCodeMachineSide", code)
        measured = list(_of_component(part, side))
        if measured:
            group = _add(life_cycle, "Measurements")
            for name, symbol, unit, value in measured:
                one = _add(group, name, value, code=symbol)
                if unit is not None:
                    one.set("units", unit)
    return _text(root)


_MOST_DIGITS: Final = 20

_NO_XML: Final = re.compile("[\ufffe\uffff]")
"""Characters of a text that no XML document can have."""


def _of_component(part: StackPart, side: MachineSide | None) -> Iterator[tuple[str, str, str | None, str]]:
    """Yield the measurements of a component: element, symbol, unit and value."""
    shank = side if isinstance(side, CylindricalShank) else None
    lengths = (
        ("CuttingDiameterMax", "DC", getattr(part, "cutting_diameter_mm", None)),
        ("FunctionalLength", "LF", getattr(part, "gauge_length_mm", None)),
        ("OverallToolLength", "OAL", getattr(part, "overall_length_mm", None)),
        ("ShankDiameter", "DMM", None if shank is None else shank.diameter_mm),
        ("ShankLength", "LS", None if shank is None else shank.length_mm),
    )
    for name, symbol, value in lengths:
        if value is not None:
            yield name, symbol, "MILLIMETER", _number(value)
    if part.mass_kg is not None:
        # Version 1.4 has no unit gram; a Weight without a unit is in grams in every version.
        grams = Decimal(repr(float(part.mass_kg))) * 1000
        short = f"{grams:f}".rstrip("0").rstrip(".") if grams % 1 else f"{grams:.0f}"
        # A reader takes so many digits after the point; an exponent keeps every one of a tiny mass.
        tiny = len(short.partition(".")[2]) > _MOST_DIGITS
        yield "Weight", "WT", None, f"{grams.normalize():E}" if tiny else short


def _document(timestamp: str, standard: Standard, count: int) -> tuple[etree._Element, etree._Element]:
    """Return a document for so many assets, and the element that takes them."""
    namespace = f"urn:mtconnect.org:MTConnectAssets:{standard}"
    root = etree.Element(f"{{{namespace}}}MTConnectAssets", nsmap=_default(namespace))
    header = _add(root, "Header", version=f"{standard}.0.0", creationTime=timestamp, sender="stackgauge")
    header.attrib.update({"instanceId": "1", "assetBufferSize": str(max(count, 1)), "assetCount": str(count)})
    if standard == "2.4":
        header.set("deviceModelChangeTime", timestamp)
    return root, _add(root, "Assets")


def _text(root: etree._Element) -> bytes:
    etree.indent(root)
    written: bytes = etree.tostring(root, encoding="UTF-8", xml_declaration=True)
    return written + b"\n"


def is_timestamp(text: str) -> bool:
    """Whether the text is a valid timestamp."""
    return re.fullmatch(TIMESTAMP_PATTERN, text) is not None and not text.endswith("\n")


def _words(report: Report) -> str:
    summary = report.summary
    return (
        f"Checked by {report.provenance.service} {report.provenance.version}: {report.verdict},"
        f" errors {summary.errors}, warnings {summary.warnings}, undecided {summary.undecided}."
        f" Request {report.provenance.request_sha256}."
    )


def _life_cycle(tool: etree._Element, stack: Stack, report: Report) -> None:
    life_cycle = _add(tool, "CuttingToolLifeCycle")
    # A check does not know whether the tool is assembled, new or worn.
    _add(_add(life_cycle, "CutterStatus"), "Status", "UNKNOWN")
    governing = report.speed.governing
    if governing is not None and report.speed.complete:
        _add(life_cycle, "ProcessSpindleSpeed", maximum=_number(governing.speed_rpm.value))
    code = _connection(stack)
    if code is not None:
        _add(life_cycle, "ConnectionCodeMachineSide", code)
    measurements = list(_measurements(stack, report))
    if measurements:
        group = _add(life_cycle, "Measurements")
        for name, code, unit, value in measurements:
            one = _add(group, name, _number(value), code=code)
            if unit is not None:
                one.set("units", unit)


def _measurements(stack: Stack, report: Report) -> Iterator[tuple[str, str, str | None, float]]:
    diameter = _widest(stack)
    if diameter is not None:
        yield "BodyDiameterMax", "BDX", "MILLIMETER", diameter
    *_, last = (None, *_along_the_axis(stack))
    if isinstance(last, Cutter) and last.cutting_diameter_mm is not None:
        yield "CuttingDiameterMax", "DC", "MILLIMETER", last.cutting_diameter_mm
    tip = report.geometry.tip_mm
    if tip is not None and tip > 0:
        yield "FunctionalLength", "LF", "MILLIMETER", tip
    mass = report.mass.total_kg
    if mass is not None and mass > 0:
        # Version 1.4 has no unit gram; a Weight without a unit is in grams in every version.
        yield "Weight", "WT", None, float(Decimal(repr(mass)) * 1000)


def _widest(stack: Stack) -> float | None:
    """Return the largest diameter of all outlines; ``None`` if a component without an outline may be wider."""
    widest = 0.0
    for part in _along_the_axis(stack):
        if isinstance(part, ComponentReference) or not part.profile:
            return None
        widest = max(widest, *(max(piece.outer_mm, piece.outer_end_mm or 0.0) for piece in part.profile))
    return widest or None


def _connection(stack: Stack) -> str | None:
    first = next(_along_the_axis(stack), None)
    side = None if first is None or isinstance(first, ComponentReference) else first.machine_side
    if isinstance(side, Declared) and side.designation is not None:
        # people know the tool by the shop's own name, but no reader may take it for a standard's
        return side.designation if understood(side.designation, "machine_side") is None else None
    return connection_code(side)


def connection_code(side: MachineSide | None) -> str | None:
    """Return the designation of an end by its standard, since the list of codes of ISO 13399 is not public.

    A designation is returned as it is stated. None for an end that no standard designates: a reader would take the
    shop's own name for a designation.
    """
    if side is None:
        return None
    if isinstance(side, Designated):
        return side.designation
    found = designated_as(side.model_dump(exclude_none=True), "machine_side")
    return None if found is None else found[0]


_OnAxis: TypeAlias = BaseHolder | Extension | Reducer | Collet | Cutter | GaugePin | ComponentReference


def _along_the_axis(stack: Stack) -> Iterator[_OnAxis]:
    """Return the components along the axis; a retention knob is inside the taper of the holder."""
    return (part for part in stack.components if not isinstance(part, RetentionKnob))


def _default(namespace: str) -> dict[str, str]:
    # The type stubs do not allow None for the default namespace.
    return cast(dict[str, str], {None: namespace})


def _number(value: float) -> str:
    return str(int(value)) if float(value).is_integer() else repr(float(value))


def _add(parent: etree._Element, name: str, text: str | None = None, **attributes: str) -> etree._Element:
    namespace = etree.QName(parent).namespace
    child = etree.SubElement(parent, f"{{{namespace}}}{name}", attributes)
    child.text = text
    return child
