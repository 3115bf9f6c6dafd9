"""Import of components from XML with DIN 4000 property names, by the operator's map alone.

The meaning of a name depends on list and figure, and neither lists nor units are public, so nothing is built in: what
the map does not name is left over. Numbers are in the unit of the field that the map names.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from lxml import etree

from rules.exchange.component_csv import Cell, FaultyRowError, head_of, part_of
from rules.exchange.imported import NO_OPTIONS, Import, ImportedPart, ImportOptions, fault
from rules.exchange.symbols import unmapped
from rules.exchange.untrusted import UnreadableError, attributes_of, line_of, printable
from rules.schema.import_map import PropertyList, folded
from rules.schema.imports import ImportFault, UnmappedValue

__all__ = ["ROOT", "read_din_4000"]

ROOT: Final = "Tool-Data"
"""Root element of such documents."""

_LIST, _FIGURE = "NSM", "BLD"
_SOURCE: Final = "din_mk"


def read_din_4000(root: etree._Element, options: ImportOptions = NO_OPTIONS) -> Import:
    """Read the tools of a document by the map of the options.

    Raises :class:`~rules.exchange.untrusted.UnreadableError` for another root element.
    """
    if etree.QName(root).localname != ROOT:
        detail = "the root element is not that of DIN 4000 tool data"
        raise UnreadableError(detail, cause="unsuitable", line=line_of(root), column=1)
    parts: dict[str, ImportedPart] = {}
    left: list[UnmappedValue] = []
    faults: list[ImportFault] = []
    for tool in root:
        name = etree.QName(tool).localname
        if name != "Tool":
            left.append(unmapped(name, (tool.text or "").strip(), "not a tool", line_of(tool)))
            continue
        pairs, odd = _pairs(tool)
        try:
            part = _part(pairs, line_of(tool), options)
            if known := parts.get(part.component.id):
                raise FaultyRowError(fault(f"the id of line {known.line} is used again", part.line))
        except FaultyRowError as error:
            faults.extend(error.faults)
            left += [unmapped(one.head.name, one.text, "its tool gives no component", one.line) for one in pairs]
            left += odd
        else:
            parts[part.component.id] = replace(part, unmapped=(*part.unmapped, *odd))
    return Import("din_4000", None, tuple(parts.values()), tuple(left), tuple(faults))


def _pairs(tool: etree._Element) -> tuple[list[Cell], list[UnmappedValue]]:
    """Return names and values of a tool, as cells that mean nothing yet, and what is no such pair."""
    pairs: list[Cell] = []
    odd: list[UnmappedValue] = []
    for element in _properties(tool, odd):
        line = line_of(element)
        inner = {etree.QName(one).localname: one for one in element}
        name, value = inner.get("PropertyName"), inner.get("Value")
        text = "" if value is None else (value.text or "").strip()
        if name is None or value is None or len(element) != 2 or len(name) or len(value):
            odd.append(unmapped(etree.QName(element).localname, text, "not a property name with one value", line))
        elif attributes_of(name).get("source") != _SOURCE:
            odd.append(unmapped((name.text or "").strip(), text, "not a property name of DIN 4000", line))
        else:
            head = head_of("")
            pairs.append(Cell(replace(head, name=(name.text or "").strip()), text, text, line))
    return pairs, odd


def _properties(tool: etree._Element, odd: list[UnmappedValue]) -> Iterator[etree._Element]:
    for group in tool:
        if etree.QName(group).localname != "Properties":
            odd.append(
                unmapped(etree.QName(group).localname, (group.text or "").strip(), "not a property", line_of(group))
            )
            continue
        yield from group


def _part(pairs: Sequence[Cell], line: int, options: ImportOptions) -> ImportedPart:
    list_, figure = (_only(name, pairs) for name in (_LIST, _FIGURE))
    named = _list_of(list_, figure, options.map.din_4000)
    if named is None:
        told = f"list {printable(list_ or 'not stated')}, figure {printable(figure or 'not stated')}"
        raise FaultyRowError(fault(f"the map names no property of {told}", line))
    cells: list[Cell] = []
    left: list[UnmappedValue] = []
    for cell in pairs:
        name = cell.head.name
        if name in (_LIST, _FIGURE) and name not in named.fields:
            continue
        if name not in named.fields:
            left.append(unmapped(name, cell.text, "the map does not name this property", cell.line))
        elif (target := named.fields[name]) is not None:
            cells.append(replace(cell, head=replace(head_of(target), name=name)))
    by_mark: dict[str, list[Cell]] = {}
    for cell in cells:
        by_mark.setdefault(cell.head.mark, []).append(cell)
    for rivals in by_mark.values():
        if len({cell.text for cell in rivals}) > 1:
            left += [unmapped(cell.head.name, cell.text, "another value is stated, too", cell.line) for cell in rivals]
    agreed = [rivals[0] for rivals in by_mark.values() if len({cell.text for cell in rivals}) == 1]
    part = part_of(agreed, line, replace(options, kind=named.kind or options.kind), source="Tool")
    return replace(part, unmapped=(*part.unmapped, *left))


def _only(name: str, pairs: Sequence[Cell]) -> str:
    """Return the value of a name that is stated once; empty if it is not, or differently."""
    values = {cell.text for cell in pairs if cell.head.name == name}
    return values.pop() if len(values) == 1 else ""


def _list_of(name: str, figure: str, known: Sequence[PropertyList]) -> PropertyList | None:
    """Return the entry of the map for list and figure; one that names the figure takes precedence."""
    if not name:
        return None
    by_place = {one.place: one for one in known}
    return by_place.get((folded(name), folded(figure))) or by_place.get((folded(name), None))
