"""Where the output stops growing: from a tone that grows until it does."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.measure.decibels import ratio_db
from stagefx.bench.measure.rows import Clip, Scales
from stagefx.bench.measure.synchronised import Synchronised
from stagefx.bench.signals.passages import FADE_S, Ramp

Array = NDArray[np.float64]

LINEAR_FROM, LINEAR_TO = 0.02, 0.1
"""Shares of the ramp's end between which the stage is taken as linear."""
HALF_ANGLE_DEG = 12.0
"""Crests are read as means this far to either side, so that noise and ringing count little."""
REACHED = 0.98
"""Of what a linear stage would give: below, the output has stopped growing."""
LEFT_LINEAR = 0.99


def clip_of(recording: Synchronised, ramp: Ramp, channel: int, scales: Scales) -> Clip:
    """Clip levels, high and low side apart.

    Where one side clips before the other, a coupling capacitor behind it moves the whole wave
    until its mean is nothing.  The wave crosses zero unclipped: how far it has moved is read
    there and put back.
    """
    growing_s = ramp.duration_s - ramp.hold_s
    end_s = ramp.start_s + ramp.duration_s - FADE_S
    times, heard = recording.stretch(ramp.start_s, end_s, channel)
    times = times - ramp.start_s
    share = ramp.envelope(times) / ramp.amplitude
    linear = (share > LINEAR_FROM) & (share < LINEAR_TO)
    turns = 2.0 * np.pi * ramp.hz * times
    gain = _gain(turns[linear], ramp.envelope(times)[linear], heard[linear])
    expected = ramp.envelope(times) * abs(gain) * np.sin(turns + np.angle(gain))

    turned = turns + np.angle(gain)
    cycle = np.floor(turned / (2.0 * np.pi)).astype(np.int64)
    cycle -= cycle[0]
    place = np.degrees(turned) % 360.0
    crest, trough = (np.abs(place - middle) <= HALF_ANGLE_DEG for middle in (90.0, 270.0))
    zero = np.minimum(np.abs(place - 180.0), np.minimum(place, 360.0 - place)) <= HALF_ANGLE_DEG
    moved = _means(cycle, heard - expected, zero)
    high, low = (_means(cycle, heard, where) - moved for where in (crest, trough))
    high_linear, low_linear = (_means(cycle, expected, where) for where in (crest, trough))

    begun = _means(cycle, times, crest)
    held = (begun >= growing_s) & (begun < ramp.duration_s - 2.0 * FADE_S)
    top, bottom = float(np.median(high[held])), float(np.median(low[held]))
    reached_high = top < REACHED * float(np.median(high_linear[held]))
    reached_low = bottom > REACHED * float(np.median(low_linear[held]))
    crest_share = math.degrees(math.sin(math.radians(HALF_ANGLE_DEG))) / HALF_ANGLE_DEG
    top = top if reached_high else top / crest_share
    bottom = bottom if reached_low else bottom / crest_share
    played = _leaves(begun, high / high_linear, low / low_linear, ramp)
    volts = scales.peak_v
    return Clip(
        high=top,
        low=bottom,
        high_v=None if volts is None else top * volts,
        low_v=None if volts is None else bottom * volts,
        reached_high=reached_high,
        reached_low=reached_low,
        played_dbfs=played if reached_high or reached_low else None,
        symmetry_db=ratio_db(abs(top), abs(bottom)),
    )


def _gain(turns: Array, envelope: Array, heard: Array) -> complex:
    """Least-squares gain and phase of a tone of known envelope, an offset beside it."""
    columns = np.stack([envelope * np.sin(turns), envelope * np.cos(turns), np.ones_like(turns)])
    a, b, _ = np.linalg.solve(columns @ columns.T, columns @ heard)
    return complex(a, b)


def _means(cycle: NDArray[np.int64], values: Array, where: NDArray[np.bool_]) -> Array:
    """Mean over some of each cycle's frames; nan where it has none."""
    counts = np.bincount(cycle[where], minlength=int(cycle[-1]) + 1)
    sums = np.bincount(cycle[where], weights=values[where], minlength=int(cycle[-1]) + 1)
    means = np.full(len(counts), np.nan)
    np.divide(sums, counts, out=means, where=counts > 0)
    return means


def _leaves(begun: Array, high: Array, low: Array, ramp: Ramp) -> float | None:
    """The played level from which on the output stays below what a linear stage would give."""
    growing = (begun > LINEAR_TO * (ramp.duration_s - ramp.hold_s)) & np.isfinite(begun)
    below = (np.fmin(high, low) < LEFT_LINEAR)[growing]
    linear = np.flatnonzero(~below)
    first = 0 if not len(linear) else int(linear[-1]) + 1
    if first >= len(below):
        return None
    return ratio_db(float(ramp.envelope(begun[growing][first : first + 1])[0]))
