"""Import from MTConnect assets: a component or an assembled tool from each CuttingTool or CuttingToolArchetype.

The standard has about half the fields that a check needs; the others are reported as not stated. It does not state the
kind of a component. An asset with a cutting diameter, a depth of cut or cutting items is a cutting tool; any other is
of the kind given by the caller, or gives no component.

A CuttingTool may also be an assembled tool, measured as one piece. Its coupling and its lengths decide; where they do
not, the caller says.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final, Literal, TypeAlias, get_args

from lxml import etree
from pydantic import ValidationError

from rules.couplings.designation import EndName
from rules.exchange.fields import Stated, assemble
from rules.exchange.imported import NO_OPTIONS, AssembledPart, Import, ImportedPart, ImportOptions, fault, not_stated
from rules.exchange.symbols import CodeMeaning, Reading, elements, end_of_code, map_readings, symbols, unmapped
from rules.exchange.untrusted import UnreadableError, attributes_of, line_of, printable, read_xml
from rules.schema.components import CutterKind, ToolStatus
from rules.schema.import_map import MappedKind
from rules.schema.imports import AssembledTool, ImportFault, ToolLife, ToolLocation, UnmappedValue
from rules.schema.parsing import describe, locate

__all__ = ["cutting_tools_of", "read_cutting_tools"]


_NUMBER: Final = re.compile(r"[+-]?[0-9]{1,20}(?:\.[0-9]{1,20})?(?:[eE][+-]?[0-9]{1,2})?")
_NONE: Final = frozenset({"", "UNAVAILABLE"})

_LENGTHS: Final = MappingProxyType(
    {"MILLIMETER": Fraction(1), "CENTIMETER": Fraction(10), "METER": Fraction(1000), "INCH": Fraction(254, 10)}
)
_MASSES: Final = MappingProxyType(
    # The pound is 0.45359237 kg exactly (international yard and pound agreement of 1959).
    {"GRAM": Fraction(1, 1000), "KILOGRAM": Fraction(1), "POUND": Fraction(45359237, 10**8)}
)

_UNITS: Final[Mapping[str, tuple[str, Mapping[str, Fraction]]]] = MappingProxyType(
    {
        "mm": ("MILLIMETER", _LENGTHS),
        "kg": ("GRAM", _MASSES),
        "degree": ("DEGREE", MappingProxyType({"DEGREE": Fraction(1)})),
        "1/min": ("REVOLUTION/MINUTE", MappingProxyType({"REVOLUTION/MINUTE": Fraction(1)})),
    }
)
"""By unit of the contract: the standard's unit for such a measurement, and the factors of other units."""

_MEASURED: Final = frozenset({"mm", "kg", "degree"})

_NOMINAL: Final = frozenset({"ShankDiameter"})
"""Measurements of which the contract takes the nominal size, not the measured one."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A value in the contract's unit, or the reason why there is none; and the other contents of the element."""

    value: float | None
    text: str
    reason: str | None
    others: tuple[tuple[str, str, str], ...]


def is_measured(unit: str) -> bool:
    """Whether a number is plausible as a measurement in this unit of the contract."""
    return unit in _MEASURED


def measured(element: str, text: str, attributes: Mapping[str, str], unit: str, code: str) -> Measured:
    """Return the value of a measurement in the contract's unit.

    The measured value takes precedence over the nominal one, except for the diameter of a shank.
    The unit is that of ``units``, else of ``nativeUnits``, else the standard's. A value with ``units`` has already been
    converted from its native unit.
    """
    offered = {"": text.strip(), "nominal": attributes.get("nominal", "").strip()}
    order = ("nominal", "") if element in _NOMINAL else ("", "nominal")
    chosen = next((name for name in order if offered[name] not in _NONE), "")
    others = [
        (f"{element}/@{name}", attributes[name], "a limit of use is not a limit of size")
        for name in ("minimum", "maximum")
        if attributes.get(name, "").strip() not in _NONE
    ]
    other = "" if chosen == "nominal" else "nominal"
    if offered[other] not in _NONE and offered[other] != offered[chosen]:
        wanted = "nominal" if chosen == "nominal" else "measured"
        others.append((f"{element}/@nominal" if other else element, offered[other], f"the {wanted} value was used"))
    if attributes.get("code", code) != code:
        others.append((f"{element}/@code", attributes["code"], f"the element states {code}, which takes precedence"))
    value, reason = _convert(offered[chosen], attributes, unit)
    return Measured(value, offered[chosen], reason, tuple(others))


def _convert(text: str, attributes: Mapping[str, str], unit: str) -> tuple[float | None, str | None]:
    if text in _NONE:
        return None, "no value is stated"
    if not _NUMBER.fullmatch(text):
        return None, "not a number"
    standard, factors = _UNITS[unit]
    named = attributes.get("units") or attributes.get("nativeUnits") or standard
    factor = factors.get(named)
    if factor is None:
        return None, "this measurement cannot have this unit"
    value = float(Fraction(text) * factor)
    if value <= 0:
        return None, "it must be greater than 0"
    return value, None


_NAMESPACE: Final = re.compile(r"urn:mtconnect\.org:MTConnectAssets:([0-9]{1,2})\.([0-9]{1,3})")
_TOOLS: Final = frozenset({"CuttingTool", "CuttingToolArchetype"})
_CUTS: Final = frozenset({"CuttingDiameterMax", "DepthOfCutMax", "CuttingItems"})
_ENVELOPE: Final = frozenset({"assetId", "timestamp", "removed", "hash"})
_IDENTIFIER: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_NAMES: Final = ("assetId", "cuttingToolId", "toolId")
"""Attributes that name an asset; the second is of old documents."""

_NOT_ASKED: Final = "no check uses it"
_EDGES: Final = "it counts edges or inserts, not teeth"
_CARRIED: Final = frozenset(
    {
        "machine_side",
        "machine_side.designation",
        "machine_side.diameter_mm",
        "machine_side.length_mm",
        "overall_length_mm",
        "gauge_length_mm",
        "cutting_diameter_mm",
        "mass_kg",
        "max_speed_rpm",
    }
)
"""Fields that the standard can hold."""

_OF_ITEMS: Final = MappingProxyType({"CuttingDiameter": "DC", "CornerRadius": "RE", "PointAngle": "SIG"})
"""Measurements of cutting items with a field, and their symbols."""

_ASSEMBLED: Final = MappingProxyType(
    {
        "LF": "functional_length_mm",
        "LPR": "protruding_length_mm",
        "BDX": "body_diameter_max_mm",
        "LBX": "body_length_max_mm",
        "DC": "cutting_diameter_mm",
        "WT": "mass_kg",
        "RPMX": "max_speed_rpm",
    }
)
"""Fields of an assembled tool by symbol."""

_IN_SPINDLES_ONLY: Final = frozenset({"hollow_taper", "steep_taper"})
"""Couplings by which a tool is an assembled one; other tapers also join the parts of a stack."""

_STATUS: Final = MappingProxyType({one.upper(): one for one in get_args(ToolStatus)})
_LIFE: Final = MappingProxyType({"MINUTES": "minutes", "PART_COUNT": "part_count", "WEAR": "wear"})
_DIRECTIONS: Final = MappingProxyType({"UP": "up", "DOWN": "down"})

_Form: TypeAlias = Literal["component", "assembled", "either", "unclear"]


class _FaultyAssetError(Exception):
    def __init__(self, fault: ImportFault) -> None:
        self.fault = fault
        super().__init__(fault.detail)


def read_cutting_tools(data: bytes, options: ImportOptions = NO_OPTIONS) -> Import:
    """Read an assets document of MTConnect 1.2 to 2.x, or a single asset, in its namespace or in none.

    Raises :class:`~rules.exchange.untrusted.UnreadableError` for any other document; for the limits see
    :func:`rules.exchange.untrusted.read_xml`.
    """
    return cutting_tools_of(read_xml(data), options)


def cutting_tools_of(root: etree._Element, options: ImportOptions = NO_OPTIONS) -> Import:
    """Read a parsed document; see :func:`read_cutting_tools`."""
    version = _version(root)
    found: dict[str, ImportedPart | AssembledPart] = {}
    left: list[UnmappedValue] = []
    faults: list[ImportFault] = []
    for asset in _assets(root):
        name = etree.QName(asset).localname
        if name not in _TOOLS or not _ours(asset, root):
            left.append(unmapped(name, attributes_of(asset).get("assetId", ""), "not a cutting tool", line_of(asset)))
            continue
        try:
            part = _Asset(asset, options).part()
            made = part.component.id if isinstance(part, ImportedPart) else part.tool.id
            if known := found.get(made):
                raise _FaultyAssetError(fault(f"the id of line {known.line} is used again", part.line, name="assetId"))
        except _FaultyAssetError as error:
            faults.append(error.fault)
        else:
            found[made] = part
    parts = tuple(one for one in found.values() if isinstance(one, ImportedPart))
    assembled = tuple(one for one in found.values() if isinstance(one, AssembledPart))
    return Import("mtconnect_assets", version, parts, tuple(left), tuple(faults), assembled=assembled)


def _version(root: etree._Element) -> str | None:
    """Return the version of the namespace; None for a single asset without one."""
    name = etree.QName(root)
    if name.namespace is None and name.localname in _TOOLS:
        return None
    found = _NAMESPACE.fullmatch(name.namespace or "")
    if found is None or name.localname not in {"MTConnectAssets", *_TOOLS}:
        raise UnreadableError(
            "the root element is not an MTConnect assets document", cause="unsuitable", line=line_of(root), column=1
        )
    version = int(found[1]), int(found[2])
    if not (1, 2) <= version < (3, 0):
        raise UnreadableError(
            "unknown version of MTConnect; 1.2 to 2.x are supported",
            cause="unsuitable",
            line=line_of(root),
            column=1,
        )
    return f"{version[0]}.{version[1]}"


def _assets(root: etree._Element) -> Iterator[etree._Element]:
    if etree.QName(root).localname in _TOOLS:
        yield root
        return
    for group in root:
        if etree.QName(group).localname == "Assets" and _ours(group, root):
            yield from group


def _ours(element: etree._Element, root: etree._Element) -> bool:
    return etree.QName(element).namespace == etree.QName(root).namespace


class _Asset:
    """One asset while it is converted to a component or an assembled tool."""

    def __init__(self, asset: etree._Element, options: ImportOptions) -> None:
        self._asset = asset
        self._line = line_of(asset)
        self._attributes = attributes_of(asset)
        self._named: list[Stated] = []
        self._readings: list[Reading] = []
        self._of_items: list[Reading] = []
        self._left: list[UnmappedValue] = []
        self._notes: list[str] = []
        self._status: dict[str, etree._Element] = {}
        self._life: list[etree._Element] = []
        self._location: list[etree._Element] = []
        self._cuts = False
        self._options = options
        self._mapped: MappedKind | None = None

    def part(self) -> ImportedPart | AssembledPart:
        """Return the component or assembled tool; raises :class:`_FaultyAssetError` if there is none."""
        if self._attributes.get("removed", "").strip() in ("true", "1"):
            raise _FaultyAssetError(fault("the asset is marked as removed", self._line, name="removed"))
        self._read_attributes()
        for child in self._asset:
            self._read_child(child)
        self._take_items()
        self._mapped = self._options.map.kind_of(*(self._attributes.get(one) for one in _NAMES))
        if self._is_assembled():
            return self._assembled()
        return self._component()

    @property
    def _source(self) -> str:
        return f"{etree.QName(self._asset).localname} {printable(self._attributes.get('assetId', ''))}"

    def _component(self) -> ImportedPart:
        kind = self._mapped.kind if self._mapped else "cutter" if self._cuts else self._options.kind
        if kind is None:
            asset = printable(self._attributes.get("assetId", ""))
            detail = f"the document does not say what kind of piece {asset} is; name the kind with the import"
            raise _FaultyAssetError(fault(detail, self._line))
        if self._mapped is None and self._cuts:
            self._notes.append("assumed to be a cutting tool alone, since it states cutting data")
        for one in (*self._life, *self._location):
            self._leave_all(one, "", _NOT_ASKED)
        if "serialNumber" in self._attributes:
            self._leave("serialNumber", self._attributes["serialNumber"], _NOT_ASKED, self._asset)
        for number, (status, element) in enumerate(self._status.items()):
            self._named.append(Stated("Status", status, f"status.{number}", status, line_of(element)))
        clamp = None if self._mapped is None else self._mapped.workpiece_side
        if clamp is not None:
            self._name("workpiece_side", clamp, "workpiece_side.coupling", clamp)
        stated, left = map_readings(kind, self._readings, self._named, self._options.map.codes)
        component, rejected = assemble(kind, [*self._named, *stated])
        if component is None:
            raise _FaultyAssetError(fault("the data of the asset do not give a component", self._line))
        left += [unmapped(one.stated.name, one.stated.text, one.reason, one.stated.line) for one in rejected]
        return ImportedPart(
            component,
            source=self._source,
            line=self._line,
            not_stated=tuple(not_stated(component, _CARRIED.__contains__)),
            unmapped=tuple(sorted((*left, *self._left), key=lambda one: one.line or 0)),
            notes=tuple(self._notes),
        )

    def _is_assembled(self) -> bool:
        """Whether this is an assembled tool; raises :class:`_FaultyAssetError` where nobody says so."""
        if self._mapped is not None:
            if self._cuts and self._mapped.kind not in get_args(CutterKind):
                detail = f"the map says {self._mapped.kind}, but the asset states cutting data"
                raise _FaultyAssetError(fault(detail, self._line))
            return False
        if self._options.kind is not None and not self._cuts:
            return False
        form, wanted = self._form(), self._options.read_as
        if form == "unclear" and wanted is None:
            asset = printable(self._attributes.get("assetId", ""))
            detail = f"{asset} may be a cutting tool alone or an assembled tool; name which with the import (as)"
            raise _FaultyAssetError(fault(detail, self._line))
        if form in ("component", "either") and wanted != "assembled":
            return False
        return form != "component" and wanted != "cutter"

    def _form(self) -> _Form:
        """Return what the coupling and the lengths say; ``either`` if nothing speaks for an assembled tool."""
        if etree.QName(self._asset).localname != "CuttingTool":
            return "component"
        length, overall = self._value("LF"), self._value("OAL")
        shank = self._value("DMM") or self._value("LS")
        code = next((one.text for one in self._readings if one.symbol.role == "code"), None)
        ends = [None if code is None else self._meant(code, end) for end in ("spindle", "machine_side")]
        if ends[0] is not None:
            return "assembled" if ends[0].coupling in _IN_SPINDLES_ONLY else "unclear"
        if ends[1] is not None or (shank is not None and length is None):
            return "component"
        if length is None:
            return "either"
        if shank is None:
            return "assembled"
        # A cutting tool alone counts its functional length from the end of its shank.
        if overall is None or length < overall:
            return "unclear"
        return "component" if length == overall else "assembled"

    def _meant(self, code: str, end: EndName) -> CodeMeaning | None:
        return end_of_code(code, end, self._options.map.codes)

    def _value(self, symbol: str) -> float | None:
        found = next((one.value for one in self._readings if one.symbol.symbol == symbol), None)
        return found if isinstance(found, float) else None

    def _assembled(self) -> AssembledPart:
        """Return the assembled tool with every value that is valid."""
        self._notes.append("read as an assembled tool; joints, runout, grip and stiffness are not known")
        lines = {one.path: one for one in self._named}
        serial = self._attributes.get("serialNumber", "").strip()
        if serial:
            lines["serial"] = Stated("serialNumber", serial, "serial", serial, self._line)
        if self._status:
            words = list(self._status)
            lines["status"] = Stated("Status", ", ".join(words), "status", words, self._line)
        if life := [found for one in self._life if (found := self._life_of(one))]:
            lines["life"] = Stated("ToolLife", "", "life", life, self._line)
        if place := [found for one in self._location if (found := self._location_of(one))]:
            lines["location"] = Stated("Location", place[0]["name"], "location", place[0], self._line)
        lines |= self._figures()
        tool = {"id": lines.pop("id").value}
        for path, stated in lines.items():
            data = {"id": tool["id"], path: stated.value}
            try:
                AssembledTool.model_validate(data)
            except ValidationError as error:
                first = error.errors(include_url=False, include_input=False)[0]
                reason = describe(first, locate(AssembledTool, first, data))
                self._left.append(unmapped(stated.name, stated.text, reason, stated.line))
            else:
                tool[path] = stated.value
        return AssembledPart(
            AssembledTool.model_validate(tool),
            source=self._source,
            line=self._line,
            unmapped=tuple(sorted(self._left, key=lambda one: one.line or 0)),
            notes=tuple(self._notes),
        )

    def _figures(self) -> dict[str, Stated]:
        """Return coupling and measurements of an assembled tool by field; two that differ are both left over."""
        found: dict[str, list[Stated]] = {}
        for one in self._readings:
            path = "spindle_side" if one.symbol.role == "code" else _ASSEMBLED.get(one.symbol.symbol)
            if path is None:
                self._left.append(unmapped(one.name, one.text, "an assembled tool has no such figure", one.line))
                continue
            value = one.value
            if one.symbol.role == "code":
                meant = self._meant(one.text, "spindle")
                written = {"coupling": "designated", "designation": one.text}
                value = dict(meant.fields) if meant is not None and meant.by_map else written
            found.setdefault(path, []).append(Stated(one.name, one.text, path, value, one.line))
        figures = {
            path: stated[0] for path, stated in found.items() if all(one.value == stated[0].value for one in stated)
        }
        for path in [path for path in found if path not in figures]:
            for odd in found[path]:
                self._left.append(unmapped(odd.name, odd.text, f"{odd.name} is stated with different values", odd.line))
        return figures

    def _life_of(self, element: etree._Element) -> dict[str, Any] | None:
        """Return a life counter; what is no number or no word of the standard is left over."""
        attributes = attributes_of(element)
        made: dict[str, Any] = {}
        for name, words in (("type", _LIFE), ("countDirection", _DIRECTIONS)):
            text = attributes.pop(name, None)
            if text is not None and text in words:
                made["counts" if name == "countDirection" else name] = words[text]
            elif text is not None:
                self._leave(f"ToolLife/@{name}", text, "not a word of the standard", element)
        for name, text in (("value", element.text or ""), *attributes.items()):
            label = "ToolLife" if name == "value" else f"ToolLife/@{name}"
            if text.strip() in _NONE:
                continue
            try:
                if name not in ("value", "initial", "warning", "limit") or not _NUMBER.fullmatch(text.strip()):
                    raise ValueError
                made |= ToolLife.model_validate({name: float(text)}).model_dump(exclude_none=True)
            except ValueError:
                self._leave(label, text, "not a number from 0 to 1000000000, or not of the standard", element)
        for child in element:
            self._leave_all(child, "ToolLife/", "not an element of the standard")
        return made or None

    def _location_of(self, element: etree._Element) -> dict[str, Any] | None:
        attributes = attributes_of(element)
        made = {"name": (element.text or "").strip(), "type": attributes.pop("type", "").lower().replace("_", " ")}
        made = {name: text for name, text in made.items() if text}
        for name, text in attributes.items():
            self._leave(f"Location/@{name}", text, _NOT_ASKED, element)
        for child in element:
            self._leave_all(child, "Location/", "not an element of the standard")
        try:
            ToolLocation.model_validate(made)
        except ValidationError:
            self._leave("Location", element.text or "", "not a place in plain text", element)
            return None
        return made

    def _read_attributes(self) -> None:
        source = next((one for one in _NAMES if self._attributes.get(one, "").strip()), "assetId")
        written = self._attributes.get(source, "")
        name = written
        if not _IDENTIFIER.fullmatch(name):
            name = re.sub(r"[^A-Za-z0-9._-]+", "-", written).lstrip("._-")[:64]
            if not name:
                raise _FaultyAssetError(fault("the asset has no usable id", self._line, name="assetId"))
            self._notes.append(f"the id {printable(written)} is written {name}")
        if source != "assetId":
            self._notes.append(f"the asset has no assetId; its {source} was used")
        self._name(source, written, "id", name)
        numbers = [one for one in ("toolId", "cuttingToolId") if self._attributes.get(one, "").strip()]
        for attribute, value in self._attributes.items():
            if attribute in numbers[:1]:
                self._name(attribute, value, "part_number", value)
            elif attribute in numbers and value == self._attributes[numbers[0]]:
                continue
            elif attribute not in _ENVELOPE and attribute != "serialNumber" and attribute != source:
                self._leave(attribute, value, _NOT_ASKED, self._asset)

    def _read_child(self, child: etree._Element) -> None:
        name = etree.QName(child).localname
        if not _ours(child, self._asset):
            self._leave_all(child, "", "not an element of the standard")
        elif name == "CuttingToolLifeCycle":
            for part in child:
                self._read_life_cycle(part)
        elif name == "Description" and len(child) == 0 and (text := " ".join((child.text or "").split())):
            self._name(name, text, "description", text)
            for attribute, value in attributes_of(child).items():
                self._leave(f"{name}/@{attribute}", value, _NOT_ASKED, child)
        else:
            self._leave_all(child, "", "free text and references are not interpreted")

    def _read_life_cycle(self, part: etree._Element) -> None:
        name = etree.QName(part).localname
        if not _ours(part, self._asset):
            self._leave_all(part, "", "not an element of the standard")
        elif name == "Measurements":
            for one in part:
                self._read_measurement(one)
        elif len(part) and name in ("ConnectionCodeMachineSide", "ProcessSpindleSpeed"):
            self._leave_all(part, "", "it contains more than a value")
        elif name == "ConnectionCodeMachineSide":
            if text := (part.text or "").strip():
                self._readings.append(Reading(elements()[name], name, text, text, line_of(part)))
        elif name == "ProcessSpindleSpeed":
            self._read_speed(part)
        elif name == "CutterStatus":
            self._read_status(part, "")
        elif name == "ToolLife":
            self._life.append(part)
        elif name == "Location":
            self._location.append(part)
        elif name == "CuttingItems":
            self._cuts = True
            self._read_items(part)
        else:
            self._leave_all(part, "", _NOT_ASKED)

    def _read_status(self, part: etree._Element, way: str) -> None:
        """Keep every state once, in the order of the document."""
        for one in part:
            word = (one.text or "").strip()
            if etree.QName(one).localname != "Status" or not _ours(one, self._asset) or len(one):
                self._leave_all(one, f"{way}CutterStatus/", "not an element of the standard")
            elif word not in _STATUS:
                self._leave(f"{way}CutterStatus/Status", word, "not a status of the standard", one)
            else:
                self._status.setdefault(_STATUS[word], one)

    def _read_items(self, items: etree._Element) -> None:
        way = "CuttingItems"
        for attribute, value in attributes_of(items).items():
            self._leave(f"{way}/@{attribute}", value, _EDGES if attribute == "count" else _NOT_ASKED, items)
        for item in items:
            name = etree.QName(item).localname
            if name != "CuttingItem" or not _ours(item, self._asset):
                self._leave_all(item, f"{way}/", "not an element of the standard")
                continue
            for attribute, value in attributes_of(item).items():
                self._leave(f"{way}/{name}/@{attribute}", value, _NOT_ASKED, item)
            for child in item:
                inner = etree.QName(child).localname
                if inner == "Measurements" and _ours(child, self._asset):
                    for one in child:
                        self._read_measurement(one, f"{way}/{name}/")
                elif inner == "CutterStatus" and _ours(child, self._asset):
                    self._read_status(child, f"{way}/{name}/")
                else:
                    self._leave_all(child, f"{way}/{name}/", _NOT_ASKED)

    def _read_measurement(self, one: etree._Element, item: str = "") -> None:
        """Keep a measurement of the tool, or of a cutting item, whose path ``item`` is."""
        name = etree.QName(one).localname
        symbol = (symbols()[_OF_ITEMS[name]] if name in _OF_ITEMS else None) if item else elements().get(name)
        if symbol is None or not is_measured(symbol.unit) or not _ours(one, self._asset):
            self._leave_all(one, item, "no field takes this measurement" if item else "not a supported measurement")
            return
        self._cuts |= name in _CUTS
        if len(one):
            self._leave(f"{item}{name}", one.text or "", "it contains more than a number", one)
            return
        value = measured(f"{item}{name}", one.text or "", attributes_of(one), symbol.unit, symbol.symbol)
        for label, text, reason in value.others:
            self._leave(label, text, reason, one)
        if value.value is None:
            self._leave(f"{item}{name}", value.text, value.reason or "", one)
            return
        kept = self._of_items if item else self._readings
        kept.append(Reading(symbol, f"{item}{name}", value.text, value.value, line_of(one)))

    def _take_items(self) -> None:
        """Take measurements of cutting items that the tool itself does not state; of several diameters the largest."""
        for symbol in _OF_ITEMS.values():
            found = [one for one in self._of_items if one.symbol.symbol == symbol]
            stated = next((one for one in self._readings if one.symbol.symbol == symbol), None)
            if not found:
                continue
            largest = max(found, key=lambda one: one.value if isinstance(one.value, float) else 0.0)
            if stated is None and (symbol == "DC" or len({one.value for one in found}) == 1):
                self._readings.append(largest)
                if len({one.value for one in found}) > 1:
                    self._notes.append(f"the largest of {len(found)} cutting diameters was used, {largest.text}")
            for one in found:
                if stated is not None and one.value != stated.value:
                    self._left.append(unmapped(one.name, one.text, f"{stated.name} takes precedence", one.line))
                elif stated is None and one.value != largest.value:
                    reason = "a larger one was used" if symbol == "DC" else "the cutting items differ"
                    self._left.append(unmapped(one.name, one.text, reason, one.line))
            if stated is None and symbol != "DC" and len({one.value for one in found}) > 1:
                self._left.append(unmapped(largest.name, largest.text, "the cutting items differ", largest.line))

    def _read_speed(self, part: etree._Element) -> None:
        name = etree.QName(part).localname
        attributes = attributes_of(part)
        limit = attributes.get("maximum")
        if limit is not None:
            value = measured(name, limit, {}, "1/min", "RPMX")
            if value.value is None:
                self._leave(f"{name}/@maximum", limit, value.reason or "", part)
            else:
                self._readings.append(Reading(elements()[name], f"{name}/@maximum", limit, value.value, line_of(part)))
        stated = {
            "": part.text or "",
            "/@minimum": attributes.get("minimum", ""),
            "/@nominal": attributes.get("nominal", ""),
        }
        for label, text in stated.items():
            if text.strip():
                self._leave(f"{name}{label}", text.strip(), "a programmed speed belongs to the operation", part)

    def _name(self, name: str, text: str, path: str, value: str) -> None:
        self._named.append(Stated(name, text, path, value, self._line))

    def _leave(self, name: str, text: str, reason: str, element: etree._Element) -> None:
        self._left.append(unmapped(name, text, reason, line_of(element)))

    def _leave_all(self, element: etree._Element, way: str, reason: str) -> None:
        """Yield each value of an element, of its attributes and of its descendants, with its path from the asset."""
        name = f"{way}{etree.QName(element).localname}"
        for attribute, value in attributes_of(element).items():
            self._leave(f"{name}/@{attribute}", value, reason, element)
        text = (element.text or "").strip()
        if text or not (len(element) or element.attrib):
            self._leave(name, text, reason, element)
        for child in element:
            self._leave_all(child, f"{name}/", reason)
