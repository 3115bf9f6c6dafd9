"""``draw``: check the stack in a file and draw it."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import get_args

from rules.schema.parsing import parse_request
from rules.schema.report import Report
from service.commands.exit_codes import BAD_INPUT, VERDICT_CODES
from service.commands.request_files import judged
from service.drawing.pictures import PictureName, picture_or_words
from service.operations.process import load_assessor

__all__ = ["add_parser"]


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "draw",
        help="draw a stack to scale, or plot its budget",
        description="Check the stack in a file and write a picture of it as SVG, whatever the verdict. The exit code is"
        " that of the check: 0 pass, 1 review, 2 fail, 3 input that is no request, 4 a fault of the program.",
    )
    parser.add_argument("file", metavar="FILE", help="a request as JSON; - is standard input")
    parser.add_argument(
        "--picture", choices=get_args(PictureName), default="stack", help="which picture (stack, the side view)"
    )
    parser.add_argument("--straight", action="store_true", help="leave out how the contributors bend the axis")
    parser.add_argument("--out", type=Path, metavar="FILE.svg", help="where to write it (standard output)")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    assessor = load_assessor()

    def draw(data: object) -> tuple[str, Report]:
        report, derived = assessor.assess_derived(parse_request(data))
        return picture_or_words(arguments.picture, report, derived, bent=not arguments.straight), report

    made = judged(arguments.file, draw)
    if made is None:
        return BAD_INPUT
    picture, report = made
    if arguments.out is None:
        sys.stdout.buffer.write(picture.encode())
        sys.stdout.buffer.flush()
        return VERDICT_CODES[report.verdict]
    try:
        arguments.out.write_bytes(picture.encode())
    except OSError as error:
        print(f"{arguments.out}: {error.strerror}", file=sys.stderr)
        return BAD_INPUT
    return VERDICT_CODES[report.verdict]
