"""Any bytes as a rulebook give rules or defects with file and reason, nothing else."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Final

from rules.rulebook.loader import load_books
from rules.rulebook.source import RulebookError
from tests.fuzz.damage import damaged, fuzzed
from tests.support.rulebooks import BOOKS, small_vocabulary

_WORDS: Final = [
    b":", b"- ", b"  ", b"\n", b"\n\n", b"[", b"]", b"{", b"}", b"&a ", b"*a", b"<<: ", b"!!python/object:os.system ",
    b"!!binary ", b"| ", b"> ", b"---\n", b"...\n", b"%YAML 9.9\n", b"null", b"~", b"yes", b".inf", b".nan", b"0o7",
    b"1_000", b"2026-01-01", b"where: ", b"require: ", b"thresholds:", b"lists:", b"value:", b"code: GRIP-010",
    b"{joint}", b"{x.y}", b"{0}", b"severity: error", b"replaces: true", b" && ", b" || ", b"!", b"(", b")", b" == ",
    b" < ", b" in [", b"has(", b"stated(", b"mm(", b"abs(", b"components.all(c, ", b".size()", b"joints.filter(",
    b"grip_length_mm", b"clamped", b"1e999", b"-", b"/ 0", b"true", b" in ",
]  # fmt: skip
_BOOKS: Final = [(BOOKS / name).read_bytes() for name in ("joints.yaml", "stacks.yaml")]


@fuzzed(damaged(_BOOKS, _WORDS), long=120_000)
def test_a_book_is_loaded_or_refused(data: bytes) -> None:
    """With every defect at a line of the file; nothing in it is ever executed."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "book.yaml").write_bytes(data)
        try:
            book = load_books([folder], small_vocabulary())
        except RulebookError as error:
            assert error.problems
            lines = data.count(b"\n") + data.count(b"\r") + 2
            assert all(0 <= problem.line <= lines for problem in error.problems)
            assert all(problem.reason for problem in error.problems)
        else:
            assert book.rules
