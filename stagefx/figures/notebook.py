"""A stage's figures as a notebook shows them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stagefx.figures.table import DEFINITIONS
from stagefx.io.tables import cell, html_table

if TYPE_CHECKING:
    from stagefx.figures.table import Figures


def figures_as_html(found: Figures) -> str:
    """Figures on paper: faults first, then every figure that has a number.

    Parameters
    ----------
    found : Figures
        Of a stage.

    Returns
    -------
    str
        HTML, every text escaped.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.figures.table import work_out
    >>> "<td>gain_db</td><td>0.000 dB</td>" in figures_as_html(work_out(load_stage("wire")))
    True
    """
    meanings = {one.key: one.meaning for one in DEFINITIONS}
    rows = []
    for key, figure in found.figures.items():
        if figure.value is None:
            continue
        row = [meanings.get(key, key), key, cell(figure.value, figure.unit)]
        if found.draws:
            row.append(_range(figure.low, figure.high, figure.unit))
        rows.append(row)
    spread = ("5 to 95 %",) if found.draws else ()
    return html_table(
        f"{found.stage.name} on paper",
        rows,
        head=("figure", "key", "value", *spread),
        before=[f"Fault: {one.sentence} {one.caution}" for one in found.faults],
        after=found.remarks,
    )


def _range(low: float | None, high: float | None, unit: str) -> str:
    return "" if low is None or high is None else f"{cell(low, unit)} to {cell(high, unit)}"
