"""The stage's own noise, added at its load with the spectrum of its budget."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from stagefx.audio.chance import grid_generator
from stagefx.effects.effect import GRID_FRAMES, Setting
from stagefx.effects.kind import EffectKind, Piece, Place, Setup
from stagefx.stage.circuit import Circuit
from stagefx.stage.noise import FLICKER_FROM_HZ, noise_density

Array = NDArray[np.float64]
NAME = "noise"
_SPAN = 2 * GRID_FRAMES
_RUN = 16
"""Grid blocks whose white noise is drawn at once."""


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

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> NoiseRunner:
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
        NoiseRunner
            At the first block.
        """
        return NoiseRunner(self._shape(rate_hz) / abs(unit_v), channels, self.seed)

    def _shape(self, rate_hz: int) -> NDArray[np.complex128]:
        """Spectrum of the impulse response that colours white noise of variance 1."""
        hz = np.arange(GRID_FRAMES // 2 + 1) * (rate_hz / GRID_FRAMES)
        hz[0] = 0.5 * hz[1]
        amplitude = np.sqrt(self.density(np.asarray(hz)) * rate_hz / 2.0)
        impulse = np.roll(np.fft.irfft(amplitude), GRID_FRAMES // 2)
        window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(GRID_FRAMES) / GRID_FRAMES)
        return np.fft.rfft(impulse * window, _SPAN)


class NoiseRunner:
    """Adds noise to blocks; a frame's noise depends on its number alone.

    Parameters
    ----------
    shape : complex array [GRID_FRAMES + 1]
        Spectrum of the colouring impulse response.
    channels : int
        Channels of every block.
    seed : int
        Chooses the noise.
    """

    delay_frames = 0

    def __init__(self, shape: NDArray[np.complex128], channels: int, seed: int) -> None:
        self._shape = shape
        self._channels = channels
        self._seed = seed
        self._late = 0
        self.rewind()

    def start_at(self, frame: int) -> None:
        """Say which frame of the music the first block starts at.

        Parameters
        ----------
        frame : int, <= 0
            Below zero where what stands before is late; there is no noise before frame 0.
        """
        self._late = -frame
        self.rewind()

    def rewind(self) -> None:
        """The next block is the first."""
        self._next = 0
        self._waiting = np.zeros((self._late, self._channels))
        self._drawn: tuple[int, Array] = (-1, np.zeros((self._channels, 0, 0)))
        self._before = self._white(-1, 1)

    def _white(self, first: int, blocks: int) -> Array:
        """White noise of variance 1 for some grid blocks; shape (channels, blocks, GRID_FRAMES).

        It is drawn for a run of blocks at a time.  The block before the first has its own, so
        that no frame lacks its past.
        """
        found = []
        for block in range(first + 1, first + 1 + blocks):
            run, position = divmod(block, _RUN)
            if self._drawn[0] != run:
                drawn = grid_generator(self._seed, NAME, run * _RUN)
                self._drawn = run, drawn.standard_normal((self._channels, _RUN, GRID_FRAMES))
            found.append(self._drawn[1][:, position])
        return np.stack(found, axis=1)

    def through(self, block: Array) -> Array:
        """Add noise to the next block.

        Parameters
        ----------
        block : array [n GRID_FRAMES, channels]
            Volts over the unit.

        Returns
        -------
        array [n GRID_FRAMES, channels]
            With noise.
        """
        blocks = block.shape[0] // GRID_FRAMES
        white = np.concatenate((self._before, self._white(self._next, blocks)), axis=1)
        self._before, self._next = white[:, -1:], self._next + blocks
        spans = np.concatenate((white[:, :-1], white[:, 1:]), axis=2)
        coloured = np.fft.irfft(np.fft.rfft(spans) * self._shape, _SPAN)[:, :, GRID_FRAMES:]
        line = np.concatenate((self._waiting, coloured.reshape(self._channels, -1).T))
        self._waiting = line[block.shape[0] :]
        return np.asarray(block + line[: block.shape[0]])


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
