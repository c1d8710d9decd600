"""One sheet for figures on paper: response, noise at the seat, headroom ladder."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stagefx.figures.table import Figures
from stagefx.report.plots import style
from stagefx.report.plots.stage.headroom import draw_headroom
from stagefx.report.plots.stage.noise import draw_noise
from stagefx.report.plots.stage.response import draw_response
from stagefx.report.text.sentences import as_sentence, shortened

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def draw_figures(figures: Figures, second: Figures | None = None) -> Figure:
    """Draw what a stage does on paper."""
    with style.drawing():
        made = style.sheet(_title(figures, second), _conditions(figures, second))
        style.fault(made, _faults(figures, second))
        draw_response(made.add_axes((style.MARGIN, 0.55, 0.39, 0.27)), figures, second)
        draw_noise(made.add_axes((style.MARGIN, 0.13, 0.39, 0.27)), figures, second)
        if second is None:
            draw_headroom(made.add_axes((0.66, 0.13, 0.31, 0.69)), figures)
        else:
            draw_headroom(made.add_axes((0.66, 0.55, 0.31, 0.27)), figures, small=True)
            draw_headroom(made.add_axes((0.66, 0.13, 0.31, 0.27)), second, small=True)
    return made


def _title(figures: Figures, second: Figures | None) -> str:
    name = figures.stage.name
    if second is None:
        return as_sentence(shortened(name, most=72))
    names = [shortened(one.stage.name, most=36) for one in (figures, second)]
    return as_sentence(", beside ".join(names))


def _faults(figures: Figures, second: Figures | None) -> str:
    """The first fault in words, and how many more there are."""
    found = [
        fault if second is None else f"{shortened(one.stage.name)}: {fault}"
        for one in (figures, second)
        if one is not None
        for fault in (fault.sentence for fault in one.faults)
    ]
    if not found:
        return ""
    more = f" ({len(found) - 1} more)" if len(found) > 1 else ""
    return f"First, a fault. {shortened(found[0], most=110)}{more}"


def _conditions(figures: Figures, second: Figures | None) -> str:
    knobs = [
        f"{shortened(one.stage.name)} at {100.0 * one.knob_position:.0f} %"
        for one in (figures, second)
        if one is not None and one.knob_position is not None
    ]
    where = f" Knob's travel: {', '.join(knobs)}." if knobs else ""
    draws = f" Band: 90 % of {figures.draws:,} draws." if figures.draws else ""
    return f"Calculated from the stage as described.{where}{draws}"
