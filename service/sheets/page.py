"""A report as one page for eyes and paper: self-contained, without script, and nothing told by colour alone.

What every page of the service has in common: one style, a policy that allows nothing else, one way to fill it.

A problem as a page, for whoever asked with a browser.
"""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import replace
from hashlib import sha256
from importlib.resources import files
from itertools import zip_longest
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, Literal, TypeAlias

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape
from pydantic_core import to_json

from rules.quantities.inch import shown_sentence, shown_sign
from rules.schema.build import BuildReport
from rules.schema.calibration import CalibrationReport
from rules.schema.reading import ReadingReport
from rules.schema.report import AssemblyReport, Provenance, Report, Verdict
from service.contract import PictureName, Problem, ProblemType
from service.drawing.pictures import NOTHING_TO_SHOW, pictures_of
from service.sheets.assumed import assumed, headlines
from service.sheets.check import (
    CHANGED,
    NO_FINDINGS,
    POSITION,
    acceptance,
    changes,
    counts,
    finding_facts,
    first_to_state,
    grouped,
    in_units_shown,
    key,
    not_stated,
    part_or_joint,
    provenance,
    reason,
    record_facts,
    runout,
    source_of,
    stack,
    state_of,
    step_values,
    unnamed,
    wanted,
)
from service.sheets.figures import (
    UNKNOWN,
    Cell,
    Figure,
    Row,
    Section,
    Table,
    blank_sign,
    in_column,
    missing_words,
    unit_sign,
    words,
)
from service.sheets.mechanics import mechanics
from service.sheets.questions import (
    build_headline,
    build_sections,
    calibration_headline,
    calibration_sections,
    reading_headline,
    reading_sections,
)
from service.sheets.setting import MOST_REASONS, shop_floor
from service.sheets.text import place_of

if TYPE_CHECKING:
    from rules.analysis import StackAnalysis

__all__ = [
    "PAGE_HEADERS",
    "PAGE_STYLE",
    "STYLE_SOURCE",
    "Printed",
    "build_page",
    "calibration_page",
    "instruction_page",
    "problem_page",
    "reading_page",
    "report_page",
]


PAGE_STYLE: Final = files("service.sheets").joinpath("templates/page.css").read_text("utf-8")
"""The text of the one ``<style>`` element; ``{{ style }}`` in the templates."""

STYLE_SOURCE: Final = f"'sha256-{b64encode(sha256(PAGE_STYLE.encode()).digest()).decode()}'"
"""The style as a source expression of a Content-Security-Policy (CSP Level 3, section 2.3.1)."""

PAGE_POLICY: Final = f"default-src 'none'; style-src {STYLE_SOURCE}; base-uri 'none'; form-action 'none'"
"""What a page may load: its own style and nothing else. The page itself repeats it, for pages saved as files."""

PAGE_HEADERS: Final[Mapping[str, str]] = MappingProxyType(
    {
        # Only a header can forbid frames.
        "Content-Security-Policy": f"{PAGE_POLICY}; frame-ancestors 'none'",
        "Referrer-Policy": "no-referrer",
        "X-Content-Type-Options": "nosniff",
    }
)
"""The headers of an answer that is such a page."""

_NO_CHARACTERS: Final = re.compile(
    "[\ufdd0-\ufdef{}]".format("".join(chr(plane << 16 | end) for plane in range(17) for end in (0xFFFE, 0xFFFF)))
)
"""What HTML does not allow as a character; control characters have been refused on the way in."""

_HIGH: Final = re.compile("[\ufdd0-\U0010ffff]")
"""A single range, ten times as quick, that holds them all and is seldom met."""


def rendered(template: str, **values: Any) -> str:
    """Fill a template of this package.

    Every text is escaped unless it is :class:`~markupsafe.Markup`; a name the template asks for and is not given
    raises :class:`jinja2.UndefinedError`.
    """
    page = _ENVIRONMENT.get_template(template).render(values)
    return page if _HIGH.search(page) is None else _NO_CHARACTERS.sub("\ufffd", page)


_ENVIRONMENT: Final = Environment(
    loader=PackageLoader("service.sheets"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    auto_reload=False,
)
_ENVIRONMENT.globals.update(style=Markup(PAGE_STYLE), policy=PAGE_POLICY, shown_sign=shown_sign)  # noqa: S704 - our own file


_MEANINGS: Final[dict[Verdict, str]] = {
    "pass": "The stack goes together as stated: no error, no warning, nothing undecided.",
    "review": "Not released: someone must review the warnings and the undecided rules.",
    "fail": "Do not build or run this stack: see the findings.",
}

_PICTURES: Final[Mapping[str, Mapping[PictureName, str]]] = MappingProxyType(
    {
        "runout": {
            "distribution": "Distribution of the predicted reading over assemblies.",
            "budget": "Reading of each contributor.",
            "axis": "Eccentricity along the axis.",
        },
        "speed": {"speed": "Limits of the speed."},
    }
)
"""Section -> its pictures with their captions."""


_VIEW_BOX: Final = re.compile(r'^<svg[^>]* viewBox="([^"]*)"')

Printed: TypeAlias = Literal["front", "details", "instruction"]

_PRINTED: Final[Mapping[Printed, str]] = {
    "front": " front-alone",
    "details": " without-instruction",
    "instruction": "",
}
"""Classes of the page by what is printed."""

_FRONT_LINES: Final = -3.0
"""Lines of verdict and key figures, less those of the record, which only the sheet of the work instruction has."""

_PARAGRAPH: Final = 1.2


def report_page(report: Report, analysis: StackAnalysis, *, printed: Printed = "front") -> str:
    """Return the whole page; the report must hold the work instruction.

    Parameters
    ----------
    report, analysis
        The check.
    printed
        What goes to paper: the front alone, which is one sheet; the details, too; or the work instruction, too. The
        screen shows everything.
    """
    report = in_units_shown(report)
    assembly = _instruction_of(report)
    told = [f"{one.code}: {one.remedy}" for one in report.findings if one.severity in ("error", "warning")]
    remedies = list(dict.fromkeys(told))[:MOST_REASONS]
    more_lines = _FRONT_LINES + _PARAGRAPH * (len(told_first := headlines(report)) + 2 * len(remedies))
    front = shop_floor(report, analysis, assembly, prefix="front-", more_lines=more_lines)
    pictures = _drawn(report, analysis)
    return rendered(
        "report.html",
        report=report,
        printed=_PRINTED[printed],
        front=front | {"remedies": remedies},
        title=f"{report.verdict.capitalize()}: {unnamed(report)}",
        meaning=_MEANINGS[report.verdict],
        counts=counts(report.summary),
        headlines=told_first,
        changed_title=CHANGED,
        changes=changes(report.provenance),
        no_findings=NO_FINDINGS,
        key=list(key(report)),
        stack=_stack(report, analysis),
        sections=[
            one for one in (assumed(report), runout(report.runout), *mechanics(report)) if one or one.name in _PICTURES
        ],
        captions=_PICTURES,
        pictures=pictures,
        boxes={name: found[1] if (found := _VIEW_BOX.search(svg)) else None for name, svg in pictures.items()},
        **_instructed(report),
        provenance=provenance(report),
        finding_facts=finding_facts,
        first_to_state=first_to_state(report.undecided),
        source_of=source_of,
        missing_words=missing_words,
    )


def instruction_page(report: Report) -> str:
    """Return the work instruction with record and disassembly, step by step; the report must hold it."""
    report = in_units_shown(report)
    title = f"Work instruction: {unnamed(report)}"
    return rendered("instruction.html", report=report, title=title, **_instructed(report))


def _instruction_of(report: Report) -> AssemblyReport:
    if report.assembly is None:
        raise ValueError("the page shows the work instruction, which this report does not hold")
    return report.assembly


def _instructed(report: Report) -> dict[str, Any]:
    """What the template of the work instruction shows, by name."""
    assembly = _instruction_of(report)
    return {
        "name": unnamed(report),
        "labels": report.label_line,
        "assembly": assembly,
        "acceptance": acceptance(assembly.acceptance) if assembly.acceptance else (),
        "record": [(title, blanks) for title, blanks in grouped(assembly.record) if blanks[0].group != "signature"],
        "signatures": [one.name for one in assembly.record.blanks if one.group == "signature"],
        "record_facts": record_facts(assembly.record),
        "state_of": state_of,
        "reason": reason,
        "part_or_joint": part_or_joint,
        "step_values": step_values,
        "blank_sign": blank_sign,
        "unit_sign": unit_sign,
        "not_stated": not_stated,
        "wanted": wanted,
    }


def marked(cell: Cell) -> Markup:
    """Return words and figures as HTML; the value of a figure's element is always the report's.

    >>> marked(("limit ", Figure(12.5), " < ", "13"))
    Markup('limit <data value="12.5">12.5</data> &lt; 13')
    """
    return Markup("".join(map(_piece, cell)))  # noqa: S704 - each piece is escaped


def _piece(piece: str | Figure) -> str:
    if isinstance(piece, str):
        told = str(escape(piece))
        return f'<span class="unknown">{told}</span>' if piece == UNKNOWN else told
    number = f'<data value="{to_json(piece.value).decode()}">{escape(piece.number.replace("-", "−", 1))}</data>'
    return f"{number}\N{NO-BREAK SPACE}{escape(piece.sign)}" if piece.sign else number


_ENVIRONMENT.filters["marked"] = marked


def _stack(report: Report, analysis: StackAnalysis) -> Section:
    """The section with part numbers and kinds, which the request has, and with the retention knobs."""
    section, chain = stack(report), analysis.chain
    rows = []
    for member, place in zip_longest((*chain.members, *chain.knobs), report.geometry.components):
        part = member.part
        number = Markup("<bdi>{}</bdi>").format(part.part_number) if part.part_number else "not stated"
        name, *ends = ((part.id,), (), ()) if place is None else (in_column(each, place) for each in POSITION)
        rows.append(Row((name, (number,), (words("kind", part.kind),), *ends)))
    heads = (POSITION[0].label, "Part number", "Kind", *(each.head for each in POSITION[1:]))
    parts = Table("Parts from the spindle side, positions from the gauge line.", heads, tuple(rows), words=3)
    return replace(section, tables=(parts,) if rows else ())


def _drawn(report: Report, analysis: StackAnalysis) -> dict[str, Markup]:
    """The drawings, which escape what they write themselves; or why there is none."""
    drawn = pictures_of(report, analysis, prefix="picture-")
    shown = {name: getattr(drawn, name) for name in NOTHING_TO_SHOW}
    return {
        name: Markup('<p class="note">{}</p>').format(NOTHING_TO_SHOW[name]) if svg is None else Markup(svg)  # noqa: S704
        for name, svg in shown.items()
    }


def calibration_page(report: CalibrationReport) -> str:
    """Return the page of a calibration."""
    headline = calibration_headline(report)
    return _of_sections(
        headline, "Assumed values from readings. They predict; they release nothing.", "review",
        calibration_sections(report), report.provenance,
    )  # fmt: skip


_LOOK_OF: Final = {"conforms": "pass", "does_not_conform": "fail"}


def reading_page(report: ReadingReport) -> str:
    """Return the page of a reading."""
    look = "review" if report.decision is None else _LOOK_OF.get(report.decision.decision, "review")
    return _of_sections(
        reading_headline(report),
        shown_sentence(report.next_step.text),
        look,
        reading_sections(report),
        report.provenance,
    )


def build_page(report: BuildReport) -> str:
    """Return the page of a build."""
    meaning = shown_sentence(report.stages[-1].text) if report.stages else ""
    decision = report.finished.decision
    look = "review" if decision is None else _LOOK_OF.get(decision.decision, "review")
    return _of_sections(build_headline(report), meaning, look, build_sections(report), report.provenance)


def _of_sections(headline: str, meaning: str, look: str, sections: Sequence[Section], source: Provenance) -> str:
    return rendered(
        "sections.html", title=headline, headline=headline, meaning=meaning, look=look, sections=sections, source=source
    )


def problem_type_page(kind: ProblemType) -> str:
    """Return the page of a problem type."""
    return rendered("problem_type.html", title=kind.title, kind=kind)


def problem_page(problem: Problem, remedy: str) -> str:
    """Return the page."""
    parts = [
        (
            part.detail,
            [pointer for pointer in part.at if pointer],
            place_of(part.model_copy(update={"at": [pointer for pointer in part.at if not pointer]})),
        )
        for part in problem.errors or ()
    ]
    return rendered("problem.html", title=problem.title, problem=problem, parts=parts, remedy=remedy)
