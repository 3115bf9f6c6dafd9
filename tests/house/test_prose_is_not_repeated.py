"""Long sentences of the program stand in the golden files; elsewhere a test asks for the figures and names in them."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Final

TESTS: Final = Path(__file__).resolve().parents[1]
MOST_CHARACTERS: Final = 45
LEAST_WORDS: Final = 6

ALLOWED: Final = {
    "demo_data/test_demo_orders.py": 1,
    "rules/gate/test_gate_digest.py": 3,
    "rules/reading/test_read_gauge.py": 1,
    "rules/rulebook/test_engine_agrees_with_general_engines.py": 2,
    "rules/rulebook/test_expressions.py": 5,
    "rules/rulebook/test_rulebook_linter_refusals.py": 3,
    "rules/rulebook/test_rulebook_slots.py": 1,
    "rules/search/test_search.py": 6,
    "rules/test_compare.py": 1,
    "rules/test_library_parts.py": 1,
    "rules/test_tailoring.py": 14,
    "service/test_assembly_text.py": 2,
    "service/test_command_line.py": 2,
    "service/test_http_imports.py": 1,
    "service/test_http_searches.py": 1,
    "service/test_report_text.py": 3,
}
"""Long sentences that a test still compares as a whole, by file. A number may fall, and none may be added.

In the tests of rulebooks these are conditions and adjustments as a shop writes them, and what the linter says to them.
"""


def _constants(test: ast.FunctionDef) -> Iterator[ast.AST]:
    """What a test asserts: in assert, in match=, and as a case of its parameters."""
    for node in ast.walk(test):
        if isinstance(node, ast.Assert):
            yield node.test
        elif isinstance(node, ast.Call):
            yield from (word.value for word in node.keywords if word.arg == "match")
    for decorator in test.decorator_list:
        if isinstance(decorator, ast.Call) and ast.unparse(decorator.func).endswith("parametrize"):
            yield from decorator.args


def _is_prose(node: ast.AST) -> bool:
    if not isinstance(node, ast.Constant) or not isinstance(node.value, str):
        return False
    text = node.value
    return len(text) > MOST_CHARACTERS and len(text.split()) >= LEAST_WORDS and text[0] not in "<{("


def _sentences(source: str) -> list[str]:
    """Long sentences that the tests of a file assert."""
    tests = [one for one in ast.walk(ast.parse(source)) if isinstance(one, ast.FunctionDef) and one.name[:5] == "test_"]
    found = {
        (node.lineno, node.col_offset): ast.literal_eval(node)
        for test in tests
        for part in _constants(test)
        for node in ast.walk(part)
        if isinstance(node, ast.expr) and _is_prose(node)
    }
    return [*found.values()]


def test_a_long_sentence_is_found() -> None:
    """In an assertion, in a match and among the cases; a short one, a name and a docstring are none."""
    long = "the grip length of the end mill is far too short here"
    source = f'''
@pytest.mark.parametrize("words", ["{long}", "short"])
def test_it(words):
    "{long}"
    assert "{long}" in told
    with pytest.raises(ValueError, match="{long}"):
        pass
    assert "{long[:40]}" in told
'''
    assert _sentences(source) == [long] * 3


def test_no_long_sentence_is_added() -> None:
    """Files of this folder quote tools, and oracles quote their sources; neither is prose of the program."""
    found = Counter(
        {
            str(file.relative_to(TESTS)): len(sentences)
            for file in TESTS.rglob("test_*.py")
            if file.parent.name not in {"house", "oracles"}
            and (sentences := _sentences(file.read_text(encoding="utf-8")))
        }
    )
    assert {file: number for file, number in found.items() if number > ALLOWED.get(file, 0)} == {}
