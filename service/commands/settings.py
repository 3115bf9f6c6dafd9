"""``settings``: show the settings in force."""

from __future__ import annotations

import argparse
import json
import sys

from service.operations.settings import PREFIX, Settings, settings_summary, unknown_variables

__all__ = ["add_parser"]


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "settings",
        help="show the settings in force",
        description="Show every setting as its environment variable, the value in force and whether it is the default."
        " Secrets are not shown, only whether they are set.",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    settings = Settings()
    summary = settings_summary(settings)
    if arguments.json:
        print(json.dumps(summary, indent=2))
    else:
        width = max(map(len, summary)) + len(PREFIX)
        for name, value in summary.items():
            origin = "set here" if name in settings.model_fields_set else "default"
            told = value if isinstance(value, str) else json.dumps(value)
            print(f"{PREFIX + name.upper():{width}}  {origin:8}  {told}")
    for name in unknown_variables():
        print(f"{name} is no setting", file=sys.stderr)
    return 0
