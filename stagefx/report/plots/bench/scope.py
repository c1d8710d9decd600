"""A scope's trace drawn on paper, with the levels and edges that were found on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stagefx.bench.scope.reading import ScopeReading
from stagefx.report.plots import style
from stagefx.report.text.numbers import amount
from stagefx.report.text.sentences import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TIMES = ((1.0, "s"), (1e-3, "ms"), (1e-6, "us"), (1e-9, "ns"))
_LEVELS = {
    "clip_high_v": "clips upward",
    "clip_low_v": "clips downward",
    "level_high_v": "upper level",
    "level_low_v": "lower level",
    "peak_high_v": "highest",
    "peak_low_v": "lowest",
}


def scope_claim(told: ScopeReading) -> str:
    """What a trace shows, as a sentence."""
    values = {one.key: one.value for one in told.figures}
    if told.kind == "clipped sine":
        levels = [amount(values[k], "V") for k in ("clip_high_v", "clip_low_v") if k in values]
        return f"The sine is clipped at {' and '.join(levels)}"
    if told.kind == "sine":
        return f"A sine of {amount(values['level_v_rms'], 'V rms')}, not clipped"
    slews = [values[k] for k in ("slew_rise_v_per_us", "slew_fall_v_per_us") if k in values]
    if slews:
        return f"The output slews at {' and '.join(amount(one, 'V/us') for one in slews)}"
    for key in ("rise_time_s", "fall_time_s"):
        if key in values:
            word = "rises" if key.startswith("rise") else "falls"
            return f"It {word} in {amount(values[key], 's')}, by bandwidth alone"
    return "The edges are too fast for this trace"


def draw_scope(told: ScopeReading, *, name: str) -> Figure:
    """Draw a trace, with what was found on it."""
    with style.drawing():
        trace = told.trace
        steps = f", in steps of {amount(trace.step_v, 'V')}" if trace.step_v else ""
        under = f"{trace.volts.size:,} points, {amount(trace.interval_s, 's')} apart{steps}"
        made = style.sheet(shortened(name, most=60), under)
        axes = made.add_axes((style.MARGIN, 0.14, 0.72, 0.68))
        style.claim(axes, scope_claim(told))
        _draw_trace(axes, told)
    return made


def _draw_trace(axes: Axes, told: ScopeReading) -> None:
    trace = told.trace
    span = trace.interval_s * trace.volts.size
    size, unit = next((one for one in _TIMES if span >= one[0]), _TIMES[-1])
    times = trace.times_s / size
    low, high = float(trace.volts.min()), float(trace.volts.max())
    room = 0.08 * (high - low)
    style.level_axis(axes, low - room, high + room, label="volts, V")
    axes.set_xlim(float(times[0]), float(times[-1]))
    axes.set_xlabel(f"time, {unit}")
    axes.spines["bottom"].set_visible(True)
    # a coarse converter's points are points: joined by lines they would look like more
    if trace.volts.size < 300:
        axes.plot(times, trace.volts, ".", color=style.INK, markersize=4.0)
    else:
        axes.plot(times, trace.volts, **(dict(style.BASELINE) | {"linewidth": 1.2}))
    ends = []
    for key, label in _LEVELS.items():
        found = [one for one in told.figures if one.key == key]
        clipped = {"peak_high_v": "clip_high_v", "peak_low_v": "clip_low_v"}.get(key)
        if not found or any(one.key == clipped for one in told.figures):
            continue
        axes.axhline(found[0].value, **style.THRESHOLD)
        ends.append((found[0].value, f"{label}, {amount(found[0].value, 'V')}"))
    style.name_ends(axes, ends)
    for edge in told.edges:
        reach = 0.5 * edge.rise_time_s / 0.8 / size
        middle = edge.at_s / size
        for side in (-reach, reach):
            axes.axvline(middle + side, color=style.FAINT, linewidth=0.9)
