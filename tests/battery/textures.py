"""Four textures that music does not always hold, made from fixed seeds: float, stereo, 44.1 kHz."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Audio = NDArray[np.float64]

RATE_HZ = 44_100
PEAK = 0.8


def _times(seconds: float) -> Audio:
    return np.arange(round(seconds * RATE_HZ)) / RATE_HZ


def _peaked(audio: Audio) -> Audio:
    return PEAK * audio / np.abs(audio).max()


def _note(times: Audio, at_s: float, hz: float, decay_s: float, *, partials: int = 8) -> Audio:
    """A struck string's partials, the higher ones weaker and sooner gone."""
    since = np.maximum(times - at_s, 0.0)
    rise = np.where(times >= at_s, 1.0 - np.exp(-since / 0.004), 0.0)
    number = np.arange(1, partials + 1)
    number = number[number * hz < 0.4 * RATE_HZ]
    return sum(
        rise * np.exp(-since * n**0.5 / decay_s) * np.sin(2.0 * np.pi * n * hz * since) / n**1.4
        for n in number
    )


def _shaped(random: np.random.Generator, frames: int, low_hz: float, high_hz: float) -> Audio:
    """Noise that falls by 3 dB an octave between two soft corners."""
    hz = np.fft.rfftfreq(frames, 1.0 / RATE_HZ)
    shape = 1.0 / np.sqrt(np.maximum(hz, low_hz))
    shape *= 1.0 / np.sqrt(
        (1.0 + (low_hz / np.maximum(hz, 1.0)) ** 4) * (1.0 + (hz / high_hz) ** 8)
    )
    return np.fft.irfft(np.fft.rfft(random.standard_normal(frames)) * shape, frames)


def solo(seconds: float) -> Audio:
    """One instrument, four long notes, a little to the left: pitch, and nothing that hides."""
    times = _times(seconds)
    notes = [(0.1, 220.0), (2.6, 277.18), (5.1, 329.63), (7.6, 246.94)]
    tone = sum(_note(times, at_s, hz, 2.5) for at_s, hz in notes)
    return _peaked(np.column_stack([tone, 0.7 * tone]))


def sparse(seconds: float) -> Audio:
    """Short bursts of noise with true silence between them: rhythm without pitch."""
    random, times = np.random.default_rng(20), _times(seconds)
    frames, result = round(0.35 * RATE_HZ), np.zeros((len(times), 2))
    since = np.arange(frames) / RATE_HZ
    close = np.minimum(1.0, (since[-1] - since) / 0.05)
    for number, at_s in enumerate(np.arange(0.3, seconds - 0.45, 0.75)):
        decay_s, pan = (0.03, 0.05)[number % 2], 0.25 * np.pi * (1.0 + 0.5 * (number % 3 - 1))
        burst = _shaped(random, frames, (60.0, 400.0)[number % 2], 12_000.0)
        burst *= close * (1.0 - np.exp(-since / 0.001)) * np.exp(-since / decay_s)
        start = round(at_s * RATE_HZ)
        result[start : start + frames] += np.outer(
            burst / np.abs(burst).max(), [np.cos(pan), np.sin(pan)]
        )
    return _peaked(result)


def wash(seconds: float) -> Audio:
    """Noise that swells slowly, unrelated in both channels: no pitch, no rhythm, hides much."""
    random, times = np.random.default_rng(30), _times(seconds)
    swell = 1.0 + 0.4 * np.sin(2.0 * np.pi * 0.3 * times) + 0.2 * np.sin(2.0 * np.pi * 0.71 * times)
    noise = [_shaped(random, len(times), 50.0, 13_000.0) * swell for _ in range(2)]
    return _peaked(np.column_stack(noise))


def shared(seconds: float) -> Audio:
    """A centre and sources panned by level, so that one source sounds in both channels."""
    random, times = np.random.default_rng(40), _times(seconds)
    result = np.zeros((len(times), 2))
    scale = np.array([0, 2, 4, 7, 9, 12])
    for at_s in np.arange(0.05, seconds, 0.5):
        hz = 110.0 * 2.0 ** (random.choice(scale) / 12.0)
        result += np.outer(_note(times, at_s, hz, 0.5, partials=20), [1.0, 1.0])
    for at_s in np.arange(0.3, seconds, 0.75):
        hz, left = 330.0 * 2.0 ** (random.choice(scale) / 12.0), random.choice([0.35, 0.94])
        tone = _note(times, at_s, hz, 0.7, partials=16)
        result += 0.6 * np.outer(tone, [left, np.sqrt(1.0 - left**2)])
    brush = _shaped(random, len(times), 2_000.0, 14_000.0)
    brush = brush / brush.std() * (0.02 + 0.06 * np.exp(-((times % 0.25) / 0.05)))
    result += np.outer(brush, [0.8, 0.6])
    room = signal.fftconvolve(
        result[:, :1].repeat(2, axis=1),
        random.standard_normal((round(0.3 * RATE_HZ), 2))
        * np.exp(-np.arange(round(0.3 * RATE_HZ)) / (0.06 * RATE_HZ))[:, None] / 300.0,
        axes=0,
    )  # fmt: skip
    return _peaked(result + room[: len(result)])
