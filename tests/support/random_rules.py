"""Random rules over the whole language, facts and overrides with difficult values, over any vocabulary."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from typing import Any, Final

from rules.rulebook.expression import COLLECTIONS, Gap, Result
from rules.rulebook.fact import KINDS, Fact, Value
from rules.rulebook.linting import lint_limits
from rules.rulebook.vocabulary import LABELS, Property, Vocabulary
from tests.support.rulebooks import STATED, book_of, defects_of, rule_entry, small_vocabulary

NUMBERS: tuple[float, ...] = (
    0.0, -0.0, 1, 1.0, 4, 10, 25.0, math.nextafter(25.0, math.inf), math.nextafter(25.0, -math.inf),
    0.3, 0.1 + 0.2, 1e-7, -1e-7, 4e-13, 5e-324, -5e-324, 1e-05, 1e16, 1e300, -1e300, float(2**53), float(2**53 + 2),
)  # fmt: skip
"""Adjacent floats, numbers printed with an exponent, and both ends of the range of doubles."""

TEXTS = (
    "plain",
    "flatted",
    "inclined",
    "",
    "0",
    "1",
    "true",
    'say "µ"',
    "it's",
    "back\\slash",
    "line\nbreak",
    "%d",
    "{x}",
)

_MOST = 10
_WRITABLE: Final = tuple(text for text in TEXTS if "\n" not in text)
_COMPARISONS: Final = ("==", "!=", "<", "<=", ">", ">=")
_LENGTHS: Final = ('"1/4 in"', '"12.5 mm"', '"3 um"', '"1 in"')
_VARIABLES: Final = ("one", "c", "k2")


def random_rules(rng: random.Random, most: int = 12) -> list[dict[str, Any]]:
    """Return up to ``most`` valid rules as written."""
    return [random_rule(rng, f"TEST-{number:03d}") for number in range(1, rng.randint(1, most) + 1)]


def random_rule(
    rng: random.Random,
    code: str,
    vocabulary: Vocabulary | None = None,
    most: int = _MOST,
    *,
    names: Mapping[str, Mapping[str, Property]] | None = None,
) -> dict[str, Any]:
    """Return a valid rule of up to ``most`` comparisons as written, about any kind in the vocabulary.

    ``names`` restricts the properties that it reads. What the linter refuses (a comparison that always holds, too many
    of them) is drawn again.
    """
    known = vocabulary or small_vocabulary()
    chosen = names or {kind: known.of(kind) for kind in KINDS}
    while True:
        entry = _drawn(rng, code, chosen, most)
        if not defects_of(entry, known):
            book = book_of([entry], known)
            if not lint_limits(book.rules, known):
                return entry


def _drawn(rng: random.Random, code: str, names: Mapping[str, Mapping[str, Property]], most: int) -> dict[str, Any]:
    kind = rng.choice([kind for kind in KINDS if names[kind]])
    writer = ExpressionWriter(rng, kind, names, rng.randint(1, most))
    entry = rule_entry(code, kind, severity=rng.choice(("error", "warning", "advice")), message="text")
    entry["require"] = writer.flag(rng.randint(0, 3))
    guards = [f"has({name})" for name in sorted(writer.read) if names[kind][name].only or names[kind][name].kinds]
    if rng.random() < 0.4:
        guards.append(writer.flag(rng.randint(0, 2), level=1))
    if rng.random() < 0.2:
        guards.append(writer.asked())
    if guards:
        rng.shuffle(guards)
        entry["where"] = " && ".join(guards)
    entry["thresholds"], entry["lists"] = writer.thresholds, writer.lists
    shown = [name for name in names[kind] if "." not in name and not names[kind][name].only]
    if rng.random() < 0.3 and shown:
        entry["message"] = f"See {{{rng.choice(shown)}}}."
    if rng.random() < 0.1 and shown:
        entry["observed"] = rng.choice(shown)
    return entry


def random_facts(rng: random.Random, most: int = 8, missing: float = 1.0) -> list[Fact]:
    """Return up to ``most`` facts, each property known, missing or absent; all known where ``missing`` is zero."""
    facts: list[Fact] = []
    for number in range(rng.randint(0, most)):
        kind = rng.choice(KINDS)
        known: dict[str, Value] = {}
        lacking: dict[str, tuple[str, ...]] = {}
        absent_at_all = rng.random() < 0.3
        for name, entry in small_vocabulary().kinds[kind].items():
            state = rng.random() * missing
            if entry.always or state < 0.75:
                known[name] = _random_value(rng, entry)
            elif state < 0.9 or not absent_at_all:
                lacking[name] = (f"/{kind}/{number}/{name}", "/elsewhere")
        facts.append(Fact(kind, f"{kind}:{number}", (f"/{kind}/{number}",), known, lacking))
    return facts


def random_stated(rng: random.Random, missing: float = 1.0) -> dict[str, Result]:
    """Return what a request states for all its subjects: values, gaps, and nothing for what it does not have."""
    found: dict[str, Result] = {}
    for name, entry in STATED.items():
        state, full = rng.random() * missing, f"{name}cell" if name == LABELS else name
        if state < 0.7:
            found[full] = _random_value(rng, entry)
        elif state < 0.85:
            found[full] = Gap({full: (f"/{full}",)})
    return found


def random_overrides(rng: random.Random, rules: list[dict[str, Any]]) -> dict[str, dict[str, float]]:
    """Return other values for some of the thresholds that have bounds."""
    return {
        rule["code"]: {
            name: rng.choice(NUMBERS)
            for name, one in rule["thresholds"].items()
            if isinstance(one, dict) and rng.random() < 0.7
        }
        for rule in rules
        if rng.random() < 0.4
    }


def _random_value(rng: random.Random, entry: Property) -> Value:
    if entry.type == "number":
        return rng.choice(NUMBERS)
    return rng.choice(entry.values or TEXTS) if entry.type == "text" else rng.random() < 0.5


def quoted(text: str) -> str:
    r"""Return a text as an expression writes it.

    >>> print(quoted('say "µ"'))
    "say \"µ\""
    """
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


class ExpressionWriter:
    """Writes random conditions, and collects the thresholds, lists and properties in them."""

    def __init__(self, rng: random.Random, kind: str, names: Mapping[str, Mapping[str, Property]], most: int) -> None:
        self.rng, self._all = rng, names
        self._outer = {f"{name}cell" if name == LABELS else name: one for name, one in names[kind].items()}
        self._names: Mapping[str, Property] = self._outer
        self._is_inside = False
        self.thresholds: dict[str, Any] = {}
        self.lists: dict[str, Any] = {}
        self.read: set[str] = set()
        self._left = most

    def flag(self, depth: int, level: int = 0) -> str:
        """Return a condition; in brackets where its sign binds weaker than ``level`` (1 for ``&&``, 2 for ``!``)."""
        chance = self.rng.random()
        if depth and self._left > 1 and chance < 0.5:
            own, sign = self.rng.choice(((0, "||"), (1, "&&")))
            made = f" {sign} ".join(self.flag(depth - 1, own + 1) for _ in range(self.rng.randint(2, 3)))
            return f"({made})" if own < level else made
        if depth and chance < 0.6:
            return f"!{self.flag(depth - 1, 3)}"
        chance = self.rng.random()
        if chance < 0.2 and not self._is_inside and any(self._all[one] for one in COLLECTIONS.values()):
            return self._asking()
        if chance < 0.35:
            flags = [name for name, one in self._names.items() if one.type == "flag"]
            if flags:
                return self._use(self.rng.choice(flags))
        made = self._comparison()
        return f"({made})" if level > 2 else made

    def asked(self) -> str:
        """Return a question whether a property exists or is known."""
        names = sorted(name for name in self._names if name != "text")
        return f"{self.rng.choice(('has', 'stated'))}({self._use(self.rng.choice(names), read=False)})"

    def _use(self, name: str, *, read: bool = True) -> str:
        if read and name in self._outer and LABELS not in name:
            self.read.add(name)
        return name

    def _asking(self) -> str:
        over = self.rng.choice([one for one, kind in COLLECTIONS.items() if self._all[kind]])
        return f"{over}.{self.rng.choice(('all', 'exists'))}{self._body(over)}"

    def _body(self, over: str) -> str:
        variable, before = self.rng.choice(_VARIABLES), self._names
        inner = {f"{variable}.{name}": one for name, one in self._all[COLLECTIONS[over]].items() if name != LABELS}
        self._names = inner if self.rng.random() < 0.7 else {**before, **inner}
        self._is_inside = True
        body = self.flag(self.rng.randint(0, 1))
        self._names, self._is_inside = before, False
        return f"({variable}, {body})"

    def _comparison(self) -> str:
        self._left -= 1
        chance = self.rng.random()
        if chance < 0.1:
            return self.asked()
        name = self.rng.choice(sorted(self._names))
        entry = self._names[name]
        if entry.type == "flag":
            right = self.rng.choice(("true", "false", *(n for n, p in self._names.items() if p.type == "flag")))
            return f"{self._use(name)} {self.rng.choice(('==', '!='))} {self._use(right, read=right in self._names)}"
        if self.rng.random() < 0.25:
            values = ", ".join(self._constant(entry) for _ in range(self.rng.randint(1, 3)))
            return f"{self._use(name)} in {self._list(entry) if self.rng.random() < 0.4 else f'[{values}]'}"
        if entry.type == "text":
            like = [n for n, p in self._names.items() if p.type == "text" and n != name]
            right = self._use(self.rng.choice(like)) if like and chance < 0.5 else self._constant(entry)
            both = [self._use(name), right]
            self.rng.shuffle(both)
            return f"{both[0]} {self.rng.choice(('==', '!='))} {both[1]}"
        sides = [self._number(name, self.rng.random() < 0.6), self._like(name, entry)]
        if self.rng.random() < 0.2:
            sides.reverse()
        return f"{sides[0]} {self.rng.choice(_COMPARISONS)} {sides[1]}"

    def _number(self, name: str, is_made: bool) -> str:
        """Return a number in the unit of a property: the property itself or made of it."""
        used, chance = self._use(name), self.rng.random()
        if not is_made or chance < 0.4:
            return used
        if chance < 0.6:
            return f"abs({used} {self.rng.choice('+-')} {self._like(name, self._names[name])})"
        if chance < 0.8:
            return f"{used} {self.rng.choice('*/')} {self._constant(self._names[name])}"
        if chance < 0.95:
            return f"{used} {self.rng.choice('+-')} ({self._like(name, self._names[name])} {self.rng.choice('*/')} 2)"
        return f"-{used}"

    def _like(self, name: str, entry: Property) -> str:
        """Return another number of the same unit."""
        chance = self.rng.random()
        like = [n for n, p in self._names.items() if p.type == "number" and p.unit == entry.unit and n != name]
        if chance < 0.3 and like:
            return self._number(self.rng.choice(like), self.rng.random() < 0.2)
        if chance < 0.5:
            return self._threshold(entry)
        if entry.unit in ("mm", "um") and chance < (0.7 if entry.unit == "mm" else 0.9):
            other = [n for n, p in self._names.items() if p.unit == ("um" if entry.unit == "mm" else "mm")]
            inner = (
                self._use(self.rng.choice(other)) if other and self.rng.random() < 0.6 else self.rng.choice(_LENGTHS)
            )
            return f"{entry.unit}({inner})"
        if entry.unit in ("count", "ratio") and chance < 0.8 and not self._is_inside:
            over = self.rng.choice([one for one, kind in COLLECTIONS.items() if self._all[kind]] or [""])
            return f"{over}.filter{self._body(over)}.size()" if over else self._constant(entry)
        return self._constant(entry)

    def _threshold(self, entry: Property) -> str:
        name = f"limit_{len(self.thresholds)}"
        bounds = {"minimum": -1e308, "maximum": 1e308, "meaning": "a limit"}
        forms: list[Any] = [
            {"value": self.rng.choice(NUMBERS), "unit": entry.unit, **bounds},
            {"value": self.rng.choice(NUMBERS), **bounds},
            self.rng.choice(NUMBERS),
            f"{self.rng.choice((0.3, 4, 25.5))} {entry.unit}",
        ]
        self.thresholds[name] = self.rng.choice(forms)
        return name

    def _list(self, entry: Property) -> str:
        name = f"list_{len(self.lists)}"
        self.lists[name] = [_random_value(self.rng, entry) for _ in range(self.rng.randint(1, 3))]
        return name

    def _constant(self, entry: Property) -> str:
        if entry.type == "text":
            return quoted(self.rng.choice(entry.values or _WRITABLE))
        return repr(float(self.rng.choice(NUMBERS))) if self.rng.random() < 0.8 else str(self.rng.choice((1, 4, 25)))
