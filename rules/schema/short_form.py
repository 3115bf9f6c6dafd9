"""Requests as people write them: YAML, designations and standard parts as bare text, quantities with their units.

The short form is for files, the command line and bodies in YAML. It becomes the full form of the contract before
anything is checked, so pointers are those of the full form; faults have the line of the file, too.
"""

from __future__ import annotations

import re
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, Literal

from rules.quantities.inch import FOOT_M, HORSEPOWER_KW, INCH_MM, OUNCE_G, POUND_KG, POUND_N
from rules.quantities.models import InchLength
from rules.schema.parsing import BadRequestError, Fault, FaultCode, pointer, sayable

if TYPE_CHECKING:
    import yaml

__all__ = ["MAX_DEPTH", "NotYAMLError", "full_form", "has_unit", "placed", "quantity_of", "read_yaml", "written_yaml"]

MAX_DEPTH: Final = 40
MAX_CHARACTERS: Final = 1_000_000


class NotYAMLError(ValueError):
    """Text that is no YAML of plain values; ``line`` and ``column`` count from 1, None where not known.

    ``code`` is the kind of fault for programs.
    """

    def __init__(
        self, detail: str, line: int | None = None, column: int | None = None, code: FaultCode = "syntax_error"
    ) -> None:
        super().__init__(detail)
        self.detail, self.line, self.column, self.code = detail, line, column, code


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
    value = _loaded(data, "get_single_data")
    if _depth(value) > MAX_DEPTH:
        raise _too_deep()
    return value


def _too_deep() -> NotYAMLError:
    return NotYAMLError(f"nested deeper than {MAX_DEPTH}", code="too_deep")


def written_yaml(value: Any) -> bytes:
    """Return plain values as YAML, which :func:`read_yaml` reads back as they are.

    Parameters
    ----------
    value
        What JSON can hold. Names keep their order.

    Returns
    -------
    bytes
        UTF-8.

    >>> written_yaml({"stack": {"id": "1e5", "components": [{"teeth": 4}]}}).decode().splitlines()
    ['stack:', "  id: '1e5'", '  components:', '  - teeth: 4']
    """
    import yaml

    text: str = yaml.dump(value, Dumper=_dumper(), allow_unicode=True, sort_keys=False, width=MAX_CHARACTERS)
    return text.encode()


@cache
def _dumper() -> type[yaml.SafeDumper]:
    """Return the dumper, which quotes what either this reader or another one takes for more than text."""
    import yaml

    class Dumper(yaml.SafeDumper):
        def represent_str(self, data: str) -> yaml.ScalarNode:
            # breaks that only double quotes keep
            style = '"' if re.search("[\x85\u2028\u2029]", data) else None
            return self.represent_scalar("tag:yaml.org,2002:str", data, style)

    for tag, pattern, first in _PLAIN:
        Dumper.add_implicit_resolver(tag, pattern, list(first))
    Dumper.add_representer(str, Dumper.represent_str)
    Dumper.ignore_aliases = lambda *_: True  # type: ignore[method-assign]
    # lengths that know that they were stated in inches
    Dumper.add_multi_representer(float, yaml.SafeDumper.represent_float)
    return Dumper


_NUMBER: Final = r"^[-+]?(?:0|[1-9][0-9]*)"
_PLAIN: Final = (
    ("tag:yaml.org,2002:null", re.compile(r"^(?:~|null|)$"), ("~", "n", "")),
    ("tag:yaml.org,2002:bool", re.compile(r"^(?:true|false)$"), tuple("tf")),
    ("tag:yaml.org,2002:int", re.compile(_NUMBER + "$"), tuple("-+0123456789")),
    (
        "tag:yaml.org,2002:float",
        re.compile(_NUMBER + r"(?:\.[0-9]+(?:[eE][-+]?[0-9]{1,3})?|[eE][-+]?[0-9]{1,3})$"),
        tuple("-+0123456789"),
    ),
)
"""Tag, pattern and first characters of what is more than text: dates, 1_000, 12:30, yes and no are text."""


@cache
def _loader() -> type[yaml.SafeLoader]:
    """Return the loader, which reads no more of YAML than what JSON has, too."""
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
                place = (mark.line + 1, mark.column + 1)
                if not isinstance(key, str):
                    raise NotYAMLError("a name must be text", *place)
                if key in seen:
                    named = f"the name {key!r}" if sayable(key) else "a name"
                    raise NotYAMLError(f"{named} is repeated", *place, "duplicate_key")
                seen.add(key)
            return super().construct_mapping(node, deep)

    Loader.yaml_implicit_resolvers = {}
    for tag, pattern, first in _PLAIN:
        Loader.add_implicit_resolver(tag, pattern, list(first))
    return Loader


def _loaded(data: bytes, method: Literal["get_single_data", "get_single_node"]) -> Any:
    """Return the values of a document, or its nodes, which know their lines."""
    import yaml

    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise NotYAMLError(f"not UTF-8 at byte {error.start}", code="not_utf8") from None
    if len(text) > MAX_CHARACTERS:
        raise NotYAMLError(f"longer than {MAX_CHARACTERS} characters")
    loader = None
    try:
        loader = _loader()(text)
        return getattr(loader, method)()
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        where = (None, None) if mark is None else (mark.line + 1, mark.column + 1)
        raise NotYAMLError(_in_words(str(error.problem or error.context or "not YAML")), *where) from None
    except RecursionError:
        raise _too_deep() from None
    except (yaml.YAMLError, ValueError) as error:
        if isinstance(error, NotYAMLError):
            raise
        raise NotYAMLError(str(error).splitlines()[0][:200] if str(error) else "not YAML") from None
    finally:
        if loader is not None:
            loader.dispose()


_WORDS: Final = (
    ("mapping values are not allowed", "a colon cannot stand here; check the indentation, or put the text in quotes"),
    ("expected ',' or '}'", "a comma or a closing } is missing before this"),
    ("expected ',' or ']'", "a comma or a closing ] is missing before this"),
    ("expected <block end>", "the indentation does not match the lines above"),
    ("could not find expected ':'", "a colon is missing after the name before this"),
    ("expected the node content", "a value is expected here"),
    ("found unexpected end of stream", "the text ends too soon: a closing bracket or quotation mark is missing"),
    ("found character '\\t'", "a tab cannot stand here; indent with spaces"),
)
"""Beginnings of the reader's messages, and what they mean to somebody who writes a request."""


def _in_words(problem: str) -> str:
    return next((words for begin, words in _WORDS if problem.startswith(begin)), problem)


def _depth(value: object) -> int:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return 1 + max(map(_depth, inner), default=0) if isinstance(value, dict | list) else 0


# --- quantities ------------------------------------------------------------------------------------------------

_UNITS: Final[Mapping[str, Mapping[str, float]]] = MappingProxyType(
    {
        "_m_per_min": {"m/min": 1, "ft/min": FOOT_M, "sfm": FOOT_M},
        "_n_per_um": {"N/um": 1, "lbf/in": POUND_N / (INCH_MM * 1000)},
        "_kg_mm2": {"kg*mm2": 1},
        "_kg_m3": {"kg/m3": 1, "g/cm3": 1000},
        "_n_m": {
            "N*m": 1,
            "Nm": 1,
            "lbf*ft": POUND_N * FOOT_M,
            "ft*lb": POUND_N * FOOT_M,
            "lbf*in": POUND_N * INCH_MM / 1000,
            "in*lb": POUND_N * INCH_MM / 1000,
        },
        "_g_mm": {"g*mm": 1, "oz*in": OUNCE_G * INCH_MM},
        "_deg": {"deg": 1, "°": 1},
        "_rpm": {"rpm": 1, "1/min": 1, "/min": 1},
        "_mpa": {"MPa": 1, "N/mm2": 1, "psi": POUND_N / INCH_MM**2, "ksi": 1000 * POUND_N / INCH_MM**2},
        "_gpa": {"GPa": 1, "Mpsi": 1000 * POUND_N / INCH_MM**2},
        "_mm": {"mm": 1, "um": 0.001, "in": INCH_MM, '"': INCH_MM, "thou": INCH_MM / 1000},
        "_um": {"um": 1, "mm": 1000, "in": INCH_MM * 1000, '"': INCH_MM * 1000, "thou": INCH_MM},
        "_kg": {"kg": 1, "g": 0.001, "lb": POUND_KG, "oz": POUND_KG / 16},
        "_kw": {"kW": 1, "W": 0.001, "hp": HORSEPOWER_KW},
        "_hz": {"Hz": 1},
        "_n": {"N": 1, "kN": 1000, "lbf": POUND_N, "lb": POUND_N},
    }
)
"""Units by the end of a field's name, longer ends before those they end in; the first is that of the field.

The factors are those of ``rules.quantities.inch``, exact by definition.
"""


def has_unit(name: str) -> bool:
    """Whether the end of a field's name gives a unit, so that text with a unit may state it."""
    return name not in _TEXTS and any(name.endswith(end) for end in _UNITS)


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
    return InchLength(found) if factor == INCH_MM and name.endswith("_mm") else found


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


def full_form(data: Any, *, draft: bool = False) -> Any:
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
    ``$schema: ADDRESS``                     nothing; it is for editors
    =======================================  ==================================================================

    Parameters
    ----------
    data
        Plain values.
    draft
        Whether a text that is no quantity of its field's kind is left as it is, for somebody who still writes.

    Returns
    -------
    Any
        The full form; what is no mapping comes back as it is.

    Raises
    ------
    BadRequestError
        For a text where a quantity is expected that is none of that kind, unless it is a draft.
    """
    faults: list[Fault] = []
    if not isinstance(data, dict):
        return data
    request = dict(data)
    if isinstance(request.get("$schema"), str):
        del request["$schema"]
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
    if faults and not draft:
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
    if "part" in fields:
        key = fields.pop("part")  # the contract refuses one that is no text
        steps = key.split(":") if isinstance(key, str) else []
        usual = _NAMES.get(":".join(steps[:1])) or _NAMES.get(":".join(steps[:2]))
        reference: dict[str, Any] = {
            "kind": "reference",
            "id": fields.pop("id", None) or usual or f"part-{place + 1}",
            "of": {"from": "standard" if len(steps) > 1 else "catalogue", "key": key},
        }
        if fields:
            reference["with"] = fields
        return reference, joint
    if "id" not in fields and isinstance(fields.get("kind"), str):
        fields["id"] = fields["kind"].replace("_", "-")
    return fields, joint


_JOINT_FIELDS: Final = ("projection_mm", "grip_length_mm", "clocking_deg")

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
        elif isinstance(one, str) and has_unit(name):
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


# --- places ----------------------------------------------------------------------------------------------------


def placed(error: BadRequestError, data: bytes) -> BadRequestError:
    """Return the faults of a request in YAML with their lines and columns.

    Parameters
    ----------
    error
        Faults with pointers into the full form.
    data
        The YAML, which could be read. What it does not have itself is placed at the nearest it has.
    """
    node, value = _loaded(data, "get_single_node"), read_yaml(data)
    return BadRequestError(_at(fault, node, value) for fault in error.faults)


def _at(fault: Fault, node: yaml.Node | None, value: Any) -> Fault:
    import yaml

    if node is None:  # an empty document
        return replace(fault, line=1, column=1)
    mark = node.start_mark
    steps = [step.replace("~1", "/").replace("~0", "~") for step in fault.pointer.split("/")[1:]]
    for step in _written(steps, value) if isinstance(value, dict) else steps:
        if isinstance(node, yaml.MappingNode):
            found = next(((key, inner) for key, inner in node.value if key.value == step), None)
            if found is None:
                break
            mark, node = found[0].start_mark, found[1]
        elif isinstance(node, yaml.SequenceNode) and step.isdecimal() and int(step) < len(node.value):
            node = node.value[int(step)]
            mark = node.start_mark
        else:
            break
    return replace(fault, line=mark.line + 1, column=mark.column + 1)


def _written(steps: Sequence[str], request: Mapping[str, Any]) -> list[str]:
    """Return where a request in short form states what its full form has at these steps."""
    head, *rest = steps or [""]
    if head == "operations" and "operation" in request and "operations" not in request:
        return ["operation", *_short_field(rest[1:], request["operation"])]
    if head == "operations" and isinstance(request.get(head), list):
        return [head, *rest[:1], *_short_field(rest[1:], _item(request[head], rest[:1]))]
    stack = request.get("stack")
    components = stack.get("components") if isinstance(stack, dict) else stack
    if head != "stack" or not isinstance(components, list) or len(rest) < 2:
        return list(steps)
    before = ["stack"] if isinstance(stack, list) else ["stack", "components"]
    if rest[0] == "joints":
        stated = stack.get("joints") if isinstance(stack, dict) else None
        own = [
            str(place)
            for place, one in enumerate(components)
            if place and isinstance(one, dict) and any(name in one for name in _JOINT_FIELDS)
        ]
        number = int(rest[1]) - (len(stated) if isinstance(stated, list) else 0) if rest[1].isdecimal() else -1
        return [*before, own[number], *rest[2:]] if 0 <= number < len(own) else list(steps)
    if rest[0] != "components":
        return list(steps)
    return [*before, rest[1], *_short_field(rest[2:], _item(components, rest[1:2]))]


def _item(listed: Sequence[Any], steps: Sequence[str]) -> Any:
    number = int(steps[0]) if steps and steps[0].isdecimal() else len(listed)
    return listed[number] if number < len(listed) else None


_SHORT_FIELDS: Final = (
    (("with",), ()),
    (("of", "key"), ("part",)),
    (("of",), ("part",)),
    (("runout", "statements", "0", "tir_um"), ("runout_um",)),
    (("limits", "runout", "tir_um"), ("runout_limit_um",)),
)
"""Steps of the full form, and those of the short one."""


def _short_field(steps: Sequence[str], written: Any) -> list[str]:
    """Return the steps below a component or an operation as it is written."""
    found = tuple(steps)
    for full, short in _SHORT_FIELDS:
        if isinstance(written, dict) and found[: len(full)] == full and full[0] not in written:
            found = (*short, *found[len(full) :])
    return list(found)
