"""The mutants of a file, and a sample that is the same for the same seed."""

from __future__ import annotations

import ast
import random
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code

from tests.mutation.operators import all_operators

_Place = tuple[int, int]
_Site = tuple[_Place, _Place]


@dataclass(frozen=True)
class Mutant:
    """One change of one file: where, by which operator, the how-manieth of that operator."""

    path: Path
    place: _Place
    operator: str
    occurrence: int

    @property
    def module(self) -> str:
        return ".".join(self.path.with_suffix("").parts)

    def source(self) -> str:
        """The text of the file with the change."""
        text = mutate_code(self.path.read_text(encoding="utf-8"), all_operators()[self.operator], self.occurrence)
        return str(text)

    def told(self) -> str:
        """The change in one line: file, line, before and after."""
        before, after = self.path.read_text(encoding="utf-8").splitlines(), self.source().splitlines()
        at = next((at for at, (old, new) in enumerate(zip(before, after, strict=False)) if old != new), 0)
        return f"{self.path}:{at + 1}  {before[at].strip()}  →  {after[at].strip()}  ({self.operator})"


def _is_for_readers(node: ast.AST) -> bool:
    if isinstance(node, ast.Assign):
        return isinstance(node.targets[0], ast.Name) and node.targets[0].id == "__all__"
    return isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"


def _passed_over(tree: ast.Module) -> list[_Site]:
    """What no test can be asked to see: annotations, decorators, words of exceptions, imports, `__all__`."""
    nodes: list[ast.expr | ast.stmt | None] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise):
            nodes += [node.exc.args[0]] if isinstance(node.exc, ast.Call) and node.exc.args else []
        elif isinstance(node, ast.FunctionDef):
            nodes += [node.returns, *node.decorator_list]
        elif isinstance(node, ast.ClassDef):
            nodes += node.decorator_list
        elif isinstance(node, ast.arg | ast.AnnAssign):
            nodes.append(node.annotation)
        elif isinstance(node, ast.Import | ast.ImportFrom) or _is_for_readers(node):
            nodes.append(node)
    return [
        ((node.lineno, node.col_offset), (node.end_lineno or 0, node.end_col_offset or 0)) for node in nodes if node
    ]


def mutants_by_place(path: Path) -> dict[_Place, list[Mutant]]:
    """All mutants of a file that are still Python and not the same program, by their place."""
    text = path.read_text(encoding="utf-8")
    tree = ast.parse(text)
    skipped = _passed_over(tree)
    parsed = get_ast(text)
    found: dict[_Place, list[Mutant]] = defaultdict(list)
    for name, operator in all_operators().items():
        places = [start for node in ast_nodes(parsed) for start, _ in operator.mutation_positions(node)]
        for occurrence, place in enumerate(places):
            if not any(start <= place < end for start, end in skipped):
                found[place].append(Mutant(path, place, name, occurrence))
    return dict(sorted(found.items()))


def _is_a_change(mutant: Mutant) -> bool:
    try:
        after = ast.dump(ast.parse(mutant.source()))
    except SyntaxError:
        return False
    return after != ast.dump(ast.parse(mutant.path.read_text(encoding="utf-8")))


def sample(paths: list[Path], count: int, seed: int) -> list[Mutant]:
    """About `count` mutants, spread over the files by their number of places, at least two a file.

    At each place drawn one of its mutants is drawn, so that an operator with many replacements has no more weight.
    """
    places = {path: mutants_by_place(path) for path in sorted(paths)}
    total = sum(len(of_file) for of_file in places.values()) or 1
    drawn: list[Mutant] = []
    for path, of_file in places.items():
        draw = random.Random(f"{seed} {path}")
        order = draw.sample(list(of_file), len(of_file))
        chosen = (draw.choice(of_file[place]) for place in order)
        wanted = max(2, round(count * len(of_file) / total))
        for mutant in chosen:
            if wanted and _is_a_change(mutant):
                drawn.append(mutant)
                wanted -= 1
    return drawn


def of_line(path: Path, line: int) -> list[Mutant]:
    """Every mutant that begins on a line."""
    everything = (mutant for (at, _), of_place in mutants_by_place(path).items() if at == line for mutant in of_place)
    return [mutant for mutant in everything if _is_a_change(mutant)]
