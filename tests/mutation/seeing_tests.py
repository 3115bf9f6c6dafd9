"""Test files that import a module, the nearest first."""

from __future__ import annotations

import ast
from pathlib import Path

import grimp

_NEAR = ("tests/published", "tests/oracles", "tests/exact", "tests/measured")
_NEXT = ("tests/rules/test_assess.py", "tests/rules/rulebook/test_rule_examples.py")
_WIDE = "tests/rules"
_SUPPORT = "tests.support"


class SeeingTests:
    """The tests of the rules, and what each imports by way of whatever else."""

    def __init__(self) -> None:
        self._graph = grimp.build_graph("rules", cache_dir=None)
        self._imports = {path: self._imported(path) for path in self._files()}

    @staticmethod
    def _files() -> list[Path]:
        folders = [Path(folder) for folder in (*_NEAR, _WIDE)]
        return sorted({path for folder in folders for path in folder.rglob("test_*.py")})

    def _imported(self, path: Path) -> set[str]:
        names: set[str] = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
            elif isinstance(node, ast.Import):
                names |= {alias.name for alias in node.names}
        return names

    def tiers(self, module: str) -> list[list[Path]]:
        """Three lists of test files: those that import the module, those near it, all others of the rules."""
        users = {module, *self._graph.find_downstream_modules(module)}
        by_support = {path for path, names in self._imports.items() if any(name.startswith(_SUPPORT) for name in names)}
        seeing = [path for path, names in self._imports.items() if users & names or path in by_support]
        near = [path for path in seeing if str(path).startswith(_NEAR)]
        direct = [path for path in near if module in self._imports[path]]
        nearby = [path for path in seeing if (path in near or str(path) in _NEXT) and path not in direct]
        wide = [path for path in seeing if path not in direct and path not in nearby]
        nearby.sort(key=lambda path: str(path) not in _NEXT)  # the whole way through first: it sees most
        return [direct, nearby, wide]
