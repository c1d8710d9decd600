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
    """A result as a table that a notebook shows.

    Parameters
    ----------
    caption : str
        What it is.
    rows : iterable of sequence of str
        Of each row its name, then its values.
    head : sequence of str
        What the columns are; no heading where left out.
    before, after : iterable of str
        Sentences above and below the table.

    Returns
    -------
    str
        Semantic HTML without scripts, styles or links; every text is escaped.

    Examples
    --------
    >>> made = html_table("a <stage>", [("gain", "6.0 dB")])
    >>> made.partition("<tbody>")[0]
    '<table><caption>a &lt;stage&gt;</caption>'
    """
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
    """A value as it stands in a table.

    Parameters
    ----------
    value : float or None
        In `unit`.
    unit : str
        Any unit; nothing for a plain number.
    without : str
        What stands there where there is no value.

    Returns
    -------
    str
        Three significant digits, engineering prefixes where the unit takes them.

    Examples
    --------
    >>> cell(5.5848e-6, "V rms"), cell(-0.00121, "dB"), cell(None, without="not measured")
    ('5.58 uV rms', '-0.001 dB', 'not measured')
    """
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
    """A share in percent.

    Parameters
    ----------
    value : float or None, 0 to 1
        A share.
    without : str
        What stands there where there is none.

    Returns
    -------
    str
        To a tenth of a percent.

    Examples
    --------
    >>> share(0.0494)
    '4.9 %'
    """
    return without if value is None else f"{100.0 * value:.1f} %"
