"""Response and harmonics from an exponential sweep.

The recording's spectrum over the sweep's own is the response; over the spectrum of the sweep's
k-th harmonic it is that harmonic's.  In time each shows as a short pulse at zero, the other
orders at ``L ln(m / k)`` before or after it, where a gate leaves them out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.measure.decibels import ratio_db, root_sum
from stagefx.bench.measure.rows import Harmonics, ResponsePoint, Scales
from stagefx.bench.measure.sines import fourier, transform_length
from stagefx.bench.measure.synchronised import Synchronised
from stagefx.bench.signals.passages import Sweep
from stagefx.bench.signals.plan import HIGHEST_SHARE, third_octaves_hz

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

POINTS_A_DECADE = 40
LOWEST_HZ = 10.0
HIGHEST_HZ = 45e3
HIGHEST_ORDER = 7
_BEFORE_S, _AFTER_S = 0.3, 0.5
_GATE_SHARE = 0.45
"""Of the way to the next order's pulse, and 0.5 s at most where there is none."""
_LONGEST_GATE_S = 0.5
_STANDS_OUT = 3.0
"""Times what noise would show by chance, from which on a line before the sweep is hum."""
_LOWEST_SURE = 2.0
"""Times the sweep's first frequency it has faded in."""
_EDGE_SHARE = 0.3
"""Of the gate's length, over which it closes."""


@dataclass(frozen=True)
class _Deconvolved:
    """The response of one order at the frequencies asked for, and what noise makes of it."""

    response: Complex
    noise: Array


def response_points(rate_hz: float) -> tuple[float, ...]:
    """Where the response is told."""
    highest = min(HIGHEST_HZ, 0.4535 * rate_hz)
    last = math.floor(POINTS_A_DECADE * math.log10(highest / 1000.0))
    first = -round(POINTS_A_DECADE * math.log10(1000.0 / LOWEST_HZ))
    return tuple(1000.0 * 10.0 ** (n / POINTS_A_DECADE) for n in range(first, last + 1))


def response_of(recording: Synchronised, sweep: Sweep, channel: int) -> tuple[ResponsePoint, ...]:
    """The response re 1 kHz.

    A. Farina, AES 108th Convention, 2000 (from memory).
    """
    points = np.array(response_points(recording.signal.rate_hz))
    found = _deconvolved(recording, sweep, channel, 1, points)
    level = 20.0 * np.log10(np.maximum(np.abs(found.response), 1e-30))
    reference = float(level[np.argmin(np.abs(points - 1000.0))])
    unsure = 20.0 * np.log10(1.0 + found.noise / np.maximum(np.abs(found.response), 1e-30))
    phase = np.degrees(np.angle(found.response))
    rows = zip(points, level - reference, phase, unsure, strict=True)
    return tuple(ResponsePoint(*(float(value) for value in row)) for row in rows)


def swept_harmonics(
    recording: Synchronised, sweep: Sweep, channel: int, scales: Scales
) -> tuple[Harmonics, ...]:
    """Harmonics in third octaves."""
    limit_hz = HIGHEST_SHARE * recording.signal.rate_hz
    tones = np.array(third_octaves_hz(limit_hz / 2.0))
    first = _deconvolved(recording, sweep, channel, 1, tones)
    others = {
        order: _deconvolved(recording, sweep, channel, order, order * tones)
        for order in range(2, HIGHEST_ORDER + 1)
    }
    played = ratio_db(sweep.amplitude)
    rows = []
    for index, hz in enumerate(tones):
        peak = abs(first.response[index])
        within = [one for order, one in others.items() if order * hz <= limit_hz]
        harmonics = [float(abs(one.response[index])) for one in within]
        noise = [float(one.noise[index]) for one in within]
        captured = ratio_db(float(peak))
        rows.append(
            Harmonics(
                hz=float(hz),
                by="swept",
                played_dbfs=played,
                captured_dbfs=captured,
                output_v_rms=scales.output_v(captured),
                thd_db=ratio_db(root_sum(harmonics), float(peak)),
                harmonics_db=tuple(ratio_db(one, float(peak)) for one in harmonics),
                floor_db=ratio_db(root_sum(noise), float(peak)),
            )
        )
    return tuple(rows)


def _deconvolved(
    recording: Synchronised, sweep: Sweep, channel: int, order: int, at_hz: Array
) -> _Deconvolved:
    """What an order of the sweep became, at frequencies of that order."""
    stop_s = sweep.start_s + sweep.duration_s + _AFTER_S
    times, heard = recording.stretch(sweep.start_s - _BEFORE_S, stop_s, channel)
    rate_hz = recording.rate_hz
    quiet = heard[: round(0.8 * _BEFORE_S * rate_hz)]
    heard = heard - quiet.mean()
    played = sweep.harmonic(times - sweep.start_s, order)
    if order == 1:
        played *= sweep.gains[channel] or 1.0
    length = transform_length(len(heard) + round(rate_hz))
    spectrum = np.fft.rfft(played, length)
    hz = np.asarray(np.fft.rfftfreq(length, 1.0 / rate_hz), np.float64)
    inside = _inside(hz, order * sweep.low_hz, sweep.high_hz)
    ratio = np.zeros_like(spectrum)
    kept = inside > 0.0
    ratio[kept] = np.fft.rfft(heard, length)[kept] / spectrum[kept]
    if order == 1:  # below the sweep, as at its beginning: an edge there would ring up to 10 Hz
        lowest = (hz > _LOWEST_SURE * sweep.low_hz) & (hz < 1.5 * _LOWEST_SURE * sweep.low_hz)
        inside = np.where(hz < _LOWEST_SURE * sweep.low_hz, 1.0, inside)
        ratio[hz <= _LOWEST_SURE * sweep.low_hz] = ratio[lowest].mean()
    ratio *= inside
    pulse = np.fft.irfft(ratio, length)

    growth = sweep.growth_s
    before_s = min(_GATE_SHARE * growth * math.log((order + 1) / order), _LONGEST_GATE_S)
    after_s = _LONGEST_GATE_S
    if order > 1:
        after_s = min(_GATE_SHARE * growth * math.log(order / (order - 1)), _LONGEST_GATE_S)
    offsets = np.arange(-round(before_s * rate_hz), round(after_s * rate_hz) + 1)
    gate = _gate(offsets, before_s * rate_hz, after_s * rate_hz)
    response = fourier(pulse[offsets] * gate, offsets[0] / rate_hz, 1.0 / rate_hz, at_hz)
    strength = np.interp(at_hz, hz, np.abs(spectrum))
    noise = _through(gate, quiet, rate_hz, at_hz) / np.maximum(strength, 1e-30)
    return _Deconvolved(response, noise)


def _through(gate: Array, quiet: Array, rate_hz: float, at_hz: Array) -> Array:
    """What comes through the gate of noise, and of hum where it has a line."""
    shape = np.hanning(len(quiet))
    level = quiet - float(shape @ quiet) / float(shape.sum())
    spread = float(level.std())
    lines = np.abs(fourier(level * shape, 0.0, 1.0 / rate_hz, at_hz))
    by_chance = spread * math.sqrt(float(np.square(shape).sum()))
    peaks = np.where(lines > _STANDS_OUT * by_chance, 2.0 * lines / shape.sum(), 0.0)
    noise = spread * math.sqrt(float(np.square(gate).sum()))
    return np.asarray(np.hypot(noise, 0.5 * peaks * gate.sum()), np.float64)


def _gate(offsets: NDArray[np.int64], before: float, after: float) -> Array:
    """1 around zero, closing softly at both ends."""
    left = np.clip((offsets + before) / max(_EDGE_SHARE * before, 1.0), 0.0, 1.0)
    right = np.clip((after - offsets) / max(_EDGE_SHARE * after, 1.0), 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * left) ** 2 * np.sin(0.5 * np.pi * right) ** 2)


def _inside(hz: Array, low_hz: float, high_hz: float) -> Array:
    """1 where the sweep has been, closing softly at both ends."""
    octaves = np.log2(np.maximum(hz, 1e-9) / low_hz)
    rise = np.clip((octaves - 0.4) / 0.5, 0.0, 1.0)
    fall = np.clip((0.995 * high_hz - hz) / (0.04 * high_hz), 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2)
