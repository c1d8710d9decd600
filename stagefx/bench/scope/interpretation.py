"""From a trace to what it tells."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from stagefx.bench.scope.crossings import Crossing, crossings, noise_v, period_points
from stagefx.bench.scope.reading import ScopeReading
from stagefx.bench.scope.square import read_square
from stagefx.bench.scope.swings import read_sine, read_triangle
from stagefx.bench.scope.tables import ScopeError, Trace
from stagefx.bench.scope.waves import fit_sine, fit_straight

_QUICK = 0.12
"""Share of half a period below which an edge makes a wave a square one, whatever its shape."""
_IRREGULAR = 0.1
_CLOSE = 0.02
_STEPS_SEEN = 4.0
_ENOUGH_POINTS = 20_000

CALIBRATION = (
    "Uncertainties are those of points and vertical steps alone; the instrument's own "
    "calibration, commonly 2 to 3 % of a voltage, comes on top."
)


def read_scope(
    trace: Trace, *, generator_s: float | None = None, where: str = "the trace"
) -> ScopeReading:
    """Tell what a trace shows: kind of wave, clip levels, slew, rise time, ringing, tilt.

    Parameters
    ----------
    trace : Trace
        A square wave, a step, or a sine; clipped or slewing or not.
    generator_s : float, s
        The generator's own rise time, to be taken out of an edge's.
    where : str
        What error messages call it.

    Returns
    -------
    ScopeReading
        Figures with uncertainties, and remarks.

    Raises
    ------
    ScopeError
        A constant, or no wave that can be told.

    Notes
    -----
    From one trace, a slew limit is told by an edge's straight middle.  The surest test needs two:
    at double the step a slew limit keeps its slope, a bandwidth its rise time.

    Examples
    --------
    >>> t = np.arange(2000) * 1e-6
    >>> wave = np.clip(12.0 * np.sin(2.0 * np.pi * 1e3 * t), -9.0, 8.5)
    >>> reading = read_scope(Trace(0.0, 1e-6, wave, 0.0))
    >>> reading.kind, round(reading.figure("clip_high_v").value, 2)
    ('clipped sine', 8.5)
    """
    volts = trace.volts
    span = float(np.ptp(volts))
    if span == 0.0 or span < _STEPS_SEEN * trace.step_v:
        raise ScopeError(
            f"{where} is constant, or hardly moves; is the right channel in the table, and the "
            "picture tall enough?"
        )
    found, noise = crossings(volts), noise_v(trace)
    if not found:
        raise ScopeError(
            f"{where} has no edge: it never passes from one half of its range to the other; take a "
            "whole period, or a step"
        )
    if len(found) == 1:
        return read_square(trace, found, noise, generator_s=generator_s)
    period, irregular = period_points(found) or (0.0, 0.0)
    if irregular > _IRREGULAR:
        raise ScopeError(
            f"{where} is no regular wave: its periods differ by {100.0 * irregular:.0f} %; use a "
            "steady square wave or sine, or one single step"
        )
    if _edge_share(trace, found, period) < _QUICK:
        return read_square(trace, found, noise, generator_s=generator_s)
    thinner = _thinner(trace)
    stride = volts.size // thinner.volts.size
    sine = fit_sine(thinner.volts, period / stride, noise)
    straight = fit_straight(thinner.volts, crossings(thinner.volts), noise)
    close = max(2.0 * noise, _CLOSE * 0.5 * span)
    if sine.misfit_v < straight.misfit_v and sine.misfit_v < close:
        return read_sine(thinner, sine, noise)
    if straight.misfit_v < close and straight.edge_points > 0.48 * period / stride:
        return read_triangle(thinner, straight)
    return read_square(trace, found, noise, generator_s=generator_s)


def _thinner(trace: Trace) -> Trace:
    """A trace with no more points than a fit can use, the others left out."""
    stride = max(trace.volts.size // _ENOUGH_POINTS, 1)
    return replace(trace, interval_s=trace.interval_s * stride, volts=trace.volts[::stride])


def _edge_share(trace: Trace, found: tuple[Crossing, ...], period: float) -> float:
    """How much of half a period the middle 80 % of a wave's range take, on the first edge."""
    volts = trace.volts
    low, high = (float(one) for one in np.percentile(volts, [1.0, 99.0]))
    inside = (volts > low + 0.1 * (high - low)) & (volts < high - 0.1 * (high - low))
    half = 0.5 * period
    shares = []
    for one in found:
        first, last = max(int(one.place - 0.5 * half), 0), int(one.place + 0.5 * half) + 1
        piece = inside[first:last]
        shares.append(float(piece.mean()) * piece.size / half)
    return float(np.median(shares))
