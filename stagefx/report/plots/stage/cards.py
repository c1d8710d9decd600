"""What a scope would show of a stage: a square wave, a sweep, and where it clips."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.bench_setting import OnBench, on_bench
from stagefx.bench.scope.simulated import POINTS, square_through
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.limits import Limits, limits
from stagefx.circuit.response import Response
from stagefx.report.text.numbers import amount
from stagefx.report.text.sentences import as_sentence, shortened

Array = NDArray[np.float64]

SWEEP_HZ = np.geomspace(20.0, 20e3, 241)
SQUARES_HZ = (10e3, 5e3, 2e3, 1e3, 500.0, 200.0)
_SETTLED_SHARE = 0.002
_SLEWING_SHARE = 0.9
"""Of the slew limit, the mean slope of an edge that slews."""
_OVER_DB = 6.0
"""How far beyond its limits a stage is driven to show how it clips."""
_KILOHERTZ = np.array([1000.0])
_CYCLES = 2.0


@dataclass(frozen=True)
class Line:
    """A line of a scope's picture."""

    x: Array
    volts: Array
    name: str = ""
    asked: bool = False
    end: float | None = None


@dataclass(frozen=True)
class StageCard:
    """One picture: a claim, lines, levels."""

    name: str
    claim: str
    under: str
    lines: tuple[Line, ...]
    across: str
    vertical: str
    levels: Mapping[str, float] = field(default_factory=dict)
    frequency: bool = False


def stage_card_plots(stage: Stage) -> tuple[StageCard, ...]:
    """What a scope would show of a stage."""
    bench = on_bench(stage)
    bounds = limits(bench.circuit)
    cards = [_square(bench, bounds), _sweep(bench, bounds)]
    clipped = _clipping(bench, bounds)
    return tuple(cards if clipped is None else [*cards, clipped])


def _under(bench: OnBench, what: str) -> str:
    knob = bench.knob.position
    where = "" if knob is None else f"; knob at {100.0 * knob:.0f} % of its travel"
    name = as_sentence(shortened(bench.stage.name, most=40))
    return f"{name}, calculated. {what}{where}."


def _square(bench: OnBench, bounds: Limits | None) -> StageCard:
    hz, wave = _settled_square(bench)
    interval_s = 1.0 / (hz * POINTS)
    claim = _edge_claim(bench, bounds, wave, interval_s)
    start, shown = round(0.15 * POINTS), round(1.2 * POINTS)
    volts = np.take(wave, np.arange(start, start + shown), mode="wrap")
    times_us = 1e6 * interval_s * np.arange(shown, dtype=np.float64)
    input_v_pp = 2.0 * math.sqrt(2.0) * bench.played_v
    what = f"{amount(hz, 'Hz')}, {amount(input_v_pp, 'V pp')} from the source, with perfect edges"
    line = Line(times_us, volts, "at the load")
    return StageCard("square", claim, _under(bench, what), (line,), "time, us", "at the load, V")


def _settled_square(bench: OnBench) -> tuple[float, Array]:
    """A full-scale square wave, so slow that each top has settled, and one period of it."""
    tried = []
    for hz in SQUARES_HZ:
        wave = square_through(bench.circuit, hz, math.sqrt(2.0) * bench.played_v)
        top = wave[POINTS // 4 : 3 * POINTS // 4]
        late = abs(float(top[-1] - top[round(0.7 * top.size)]))
        if late <= _SETTLED_SHARE * float(np.ptp(wave)):
            return hz, wave
        tried.append((hz, wave))
    return tried[0]


def _edge_claim(bench: OnBench, bounds: Limits | None, wave: Array, interval_s: float) -> str:
    """How long the rising edge takes from 10 to 90 %, and whether it slews meanwhile."""
    behind = float(np.abs(Response(bench.circuit, _KILOHERTZ).output[0, 0]))
    edge = wave[round(0.2 * POINTS) : 3 * POINTS // 4] * np.sign(wave[POINTS // 2])
    low, high = float(edge[0]), float(edge[-1])
    first, last = (_crossing(edge, low + part * (high - low)) for part in (0.1, 0.9))
    rise_s = (last - first) * interval_s
    if rise_s < 2.0 * interval_s:
        return f"A full-scale step passes in less than {amount(2.0 * interval_s, 's')}"
    slope = 0.8 * (high - low) / rise_s
    slew = None if bounds is None else bounds.slew_rise_v_per_s
    if slew is not None and slope >= _SLEWING_SHARE * behind * float(slew[0]):
        return f"A full-scale step slews, at {amount(slope * 1e-6, 'V/us')}"
    return f"A full-scale step rises in {amount(rise_s, 's')}, from 10 to 90 %"


def _crossing(edge: Array, level: float) -> float:
    """Where an edge first passes a level, in points."""
    after = int(np.argmax(edge >= level))
    before = max(after - 1, 0)
    step = float(edge[after] - edge[before])
    return before + (level - float(edge[before])) / step if step > 0.0 else float(after)


def _sweep(bench: OnBench, bounds: Limits | None) -> StageCard:
    peak_v = math.sqrt(2.0) * bench.played_v
    response = Response(bench.circuit, SWEEP_HZ)
    behind = np.abs(response.output[0])
    inside = peak_v * np.abs(response.to_load[0]) / np.where(behind > 0.0, behind, 1.0)
    crest, trough = _held(inside, bounds)
    lines = Line(SWEEP_HZ, crest * behind, "crests"), Line(SWEEP_HZ, -trough * behind, "troughs")
    size = 20.0 * np.log10(lines[0].volts / np.interp(1000.0, SWEEP_HZ, lines[0].volts))
    worst = int(np.argmax(np.abs(size)))
    claim = "From 20 Hz to 20 kHz the level stays within 0.01 dB"
    if abs(size[worst]) >= 0.01:
        word = "falls" if size[worst] < 0.0 else "rises"
        claim = f"The level {word} by {amount(abs(float(size[worst])), 'dB')} at "
        claim += amount(float(SWEEP_HZ[worst]), "Hz")
    what = f"A sweep of {amount(bench.played_v, 'V rms')} from the source, its crests and troughs"
    at_kilohertz = float(np.interp(1000.0, SWEEP_HZ, lines[0].volts))
    levels = {"as at 1 kHz": at_kilohertz} if abs(size[worst]) >= 0.1 else {}
    return StageCard(
        "sweep", claim, _under(bench, what), lines, "frequency, Hz", "at the load, V",
        levels=levels, frequency=True,
    )  # fmt: skip


def _held(wanted_v: Array, bounds: Limits | None) -> tuple[Array, Array]:
    """Crests and troughs that limits leave: clipped, and a triangle of S / 4f where it slews."""
    if bounds is None:
        return wanted_v, wanted_v
    most, least = wanted_v.copy(), wanted_v.copy()
    slews = (bounds.slew_rise_v_per_s, bounds.slew_fall_v_per_s)
    for slew in (float(one[0]) for one in slews if one is not None):
        slewing = 2.0 * math.pi * SWEEP_HZ * wanted_v > slew
        triangle = np.minimum(wanted_v, slew / (4.0 * SWEEP_HZ))
        most, least = (np.where(slewing, np.minimum(one, triangle), one) for one in (most, least))
    if bounds.high_v is not None:
        most = np.minimum(most, float(bounds.high_v[0]))
    if bounds.low_v is not None:
        least = np.minimum(least, -float(bounds.low_v[0]))
    return most, least


def _clipping(bench: OnBench, bounds: Limits | None) -> StageCard | None:
    if bounds is None or bounds.high_v is None or bounds.low_v is None:
        return None
    high, low = float(bounds.high_v[0]), float(bounds.low_v[0])
    smaller = min(high, -low)
    gain = abs(complex(Response(bench.circuit, _KILOHERTZ).to_amplifier_output[0, 0]))
    full_v = math.sqrt(2.0) * bench.played_v * gain
    if full_v <= 0.0:
        return None
    room_db = 20.0 * math.log10(smaller / full_v)
    drive = max(smaller, -low, high) * 10.0 ** (_OVER_DB / 20.0)
    times = np.linspace(0.0, _CYCLES, 801)
    asked = drive * np.sin(2.0 * np.pi * times)
    far = f"{amount(abs(room_db), 'dB')} {'above' if room_db >= 0.0 else 'below'}"
    claim = (
        f"It clips at {amount(high, 'V')} and {amount(low, 'V')}, {far} this source's full scale"
    )
    what = f"A 1 kHz sine of {amount(drive, 'V peak')}, at the amplifier's output"
    lines = (
        Line(times, np.clip(asked, low, high), "comes out", end=0.0),
        Line(times, asked, "asked for", asked=True, end=0.72 * drive),
    )
    levels = {"source's\nfull scale": full_v} if full_v < 0.8 * smaller else {}
    return StageCard(
        "clipping",
        claim,
        _under(bench, what),
        lines,
        "time, ms",
        "at the amplifier, V",
        levels=levels,
    )
