"""Structure of the code, counted from its source.

Run: python -m tests.support.structure [ROOT [FUNCTION]]
ROOT holds `rules` and `service`; FUNCTION is the dotted name of a function or method to start from.
A call is followed if its name leads to a definition by imports, `self` or a named class. An attribute of an unknown
object is followed if exactly one method of these modules has that name.
"""

from __future__ import annotations

import ast
import statistics
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Final

__all__ = ["Structure"]

PACKAGES: Final = ("rules", "service")
START: Final = "rules.assessor.Assessor.assess_derived"

Definition = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


class Structure:
    """The modules of both packages, their imports, and the definitions of names."""

    def __init__(self, root: Path) -> None:
        self.lines: dict[str, int] = {}
        self.packages: set[str] = set()
        self.imports: dict[str, set[str]] = {}
        self.definitions: dict[str, ast.AST] = {}
        self._methods: dict[str, list[str]] = defaultdict(list)
        self._trees: dict[str, ast.Module] = {}
        self._names: dict[str, dict[str, str]] = {}
        for package in PACKAGES:
            for path in sorted((root / package).rglob("*.py")):
                parts = path.relative_to(root).with_suffix("").parts
                name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
                text = path.read_text(encoding="utf-8")
                if parts[-1] == "__init__":
                    self.packages.add(name)
                else:
                    self.lines[name] = text.count("\n")
                self._trees[name] = ast.parse(text)
        for name, tree in self._trees.items():
            self._names[name] = dict(self._imported(tree))
            self.imports[name] = {
                found for target in self._names[name].values() if (found := self._module_of(target)) not in (None, name)
            }
            for node in tree.body:
                if isinstance(node, Definition):
                    self.definitions[f"{name}.{node.name}"] = node
                    for inner in node.body if isinstance(node, ast.ClassDef) else ():
                        if isinstance(inner, Definition):
                            self.definitions[f"{name}.{node.name}.{inner.name}"] = inner
                            self._methods[inner.name].append(f"{name}.{node.name}.{inner.name}")

    @staticmethod
    def _imported(tree: ast.Module) -> Iterator[tuple[str, str]]:
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and node.module and not node.level:
                for alias in node.names:
                    yield alias.asname or alias.name, f"{node.module}.{alias.name}"
            elif isinstance(node, ast.Import):
                for alias in node.names:
                    yield alias.asname or alias.name.partition(".")[0], alias.name

    def _module_of(self, dotted: str) -> str | None:
        while dotted and dotted not in self._trees:
            dotted = dotted.rpartition(".")[0]
        return dotted or None

    def circles(self) -> list[list[str]]:
        """Return the groups of modules that import each other, directly or not."""
        reach = {name: self._reached(name) for name in self._trees}
        found: dict[frozenset[str], None] = {}
        for name, far in reach.items():
            if name in far:
                found[frozenset(other for other in far if name in reach[other])] = None
        return [sorted(group) for group in found]

    def _reached(self, start: str) -> set[str]:
        seen: set[str] = set()
        left = [start]
        while left:
            for target in self.imports[left.pop()]:
                if target not in seen:
                    seen.add(target)
                    left.append(target)
        return seen

    def importers(self) -> dict[str, set[str]]:
        """Return the importers of each module."""
        found: dict[str, set[str]] = defaultdict(set)
        for name, targets in self.imports.items():
            for target in targets:
                found[target].add(name)
        return found

    def reached_from(self, start: str) -> set[str]:
        """Return the functions, methods and classes reached by calls from one definition, itself included."""
        if start not in self.definitions:
            raise KeyError(start)
        seen = {start}
        left = [start]
        while left:
            for target in self._called(left.pop()):
                if target not in seen:
                    seen.add(target)
                    left.append(target)
        return seen

    def _called(self, start: str) -> Iterator[str]:
        module = self._module_of(start)
        assert module is not None
        names = self._names[module]
        owner = start.removeprefix(f"{module}.").partition(".")[0]
        node = self.definitions[start]
        if isinstance(node, ast.ClassDef):
            # an instantiation runs the constructor; methods count when they are called
            if f"{start}.__init__" in self.definitions:
                yield f"{start}.__init__"
            return
        for inner in ast.walk(node):
            if isinstance(inner, ast.Name):
                # a function passed as an argument counts as called
                target = names.get(inner.id, f"{module}.{inner.id}")
                if target in self.definitions:
                    yield target
            elif isinstance(inner, ast.Attribute):
                yield from self._attribute(inner, module, owner)

    def _attribute(self, node: ast.Attribute, module: str, owner: str) -> Iterator[str]:
        if isinstance(node.value, ast.Name):
            if node.value.id in {"self", "cls"}:
                target = f"{module}.{owner}.{node.attr}"
            else:
                target = f"{self._names[module].get(node.value.id, f'{module}.{node.value.id}')}.{node.attr}"
            if target in self.definitions:
                yield target
                return
        near = {module, *self.imports[module]}
        found = [name for name in self._methods[node.attr] if self._module_of(name) in near]
        if len(found) == 1:
            yield from found


def main(root: Path, start: str) -> None:
    """Print the figures."""
    whole = Structure(root)
    sizes = whole.lines
    longest = max(sizes, key=lambda name: sizes[name])
    once = sorted(name for name, who in whole.importers().items() if len(who) == 1 and name in sizes)
    print(f"modules {len(sizes)}, package files {len(whole.packages)}")
    print(f"lines of a module: median {statistics.median(sizes.values()):g}, most {sizes[longest]} ({longest})")
    print(f"modules with one importer {len(once)}: {', '.join(once)}")
    circles = whole.circles()
    print(f"circles {len(circles)}" + "".join(f"\n  {' '.join(circle)}" for circle in circles))
    reached = whole.reached_from(start)
    files = {whole._module_of(name) for name in reached}
    print(f"{start} reaches {len(reached)} definitions in {len(files)} files")


if __name__ == "__main__":
    given = sys.argv[1:]
    main(Path(given[0]) if given else Path(__file__).resolve().parents[2], given[1] if len(given) > 1 else START)
