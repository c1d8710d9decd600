"""Sounds made for the ear model alone, of which every change is known exactly."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from stagefx.hearing.ear.detection import EarPair

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

RATE_HZ = 48_000
SECONDS = 2.0
LEVEL_DB_SPL = 75.0
FULL_SCALE_SPL_DB = 100.0


def noise(
    density: Callable[[Array], Array],
    level_db_spl: float = LEVEL_DB_SPL,
    *,
    channels: int = 1,
    seed: int = 1,
    seconds: float = SECONDS,
) -> Array:
    """One period of noise [frames, channels] of a spectral density, random in phase alone."""
    frames = round(seconds * RATE_HZ)
    hz = np.fft.rfftfreq(frames, 1.0 / RATE_HZ)
    powers = np.zeros(hz.size)
    powers[1:] = density(np.asarray(hz[1:], dtype=np.float64))
    inside = powers > 0.0
    random = np.random.default_rng(seed)
    bins = np.zeros((hz.size, channels), dtype=np.complex128)
    phases = np.exp(2j * np.pi * random.random((int(inside.sum()), channels)))
    bins[inside] = phases * np.sqrt(powers[inside])[:, None]
    sound = np.fft.irfft(bins, frames, axis=0)
    rms = 10.0 ** ((level_db_spl - FULL_SCALE_SPL_DB) / 20.0) * np.sqrt(0.5)
    return np.asarray(sound * (rms / np.sqrt(np.square(sound).mean())))


def pink(channels: int = 1, *, seed: int = 1, low_hz: float = 20.0, high_hz: float = 20e3) -> Array:
    """Pink noise of a band [frames, channels] at 75 dB SPL; every channel has its own phases."""
    return noise(
        lambda hz: np.where((hz >= low_hz) & (hz <= high_hz), 1.0 / hz, 0.0),
        channels=channels,
        seed=seed,
    )


def tone(
    hz: float = 1000.0,
    level_db_spl: float = LEVEL_DB_SPL,
    *,
    seconds: float = SECONDS,
    phase: float = 0.0,
) -> Array:
    """A sine [frames, 1]."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    peak = 10.0 ** ((level_db_spl - FULL_SCALE_SPL_DB) / 20.0)
    return np.asarray(peak * np.sin(2.0 * np.pi * hz * time_s + phase)[:, None])


def through(sound: Array, response: Callable[[Array], Complex]) -> Array:
    """A periodic sound through a response."""
    hz = np.fft.rfftfreq(len(sound), 1.0 / RATE_HZ)
    bins: Complex = np.fft.rfft(sound, axis=0)
    bins = bins * response(np.asarray(hz, dtype=np.float64))[:, None]
    return np.asarray(np.fft.irfft(bins, len(sound), axis=0))


def detection(first: Array, second: Array) -> float:
    """Probability that the ear model tells two sounds apart."""
    pair = EarPair(RATE_HZ, first.shape[1], FULL_SCALE_SPL_DB)
    pair.add(first, second)
    return pair.account().detection_probability or 0.0


def all_pass(hz: float, peak_ms: float) -> Callable[[Array], Complex]:
    """A second-order all-pass whose group delay peaks at a frequency.

    ``H = (w0^2 - s w0/Q + s^2) / (w0^2 + s w0/Q + s^2)``, whose delay at w0 is 4 Q / w0
    """
    omega = 2.0 * np.pi * hz
    quality = 0.25e-3 * peak_ms * omega

    def response(at_hz: Array) -> Complex:
        s = 2j * np.pi * at_hz
        even, odd = omega**2 + s * s, s * omega / quality
        return np.asarray((even - odd) / (even + odd))

    return response
