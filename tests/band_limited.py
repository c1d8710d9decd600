"""Periodic band-limited sounds, of which every delay, gain and filter is known exactly."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
RATE_HZ = 48000


def spectrum(frames: int, *, seed: int = 1, low_hz: float = 20.0, high_hz: float = 20e3) -> Array:
    """Pink spectrum with random phases, as rfft bins of one period."""
    random = np.random.default_rng(seed)
    hz = np.fft.rfftfreq(frames, 1.0 / RATE_HZ)
    bins = np.zeros(hz.size, dtype=np.complex128)
    inside = (hz >= low_hz) & (hz <= high_hz)
    phases = np.exp(2j * np.pi * random.random(inside.sum()))
    bins[inside] = phases / np.sqrt(hz[inside])
    return bins


def sound(
    seconds: float,
    change: Callable[[Array], Array] | None = None,
    *,
    channels: int = 2,
    seed: int = 1,
    level: float = 0.1,
) -> Array:
    """Music-like noise through a known complex response, (frames, channels)."""
    frames = round(seconds * RATE_HZ)
    hz = np.fft.rfftfreq(frames, 1.0 / RATE_HZ)
    columns = []
    for channel in range(channels):
        bins = spectrum(frames, seed=seed + channel)
        scale = level / np.sqrt(2.0 * np.sum(np.abs(bins) ** 2)) * frames
        response = 1.0 if change is None else change(hz)
        columns.append(np.fft.irfft(bins * scale * response, frames))
    return np.stack(columns, axis=1)


def tone(hz: float, seconds: float, gain: complex = 1.0, *, level: float = 0.25) -> Array:
    """A sine through a known complex gain, (frames, 1)."""
    angle = 2.0 * np.pi * hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return level * np.imag(gain * np.exp(1j * angle))[:, None]
