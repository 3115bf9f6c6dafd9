"""A report as one page for eyes and paper: self-contained, without script, and nothing told by colour alone.

What every page of the service has in common: one style, a policy that allows nothing else, one way to fill it.

A problem as a page, for whoever asked with a browser.
"""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Iterator, Mapping
from hashlib import sha256
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from rules.analysis import StackAnalysis
from rules.schema.report import Finding, Report, Verdict
from rules.speed.report import cause
from service.drawing.pictures import NOTHING_TO_SHOW, pictures_of
from service.operations.problems import Problem
from service.sheets.check import (
    acceptance_facts,
    blanks,
    contributors_table,
    parts_table,
    planes_table,
    signatures,
    step_values,
    where_of,
)
from service.sheets.figures import Fact, figure, quantity, unit_sign
from service.sheets.mechanics import (
    balance_facts,
    bending_table,
    grip_table,
    load_facts,
    mass_facts,
    mass_table,
    shrink_facts,
    speed_facts,
    speed_table,
    stiffness_facts,
)
from service.sheets.text import count, place_of

__all__ = ["PAGE_HEADERS", "PAGE_STYLE", "STYLE_SOURCE", "problem_page", "report_page"]


PAGE_STYLE: Final = files("service.sheets").joinpath("templates/page.css").read_text("utf-8")
"""The text of the one ``<style>`` element; ``{{ style }}`` in the templates."""

STYLE_SOURCE: Final = f"'sha256-{b64encode(sha256(PAGE_STYLE.encode()).digest()).decode()}'"
"""The style as a source expression of a Content-Security-Policy (CSP Level 3, section 2.3.1)."""

PAGE_POLICY: Final = f"default-src 'none'; style-src {STYLE_SOURCE}; base-uri 'none'; form-action 'none'"
"""What a page may load: its own style and nothing else. It stands in the page, too, for pages kept as files."""

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


def rendered(template: str, **values: Any) -> str:
    """Fill a template of this package.

    Every text is escaped unless it is :class:`~markupsafe.Markup`; a name the template asks for and is not given
    raises :class:`jinja2.UndefinedError`.
    """
    return _NO_CHARACTERS.sub("\ufffd", _ENVIRONMENT.get_template(template).render(values))


_ENVIRONMENT: Final = Environment(
    loader=PackageLoader("service.sheets"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    auto_reload=False,
)
_ENVIRONMENT.globals.update(style=Markup(PAGE_STYLE), policy=PAGE_POLICY)  # noqa: S704 - our own file


_MEANINGS: Final[dict[Verdict, str]] = {
    "pass": "It goes together as stated: no error, no warning, and nothing left undecided.",
    "review": "Not released: a person has to decide on the warnings and on what could not be decided.",
    "fail": "Do not build or run it as it stands: see the findings.",
}


def report_page(report: Report, derived: StackAnalysis) -> str:
    """Return the whole page; the report must hold the work instruction."""
    if report.assembly is None:
        raise ValueError("the page shows the work instruction, which this report does not hold")
    provenance = report.provenance
    return rendered(
        "report.html",
        report=report,
        title=f"{report.verdict.capitalize()}: {report.stack or 'unnamed stack'}",
        meaning=_MEANINGS[report.verdict],
        counts=_counts(report),
        changed=bool(provenance.thresholds_changed or provenance.severities_lowered or provenance.rules_replaced),
        key=list(_key(report)),
        measured=[(one, _measured(one)) for one in report.findings],
        pictures=_drawn(report, derived),
        parts=parts_table(report, derived),
        planes=planes_table(report.runout),
        limit=None if report.runout.limit_um is None else figure(report.runout.limit_um, "µm"),
        limit_at=where_of(report.runout.limit_at),
        contributors=contributors_table(report.runout),
        speeds=speed_table(report.speed),
        speed=speed_facts(report.speed),
        grips=grip_table(report.grip),
        shrink_fits=[(one.joint, shrink_facts(one.shrink_fit)) for one in report.grip if one.shrink_fit],
        load=load_facts(report.load),
        stiffness=stiffness_facts(report.stiffness),
        bending=bending_table(report.stiffness),
        mass=mass_facts(report.mass),
        masses=mass_table(report.mass),
        balance=balance_facts(report),
        assembly=report.assembly,
        step_values=step_values,
        acceptance=acceptance_facts(report.assembly.acceptance),
        blanks=blanks(report.assembly),
        signatures=signatures(report.assembly),
        figure=figure,
        unit_sign=unit_sign,
        quantity=quantity,
    )


def _counts(report: Report) -> str:
    summary = report.summary
    return ", ".join(
        (
            count(summary.errors, "error"),
            count(summary.warnings, "warning"),
            f"{summary.advice} advice",
            f"{summary.undecided} undecided",
            f"{count(summary.decided, 'rule')} decided",
        )
    )


def _drawn(report: Report, derived: StackAnalysis) -> dict[str, Markup]:
    """The drawings, which escape what they write themselves; or why there is none."""
    drawn = pictures_of(report, derived, prefix="picture-")
    shown = {name: getattr(drawn, name) for name in NOTHING_TO_SHOW}
    return {
        name: Markup('<p class="note">{}</p>').format(NOTHING_TO_SHOW[name]) if svg is None else Markup(svg)  # noqa: S704
        for name, svg in shown.items()
    }


def _measured(finding: Finding) -> list[Fact]:
    unit = unit_sign(finding.unit)
    told = (("Observed", finding.observed), ("Limit", finding.limit), ("Margin", finding.margin))
    return [
        Fact(name, value if isinstance(value, str) else figure(value, unit))
        for name, value in told
        if value is not None
    ]


def _key(report: Report) -> Iterator[tuple[str, str, str]]:
    """What the shop asks first: name, figure, and what it is held against."""
    runout, speed, stiffness = report.runout, report.speed, report.stiffness
    plane = runout.tip if runout.limit_at == "tip" else runout.gauge_plane
    if plane is not None:
        limit = "no limit asked" if runout.limit_um is None else Markup("limit ") + figure(runout.limit_um, "µm")
        name, read = f"Runout at the {where_of(runout.limit_at)}, 95 % read less", figure(plane.p95_um, "µm", 1)
        if runout.complete:
            yield name, read, limit
        else:
            yield name, figure(None), read + " from what is stated, " + limit
    if speed.asked_rpm is not None:
        known = Markup("lowest limit ") + figure(speed.governing.speed_rpm, "rpm") if speed.governing else ""
        whose = f" ({cause(speed.governing)})" if speed.governing else "no limit known"
        yield "Speed asked", figure(speed.asked_rpm, "rpm"), known + whose
    elif speed.governing is not None:
        yield "Highest speed", figure(speed.governing.speed_rpm, "rpm"), cause(speed.governing)
    for grip in report.grip:
        if grip.weakest:
            yield "Safety of the weakest grip", figure(grip.safety_factor, decimals=3), grip.joint
    if stiffness.deflection_um is not None:
        accepted = stiffness.deflection_limit_um
        told = "no limit asked" if accepted is None else Markup("limit ") + figure(accepted, "µm")
        yield "Deflection of the tip", figure(stiffness.deflection_um, "µm", 1), told
    if report.geometry.tip_mm is not None:
        yield "Tip from the gauge line", figure(report.geometry.tip_mm, "mm"), ""
    if report.mass.total_kg is not None:
        yield "Mass", figure(report.mass.total_kg, "kg", 2), ""


def problem_page(problem: Problem, remedy: str) -> str:
    """Return the page."""
    parts = [
        (part.detail, part.pointer, place_of(part.model_copy(update={"pointer": None})))
        for part in problem.errors or ()
    ]
    return rendered("problem.html", title=problem.title, problem=problem, parts=parts, remedy=remedy)
