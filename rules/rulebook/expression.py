"""The expressions of a rule, ``where`` and ``require``: grammar, types and units, values, and plain words.

The syntax is a subset of the Common Expression Language (CEL): ``&& || !``, ``== != < <= > >= in``, ``+ - * /``, lists,
texts in quotes, names with points, and ``all``, ``exists`` and ``filter(...).size()`` over components and joints.
``has(name)`` asks whether a property exists for this subject, ``stated(name)`` whether its value is known. ``mm`` and
``um`` convert lengths and read texts such as ``mm("1/4 in")``; ``abs`` is the magnitude.

A value is known, missing (a :class:`Gap`: it concerns the subject, but the request does not supply it) or does not
exist for this subject (None). One false member decides ``&&`` and one true member decides ``||``, whatever the others
are. Otherwise a member that does not exist makes the whole not exist, and a missing one leaves it missing.

A ``require`` is stricter: it is decided only where everything it reads is known (unless it tests for that
itself, by ``has`` or ``stated``). So no missing value ever passes because another one happens to be right.

All numbers are double-precision.
"""

from __future__ import annotations

import json
import math
import operator
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import lru_cache
from typing import Any, Final, Literal, Protocol, TypeAlias, TypeVar, final

from rules.rulebook.fact import Value

__all__ = [
    "COLLECTIONS",
    "Arithmetic",
    "Call",
    "Comparison",
    "Constant",
    "Evaluator",
    "Expression",
    "ExpressionError",
    "Gap",
    "Join",
    "Listing",
    "Macro",
    "Name",
    "Negation",
    "Result",
    "Subjects",
    "View",
    "asks",
    "children",
    "compiled",
    "conjuncts",
    "has_macro",
    "inner_names",
    "joined",
    "names_in",
    "nearest",
    "of_each",
    "parse",
    "text_of",
    "uses_threshold",
]

_LONGEST: Final = 2_000
_DEEPEST: Final = 40

COLLECTIONS: Final[Mapping[str, Literal["component", "joint"]]] = {"components": "component", "joints": "joint"}
"""What ``all``, ``exists`` and ``filter`` run over, and the kind of subject in it."""


class ExpressionError(ValueError):
    """An expression that cannot be read or makes no sense; the message says where, and what was expected."""


@dataclass(frozen=True, slots=True)
class Constant:
    """A number, a text or a flag."""

    value: Value


@dataclass(frozen=True, slots=True)
class Name:
    """A property, or a threshold of the rule."""

    name: str
    is_threshold: bool = False


@dataclass(frozen=True, slots=True)
class Listing:
    """A list of constants, written out or named."""

    values: tuple[Value, ...]
    name: str | None = None


@dataclass(frozen=True, slots=True)
class Negation:
    """The opposite of a condition."""

    inner: Expression


@dataclass(frozen=True, slots=True)
class Join:
    """Conditions of which all must hold (``&&``), or any one (``||``)."""

    sign: Literal["&&", "||"]
    members: tuple[Expression, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two values compared; for ``in`` the right one is a list."""

    sign: str
    left: Expression
    right: Expression


@dataclass(frozen=True, slots=True)
class Arithmetic:
    """A sum, difference, product or quotient of two numbers."""

    sign: str
    left: Expression
    right: Expression


@dataclass(frozen=True, slots=True)
class Call:
    """A function of one argument."""

    function: str
    argument: Expression


@dataclass(frozen=True, slots=True)
class Macro:
    """A question to every component or joint; ``count`` is written ``filter(...).size()``."""

    over: str
    method: str
    variable: str
    body: Expression


Expression: TypeAlias = Constant | Name | Listing | Negation | Join | Comparison | Arithmetic | Call | Macro


def children(one: Expression) -> tuple[Expression, ...]:
    """Return the parts that an expression is made of, in the order written."""
    if isinstance(one, Negation):
        return (one.inner,)
    if isinstance(one, Join):
        return one.members
    if isinstance(one, Comparison | Arithmetic):
        return (one.left, one.right)
    if isinstance(one, Call):
        return (one.argument,)
    return (one.body,) if isinstance(one, Macro) else ()


def names_in(one: Expression) -> tuple[str, ...]:
    """Return each property that an expression reads, once, in the order written; not those of a macro's own subject.

    >>> names_in(parse("has(a_mm) && a_mm < b_mm"))
    ('a_mm', 'b_mm')
    """
    return tuple(dict.fromkeys(_names(one, frozenset())))


def _names(one: Expression, bound: frozenset[str]) -> Iterator[str]:
    if isinstance(one, Name) and not one.is_threshold and one.name.partition(".")[0] not in bound:
        yield one.name
    if isinstance(one, Macro):
        bound |= {one.variable}
    for part in children(one):
        yield from _names(part, bound)


def asks(one: Expression) -> bool:
    """Whether an expression tests existence, with has() or stated()."""
    return (isinstance(one, Call) and one.function in ("has", "stated")) or any(map(asks, children(one)))


def has_macro(one: Expression) -> bool:
    """Whether an expression asks several components or joints."""
    return isinstance(one, Macro) or any(map(has_macro, children(one)))


def uses_threshold(one: Expression) -> bool:
    """Whether a checked expression reads a threshold of the rule."""
    return (isinstance(one, Name) and one.is_threshold) or any(map(uses_threshold, children(one)))


def inner_names(one: Expression) -> frozenset[tuple[str, str]]:
    """Return the properties that an expression reads of the subjects it asks, each with their kind."""
    found = {inner for part in children(one) for inner in inner_names(part)}
    if isinstance(one, Macro):
        start = f"{one.variable}."
        body = _names(one.body, frozenset())
        found |= {(COLLECTIONS[one.over], name.removeprefix(start)) for name in body if name.startswith(start)}
    return frozenset(found)


def conjuncts(one: Expression | None) -> tuple[Expression, ...]:
    """Return the conditions that must all hold; none for no expression."""
    if one is None:
        return ()
    if isinstance(one, Join) and one.sign == "&&":
        return tuple(found for member in one.members for found in conjuncts(member))
    return (one,)


# --- reading -------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=2048)
def parse(text: str) -> Expression:
    """Return the expression that a text writes, its names still unchecked.

    Raises :class:`ExpressionError` with the place and what was expected there.

    >>> parse("a < 2")
    Comparison(sign='<', left=Name(name='a', is_threshold=False), right=Constant(value=2.0))
    """
    if len(text) > _LONGEST:
        raise ExpressionError(f"longer than {_LONGEST} characters")
    if _depth_of(text) > _DEEPEST:
        raise ExpressionError(f"brackets and signs nested deeper than {_DEEPEST} levels")
    from rules.rulebook.syntax import read  # a check reads no expression, and the parser takes longer than it

    return read(text)


def _depth_of(text: str) -> int:
    """Return an upper bound of the nesting, so that the parser's recursion has one."""
    depth = most = signs = 0
    for sign in text:
        depth += (sign in "([") - (sign in ")]")
        signs = signs + 1 if sign in "!-" else signs if sign.isspace() else 0
        most = max(most, depth + signs)
    return most


def nearest(name: str, known: Sequence[str] | Mapping[str, Any]) -> str:
    """Return a hint at the nearest of some names, or all of them where they are few."""
    close = get_close_matches(name, list(known), n=1, cutoff=0.6)
    return f"; did you mean {close[0]}?" if close else f"; there are: {', '.join(known)}" if len(known) < 12 else ""


# --- values --------------------------------------------------------------------------------------------------------


@final
@dataclass(frozen=True, slots=True)
class Gap:
    """A value that concerns the subject and is not known: the properties that are missing, and the request fields."""

    lacking: Mapping[str, tuple[str, ...]]


Result: TypeAlias = Value | Gap | None
"""A known value, a missing one, or None where there is no such thing."""


class View(Protocol):
    """The properties of one subject and of all it can see."""

    def get(self, name: str) -> Result:
        """Return the value of a property."""

    def subjects(self, over: str) -> Sequence[View]:
        """Return the components or the joints of the stack."""


Evaluator: TypeAlias = Callable[[View, Mapping[str, float]], Result]
"""From a view and the thresholds in force to a value."""


def _meet(results: Sequence[Result]) -> Gap | Literal[True] | None:
    """Return what two or more values are together: True if all are known."""
    if None in results:
        return None
    gaps = [one.lacking for one in results if isinstance(one, Gap)]
    return Gap(joined(gaps)) if gaps else True


def joined(gaps: Iterable[Mapping[str, tuple[str, ...]]]) -> dict[str, tuple[str, ...]]:
    """Return the missing properties of several gaps; one that several subjects lack, with the fields of each.

    >>> joined([{"length_mm": ("/a",)}, {"length_mm": ("/b", "/a")}])
    {'length_mm': ('/a', '/b')}
    """
    found: dict[str, tuple[str, ...]] = {}
    for gap in gaps:
        for name, fields in gap.items():
            found[name] = tuple(dict.fromkeys((*found.get(name, ()), *fields)))
    return found


_COMPARE: Final[Mapping[str, Callable[[Any, Any], bool]]] = {
    "==": operator.eq,
    "!=": operator.ne,
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "in": lambda left, right: left in right,
}


def _divided(left: float, right: float) -> Result:
    return left / right if right else Gap({})


_COMPUTE: Final[Mapping[str, Callable[[float, float], Result]]] = {
    "+": lambda left, right: left + right,
    "-": lambda left, right: left - right,
    "*": lambda left, right: left * right,
    "/": _divided,
}


def compiled(one: Expression) -> Evaluator:
    """Return a function that computes a checked expression.

    A quotient by zero and a result beyond the range of doubles are missing, and nothing would supply them.
    """
    if isinstance(one, Constant):
        value = one.value
        return lambda _view, _limits: value
    if isinstance(one, Listing):
        raise TypeError("a list has no value of its own")
    if isinstance(one, Name):
        name = one.name
        if one.is_threshold:
            return lambda _view, limits: limits[name]
        return lambda view, _limits: view.get(name)
    if isinstance(one, Negation):
        inner = compiled(one.inner)
        return lambda view, limits: not found if isinstance(found := inner(view, limits), bool) else found
    if isinstance(one, Join):
        return _join(one)
    if isinstance(one, Comparison):
        return _comparison(one)
    if isinstance(one, Arithmetic):
        return _arithmetic(one)
    return _macro_value(one) if isinstance(one, Macro) else _call(one)


def _join(one: Join) -> Evaluator:
    members = [compiled(member) for member in one.members]
    deciding = one.sign == "||"

    def value(view: View, limits: Mapping[str, float]) -> Result:
        unknown: list[Result] = []
        for member in members:
            result = member(view, limits)
            if result is deciding:
                return deciding
            if result is None or result.__class__ is Gap:
                unknown.append(result)
        return _meet(unknown) if unknown else not deciding

    return value


def _comparison(one: Comparison) -> Evaluator:
    compare, left = _COMPARE[one.sign], compiled(one.left)
    if isinstance(one.right, Listing):
        among = frozenset(one.right.values)
        return lambda view, limits: found if type(found := left(view, limits)) in _UNKNOWN else found in among
    if isinstance(one.left, Name) and not one.left.is_threshold and isinstance(one.right, Constant):
        return _simple(one.left.name, compare, one.right.value)
    right = compiled(one.right)

    def value(view: View, limits: Mapping[str, float]) -> Result:
        first, second = left(view, limits), right(view, limits)
        if type(first) in _UNKNOWN or type(second) in _UNKNOWN:
            return _meet((first, second))
        return compare(first, second)

    return value


def _simple(name: str, compare: Callable[[Any, Any], bool], wanted: Value) -> Evaluator:
    """Return the evaluator of a property compared with a constant, which most conditions are."""

    def value(view: View, _limits: Mapping[str, float]) -> Result:
        found = view.get(name)
        return _meet((found,)) if found is None or found.__class__ is Gap else compare(found, wanted)

    return value


_UNKNOWN: Final = frozenset({type(None), Gap})


def _arithmetic(one: Arithmetic) -> Evaluator:
    compute, left, right = _COMPUTE[one.sign], compiled(one.left), compiled(one.right)

    def value(view: View, limits: Mapping[str, float]) -> Result:
        first, second = left(view, limits), right(view, limits)
        if type(first) in _UNKNOWN or type(second) in _UNKNOWN:
            return _meet((first, second))
        result = compute(float(first), float(second))  # type: ignore[arg-type]
        return Gap({}) if isinstance(result, float) and not math.isfinite(result) else result

    return value


def _call(one: Call) -> Evaluator:
    argument = compiled(one.argument)
    if one.function == "has":
        return lambda view, limits: argument(view, limits) is not None
    if one.function == "stated":
        return lambda view, limits: type(argument(view, limits)) not in _UNKNOWN
    return lambda view, limits: abs(found) if isinstance(found := argument(view, limits), float | int) else found


Question: TypeAlias = tuple[str | float, ...]
"""A macro in full, and the thresholds that it reads."""

_Seen = TypeVar("_Seen", bound=View)


class Subjects(list[_Seen]):
    """The components or the joints of a stack, with the answers to what has been asked of all of them so far."""

    def __init__(self, views: Iterable[_Seen]) -> None:
        super().__init__(views)
        self.answers: dict[Question, Result] = {}


def of_each(one: Macro) -> Callable[[View, Mapping[str, float], Sequence[View]], list[Result]]:
    """Return a function that computes the condition of a macro for each of some subjects, as another one sees them."""
    start = f"{one.variable}."
    # what the rule's own subject has is the same for all of them: it is read once, and stands among the thresholds
    outer, body = names_in(one), compiled(_seen_by_each(one.body, start))

    def value(view: View, limits: Mapping[str, float], subjects: Sequence[View]) -> list[Result]:
        given: Mapping[str, Any] = {**limits, **{_OUTER + name: view.get(name) for name in outer}} if outer else limits
        return [body(subject, given) for subject in subjects]

    return value


_OUTER: Final = "outer "
"""Before the name of a property, so that it is not that of a threshold."""


def _seen_by_each(one: Expression, start: str) -> Expression:
    """Return the condition of a macro in the names of the subject that it is about."""
    if isinstance(one, Name):
        if one.name.startswith(start):
            return Name(one.name.removeprefix(start))
        return one if one.is_threshold else Name(_OUTER + one.name, is_threshold=True)
    if isinstance(one, Negation):
        return Negation(_seen_by_each(one.inner, start))
    if isinstance(one, Join):
        return Join(one.sign, tuple([_seen_by_each(member, start) for member in one.members]))
    if isinstance(one, Call):
        return Call(one.function, _seen_by_each(one.argument, start))
    if isinstance(one, Comparison | Arithmetic):
        return replace(one, left=_seen_by_each(one.left, start), right=_seen_by_each(one.right, start))
    return one


def _macro_value(one: Macro) -> Evaluator:
    each, over, method = of_each(one), one.over, one.method

    def value(view: View, limits: Mapping[str, float]) -> Result:
        return _together(method, each(view, limits, view.subjects(over)))

    if names_in(one):
        return value
    # The answer is the same whoever asks. The key is the macro in full, since equal texts may mean lists that differ.
    question, limited = (repr(one),), sorted(_limits_in(one.body))

    def shared(view: View, limits: Mapping[str, float]) -> Result:
        subjects = view.subjects(over)
        if subjects.__class__ is not Subjects:
            return value(view, limits)
        asked: Question = (*question, *[limits[name] for name in limited]) if limited else question
        if asked not in subjects.answers:
            subjects.answers[asked] = value(view, limits)
        return subjects.answers[asked]

    return shared


def _limits_in(one: Expression) -> frozenset[str]:
    if isinstance(one, Name):
        return frozenset({one.name}) if one.is_threshold else frozenset()
    return frozenset[str]().union(*map(_limits_in, children(one)))


def _together(method: str, found: Sequence[Result]) -> Result:
    """Return the value of a macro from that of its condition for each subject."""
    # a condition on what one of them does not have does not concern that one
    concerned = [result for result in found if result is not None]
    if method == "all" and False in concerned:
        return False
    if method == "exists" and True in concerned:
        return True
    together = _meet(concerned)
    if together is not True:
        return together
    return float(concerned.count(True)) if method == "count" else method == "all"


# --- words ---------------------------------------------------------------------------------------------------------

_LEVELS: Final = {"||": 1, "&&": 2, "in": 3, **dict.fromkeys(("==", "!=", "<", "<=", ">", ">="), 3)} | {
    "+": 4,
    "-": 4,
    "*": 5,
    "/": 5,
}


def text_of(one: Expression) -> str:
    """Return an expression as it would be written.

    >>> text_of(parse("a<2&&!(b||c in [1,2])"))
    'a < 2 && !(b || c in [1, 2])'
    """
    return _text(one, 0)


def _text(one: Expression, level: int) -> str:
    if isinstance(one, Constant):
        return _constant(one.value)
    if isinstance(one, Name):
        return one.name
    if isinstance(one, Listing):
        return one.name or f"[{', '.join(map(_constant, one.values))}]"
    if isinstance(one, Negation):
        return f"!{_text(one.inner, 6)}"
    if isinstance(one, Call):
        return f"{one.function}({_text(one.argument, 0)})"
    if isinstance(one, Macro):
        method = "filter" if one.method == "count" else one.method
        return f"{one.over}.{method}({one.variable}, {_text(one.body, 0)}){'.size()' if one.method == 'count' else ''}"
    own = _LEVELS[one.sign]
    if isinstance(one, Join):
        made = f" {one.sign} ".join(_text(member, own + 1) for member in one.members)
    else:
        made = f"{_text(one.left, own + (own == 3))} {one.sign} {_text(one.right, own + 1)}"
    return f"({made})" if own < level else made


def _constant(value: Value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else _number(value)


def _number(value: float) -> str:
    return str(int(value)) if float(value).is_integer() and abs(value) < 1e15 else repr(float(value))
