"""A fit drawn: the response measured, described and fitted, and how far each number is missed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stagefx.bench.fit.report import FittedStage, Row
from stagefx.report.plots import style
from stagefx.report.text.fit_wording import told_rows
from stagefx.report.text.sentences import as_sentence, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MOST_ROWS = 14


def draw_fit(fitted: FittedStage) -> Figure:
    """Draw what was measured beside what the stage gave and gives."""
    with style.drawing():
        title = as_sentence(f"{shortened(fitted.stage.name, most=40)}, fitted")
        under = "Measured: dots. As described: dashed, open. As fitted: solid, filled."
        made = style.sheet(title, under)
        _draw_response(made.add_axes((style.MARGIN, 0.15, 0.36, 0.66)), fitted)
        _draw_numbers(made.add_axes((0.66, 0.15, 0.3, 0.66)), fitted)
    return made


def _draw_response(axes: Axes, fitted: FittedStage) -> None:
    rows = [row for row in fitted.rows if row.kind == "response"]
    if not rows:
        style.claim(axes, "No response was measured")
        axes.set_axis_off()
        return
    first = [row for row in rows if row.load_ohm == rows[0].load_ohm]
    hz = [row.hz or 1.0 for row in first]
    curves = {
        name: [float(getattr(row, name)) for row in first]
        for name in ("measured", "before", "after")
    }
    worst = max(abs(row.measured - row.after) for row in first)
    style.claim(
        axes, f"The fitted response is within {max(worst, 0.001):.2g} dB of the measured one"
    )
    style.frequency_axis(axes, 20.0, max(20e3, 1.05 * hz[-1]))
    low = min(min(values) for values in curves.values())
    high = max(max(values) for values in curves.values())
    style.level_axis(
        axes, min(low * 1.15, -0.1), max(high * 1.15, 0.05), label="level re 1 kHz, dB"
    )
    axes.plot(hz, curves["before"], **style.CHANGE)
    axes.plot(hz, curves["after"], **style.BASELINE)
    axes.plot(hz, curves["measured"], ".", color=style.PLUM, markersize=5.0)


def _draw_numbers(axes: Axes, fitted: FittedStage) -> None:
    named = [(name, row) for name, row in told_rows(fitted) if row.kind != "response"]
    named = [pair for pair in named if math.isfinite(_off(pair[1], pair[1].after))][:_MOST_ROWS]
    met = sum(row.agrees for _, row in named)
    style.claim(axes, f"{met} of {len(named)} numbers are met")
    places = range(len(named), 0, -1)
    for place, (_, row) in zip(places, named, strict=True):
        doubt = abs(_off(row, row.measured + 2.0 * row.doubt))
        axes.plot([-doubt, doubt], [place] * 2, color=style.FAINT, linewidth=9.0)
        before = _off(row, row.before)
        if math.isfinite(before):
            axes.plot(before, place, "o", markerfacecolor="none", markeredgecolor=style.INK)
        axes.plot(_off(row, row.after), place, "o", color=style.INK)
    axes.axvline(0.0, color=style.PLUM, linewidth=1.2)
    axes.set_yticks(list(places), [name for name, _ in named])
    axes.set_ylim(0.3, len(named) + 0.7)
    axes.grid(visible=False, axis="y")
    axes.spines["bottom"].set_visible(True)
    axes.set_xlabel("off by, % of the measured value (dB for levels)")


def _off(row: Row, value: float) -> float:
    if row.unit == "dB":
        return value - row.measured
    return 100.0 * (value / row.measured - 1.0) if row.measured else math.nan
