"""The rulebooks evaluated in plain Python, which must agree with the engine on every stack.

It walks the expression of each rule with a logic of three values of its own, without terms, slots, integers or
sessions, and is short enough to review by eye. It could replace the engine.

- A member that decides ``&&`` (false) or ``||`` (true) decides it. Of the others, one that does not exist goes before
  one that is missing.
- A rule concerns a subject if ``where`` holds or cannot be told for want of a value, and all that it reads exists.
- It is undecided if any value that it reads is missing, even if the others would decide; but a ``require`` that asks
  by ``has`` or ``stated`` is decided by what there is.
"""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import Any, Final, TypeAlias

from rules.rulebook.book import Judgement, Rule, Rulebook
from rules.rulebook.expression import (
    Arithmetic,
    Call,
    Comparison,
    Constant,
    Expression,
    Gap,
    Join,
    Listing,
    Macro,
    Name,
    Negation,
    Result,
    View,
)
from rules.rulebook.fact import Fact
from tests.support.rulebooks import SmallView

_COMPARE: Final = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "==": operator.eq,
    "!=": operator.ne,
}

Answer: TypeAlias = tuple[list[tuple[str, str]], list[tuple[str, str, dict[str, tuple[str, ...]]]], list[str]]
"""Fired (code, key), undecided (code, key, lacking) and the codes decided wherever they apply."""


def evaluate(
    book: Rulebook,
    facts: Sequence[Fact],
    overrides: Mapping[str, Mapping[str, float]] | None = None,
    view_of: Callable[[Fact], View] | None = None,
) -> Answer:
    """Judge the facts by the book."""
    fired, undecided, decided = [], [], set()
    for rule in book.rules:
        limits = {name: threshold.value for name, threshold in rule.thresholds.items()}
        limits |= (overrides or {}).get(rule.code, {})
        for fact in facts:
            if fact.kind != rule.applies_to:
                continue
            verdict = judged(rule, (view_of or SmallView)(fact), limits)
            if isinstance(verdict, Gap):
                undecided.append((rule.code, fact.key, dict(verdict.lacking)))
            elif verdict is not None:
                decided.add(rule.code)
                if verdict is False:
                    fired.append((rule.code, fact.key))
    return fired, undecided, sorted(decided - {code for code, _, _ in undecided})


def answer_of(judgement: Judgement) -> Answer:
    """Return a judgement of the engine in the same form."""
    return (
        [(fired.rule.code, fired.fact.key) for fired in judgement.fired],
        [(gap.rule.code, gap.fact.key, _properties(gap.lacking)) for gap in judgement.undecided],
        list(judgement.decided),
    )


def without(answer: Answer, codes: Collection[str]) -> Answer:
    """Return an answer without that of some rules, which another engine cannot write."""
    fired, undecided, decided = answer
    return (
        [one for one in fired if one[0] not in codes],
        [one for one in undecided if one[0] not in codes],
        [one for one in decided if one not in codes],
    )


def _properties(lacking: Mapping[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
    """Return the properties of a gap without the terms that nothing would supply, such as a quotient by zero."""
    return {name: fields for name, fields in lacking.items() if re.fullmatch(r"[a-z0-9_.]+", name)}


def judged(rule: Rule, view: View, limits: Mapping[str, float]) -> Result:
    """Return whether the requirement holds; a gap where that is undecided, None where the rule is not concerned."""
    scope = True if rule.scope is None else value(rule.scope, view, limits)
    if scope is None or scope is False:
        return None
    asking = _asks(rule.requirement)
    texts = re.findall(r"\{([^}]*)\}", rule.message + (rule.remedy or ""))
    shown = [one for one in (*texts, rule.observed, rule.limit) if one is not None and one not in limits]
    read = [view.get(name) for name in (*(() if asking else _read(rule.requirement, "")), *shown)]
    parts = [rule.requirement] if asking else list(_parts(rule.requirement))
    parts_found = [value(part, view, limits) for part in parts]
    if None in read or None in parts_found:
        return None
    gaps = [one for one in (*read, *parts_found, scope) if isinstance(one, Gap)]
    return _together(gaps) if gaps else value(rule.requirement, view, limits)


def _asks(one: Expression) -> bool:
    return (isinstance(one, Call) and one.function in ("has", "stated")) or any(map(_asks, _inside(one)))


def _inside(one: Expression) -> Sequence[Expression]:
    match one:
        case Negation(inner) | Call(_, inner) | Macro(_, _, _, inner):
            return [inner]
        case Join(_, members):
            return members
        case Comparison(_, left, right) | Arithmetic(_, left, right):
            return [left, right]
    return []


def _read(one: Expression, variable: str) -> Iterator[str]:
    """Yield the properties of the subject itself."""
    if isinstance(one, Name) and not one.is_threshold and not (variable and one.name.startswith(f"{variable}.")):
        yield one.name
    for part in _inside(one):
        yield from _read(part, one.variable if isinstance(one, Macro) else variable)


def _parts(one: Expression) -> Iterator[Expression]:
    """Yield the comparisons and flags below ``&&``, ``||`` and ``!``."""
    if isinstance(one, Join | Negation):
        for part in _inside(one):
            yield from _parts(part)
    else:
        yield one


def _together(gaps: Sequence[Gap]) -> Gap:
    names = dict.fromkeys(name for gap in gaps for name in gap.lacking)
    fields = {name: [field for gap in gaps for field in gap.lacking.get(name, ())] for name in names}
    return Gap({name: tuple(dict.fromkeys(found)) for name, found in fields.items()})


def value(one: Expression, view: View, limits: Mapping[str, float]) -> Result:
    """Return the value of an expression."""
    match one:
        case Constant(known):
            return known
        case Name(name, is_threshold):
            return limits[name] if is_threshold else view.get(name)
        case Negation(inner):
            found = value(inner, view, limits)
            return not found if isinstance(found, bool) else found
        case Join(sign, members):
            every = [value(member, view, limits) for member in members]
            decides = sign == "||"
            if any(found is decides for found in every):
                return decides
            return _all_known(every, lambda: not decides)
        case Comparison("in", left, Listing(values)):
            found = value(left, view, limits)
            return _all_known([found], lambda: any(found == one for one in values))
        case Comparison(sign, left, right):
            both = [value(left, view, limits), value(right, view, limits)]
            return _all_known(both, lambda: bool(_COMPARE[sign](*both)))
        case Arithmetic(sign, left, right):
            both = [value(left, view, limits), value(right, view, limits)]
            return _all_known(both, lambda: _computed(sign, *both))
        case Call("has", Name(name)):
            return view.get(name) is not None
        case Call("stated", Name(name)):
            return isinstance(view.get(name), str | float | int)
        case Call("abs", inner):
            found = value(inner, view, limits)
            return _all_known([found], lambda: max(found, -found))  # type: ignore[operator, type-var]
        case Macro():
            return _asked(one, view, limits)
    raise TypeError(one)


def _all_known(found: Sequence[Result], known: Callable[[], Result]) -> Result:
    if None in found:
        return None
    gaps = [one for one in found if isinstance(one, Gap)]
    return _together(gaps) if gaps else known()


def _computed(sign: str, left: Any, right: Any) -> Result:
    """Compute in doubles; a quotient by zero and what is too large are missing, and nothing would supply them."""
    left, right = float(left), float(right)
    if sign == "/" and right == 0:
        return Gap({})
    result: float
    match sign:
        case "+":
            result = left + right
        case "-":
            result = left - right
        case "*":
            result = left * right
        case _:
            result = left / right
    return result if math.isfinite(result) else Gap({})


class _Bound:
    """The view of a macro's condition."""

    def __init__(self, outer: View, variable: str, one: View) -> None:
        self._outer, self._variable, self._one = outer, variable, one

    def get(self, name: str) -> Result:
        first, _, rest = name.partition(".")
        return self._one.get(rest) if first == self._variable else self._outer.get(name)

    def subjects(self, over: str) -> Sequence[View]:
        raise AssertionError(f"a macro over {over} inside another")


def _asked(one: Macro, view: View, limits: Mapping[str, float]) -> Result:
    every = [value(one.body, _Bound(view, one.variable, each), limits) for each in view.subjects(one.over)]
    answers = [answer for answer in every if answer is not None]
    if one.method == "all" and any(answer is False for answer in answers):
        return False
    if one.method == "exists" and any(answer is True for answer in answers):
        return True
    held = sum(1 for answer in answers if answer is True)
    return _all_known(answers, lambda: {"all": True, "exists": False}.get(one.method, float(held)))
