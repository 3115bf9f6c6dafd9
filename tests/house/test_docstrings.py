"""Public names have docstrings, and their "Parameters" sections parse and match the signature."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path
from typing import Final, TypeAlias

import docstring_parser
import pytest

_ROOT: Final = Path(__file__).parents[2]
_FILES: Final = sorted(file for folder in ("rules", "service") for file in (_ROOT / folder).rglob("*.py"))
_FORMULAS: Final = [
    file
    for file in _FILES
    if file.name in {"formulas.py", "beam.py", "frequencies.py"} or file.parent.name == "random_vectors"
]

_Function: TypeAlias = ast.FunctionDef | ast.AsyncFunctionDef


def _public(body: list[ast.stmt], owner: str = "") -> Iterator[tuple[str, _Function | ast.ClassDef]]:
    """Yield public functions, classes and methods with their names; overloads only describe types."""
    for node in body:
        if not isinstance(node, _Function | ast.ClassDef) or node.name.startswith("_"):
            continue
        if any(ast.unparse(one).endswith(("overload", ".setter")) for one in node.decorator_list):
            continue
        yield f"{owner}{node.name}", node
        if isinstance(node, ast.ClassDef):
            yield from _public(node.body, f"{owner}{node.name}.")


def _signature(node: _Function) -> list[str]:
    found = node.args
    names = [one.arg for one in (*found.posonlyargs, *found.args)]
    names += [f"*{found.vararg.arg}"] if found.vararg else []
    names += [one.arg for one in found.kwonlyargs]
    names += [f"**{found.kwarg.arg}"] if found.kwarg else []
    return [name for name in names if name not in {"self", "cls"}]


def _documented(text: str) -> list[str]:
    parsed = docstring_parser.parse(text, style=docstring_parser.DocstringStyle.NUMPYDOC)
    return [name for one in parsed.params if one.args[0] == "param" for name in one.arg_name.split(", ")]


def _faults(source: str, *, formulas: bool) -> list[str]:
    faults: list[str] = []
    for name, node in _public(ast.parse(source).body):
        text = ast.get_docstring(node)
        if not text:
            faults.append(f"{name} has no docstring")
            continue
        documented = _documented(text)
        if isinstance(node, ast.ClassDef):
            continue
        signature = _signature(node)
        mandatory = formulas and "." not in name
        if (documented or mandatory) and documented != signature:
            faults.append(f"{name} documents {documented}, its signature has {signature}")
    return faults


@pytest.mark.parametrize("file", _FILES, ids=lambda file: str(file.relative_to(_ROOT)))
def test_public_names_are_documented(file: Path) -> None:
    """Every public function, class and method has a docstring, and documented parameters are those it takes."""
    assert _faults(file.read_text(encoding="utf-8"), formulas=file in _FORMULAS) == []


@pytest.mark.parametrize(
    ("source", "formulas", "fault"),
    [
        ("def f(): pass", False, "f has no docstring"),
        ("class C:\n    'C.'\n    def m(self): pass", False, "C.m has no docstring"),
        ("def f(a):\n    'F.'", True, "f documents [], its signature has ['a']"),
        (
            "def f(a):\n    '''F.\n\n    Parameters\n    ----------\n    b : float\n        B.\n    '''",
            False,
            "f documents ['b'], its signature has ['a']",
        ),
    ],
)
def test_faults_are_found(source: str, formulas: bool, fault: str) -> None:
    """A missing docstring, a missing section and a wrong name are each reported."""
    assert _faults(source, formulas=formulas) == [fault]
