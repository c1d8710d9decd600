"""The stage's own noise, added at its load with the spectrum of its budget."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.circuit import Circuit
from stagefx.circuit.noise import FLICKER_FROM_HZ, noise_density
from stagefx.dsp.random_numbers import bytes_at
from stagefx.effects.channel_pool import Channelwise, OneChannel
from stagefx.effects.effect import GRID_FRAMES, Setting
from stagefx.effects.kind import EffectKind, Piece, Place, Setup
from stagefx.kernels.noise import draw_lines

Array = NDArray[np.float64]
Single = NDArray[np.float32]
NAME = "noise"
_SPAN = 15 * GRID_FRAMES
"""Frames whose noise is made at once; its lines lie 1/_SPAN of the sampling rate apart."""
_JOINT = GRID_FRAMES
"""Frames over which one span goes over into the next."""
_HOP = _SPAN - _JOINT
_LINES = _SPAN // 2 + 1
_WORDS = _LINES // 2 + 1
"""Words of chance for a span: four bytes a line."""
_SPANS = 8
"""Spans made together: transforms side by side take half the time."""
_EVERY_LINE, _EACH = 512, 8
"""Lines whose density is worked out one by one, and how many lines further on it is above them."""
_DIFFERENCE_POWER = (2.0**16 - 1.0) / 6.0
"""Mean square of the difference of two even draws from 0 to 255."""


@dataclass(frozen=True)
class Noise:
    """Noise of a given density, the same for a frame whatever the block."""

    density: Callable[[Array], Array] = field(repr=False)
    seed: int = 0
    name: ClassVar[str] = NAME
    gain: ClassVar[float] = 1.0
    settings: ClassVar[tuple[Setting, ...]] = ()

    @property
    def is_silent(self) -> bool:
        """Whether there is none."""
        return not np.any(self.density(np.geomspace(20.0, 20e3, 31)))

    def runners(
        self, rate_hz: int, *, unit_v: float = 1.0, late_frames: int = 0
    ) -> Callable[[int], OneChannel]:
        """What makes the runner of one channel."""
        amplitude = self._amplitude(rate_hz) / abs(unit_v)
        return lambda channel: _NoiseRunner(amplitude, f"{NAME}, {channel}", self.seed, late_frames)

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> Channelwise:
        """A running copy."""
        return Channelwise([self.runners(rate_hz, unit_v=unit_v)], channels)

    def _amplitude(self, rate_hz: int) -> Array:
        """What the draws of each line are multiplied by, so that the noise has the density."""
        line = np.arange(float(_LINES))
        line[0] = 0.5
        known = np.append(line[:_EVERY_LINE], np.arange(_EVERY_LINE, _LINES, _EACH))
        density = np.interp(line, known, self.density(known * (rate_hz / _SPAN)))
        # Of white noise of variance s, each of a line's two parts has the variance s _SPAN / 2.
        power = density * (rate_hz / 2.0) * (_SPAN / 2.0)
        power[[0, -1]] *= 2.0  # these have a cosine alone
        return np.asarray(np.sqrt(power / _DIFFERENCE_POWER))


class _NoiseRunner:
    """Adds noise to one channel; a frame's noise depends on its number alone.

    The noise is made a span at a time, each span's spectrum from its own chance.  It goes over
    into the next span's along a sine and a cosine, which keeps its power.  A sample is the sum of
    thousands of lines, and so normal although no line's draws are.  It is made in single
    precision, whose rounding lies 140 dB below the noise.
    """

    delay_frames = 0

    def __init__(self, amplitude: Array, stream: str, seed: int, late_frames: int) -> None:
        self._amplitude = amplitude
        self._stream = stream
        self._seed = seed
        self._late = late_frames
        self._fade_in = np.sin(0.5 * np.pi * (np.arange(_JOINT) + 0.5) / _JOINT)
        self._fade_out = self._fade_in[::-1].copy()
        self.rewind()

    def rewind(self) -> None:
        self._made = 0
        self._leaving = np.zeros(_JOINT)
        self._spans: Iterator[Single] = iter(())
        self._ready: Array | Single = np.zeros(self._late)

    def _next_span(self) -> Single:
        span = next(self._spans, None)
        if span is None:
            fresh = self._fresh_spans()
            # The very first only gives the second something to come from.
            self._spans = iter(fresh if self._made > _SPANS else fresh[1:])
            span = next(self._spans)
        return span

    def _fresh_spans(self) -> Single:
        draws = bytes_at(
            self._seed,
            self._stream,
            first_word=self._made * _WORDS,
            words=_SPANS * _WORDS,
        ).reshape(_SPANS, -1)
        spectra = np.empty((_SPANS, _LINES), dtype=np.complex64)
        for row, spectrum in zip(draws, spectra, strict=True):
            draw_lines(row, self._amplitude, spectrum.view(np.float32))
        spans = np.fft.irfft(spectra, _SPAN)
        leaving = spans[:, _HOP:] * self._fade_out
        spans[:, :_JOINT] *= self._fade_in
        spans[0, :_JOINT] += self._leaving
        spans[1:, :_JOINT] += leaving[:-1]
        self._leaving = leaving[-1]
        self._made += _SPANS
        return np.asarray(spans[:, :_HOP])

    def through(self, samples: Array) -> Array:
        result = np.empty_like(samples)
        done = 0
        while done < samples.size:
            if not self._ready.size:
                self._ready = self._next_span()
            stop = min(done + self._ready.size, samples.size)
            used = stop - done
            np.add(samples[done:stop], self._ready[:used], out=result[done:stop])
            self._ready, done = self._ready[used:], stop
        return result


def stage_noise(circuit: Circuit, *, seed: int = 0) -> Noise:
    """The noise of a stage at its load, with the spectrum of its budget."""

    def density(hz: Array) -> Array:
        found = noise_density(circuit, hz)
        total = sum((psd[0] for psd in found.white.values()), start=np.zeros(hz.size))
        for psd in found.flicker.values():
            total = total + np.where(hz >= FLICKER_FROM_HZ, psd[0], 0.0)
        return np.asarray(total)

    return Noise(density, seed)


def _pieces(setup: Setup) -> Iterator[Piece]:
    hiss = stage_noise(setup.circuit, seed=setup.seed)
    if not hiss.is_silent:
        yield Place.LOAD, hiss


EFFECT = EffectKind(NAME, "the stage's own noise", (), lambda _stage: True, _pieces)
