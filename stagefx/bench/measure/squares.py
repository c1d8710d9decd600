"""What becomes of a square wave: the sag of its tops, and its shape."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.measure.rows import Square
from stagefx.bench.measure.synchronised import Synchronised
from stagefx.bench.measure.tones.slewing import common_hz
from stagefx.bench.measure.tones.steady import steady
from stagefx.bench.signals.passages import Tones
from stagefx.bench.signals.plan import HIGHEST_SHARE

Array = NDArray[np.float64]

WAVE_POINTS = 400
_SLOWEST_TOLD_HZ = 200.0
"""Above it the tops are too short beside the edges to tell a sag."""
_TOP = (0.1, 0.9)
_MOST_S = 1.2


def square_of(recording: Synchronised, played: Tones, channel: int) -> Square:
    """Tilt, and one period.

    A parabola through the middle four fifths of top and bottom is drawn out to their ends, since
    what the sampling rate makes of the edges hides them.
    """
    base_hz = common_hz(played.hz)
    part = steady(recording, played, channel, most_s=_MOST_S)
    highest = int(HIGHEST_SHARE * recording.signal.rate_hz / base_hz)
    orders = np.arange(1, min(highest, int(20e3 / base_hz)) + 1)
    peaks = part.amplitudes([float(order * base_hz) for order in orders])
    spectrum = np.zeros(WAVE_POINTS * 8 // 2 + 1, dtype=np.complex128)
    spectrum[orders] = peaks / 2j
    fine = np.fft.irfft(spectrum, WAVE_POINTS * 8) * (WAVE_POINTS * 8)
    told = base_hz <= _SLOWEST_TOLD_HZ
    tilt, height = _tilt(fine)
    noise = part.noise_peak(base_hz, apart_hz=base_hz)
    return Square(
        hz=base_hz,
        tilt_percent=100.0 * tilt if told else None,
        tilt_floor_percent=100.0 * noise * 3.0**0.5 / height if told and height > 0.0 else None,
        wave=tuple(float(one) for one in fine[::8]),
    )


def _tilt(wave: Array) -> tuple[float, float]:
    """Sag of the tops over the height of their middle, and that height."""
    half = len(wave) // 2
    top = 0.5 * (wave[:half] - wave[half : 2 * half])
    place = np.arange(half) / half
    inside = (place >= _TOP[0]) & (place <= _TOP[1])
    square, line, start = np.polyfit(place[inside], top[inside], 2)
    end = start + line + square
    height = 0.5 * (start + end)
    return float((start - end) / height) if height > 0.0 else 0.0, float(height)
