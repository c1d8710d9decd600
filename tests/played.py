"""Tones and music played through effects in memory, and what is found in them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.effects.effect import Effect
from stagefx.effects.limits.statistics import Tally
from stagefx.render.chain import Chain

Audio = NDArray[np.float64]
LEAD_FRAMES = 4096
"""Frames played before and after a steady tone, so that no end is heard."""


def blocks_of(audio: Audio, sizes: Iterable[int]) -> Iterator[Audio]:
    """A piece cut into blocks of the given sizes, the rest in one."""
    start = 0
    for size in sizes:
        if start >= len(audio):
            return
        yield audio[start : start + size]
        start += size
    yield audio[start:]


def played(
    effects: Iterable[Effect],
    audio: Audio,
    rate_hz: int,
    *,
    sizes: Iterable[int] = (),
    **options: Any,
) -> Audio:
    """A whole piece through effects."""
    with Chain(effects, rate_hz, audio.shape[1], **options) as chain:
        done = list(chain.process(blocks_of(audio, sizes)))
    return np.concatenate(done) if done else np.empty((0, audio.shape[1]))


def played_and_counted(
    effects: Iterable[Effect], audio: Audio, rate_hz: int, **options: Any
) -> tuple[Audio, Tally]:
    """The same, and what the first limiter did to the first channel."""
    with Chain(effects, rate_hz, audio.shape[1], **options) as chain:
        done = np.concatenate(list(chain.process([audio])))
        return done, chain.tallies[0][0]


def steady_tone(
    effects: Iterable[Effect],
    *,
    hz: float,
    rate_hz: int,
    frames: int,
    phase: float = 0.0,
    peak: float = 1.0,
    **options: Any,
) -> Audio:
    """A sine through effects, long after its beginning and before its end; one channel."""
    n = np.arange(-LEAD_FRAMES, frames + LEAD_FRAMES)
    tone = peak * np.sin(2.0 * np.pi * hz * n / rate_hz + phase)
    return played(effects, tone[:, None], rate_hz, **options)[LEAD_FRAMES:-LEAD_FRAMES, 0]


def lines(samples: Audio) -> NDArray[np.complex128]:
    """Sines and cosines in whole periods of samples: line k of size a is Im(a exp(i w k n))."""
    return np.asarray(2j * np.fft.rfft(samples) / samples.size)


def harmonics(samples: Audio, *, periods: int, count: int) -> NDArray[np.complex128]:
    """Harmonics 1 to count of samples that hold a whole number of periods."""
    return lines(samples)[periods * np.arange(1, count + 1)]


def in_decibels(ratio: Any) -> Any:
    """20 log10 of a magnitude."""
    with np.errstate(divide="ignore"):
        return 20.0 * np.log10(np.abs(ratio))


def band_limited(
    frames: int, channels: int, *, seed: int, upper: float = 0.45, lower: float = 0.0
) -> Audio:
    """Periodic noise between two shares of the sampling rate, all lines alike; peak 1."""
    rng = np.random.default_rng(seed)
    share = np.arange(frames // 2 + 1) / frames
    inside = (share >= lower) & (share <= upper) & (share > 0.0)
    turns = rng.uniform(0.0, 2.0 * np.pi, (channels, share.size))
    noise = np.fft.irfft(inside * np.exp(1j * turns), frames, axis=1).T
    return np.ascontiguousarray(noise / np.abs(noise).max())


def song(frames: int, channels: int, *, seed: int, rate_hz: int = 48000) -> Audio:
    """Something like music, 0.45 of the rate wide: quiet and loud stretches, hits, rests."""
    rng = np.random.default_rng(seed)
    share = np.fft.rfftfreq(frames)
    tilt = 1.0 / np.sqrt(np.maximum(share * rate_hz, 40.0)) * (share <= 0.45)
    spectrum = np.fft.rfft(rng.standard_normal((frames, channels)), axis=0)
    noise = np.fft.irfft(spectrum * tilt[:, None], frames, axis=0)
    loud = np.repeat(rng.uniform(-50.0, 0.0, frames // 4096 + 2), 4096)[:frames]
    ramp = np.hanning(513)
    gain = np.convolve(10.0 ** (loud / 20.0), ramp / ramp.sum(), mode="same")
    music = noise * gain[:, None]
    return np.ascontiguousarray(music / np.abs(music).max())
