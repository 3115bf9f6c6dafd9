"""Changes to formulas in addition to those of cosmic-ray."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import parso
from cosmic_ray.operators.operator import Operator
from cosmic_ray.plugins import get_operator, operator_names
from parso.python.tree import Number

_KEPT = re.compile(
    r"core/("
    r"ReplaceBinaryOperator_(Add|Sub|Mul|Div|FloorDiv|Mod|Pow)_(Add|Sub|Mul|Div)"
    r"|ReplaceBinaryOperator_(BitOr_BitAnd|BitAnd_BitOr)"
    r"|ReplaceComparisonOperator_((Eq|NotEq|Lt|LtE|Gt|GtE)_(Eq|NotEq|Lt|LtE|Gt|GtE)|Is_IsNot|IsNot_Is)"
    r"|ReplaceUnaryOperator_(USub_UAdd|Delete_\w+)"
    r"|Replace(TrueWithFalse|FalseWithTrue|AndWithOr|OrWithAnd|BreakWithContinue|ContinueWithBreak)"
    r"|AddNot|NumberReplacer|ZeroIterationForLoop)"
)
_OPPOSITES = {"min": "max", "any": "all", "minimum": "maximum", "sin": "cos", "floor": "ceil", "lower": "upper"}
_OPPOSITES |= {other: name for name, other in _OPPOSITES.items()}

_ORDER_IS_NOTHING = {"min", "max", "minimum", "maximum", "hypot"}


class _OwnOperator(Operator):  # type: ignore[misc]
    """An operator whose changes of a node are the texts that may stand in its place."""

    def texts(self, node: Any) -> list[str]:
        raise NotImplementedError

    def mutation_positions(self, node: Any) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
        return ((node.start_pos, node.end_pos) for _ in self.texts(node))

    def mutate(self, node: Any, index: int) -> Any:
        text = node.get_first_leaf().prefix + self.texts(node)[index]
        return Number(text, node.start_pos) if node.type == "number" else parso.parse(text)

    @classmethod
    def examples(cls) -> tuple[()]:
        return ()


class NumberScaled(_OwnOperator):
    """A number becomes its double, or zero."""

    def texts(self, node: Any) -> list[str]:
        return [f"(2 * {node.value})", "0"] if node.type == "number" and complex(node.value) else []


class StatementDropped(_OwnOperator):
    """A raise, a call for its effect or a change in place is left out."""

    def texts(self, node: Any) -> list[str]:
        if node.type != "simple_stmt":
            return []
        statement = node.children[0]
        first = statement.children[0] if hasattr(statement, "children") else statement
        is_call = statement.type in {"atom_expr", "power"}
        changes_in_place = statement.type == "expr_stmt" and (
            first.type in {"atom_expr", "power"} or statement.children[1].get_code().strip() in {"+=", "-=", "*=", "/="}
        )
        return ["pass\n"] if statement.type == "raise_stmt" or is_call or changes_in_place else []


class ReturnEmptied(_OwnOperator):
    """A function gives nothing, or zero, instead of its value."""

    def texts(self, node: Any) -> list[str]:
        return ["return None", "return 0"] if node.type == "return_stmt" else []


class ArgumentsSwapped(_OwnOperator):
    """Two neighbouring arguments without names change places."""

    def texts(self, node: Any) -> list[str]:
        if node.type != "arglist" or node.get_previous_leaf().get_previous_leaf().value in _ORDER_IS_NOTHING:
            return []
        codes = [child.get_code(include_prefix=False) for child in node.children if child.get_code().strip() != ","]
        plain = sum(1 for child in node.children if child.type != "argument" and child.get_code().strip() != ",")
        pairs = [[*codes[:at], codes[at + 1], codes[at], *codes[at + 2 :]] for at in range(plain - 1)]
        return [", ".join(pair) for pair in pairs]


class OppositeNamed(_OwnOperator):
    """The least becomes the greatest, any becomes all, and their like."""

    def texts(self, node: Any) -> list[str]:
        is_used = node.type == "name" and node.get_next_sibling() is not None
        return [_OPPOSITES[node.value]] if is_used and node.value in _OPPOSITES else []


def all_operators() -> dict[str, Operator]:
    """Every operator by name, in a fixed order."""
    known = {name.removeprefix("core/"): get_operator(name)() for name in operator_names() if _KEPT.fullmatch(name)}
    own = (NumberScaled, StatementDropped, ReturnEmptied, ArgumentsSwapped, OppositeNamed)
    return dict(sorted((known | {kind.__name__: kind() for kind in own}).items()))
