"""Requests as people write them: YAML, designations and standard parts as bare text, quantities with their units.

The short form is for files and the command line. It becomes the full form of the contract before anything is checked,
so pointers of faults and findings are those of the full form.
"""

from __future__ import annotations

import re
from collections.abc import Hashable, Mapping
from types import MappingProxyType
from typing import Any, Final

from rules.quantities.models import InchLength
from rules.schema.parsing import BadRequestError, Fault, pointer

__all__ = ["NotYAMLError", "full_form", "quantity_of", "read_yaml"]

MAX_DEPTH: Final = 40
MAX_CHARACTERS: Final = 1_000_000


class NotYAMLError(ValueError):
    """Text that is no YAML of plain values; ``line`` and ``column`` count from 1, None where not known."""

    def __init__(self, detail: str, line: int | None = None, column: int | None = None) -> None:
        super().__init__(detail)
        self.detail, self.line, self.column = detail, line, column


def read_yaml(data: bytes) -> Any:
    """Return the plain values of one YAML document.

    Parameters
    ----------
    data
        UTF-8, at most a million characters. Anchors, tags and repeated keys are refused, dates stay text.

    Raises
    ------
    NotYAMLError
        With place and reason.
    """
    import yaml  # the contract is used without YAML

    class Loader(yaml.SafeLoader):
        def compose_node(self, parent: yaml.Node | None, index: int) -> yaml.Node | None:
            event = self.peek_event()  # type: ignore[no-untyped-call]
            mark = event.start_mark
            if isinstance(event, yaml.AliasEvent):
                raise NotYAMLError("anchors and aliases are not accepted", mark.line + 1, mark.column + 1)
            if getattr(event, "tag", None) is not None:
                raise NotYAMLError("tags are not accepted", mark.line + 1, mark.column + 1)
            return super().compose_node(parent, index)

        def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Hashable, Any]:
            seen: set[object] = set()
            for key_node, _ in node.value:
                key = self.construct_object(key_node, deep=True)
                mark = key_node.start_mark
                if not isinstance(key, str):
                    raise NotYAMLError("a name must be text", mark.line + 1, mark.column + 1)
                if key in seen:
                    raise NotYAMLError(f"the name {key[:64]!r} is repeated", mark.line + 1, mark.column + 1)
                seen.add(key)
            return super().construct_mapping(node, deep)

    # dates, 1_000 and 12:30 stay text; yes and no are text, too
    kept = ("tag:yaml.org,2002:null", "tag:yaml.org,2002:bool")
    Loader.yaml_implicit_resolvers = {}
    Loader.add_implicit_resolver(kept[0], re.compile(r"^(?:~|null|)$"), ["~", "n", ""])
    Loader.add_implicit_resolver(kept[1], re.compile(r"^(?:true|false)$"), list("tf"))
    number = r"^[-+]?(?:0|[1-9][0-9]*)"
    Loader.add_implicit_resolver("tag:yaml.org,2002:int", re.compile(number + "$"), list("-+0123456789"))
    Loader.add_implicit_resolver(
        "tag:yaml.org,2002:float",
        re.compile(number + r"(?:\.[0-9]+(?:[eE][-+]?[0-9]{1,3})?|[eE][-+]?[0-9]{1,3})$"),
        list("-+0123456789"),
    )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise NotYAMLError(f"not UTF-8 at byte {error.start}") from None
    if len(text) > MAX_CHARACTERS:
        raise NotYAMLError(f"longer than {MAX_CHARACTERS} characters")
    loader = None
    try:
        loader = Loader(text)
        value = loader.get_single_data()
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        where = (None, None) if mark is None else (mark.line + 1, mark.column + 1)
        raise NotYAMLError(str(error.problem or error.context or "not YAML"), *where) from None
    except (yaml.YAMLError, RecursionError, ValueError) as error:
        if isinstance(error, NotYAMLError):
            raise
        raise NotYAMLError(str(error).splitlines()[0][:200] if str(error) else "not YAML") from None
    finally:
        if loader is not None:
            loader.dispose()
    if _depth(value) > MAX_DEPTH:
        raise NotYAMLError(f"nested deeper than {MAX_DEPTH}")
    return value


def _depth(value: object) -> int:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return 1 + max(map(_depth, inner), default=0) if isinstance(value, dict | list) else 0


# --- quantities ------------------------------------------------------------------------------------------------

_INCH_MM: Final = 25.4
_POUND_N: Final = 4.4482216152605
_POUND_KG: Final = 0.45359237

_UNITS: Final[Mapping[str, Mapping[str, float]]] = MappingProxyType(
    {
        "_m_per_min": {"m/min": 1, "ft/min": 0.3048, "sfm": 0.3048},
        "_n_per_um": {"N/um": 1, "lbf/in": _POUND_N / (_INCH_MM * 1000)},
        "_kg_mm2": {"kg*mm2": 1},
        "_kg_m3": {"kg/m3": 1, "g/cm3": 1000},
        "_n_m": {
            "N*m": 1,
            "Nm": 1,
            "lbf*ft": _POUND_N * 0.3048,
            "ft*lb": _POUND_N * 0.3048,
            "lbf*in": _POUND_N * 0.0254,
            "in*lb": _POUND_N * 0.0254,
        },
        "_g_mm": {"g*mm": 1, "oz*in": 28.349523125 * _INCH_MM},
        "_deg": {"deg": 1, "°": 1},
        "_rpm": {"rpm": 1, "1/min": 1, "/min": 1},
        "_mpa": {"MPa": 1, "N/mm2": 1, "psi": _POUND_N / _INCH_MM**2, "ksi": 1000 * _POUND_N / _INCH_MM**2},
        "_gpa": {"GPa": 1, "Mpsi": 1000 * _POUND_N / _INCH_MM**2},
        "_mm": {"mm": 1, "um": 0.001, "in": _INCH_MM, '"': _INCH_MM, "thou": 0.0254},
        "_um": {"um": 1, "mm": 1000, "in": 25400, '"': 25400, "thou": 25.4},
        "_kg": {"kg": 1, "g": 0.001, "lb": _POUND_KG, "oz": _POUND_KG / 16},
        "_kw": {"kW": 1, "W": 0.001, "hp": 0.745699872},
        "_hz": {"Hz": 1},
        "_n": {"N": 1, "kN": 1000, "lbf": _POUND_N, "lb": _POUND_N},
    }
)
"""Units by the end of a field's name, longer ends before those they end in; the first is that of the field.

Exact by definition: the inch and the pound of 1959 with the standard acceleration of free fall; the horsepower is
550 ft·lbf/s.
"""

_QUANTITY: Final = re.compile(
    r"([-+]?(?:[0-9]{1,9}(?:\.[0-9]{1,12})?|\.[0-9]{1,12}))(?:[ -]([0-9]{1,3}/[0-9]{1,3}))?\s*(\D.*)"
)
_FRACTION: Final = re.compile(r"()([0-9]{1,3}/[0-9]{1,3})\s*(\D.*)")


def quantity_of(name: str, text: str) -> float | None:
    """Return the value of a quantity with its unit, in the unit of the field.

    Parameters
    ----------
    name
        Name of the field, whose end gives its unit, such as ``tir_um``.
    text
        Number and unit; inches may have a fraction.

    Returns
    -------
    float or None
        None if the text is no quantity of that kind.

    >>> quantity_of("tir_um", "0.0005 in"), quantity_of("overall_length_mm", "3-1/4 in")
    (12.7, 82.55)
    >>> quantity_of("cutting_speed_m_per_min", "600 ft/min"), quantity_of("mass_kg", "3 apples")
    (182.88, None)
    """
    units = next((units for end, units in _UNITS.items() if name.endswith(end)), None)
    match = None if len(text) > 40 else (_FRACTION.fullmatch(text.strip()) or _QUANTITY.fullmatch(text.strip()))
    if units is None or match is None:
        return None
    sign = match[3].strip().replace("·", "*").replace("µ", "u").replace("μ", "u").replace("²", "2").replace("³", "3")
    factor = units.get(sign.replace(" ", ""))
    if factor is None:
        return None
    value = float(match[1] or 0.0)
    if match[2]:
        above, _, below = match[2].partition("/")
        if int(below) == 0:
            return None
        value += float(above) / float(below) * (-1.0 if value < 0.0 else 1.0)
    found = float(f"{value * factor:.12g}")
    return InchLength(found) if factor == _INCH_MM and name.endswith("_mm") else found


# --- short form ------------------------------------------------------------------------------------------------

_OF_JOINT: Final = (
    "projection_mm",
    "grip_length_mm",
    "clocking_deg",
    "tightening_torque_n_m",
    "projection_tolerance_mm",
)
"""Settings of a joint that stand with the component that it holds."""

_ENDS: Final = frozenset({"machine_side", "workpiece_side", "spindle"})


def full_form(data: Any) -> Any:
    """Return a request in the full form of the contract.

    =======================================  ==================================================================
    short                                    full
    =======================================  ==================================================================
    ``stack: [ ... ]``                       ``stack: {components: [ ... ]}``
    ``"iso15488:32:12"`` as a component      reference to that standard part
    ``part: KEY`` with other fields          reference to the standard part with the fields laid over it
    ``projection_mm`` of a component         projection of its joint with the component before
    ``grip_length_mm`` of a component        grip of that joint; so for clocking, tightening torque and tolerance
    ``machine_side: HSK-A63``                end with that designation
    ``machine: mill-3``                      machine of the mounted catalogue
    ``machine: { ... }`` without ``kind``    stated machine
    ``operation: { ... }``                   one operation, its id 10 unless stated
    ``runout_limit_um: 15 um``               limit of the operation at the gauge plane
    ``0.004 in`` and other texts with units  the number in the unit of the field
    =======================================  ==================================================================

    Raises
    ------
    BadRequestError
        For a text where a quantity is expected that is none of that kind.
    """
    faults: list[Fault] = []
    if not isinstance(data, dict):
        return data
    request = dict(data)
    if isinstance(request.get("stack"), list):
        request["stack"] = {"components": request["stack"]}
    if isinstance(request.get("stack"), dict):
        request["stack"] = _stack(request["stack"])
    machine = request.get("machine")
    if isinstance(machine, str):
        request["machine"] = {"kind": "reference", "of": {"from": "catalogue", "key": machine}}
    elif isinstance(machine, dict) and "kind" not in machine:
        request["machine"] = {"kind": "stated", **machine}
    if "operation" in request and "operations" not in request:
        request["operations"] = [request.pop("operation")]
    if isinstance(request.get("operations"), list):
        request["operations"] = [_operation(one, place) for place, one in enumerate(request["operations"])]
    request = _with_numbers(request, (), faults)
    if faults:
        raise BadRequestError(faults)
    return request


def _stack(stack: Mapping[str, Any]) -> dict[str, Any]:
    found = dict(stack)
    components = found.get("components")
    if not isinstance(components, list):
        return found
    joints = list(found["joints"]) if isinstance(found.get("joints"), list) else []
    parts: list[Any] = []
    for place, one in enumerate(components):
        part, joint = _component(one, place)
        if joint and parts and isinstance(part, dict) and isinstance(parts[-1], dict):
            ends = {"upper": parts[-1].get("id"), "lower": part.get("id")}
            joints.append({**ends, **joint})
        elif joint and isinstance(part, dict):
            part = {**part, **joint}
        parts.append(part)
    found["components"] = parts
    if joints:
        found["joints"] = joints
    return found


def _component(one: Any, place: int) -> tuple[Any, dict[str, Any]]:
    """Return a component in full, and the settings of its joint with the one before."""
    if isinstance(one, str):
        one = {"part": one}
    if not isinstance(one, dict):
        return one, {}
    fields = dict(one)
    joint = {name: fields.pop(name) for name in _OF_JOINT if name in fields}
    for name in _ENDS:
        if isinstance(fields.get(name), str):
            fields[name] = {"coupling": "designated", "designation": fields[name]}
    if isinstance(fields.get("runout_um"), int | float | str):
        fields["runout"] = {"statements": [{"tir_um": fields.pop("runout_um"), "at_mm": 0}]}
    key = fields.pop("part", None)
    if isinstance(key, str):
        name = fields.pop("id", None) or _NAMES.get(key.split(":")[0], _NAMES.get(":".join(key.split(":")[:2]), ""))
        reference: dict[str, Any] = {
            "kind": "reference",
            "id": name or f"part-{place + 1}",
            "of": {"from": "standard" if ":" in key else "catalogue", "key": key},
        }
        if fields:
            reference["with"] = fields
        return reference, joint
    if "id" not in fields and isinstance(fields.get("kind"), str):
        fields["id"] = fields["kind"].replace("_", "-")
    return fields, joint


_NAMES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "iso15488": "collet",
        "din6535": "tool",
        "din2269": "pin",
        "generic:holder": "holder",
        "generic:extension": "extension",
        "generic:rod": "rod",
    }
)


def _operation(one: Any, place: int) -> Any:
    if not isinstance(one, dict):
        return one
    fields = {"id": str(10 * (place + 1)), **one}
    limit = fields.pop("runout_limit_um", None)
    if limit is not None:
        limits = fields.get("limits")
        fields["limits"] = {**(limits if isinstance(limits, dict) else {}), "runout": {"tir_um": limit}}
    return fields


_TEXTS: Final = frozenset({"id", "description", "part_number", "designation", "key", "thread", "size", "labels"})


def _with_numbers(value: Any, steps: tuple[str | int, ...], faults: list[Fault]) -> Any:
    """Return the values with texts of quantities as numbers, and ends of the machine in full."""
    if isinstance(value, list):
        return [_with_numbers(one, (*steps, place), faults) for place, one in enumerate(value)]
    if not isinstance(value, dict):
        return value
    found: dict[str, Any] = {}
    for name, one in value.items():
        at = (*steps, name)
        if name in _ENDS and isinstance(one, str):
            found[name] = {"coupling": "designated", "designation": one}
        elif name in ("size", "id", "key") and isinstance(one, int | float) and not isinstance(one, bool):
            found[name] = f"{one:g}"
        elif isinstance(one, str) and name not in _TEXTS and any(name.endswith(end) for end in _UNITS):
            number = quantity_of(name, one)
            if number is None:
                units = next(units for end, units in _UNITS.items() if name.endswith(end))
                detail = f"a number is expected, or text with its unit: {', '.join(units)}"
                faults.append(Fault(pointer(at), detail, "wrong_format"))
            found[name] = one if number is None else number
        elif isinstance(one, int) and not isinstance(one, bool) and any(name.endswith(end) for end in _UNITS):
            found[name] = float(one)
        else:
            found[name] = _with_numbers(one, at, faults)
    return found
