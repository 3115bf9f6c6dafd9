"""Import of components from MTConnect assets: cutting tools and their archetypes, one component per asset.

The standard has about half the fields that a check needs; the others are reported as not stated. It does not state the
kind of a component. An asset with a cutting diameter, a depth of cut or cutting items is a cutting tool; any other is
of the kind given by the caller, or gives no component.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Final

from lxml import etree

from rules.exchange.fields import Stated, assemble
from rules.exchange.imported import Import, ImportedPart, fault, not_stated
from rules.exchange.symbols import Reading, elements, map_readings, unmapped
from rules.exchange.untrusted import UnreadableError, attributes_of, line_of, printable, read_xml
from rules.schema.imports import ComponentKind, ImportFault, UnmappedValue

__all__ = ["read_cutting_tools"]


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
        "1/min": ("REVOLUTION/MINUTE", MappingProxyType({"REVOLUTION/MINUTE": Fraction(1)})),
    }
)
"""By unit of the contract: the standard's unit for such a measurement, and the factors of other units."""

_LENGTH_OR_MASS: Final = frozenset({"mm", "kg"})

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
    return unit in _LENGTH_OR_MASS


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

_NOT_ASKED: Final = "no check uses it"
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


class _FaultyAssetError(Exception):
    def __init__(self, fault: ImportFault) -> None:
        self.fault = fault
        super().__init__(fault.detail)


def read_cutting_tools(data: bytes, kind: ComponentKind | None = None) -> Import:
    """Read an assets document, or a single asset in its namespace, of MTConnect 1.2 to 2.x.

    ``kind`` is the kind of assets that are not cutting tools.

    Raises :class:`~rules.exchange.untrusted.UnreadableError` for any other document; for the limits see
    :func:`rules.exchange.untrusted.read_xml`.
    """
    root = read_xml(data)
    version = _version(root)
    parts: dict[str, ImportedPart] = {}
    left: list[UnmappedValue] = []
    faults: list[ImportFault] = []
    for asset in _assets(root):
        name = etree.QName(asset).localname
        if name not in _TOOLS or not _ours(asset, root):
            left.append(unmapped(name, attributes_of(asset).get("assetId", ""), "not a cutting tool", line_of(asset)))
            continue
        try:
            part = _Asset(asset, kind).part()
            if known := parts.get(part.component.id):
                raise _FaultyAssetError(fault(f"the id of line {known.line} is used again", part.line, name="assetId"))
        except _FaultyAssetError as error:
            faults.append(error.fault)
        else:
            parts[part.component.id] = part
    return Import("mtconnect_assets", version, tuple(parts.values()), tuple(left), tuple(faults))


def _version(root: etree._Element) -> str:
    name = etree.QName(root)
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
    """One asset while it is converted to a component."""

    def __init__(self, asset: etree._Element, kind: ComponentKind | None) -> None:
        self._asset = asset
        self._line = line_of(asset)
        self._attributes = attributes_of(asset)
        self._named: list[Stated] = []
        self._readings: list[Reading] = []
        self._left: list[UnmappedValue] = []
        self._notes: list[str] = []
        self._cuts = False
        self._kind = kind

    def part(self) -> ImportedPart:
        """Return the component; raises :class:`_FaultyAssetError` if there is none."""
        if self._attributes.get("removed", "").strip() in ("true", "1"):
            raise _FaultyAssetError(fault("the asset is marked as removed", self._line, name="removed"))
        self._read_attributes()
        for child in self._asset:
            self._read_child(child)
        kind = "cutter" if self._cuts else self._kind
        if kind is None:
            asset = printable(self._attributes.get("assetId", ""))
            detail = f"the document does not say what kind of piece {asset} is; name the kind with the import"
            raise _FaultyAssetError(fault(detail, self._line))
        if self._cuts:
            self._notes.append(
                "assumed to be a cutting tool, since it states cutting data; an assembled tool looks the same in"
                " this format"
            )
        stated, left = map_readings(kind, self._readings)
        component, rejected = assemble(kind, [*self._named, *stated])
        if component is None:
            raise _FaultyAssetError(fault("the data of the asset do not give a component", self._line))
        left += [unmapped(one.stated.name, one.stated.text, one.reason, one.stated.line) for one in rejected]
        return ImportedPart(
            component,
            source=f"{etree.QName(self._asset).localname} {printable(self._attributes.get('assetId', ''))}",
            line=self._line,
            not_stated=tuple(not_stated(component, _CARRIED.__contains__)),
            unmapped=tuple(sorted((*left, *self._left), key=lambda one: one.line or 0)),
            notes=tuple(self._notes),
        )

    def _read_attributes(self) -> None:
        written = self._attributes.get("assetId", "")
        name = written
        if not _IDENTIFIER.fullmatch(name):
            name = re.sub(r"[^A-Za-z0-9._-]+", "-", written).lstrip("._-")[:64]
            if not name:
                raise _FaultyAssetError(fault("the asset has no usable id", self._line, name="assetId"))
            self._notes.append(f"the id {printable(written)} is written {name}")
        self._name("assetId", written, "id", name)
        for attribute, value in self._attributes.items():
            if attribute == "toolId" and value.strip():
                self._name(attribute, value, "part_number", value)
            elif attribute not in _ENVELOPE:
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
        else:
            self._cuts |= name in _CUTS
            self._leave_all(part, "", _NOT_ASKED)

    def _read_measurement(self, one: etree._Element) -> None:
        name = etree.QName(one).localname
        symbol = elements().get(name)
        if symbol is None or not is_measured(symbol.unit) or not _ours(one, self._asset):
            self._leave_all(one, "", "not a supported measurement")
            return
        self._cuts |= name in _CUTS
        if len(one):
            self._leave(name, one.text or "", "it contains more than a number", one)
            return
        value = measured(name, one.text or "", attributes_of(one), symbol.unit, symbol.symbol)
        for label, text, reason in value.others:
            self._leave(label, text, reason, one)
        if value.value is None:
            self._leave(name, value.text, value.reason or "", one)
            return
        self._readings.append(Reading(symbol, name, value.text, value.value, line_of(one)))

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
