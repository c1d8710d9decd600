"""Results as small tables of HTML, for notebooks: every text escaped, nothing that runs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

from stagefx.units import show

_SINES = {"V rms": "rms", "V peak": "peak", "V pp": "p-p"}


def html_table(
    caption: str,
    rows: Iterable[Sequence[str]],
    *,
    head: Sequence[str] = (),
    before: Iterable[str] = (),
    after: Iterable[str] = (),
) -> str:
    """A result as a table that a notebook shows."""
    headed = "".join(f'<th scope="col">{escape(text)}</th>' for text in head)
    body = "".join(
        f'<tr><th scope="row">{escape(name)}</th>'
        + "".join(f"<td>{escape(value)}</td>" for value in values)
        + "</tr>"
        for name, *values in rows
    )
    return "".join(
        (
            *(f"<p>{escape(text)}</p>" for text in before),
            f"<table><caption>{escape(caption)}</caption>",
            f"<thead><tr>{headed}</tr></thead>" if headed else "",
            f"<tbody>{body}</tbody></table>",
            *(f"<p>{escape(text)}</p>" for text in after),
        )
    )


def cell(value: float | None, unit: str = "", *, without: str = "") -> str:
    """A value as it stands in a table."""
    if value is None:
        return without
    if math.isinf(value):
        return "infinite" if value > 0.0 else "none"
    if unit.startswith(("dB", "LU")):
        decimals = 1 if abs(value) >= 9.995 else 2 if abs(value) >= 0.005 else 3
        return f"{round(value, decimals) + 0.0:.{decimals}f} {unit}"
    if unit in _SINES:
        return f"{show(value, 'V', digits=3)} {_SINES[unit]}"
    return show(value, unit, digits=3)


def share(value: float | None, *, without: str = "") -> str:
    """A share in percent."""
    return without if value is None else f"{100.0 * value:.1f} %"
