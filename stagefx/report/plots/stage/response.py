"""The response of a stage, or of two: level against frequency, re 1 kHz."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from stagefx.figures.table import Figures
from stagefx.report.plots import style
from stagefx.report.text.sentences import as_sentence, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Curve = Sequence[tuple[float, float, float]]
"""Hz, dB re 1 kHz, degrees."""

AUDIBLE_FROM = ((17.8, 89.1, 0.5), (89.1, 8.91e3, 0.5), (7.08e3, 17.8e3, 1.0))
"""Edges of hearing's three ranges, Hz, and from what change each may be heard, dB."""
LEAST_TOP_DB, LEAST_BOTTOM_DB = 1.5, -2.5


def response_claim(figures: Figures, second: Figures | None = None) -> str:
    """What a response plot shows, as a sentence."""
    hz, level = _inside(figures.response)
    if hz.size == 0:
        return "Nothing comes through: the knob stands at zero"
    if second is None:
        worst = int(np.argmax(np.abs(level)))
        if abs(level[worst]) < 0.1:
            return f"From 20 Hz to 20 kHz the level stays within {_least(level)} dB of 1 kHz"
        word = "down" if level[worst] < 0.0 else "up"
        return f"The level is {abs(level[worst]):.1f} dB {word} at {_hertz(hz[worst])}, re 1 kHz"
    change = _inside(second.response)[1] - level
    worst = int(np.argmax(np.abs(change)))
    if abs(change[worst]) < 0.1:
        return f"From 20 Hz to 20 kHz the two stay within {_least(change)} dB of each other"
    word = "lower" if change[worst] < 0.0 else "higher"
    name = as_sentence(shortened(second.stage.name))
    return f"{name} is {abs(change[worst]):.1f} dB {word} at {_hertz(hz[worst])}, re 1 kHz"


def draw_response(axes: Axes, figures: Figures, second: Figures | None = None) -> None:
    """Draw the response of a stage, with its 5-95 % band where a spread was worked out."""
    style.claim(axes, response_claim(figures, second))
    if not figures.response or (second is not None and not second.response):
        axes.set_axis_off()
        return
    curves = [np.array(one.response) for one in (figures, second) if one is not None]
    style.frequency_axis(axes, 10.0, 100e3)
    style.level_axis(axes, *_span(curves), label="level re 1 kHz, dB")
    ends = [*_draw_limits(axes), *_draw_band(axes, figures)]
    if second is not None:
        axes.fill_between(curves[0][:, 0], curves[0][:, 1], curves[1][:, 1], color=style.PLUM,
                          alpha=0.35, linewidth=0.0)  # fmt: skip
    for curve, line in zip(curves, (style.BASELINE, style.CHANGE), strict=False):
        axes.plot(curve[:, 0], curve[:, 1], **line)
    stages = [one.stage.name for one in (figures, second) if one is not None]
    names = ["this stage"] if second is None else [shortened(n, most=22) for n in stages]
    ends += [(float(c[-1, 1]), name) for c, name in zip(curves, names, strict=True)]
    style.name_ends(axes, ends, gap=0.085)


def _draw_limits(axes: Axes) -> list[tuple[float, str]]:
    """From where a departure from 1 kHz may be heard, above and below."""
    for sign in (1.0, -1.0):
        for low_hz, high_hz, may_db in AUDIBLE_FROM:
            axes.plot([low_hz, high_hz], [sign * may_db] * 2, **style.THRESHOLD)
    return [(-AUDIBLE_FROM[-1][2], "may be heard from here")]


def _draw_band(axes: Axes, figures: Figures) -> list[tuple[float, str]]:
    band = figures.response_band
    if not band:
        return []
    low, high = np.array(band).T[1:3]
    axes.fill_between(np.array(band)[:, 0], low, high, color=style.FAINT, linewidth=0.0)
    return [(float(low[-1]), "9 of 10 boards")]


def _inside(curve: Curve) -> tuple[np.ndarray, np.ndarray]:
    rows = np.array([row for row in curve if 19.9 <= row[0] <= 20_100.0])
    return (rows[:, 0], rows[:, 1]) if rows.size else (np.zeros(0), np.zeros(0))


def _span(curves: Sequence[np.ndarray]) -> tuple[float, float]:
    """Vertical limits that hold the audio band, never less than a few decibels."""
    inside = np.concatenate([c[c[:, 0] <= 20_100.0, 1] for c in curves])
    top = max(LEAST_TOP_DB, float(inside.max()) + 0.5)
    bottom = min(LEAST_BOTTOM_DB, float(inside.min()) - 0.5)
    return math.floor(bottom * 2.0) / 2.0, math.ceil(top * 2.0) / 2.0


def _least(levels: np.ndarray) -> str:
    worst = float(np.max(np.abs(levels)))
    return f"{max(math.ceil(worst * 100.0), 1) / 100.0:.2f}"


def _hertz(hz: float) -> str:
    return f"{hz / 1000.0:.3g} kHz" if hz >= 1000.0 else f"{hz:.3g} Hz"
