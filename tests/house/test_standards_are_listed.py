"""The guide's list of standards says which figures the tables have from memory."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from rules.quantities.tables import read_table, table_names

TEXT: Final = (Path(__file__).resolve().parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
NAME: Final = re.compile(r"\b(?:ISO/TS|ISO|DIN|ASME|JIS|MAS|VDI)\s?[A-Z]?\s?\d+(?:\.\d+)?(?:-\d(?!\d))?")


def _listed() -> list[tuple[set[str], bool]]:
    """Standards of each line, and whether it says that figures are from memory."""
    section = TEXT.partition("\n## Standards\n")[2].partition("\n## ")[0]
    lines = [line.split("|") for line in section.splitlines() if line.startswith("| ")][1:]
    return [(set(NAME.findall(cells[1])), "memory" in cells[-2]) for cells in lines]


def _of_tables() -> dict[str, set[str | None]]:
    """Standards that a table or one of its rows has as its source, with what is known of the rows."""
    found: dict[str, set[str | None]] = {}
    for name in table_names():
        table = read_table(name)
        for row in table.rows:
            for standard in NAME.findall(f"{table.standard} {row['source']}"):
                found.setdefault(standard, set()).add(row["confidence"])
    return found


def test_every_standard_behind_a_figure_is_listed_with_what_is_known_of_it() -> None:
    """Once each; a line says memory where a row of one of its standards is from memory."""
    lines, tables = _listed(), _of_tables()
    names = [name for standards, _ in lines for name in standards]
    assert len(tables) > 30
    assert sorted(names) == sorted(set(names))
    assert {name for name in tables if name not in names and name.partition("-")[0] not in names} == set()
    for standards, says_memory in lines:
        known = {one for name, marks in tables.items() if {name, name.partition("-")[0]} & standards for one in marks}
        assert says_memory or "from memory" not in known, standards
