"""All tables by name, for publication."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from rules.tables.load import Table, read_table, table_names

__all__ = ["Table", "table", "tables"]


@cache
def tables() -> Mapping[str, Table]:
    """Every table, in order of name."""
    return MappingProxyType({name: read_table(name) for name in table_names()})


def table(name: str) -> Table:
    """One table; raises :class:`rules.tables.load.UnknownEntryError` for a name that is none."""
    return read_table(name)
