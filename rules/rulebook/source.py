"""Safe YAML with line numbers, and the defects of a rulebook.

Standard YAML silently keeps the last of two equal keys, and an alias inserts text from elsewhere in the file. Both are
rejected here, in addition to everything that a safe loader rejects. Line breaks that YAML accepts but most editors do
not show are rejected too: text that looks like a comment would be read as a rule.

Each part of a file is checked against its closed model. All defects are reported at once, with file, line, rule and
reason.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, Final, TypeAlias, TypeVar

import yaml
from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

__all__ = ["ClosedModel", "Problem", "RulebookError", "Source", "Step", "read_source", "validated"]


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One defect of a rulebook or of the vocabulary.

    ``line`` counts from 1, with 0 for the file as a whole; ``code`` is the code of the rule, empty outside rules.
    """

    file: str
    line: int
    code: str
    reason: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.code + ': ' if self.code else ''}{self.reason}"


class RulebookError(ValueError):
    """Rulebooks with defects; ``problems`` holds every one found, in the order of the files."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


Step: TypeAlias = str | int
"""Key of a mapping or index of a list."""

# The C parser is about ten times as fast and part of every wheel; the Python parser gives the same result.
_Loader: type[yaml.SafeLoader] | type[yaml.CSafeLoader] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


# More than any rule needs. Python's own recursion limit differs between versions.
_MOST_LEVELS: Final = 100

_HIDDEN_BREAK: Final = re.compile("[\x85\u2028\u2029]")


class Lines:
    """First line of each part of a file; lines count from 1."""

    def __init__(self) -> None:
        self._at: dict[tuple[Step, ...], int] = {}

    def note(self, path: tuple[Step, ...], line: int) -> None:
        """Record the line of a path unless it has one."""
        self._at.setdefault(path, line)

    def at(self, path: tuple[Step, ...]) -> int:
        """Return the line of ``path``, or of the nearest enclosing part that has one."""
        while path and path not in self._at:
            path = path[:-1]
        return self._at.get(path, 1)


@dataclass(frozen=True, slots=True)
class Source:
    """One YAML file: its value, its line numbers and its defects."""

    file: str
    value: Any
    lines: Lines
    problems: tuple[Problem, ...]
    within: Mapping[Problem, tuple[Step, ...]]
    """Path of the part with a defect, for the defects that leave the rest of the file readable."""


def read_source(file: Path | Traversable) -> Source:
    """Read one YAML file into plain values; report defects instead of raising them."""
    name, lines = str(file), Lines()
    problems: list[Problem] = []
    within: dict[Problem, tuple[Step, ...]] = {}
    value: Any = None
    try:
        text = file.read_text(encoding="utf-8")
        if hidden := _HIDDEN_BREAK.search(text):
            line = text.count("\n", 0, hidden.start()) + 1
            reason = f"a line break that most editors do not show (U+{ord(hidden[0]):04X}); write a plain one"
            problems.append(Problem(name, line, "", reason))
        else:
            value = _Reader(name, lines, problems, within).read(text)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        reason = f"not readable as YAML: {error.problem or error.context or 'broken'}"
        problems.append(Problem(name, mark.line + 1 if mark else 0, "", reason))
    except yaml.YAMLError as error:
        problems.append(Problem(name, 0, "", f"not readable as YAML: {error}"))
    except UnicodeDecodeError as error:
        problems.append(Problem(name, 0, "", f"not written in UTF-8 (byte {error.start})"))
    except OSError as error:
        problems.append(Problem(name, 0, "", f"can't be read: {error.strerror or error}"))
    except RecursionError:
        problems.append(Problem(name, 0, "", "nested too deeply"))
    return Source(name, value, lines, tuple(problems), within)


class _Reader:
    def __init__(
        self, file: str, lines: Lines, problems: list[Problem], within: dict[Problem, tuple[Step, ...]]
    ) -> None:
        self._file, self._lines, self._problems, self._within = file, lines, problems, within
        self._seen: set[int] = set()

    def read(self, text: str) -> Any:
        self._loader = _Loader(text)
        try:
            node = self._loader.get_single_node()
            return None if node is None else self._value(node, ())
        finally:
            self._loader.dispose()

    def _refuse(self, line: int, reason: str, path: tuple[Step, ...]) -> None:
        problem = Problem(self._file, line, "", reason)
        self._problems.append(problem)
        self._within[problem] = path

    def _value(self, node: yaml.Node, path: tuple[Step, ...]) -> Any:
        if len(path) > _MOST_LEVELS:
            raise RecursionError
        # The composer returns the anchored node itself for an alias, with the anchor's line.
        if id(node) in self._seen:
            self._refuse(self._lines.at(path), "an alias (*name) is not allowed; repeat the part", path)
            return None
        self._seen.add(id(node))
        self._lines.note(path, _line(node))
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, path)
        if isinstance(node, yaml.SequenceNode):
            return [self._value(child, (*path, index)) for index, child in enumerate(node.value)]
        return self._loader.construct_object(node, deep=True)

    def _mapping(self, node: yaml.MappingNode, path: tuple[Step, ...]) -> dict[str, Any]:
        result: dict[str, Any] = {}
        for key_node, value_node in node.value:
            key = key_node.value
            if not isinstance(key_node, yaml.ScalarNode) or key_node.tag != "tag:yaml.org,2002:str":
                self._refuse(_line(key_node), f"the key {key!r} is not plain text; put it in quotes", (*path, str(key)))
                continue
            if key in result:
                self._refuse(_line(key_node), f"the key {key!r} is written twice", (*path, key))
            self._lines.note((*path, key), _line(key_node))
            result[key] = self._value(value_node, (*path, key))
        return result


def _line(node: yaml.Node) -> int:
    line: int = node.start_mark.line
    return line + 1


ModelT = TypeVar("ModelT", bound=BaseModel)


class ClosedModel(BaseModel):
    """A frozen model with strict types and finite numbers; unknown fields are rejected."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


_KIND_OF_VALUE: Final = {
    "string_type": "must be text",
    "bool_type": "must be true or false",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "finite_number": "must be a finite number",
    "dict_type": "must be a mapping of names to values",
    "model_type": "must be a mapping of names to values",
    "model_attributes_type": "must be a mapping of names to values",
    "tuple_type": "must be a list",
    "list_type": "must be a list",
    "string_too_short": "must not be empty",
    "too_short": "must not be empty",
    "recursion_loop": "must not contain itself",
    "invalid-json-value": "must be text, a number, true, false, null, a list or a mapping",
}


def validated(
    model: type[ModelT], raw: object, source: Source, path: tuple[Step, ...], code: str = ""
) -> tuple[ModelT | None, list[Problem]]:
    """Check ``raw``, the value at ``path`` of ``source``; return the model, or every reason against it."""
    try:
        return model.model_validate(raw), []
    except ValidationError as error:
        return None, [
            Problem(source.file, source.lines.at((*path, *_steps(detail))), code, _plain(detail))
            for detail in error.errors(include_url=False, include_context=True)
        ]


def _steps(detail: ErrorDetails) -> tuple[Step, ...]:
    return tuple(step for step in detail["loc"] if step != "[key]")


def _plain(detail: ErrorDetails) -> str:
    kind, context = detail["type"], detail.get("ctx", {})
    name = ".".join(str(step) for step in detail["loc"]) or "the entry"
    if kind == "missing":
        return f"{name} is missing"
    if kind == "extra_forbidden":
        return f"{name} is not a known field"
    if kind == "literal_error":
        return f"{name} must be one of {context.get('expected')}, not {_shown(detail['input'])}"
    if kind == "string_pattern_mismatch":
        return f"{name} must look like {context.get('pattern')}, not {_shown(detail['input'])}"
    if kind == "value_error":
        return f"{name}: {context.get('error')}"
    if words := _KIND_OF_VALUE.get(kind):
        return f"{name} {words}, not {_shown(detail['input'])}"
    return f"{name}: {detail['msg']}"


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
