"""The stage's own noise, added at its load with the spectrum of its budget."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from stagefx.audio.chance import grid_generator
from stagefx.effects.channelwise import Channelwise, OneChannel
from stagefx.effects.effect import GRID_FRAMES, Setting
from stagefx.effects.kind import EffectKind, Piece, Place, Setup
from stagefx.stage.circuit import Circuit
from stagefx.stage.noise import FLICKER_FROM_HZ, noise_density

Array = NDArray[np.float64]
NAME = "noise"
_RUN_FRAMES = 15 * GRID_FRAMES
"""Frames whose noise is made at once."""
_SHORT, _LONG = GRID_FRAMES, _RUN_FRAMES
"""Taps that colour noise: few, or many where most of the noise lies in the lowest octaves."""
_AUDIBLE_HZ = 20e3
_CLOSE = 0.01
"""Share of the audible power by which few taps may be wrong."""


@dataclass(frozen=True)
class Noise:
    """Noise of a given density, the same for a frame whatever the block.

    Parameters
    ----------
    density : callable
        From Hz, > 0, to V²/Hz at the load, shape kept.
    seed : int
        Chooses the noise.
    """

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
        """What makes the runner of one channel.

        Parameters
        ----------
        rate_hz : int
            Sampling rate.
        unit_v : float, V
            What a sample of 1.0 means.
        late_frames : int
            How late the music comes; there is no noise before its frame 0.

        Returns
        -------
        callable
            Makes a runner from the channel's number; each channel gets its own noise.
        """
        taps = self._colour(rate_hz) / abs(unit_v)
        return lambda channel: _NoiseRunner(taps, f"{NAME}, {channel}", self.seed, late_frames)

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> Channelwise:
        """A running copy.

        Parameters
        ----------
        rate_hz : int
            Sampling rate.
        channels : int
            Channels of every block; each gets its own noise.
        unit_v : float, V
            What a sample of 1.0 means.

        Returns
        -------
        Channelwise
            At the first block.
        """
        return Channelwise([self.runners(rate_hz, unit_v=unit_v)], channels)

    def _colour(self, rate_hz: int) -> Array:
        """Impulse response that colours white noise of variance 1."""
        few, many = (self._taps(rate_hz, count) for count in (_SHORT, _LONG))
        audible = np.arange(_LONG // 2 + 1) * rate_hz <= _AUDIBLE_HZ * _LONG
        found, wanted = (
            np.square(np.abs(np.fft.rfft(taps, _LONG)[audible])).sum() for taps in (few, many)
        )
        return few if abs(found / wanted - 1.0) < _CLOSE else many

    def _taps(self, rate_hz: int, count: int) -> Array:
        hz = np.arange(count // 2 + 1) * (rate_hz / count)
        hz[0] = 0.5 * hz[1]
        amplitude = np.sqrt(self.density(np.asarray(hz)) * rate_hz / 2.0)
        impulse = np.roll(np.fft.irfft(amplitude), count // 2)
        return impulse * (0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(count) / count))


class _NoiseRunner:
    """Adds noise to one channel; a frame's noise depends on its number alone.

    The noise is made for a run of grid steps at a time, each run from its own chance and the end
    of the white noise before it.
    """

    delay_frames = 0

    def __init__(self, taps: Array, stream: str, seed: int, late_frames: int) -> None:
        self._count = taps.size
        self._span = _RUN_FRAMES + taps.size
        self._shape = np.fft.rfft(taps, self._span)
        self._stream = stream
        self._seed = seed
        self._late = late_frames
        self.rewind()

    def rewind(self) -> None:
        self._next_run = 0
        self._tail = np.zeros(self._count)
        self._made()  # the first run only gives the second its past
        self._ready = np.zeros(self._late)

    def _made(self) -> Array:
        first_step = self._next_run * (_RUN_FRAMES // GRID_FRAMES)
        generator = grid_generator(self._seed, self._stream, first_step)
        white = generator.standard_normal(_RUN_FRAMES)
        span = np.concatenate((self._tail, white))
        self._tail, self._next_run = white[-self._count :], self._next_run + 1
        return np.fft.irfft(np.fft.rfft(span) * self._shape, self._span)[self._count :]

    def through(self, samples: Array) -> Array:
        runs = [self._ready]
        held = self._ready.size
        while held < samples.size:
            runs.append(self._made())
            held += runs[-1].size
        line = runs[0] if len(runs) == 1 else np.concatenate(runs)
        self._ready = line[samples.size :]
        return np.asarray(samples + line[: samples.size])


def stage_noise(circuit: Circuit, *, seed: int = 0) -> Noise:
    """The noise of a stage at its load, with the spectrum of its budget.

    Parameters
    ----------
    circuit : Circuit
        One draw.
    seed : int
        Chooses the noise.

    Returns
    -------
    Noise
        White and 1/f parts of every contributor, each through its own gain.

    Examples
    --------
    >>> from stagefx.stage import load_stage, nominal
    >>> noise = stage_noise(nominal(load_stage("line-stage")))
    >>> round(float(np.sqrt(noise.density(np.array([1e3]))[0])) * 1e9)
    35
    """

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
