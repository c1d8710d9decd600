"""What the bench should show, drawn: response, distortion, and square waves as lines on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stagefx.bench.expectation import Expectation
from stagefx.bench.scope.simulated import SquarePicture
from stagefx.figures.faults import FaultRemark
from stagefx.report.plots import style
from stagefx.report.text.numbers import amount
from stagefx.report.text.sentences import as_sentence, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TIMES = ((1e-3, "ms"), (1e-6, "us"), (1e-9, "ns"))
_BEFORE, _AFTER = 1.0, 4.0
"""What is drawn of an edge, in rise times, before and after its middle."""


def draw_expectation(expected: Expectation) -> Figure:
    """Draw what the bench should show."""
    with style.drawing():
        bench = expected.bench
        knob = bench.knob.position
        where = "" if knob is None else f"; knob at {100.0 * knob:.0f} % of its travel"
        under = (
            f"Calculated. Full scale is {amount(bench.played_v, 'V rms')} of the source{where}. "
            "The scope is given a perfect edge."
        )
        name = shortened(bench.stage.name, most=40)
        made = style.sheet(as_sentence(f"{name}: what the bench should show"), under)
        faults = [one for one in expected.remarks if isinstance(one, FaultRemark)]
        style.fault(made, shortened(faults[0], most=150) if faults else "")
        _draw_response(made.add_axes((style.MARGIN, 0.56, 0.37, 0.27)), expected)
        _draw_distortion(made.add_axes((0.56, 0.56, 0.32, 0.27)), expected)
        _draw_edges(made.add_axes((style.MARGIN, 0.13, 0.37, 0.27)), expected.picture("small"))
        _draw_edges(made.add_axes((0.56, 0.13, 0.32, 0.27)), expected.picture("full"))
    return made


def _draw_response(axes: Axes, expected: Expectation) -> None:
    rows = [row for row in expected.measurement.response if row.hz >= 10.0]
    if not rows:
        style.claim(axes, "No response")
        axes.set_axis_off()
        return
    hz, db = [row.hz for row in rows], [row.db for row in rows]
    inside = [row for row in rows if 20.0 <= row.hz <= 20.1e3]
    worst = max(inside, key=lambda row: abs(row.db))
    style.claim(axes, f"{amount(abs(worst.db), 'dB')} off at {amount(worst.hz, 'Hz')}, re 1 kHz")
    style.frequency_axis(axes, 10.0, max(20e3, hz[-1]))
    low, high = min(*db, -0.5), max(*db, 0.2)
    style.level_axis(axes, low - 0.1 * (high - low), high + 0.1 * (high - low), label="level, dB")
    axes.plot(hz, db, **style.BASELINE)


def _draw_distortion(axes: Axes, expected: Expectation) -> None:
    rows = [
        row
        for row in expected.measurement.harmonics
        if row.by == "stepped" and row.thd_db is not None and row.floor_db is not None
    ]
    if not rows:
        style.claim(axes, "No distortion was told")
        axes.set_axis_off()
        return
    hz = [row.hz for row in rows]
    thd = [max(row.thd_db or -200.0, -200.0) for row in rows]
    floor = [row.floor_db or -200.0 for row in rows]
    worst = max(range(len(rows)), key=lambda k: thd[k])
    said = f"Harmonics: {thd[worst]:.0f} dB at worst, at {amount(hz[worst], 'Hz')}"
    style.claim(axes, said if thd[worst] > floor[worst] + 6.0 else "Noise hides all harmonics")
    style.frequency_axis(axes, 20.0, max(10e3, hz[-1]))
    bottom, top = min(*thd, *floor) - 8.0, max(*thd, -60.0) + 5.0
    style.level_axis(axes, bottom, top, label="re the tone, dB")
    axes.plot(hz, thd, **style.BASELINE)
    style.hatch(axes, hz, [bottom] * len(hz), floor)
    ends = [(thd[-1], "all harmonics"), (floor[-1], "noise hides the rest")]
    style.name_ends(axes, ends, gap=0.14)


def edge_window(rise_s: float, interval_s: float, middle: int, points: int) -> tuple[int, int]:
    """Which points show an edge."""
    reach = max(rise_s / interval_s, 2.0)
    first = max(int(middle - 2.0 * _BEFORE * reach), 0)
    return first, min(int(middle + _AFTER * reach), points)


def _draw_edges(axes: Axes, picture: SquarePicture) -> None:
    told = picture.reading
    scene = f"{amount(picture.hz, 'Hz')}, {amount(picture.input_v_pp, 'V pp')} in"
    edge = next((one for one in told.edges if one.rises), None) if told is not None else None
    if told is None or edge is None:
        style.claim(axes, f"No edge to be read: {scene}")
        axes.set_axis_off()
        return
    values = {one.key: one.value for one in told.figures}
    said = f"rises in {amount(edge.rise_time_s, 's')}"
    if edge.slew_v_per_s is not None:
        said = f"slews at {amount(edge.slew_v_per_s * 1e-6, 'V/us')}"
    over = values.get("overshoot_percent")
    said += f", overshoots {over:.0f} %" if over is not None else ""
    style.claim(axes, f"A {'small' if picture.name == 'small' else 'full-scale'} step {said}")
    trace = picture.trace
    middle = round((edge.at_s - trace.start_s) / trace.interval_s)
    first, last = edge_window(edge.rise_time_s, trace.interval_s, middle, trace.volts.size)
    times = (np.arange(first, last) - middle) * trace.interval_s
    size, unit = next(((s, u) for s, u in _TIMES if edge.rise_time_s >= 0.2 * s), _TIMES[-1])
    volts = trace.volts[first:last]
    span = max(float(np.ptp(volts)), 1e-9)
    milli = 1e3 if span < 1.0 else 1.0
    style.level_axis(
        axes, milli * (float(volts.min()) - 0.1 * span), milli * (float(volts.max()) + 0.1 * span),
        label=f"at the load, {'mV' if milli > 1.0 else 'V'}",
    )  # fmt: skip
    axes.set_xlim(float(times[0]) / size, float(times[-1]) / size)
    axes.set_xlabel(f"time, {unit} ({scene})")
    axes.spines["bottom"].set_visible(True)
    axes.plot(times / size, milli * volts, **style.BASELINE)
