"""Noise, filters and envelopes: the raw material of every instrument.

Nothing here feeds its output back into its input. A recirculating filter would carry one
machine's rounding into all later samples; a closed form or one FFT leaves it at 1e-15, so that
the pieces come out the same everywhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
"""Mono [frames] or stereo [frames, 2], full scale 1.0."""

Response = Callable[[Samples], NDArray[np.complex128]]
"""A filter: frequencies in hertz to complex gains."""

RATE_HZ = 44_100


def frames_in(seconds: float) -> int:
    """Nearest whole number of frames in a time."""
    return round(seconds * RATE_HZ)


def times_s(frames: int) -> Samples:
    """Time of every frame, from 0."""
    return np.arange(frames) / RATE_HZ


def ratio(level_db: float) -> float:
    """Amplitude ratio of a level in decibels."""
    return float(10.0 ** (level_db / 20.0))


def uniform(seed: int, count: int) -> Samples:
    """Evenly spread numbers from 0 up to 1.

    Built on the bit generator's raw words, whose stream NumPy promises never to change.
    """
    words: NDArray[np.uint64] = np.random.PCG64(seed).random_raw(count)
    return np.asarray((words >> np.uint64(11)) * 2.0**-53, dtype=np.float64)


def white(seed: int, frames: int) -> Samples:
    """White noise of rms 1."""
    return (2.0 * uniform(seed, frames) - 1.0) * math.sqrt(3.0)


def fft_length(frames: int) -> int:
    """A length of at least `frames` that an FFT does quickly: 2, 3 or 5 times a power of two."""
    power = 1 << (frames - 1).bit_length()
    return min(n for n in (power * 5 // 8, power * 3 // 4, power) if n >= frames)


def bins_hz(length: int) -> Samples:
    """Frequencies of the bins of a real FFT."""
    return np.arange(length // 2 + 1, dtype=np.float64) * (RATE_HZ / length)


def filtered(samples: Samples, response: Response, *, tail_s: float = 0.1) -> Samples:
    """Sound through a filter, longer by the time that the filter takes to ring out."""
    frames = len(samples) + frames_in(tail_s)
    length = fft_length(frames)
    gains = response(bins_hz(length))
    spectrum = np.fft.rfft(samples, length, axis=0)
    shaped = spectrum * gains.reshape(-1, *[1] * (samples.ndim - 1))
    return np.fft.irfft(shaped, length, axis=0)[:frames]


def convolved(samples: Samples, impulse: Samples) -> Samples:
    """Sound through an impulse response, channel by channel."""
    frames = len(samples) + len(impulse) - 1
    length = fft_length(frames)
    spectrum = np.fft.rfft(samples, length, axis=0) * np.fft.rfft(impulse, length, axis=0)
    return np.fft.irfft(spectrum, length, axis=0)[:frames]


def resonant(resonances: Iterable[tuple[float, float, float]], *, direct: float = 1.0) -> Response:
    """A body that adds its resonances to the direct sound.

    Each resonance is (hertz, quality factor, gain at its peak).
    """
    modes = tuple(resonances)

    def response(hz: Samples) -> NDArray[np.complex128]:
        safe_hz = np.maximum(hz, 1e-3)
        gains = np.full(hz.shape, direct, dtype=np.complex128)
        for mode_hz, quality, gain in modes:
            gains += gain / (1.0 + 1j * quality * (safe_hz / mode_hz - mode_hz / safe_hz))
        return gains

    return response


def between(low_hz: float, high_hz: float, *, order: int = 2) -> Response:
    """A band with slopes of `order` times 6 dB an octave on either side, minimum-phase."""

    def response(hz: Samples) -> NDArray[np.complex128]:
        rise = 1j * hz / low_hz
        gains = (rise / (1.0 + rise) / (1.0 + 1j * hz / high_hz)) ** order
        return np.asarray(gains, dtype=np.complex128)

    return response


def smoothed(curve: Samples, frames: int) -> Samples:
    """A curve with its corners rounded by a raised-cosine window of `frames`."""
    window = np.hanning(frames + 2)[1:-1]
    padded = np.pad(curve, (frames // 2, frames - 1 - frames // 2), mode="edge")
    return np.convolve(padded, window / window.sum(), mode="valid")


def faded(samples: Samples, *, in_s: float = 0.0, out_s: float = 0.0) -> Samples:
    """Sound that starts from and ends at nothing, by raised-cosine ramps."""
    gain = np.ones(len(samples))
    rise, fall = frames_in(in_s), frames_in(out_s)
    if rise:
        gain[:rise] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(rise) / rise)
    if fall:
        gain[-fall:] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(1, fall + 1) / fall)
    return samples * gain.reshape(-1, *[1] * (samples.ndim - 1))
