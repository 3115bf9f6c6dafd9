"""Checks of cutting-tool stacks from Python: fit, runout, speed limits and assembly.

>>> from rules import check
>>> part = {"kind": "base_holder", "id": "holder"}
>>> check({"stack": {"components": [part]}}).verdict
'review'

`check` asks the built-in rules. A `Checker` adds a shop's own rulebooks and its catalogue of components.
Requests and reports are models of `rules.schema`, which needs no extra; all else needs ``stackgauge[server]``.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from rules.checker import (
        Checker,
        calibrate,
        check,
        compare,
        decide_release,
        find_stacks,
        follow_build,
        read_gauge,
        runout_budget,
    )
    from rules.exchange.documents import CatalogueError
    from rules.rulebook.engine import EngineFaultError
    from rules.rulebook.source import RulebookError
    from rules.schema.parsing import BadRequestError

__all__ = [
    "BadRequestError",
    "CatalogueError",
    "Checker",
    "EngineFaultError",
    "MissingExtraError",
    "RulebookError",
    "calibrate",
    "check",
    "compare",
    "decide_release",
    "find_stacks",
    "follow_build",
    "read_gauge",
    "runout_budget",
]

_CHECKER: Final = "rules.checker"

_HOMES: Final = {
    "BadRequestError": "rules.schema.parsing",
    "CatalogueError": "rules.exchange.documents",
    "Checker": _CHECKER,
    "EngineFaultError": "rules.rulebook.engine",
    "RulebookError": "rules.rulebook.source",
    "calibrate": _CHECKER,
    "check": _CHECKER,
    "compare": _CHECKER,
    "decide_release": _CHECKER,
    "find_stacks": _CHECKER,
    "follow_build": _CHECKER,
    "read_gauge": _CHECKER,
    "runout_budget": _CHECKER,
}
"""Modules by exported name. Imports at the top would load the engine for clients that only need the models."""


class MissingExtraError(ImportError):
    """An optional part of stackgauge is not installed; the message gives the command that installs it."""


def missing_extra(wanted: str, error: ModuleNotFoundError, extra: str = "server") -> MissingExtraError | None:
    """Return the error for a part of stackgauge that lacks a third-party module.

    Parameters
    ----------
    wanted : str
        Part to be used; the message starts with it.
    error : ModuleNotFoundError
        Error of the failed import.
    extra : str
        Extra that has the module.

    Returns
    -------
    MissingExtraError or None
        None if the missing module is part of stackgauge itself, which means a broken installation.
    """
    absent = (error.name or "").partition(".")[0]
    if absent in ("", "rules", "service"):
        return None
    command = f"pip install 'stackgauge[{extra}]'"
    return MissingExtraError(f"{wanted} needs the {extra} extra: {command} ({absent} is not installed)", name=absent)


# Hidden from type checkers, which would accept any misspelt name.
if not TYPE_CHECKING:

    def __getattr__(name: str) -> Any:
        if name not in _HOMES:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        try:
            found = getattr(import_module(_HOMES[name]), name)
        except ModuleNotFoundError as error:
            raise missing_extra(f"{__name__}.{name}", error) or error from None
        globals()[name] = found
        return found

    def __dir__() -> list[str]:
        return sorted({*globals(), *__all__})
