"""Pictures as inline SVG: text stays text, no styles that a strict policy would forbid."""

from __future__ import annotations

import io
import re
import warnings
from typing import TYPE_CHECKING
from xml.sax.saxutils import quoteattr

from stagefx.report.plots.style import drawing

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_HEAD = re.compile(r"\A.*?(?=<svg)", re.DOTALL)
_METADATA = re.compile(r"\s*<metadata>.*?</metadata>", re.DOTALL)
_STYLESHEET = re.compile(r"\s*<defs>\s*<style[^>]*>.*?</style>\s*</defs>", re.DOTALL)
_OPENING = re.compile(r"<svg\b[^>]*>", re.DOTALL)
_VIEW_BOX = re.compile(r'viewBox="([^"]+)"')
_COMMENT = re.compile(r"<!--.*?-->", re.DOTALL)
_TAG = re.compile(r"<[a-z][^<>]*>")
"""A text that looks like an attribute stays as it is: only tags are rewritten."""
_STYLE = re.compile(r' style="([^"]*)"')
_ID = re.compile(r'(\bid="|xlink:href="#|url\(#)')
_FONT = re.compile(
    r"(?:(?P<style>italic|oblique) )?(?:(?P<weight>bold|\d{3}) )?(?P<size>[\d.]+)px (?P<family>.+)"
)
_SERIF = "Charter, Georgia, 'DejaVu Serif', serif"
_SANS = "system-ui, 'DejaVu Sans', Helvetica, Arial, sans-serif"


def inline_svg(figure: Figure, *, name: str, label: str) -> str:
    """A picture as SVG that stands in a page."""
    import matplotlib as mpl

    text = io.StringIO()
    with drawing(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        mpl.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": f"stagefx-{name}"})
        figure.savefig(
            text, format="svg", transparent=True, metadata={"Date": None, "Creator": None}
        )
    markup = _HEAD.sub("", text.getvalue())
    for unwanted in (_METADATA, _STYLESHEET, _COMMENT):
        markup = unwanted.sub("", markup)
    markup = _TAG.sub(
        lambda tag: _STYLE.sub(_as_attributes, _ID.sub(rf"\g<1>{name}-", tag[0])), markup
    )
    box = _VIEW_BOX.search(markup)
    assert box is not None
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'viewBox="{box[1]}" role="img" aria-label={quoteattr(label)} stroke-linejoin="round" '
        'stroke-linecap="butt">'
    )
    return _OPENING.sub(lambda _: opening, markup, count=1).strip()


def _as_attributes(found: re.Match[str]) -> str:
    """Style declarations as the presentation attributes that mean the same."""
    attributes: dict[str, str] = {}
    for declaration in found[1].split(";"):
        key, _, value = (part.strip() for part in declaration.partition(":"))
        if key == "font":
            attributes |= _font(value)
        elif key == "font-family":
            attributes[key] = _family(value)
        elif key:
            attributes[key] = value
    return "".join(f' {key}="{value}"' for key, value in attributes.items())


def _font(value: str) -> dict[str, str]:
    parts = _FONT.fullmatch(value)
    assert parts is not None
    attributes = {"font-size": parts["size"], "font-family": _family(parts["family"])}
    if parts["weight"]:
        attributes["font-weight"] = parts["weight"]
    if parts["style"]:
        attributes["font-style"] = parts["style"]
    return attributes


def _family(value: str) -> str:
    """The reader's own fonts of that kind."""
    return _SERIF if "serif" in value.replace("sans-serif", "").lower() else _SANS
