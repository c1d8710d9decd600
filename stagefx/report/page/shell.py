"""What every page is put into: one file, which its own policy forbids to ask for anything."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

from stagefx.report.page.bundle import bundle, page_part

if TYPE_CHECKING:
    from jinja2 import Environment

SHELL = "page/shell"
"""The template that all others extend, and the styles that stand before all others."""


def render_page(
    name: str,
    *,
    script: str,
    styles: Sequence[str],
    carried: Mapping[str, bytes],
    known: Mapping[str, Any] | None = None,
    **values: object,
) -> str:
    """A page as one HTML file; the same for the same values."""
    from markupsafe import Markup

    code = bundle(script)
    style = "\n".join(page_part(f"{one}.css") for one in (SHELL, *styles))
    policy = (
        "default-src 'none'",
        f"script-src 'sha256-{_digest(code)}'",
        f"style-src 'sha256-{_digest(style)}'",
        "base-uri 'none'",
        "form-action 'none'",
    )
    files = [(file, base64.b64encode(data).decode("ascii")) for file, data in carried.items()]
    return _environment().get_template(f"{name}.html").render(
        policy=Markup("; ".join(policy)), style=Markup(style), script=Markup(code), carried=files,
        known=known, **values,
    )  # fmt: skip


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    return Environment(
        loader=FunctionLoader(page_part),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def _digest(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")
