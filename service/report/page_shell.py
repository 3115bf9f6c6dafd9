"""What every page of the service has in common: one style, a policy that allows nothing else, one way to fill it."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Mapping
from hashlib import sha256
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

__all__ = ["PAGE_HEADERS", "PAGE_POLICY", "PAGE_STYLE", "STYLE_SOURCE", "rendered"]

PAGE_STYLE: Final = files("service.report").joinpath("templates/page.css").read_text("utf-8")
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
    loader=PackageLoader("service.report"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    auto_reload=False,
)
_ENVIRONMENT.globals.update(style=Markup(PAGE_STYLE), policy=PAGE_POLICY)  # noqa: S704 - our own file
