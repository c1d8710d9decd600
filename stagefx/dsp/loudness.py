"""Programme loudness by ITU-R BS.1770, streaming; momentary and short-term by EBU Tech 3341."""

from __future__ import annotations

from array import array
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.dsp.blocks import as_block
from stagefx.dsp.weighting import k_weighting

OFFSET_DB = -0.691
"""BS.1770-5, equation (2): takes off what the K weighting adds at 997 Hz."""
ABSOLUTE_GATE_LUFS = -70.0
RELATIVE_GATE_LU = -10.0
HOPS_PER_SECOND = 10
"""A reading every 100 ms: blocks of 400 ms overlap by 75 %."""
MOMENTARY_HOPS = 4
SHORT_TERM_HOPS = 30
STEPS_PER_HOP = 10
"""The maximum of the momentary loudness is looked for every 10 ms."""

SURROUND_WEIGHT = 1.41
CHANNEL_WEIGHTS = MappingProxyType(
    {
        5: (1.0, 1.0, 1.0, SURROUND_WEIGHT, SURROUND_WEIGHT),  # L R C Ls Rs
        6: (1.0, 1.0, 1.0, 0.0, SURROUND_WEIGHT, SURROUND_WEIGHT),  # L R C LFE Ls Rs
    }
)
"""BS.1770-5, Table 3, for the layouts that have surrounds; every other channel counts 1."""

_STEPS_PER_SECOND = HOPS_PER_SECOND * STEPS_PER_HOP
_MOMENTARY_STEPS = MOMENTARY_HOPS * STEPS_PER_HOP


def to_lufs(power: ArrayLike) -> NDArray[np.float64]:
    """The loudness of a K-weighted mean square, channels weighted and summed.

    ``L = -0.691 + 10 log10( Σ G z )``
    """
    with np.errstate(divide="ignore"):
        loudness: NDArray[np.float64] = OFFSET_DB + 10.0 * np.log10(np.asarray(power, np.float64))
    return loudness


def sliding_power(
    energies: NDArray[np.float64], *, first: int, length: int, rate_hz: int, per_second: int
) -> NDArray[np.float64]:
    """The mean square over every window of some steps of time."""
    windows = max(len(energies) - length + 1, 0)
    total = np.zeros(windows)
    # Added afresh for each window, so that no error piles up: runs of 1, 2, 4 ... steps.
    run, added, steps = energies, 0, 1
    while windows:
        if length & steps:
            total += run[added : added + windows]
            added += steps
        if added == length:
            break
        run = run[: len(run) - steps] + run[steps:]
        steps *= 2
    # Where a step is no whole number of frames, steps differ by one frame.
    edges = (first + np.arange(windows + length)) * rate_hz // per_second
    power: NDArray[np.float64] = total / (edges[length:] - edges[:windows])
    return power


class LoudnessMeter:
    """A meter that audio is passed through, block by block.

    The readings are the same bit for bit however the audio is cut into blocks.  Only one number
    is kept for every 100 ms.  An incomplete block at the end is not used.

    ITU-R BS.1770-5, annex 1: weighting, channel weights, both gates.
    EBU Tech 3341: momentary (0.4 s) and short-term (3 s) loudness, ungated.
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        self._rate_hz = rate_hz
        self._channels = channels
        self._sections = np.array(k_weighting(rate_hz))
        self._weights = np.array(CHANNEL_WEIGHTS.get(channels, (1.0,) * channels))
        self._state = np.zeros((channels, 5))
        self._frame = 0
        self._steps = 0
        self._recent_steps = np.empty(0)
        self._hop_energies = array("d")
        self._highest_momentary = 0.0

    @property
    def frames(self) -> int:
        """How many frames have been passed through."""
        return self._frame

    def add(self, block: ArrayLike) -> None:
        """Pass the next stretch of audio through the meter."""
        from stagefx.kernels.filters.loudness import weighted_energy

        block = as_block(block, channels=self._channels)
        room = len(block) * _STEPS_PER_SECOND // self._rate_hz + 1
        energy = np.empty((self._channels, room))
        steps = weighted_energy(
            block,
            self._frame,
            self._rate_hz,
            _STEPS_PER_SECOND,
            self._sections,
            self._state,
            energy,
        )
        self._frame += len(block)
        # Summed channel by channel, not by a matrix product, whose order of sums may vary.
        weighted = sum(
            weight * row[:steps] for weight, row in zip(self._weights, energy, strict=True)
        )
        self._take_steps(np.asarray(weighted))

    def _take_steps(self, energies: NDArray[np.float64]) -> None:
        known = np.concatenate([self._recent_steps, energies])
        first = self._steps - len(self._recent_steps)
        self._steps += len(energies)
        power = sliding_power(
            known,
            first=first,
            length=_MOMENTARY_STEPS,
            rate_hz=self._rate_hz,
            per_second=_STEPS_PER_SECOND,
        )
        self._highest_momentary = max(self._highest_momentary, float(power.max(initial=0.0)))
        for hop in range(len(self._hop_energies), self._steps // STEPS_PER_HOP):
            begin = hop * STEPS_PER_HOP - first
            self._hop_energies.append(float(known[begin : begin + STEPS_PER_HOP].sum()))
        self._recent_steps = known[-(_MOMENTARY_STEPS - 1) :]

    def _power(self, hops: int) -> NDArray[np.float64]:
        return sliding_power(
            np.array(self._hop_energies),
            first=0,
            length=hops,
            rate_hz=self._rate_hz,
            per_second=HOPS_PER_SECOND,
        )

    @property
    def momentary_lufs(self) -> NDArray[np.float64]:
        """Loudness of the last 0.4 s, ungated, every 100 ms from 0.4 s onwards."""
        return to_lufs(self._power(MOMENTARY_HOPS))

    @property
    def short_term_lufs(self) -> NDArray[np.float64]:
        """Loudness of the last 3 s, ungated, every 100 ms from 3 s onwards."""
        return to_lufs(self._power(SHORT_TERM_HOPS))

    @property
    def maximum_momentary_lufs(self) -> float:
        """The loudest 0.4 s, looked for every 10 ms; minus infinity for less than 0.4 s."""
        return float(to_lufs(self._highest_momentary))

    @property
    def gated_blocks(self) -> NDArray[np.bool_]:
        """Which blocks of 0.4 s, one every 100 ms, pass the absolute and the relative gate."""
        power = self._power(MOMENTARY_HOPS)
        loudness = to_lufs(power)
        passes: NDArray[np.bool_] = loudness > ABSOLUTE_GATE_LUFS
        if passes.any():
            gate_lufs = to_lufs(power[passes].mean()) + RELATIVE_GATE_LU
            passes &= loudness > gate_lufs
        return passes

    @property
    def integrated_lufs(self) -> float:
        """Loudness of the programme, gated; minus infinity where no block passes the gates."""
        passes = self.gated_blocks
        if not passes.any():
            return float("-inf")
        return float(to_lufs(self._power(MOMENTARY_HOPS)[passes].mean()))


def integrated_loudness(samples: ArrayLike, *, rate_hz: int) -> float:
    """Programme loudness of a whole piece in memory.

    Parameters
    ----------
    samples : array-like [frames, channels], full scale 1.0
        Audio.
    rate_hz : int, Hz, 8000 to 384000
        Sampling rate.

    Returns
    -------
    float, LUFS
        Loudness by BS.1770; minus infinity for silence and for less than 0.4 s.

    Raises
    ------
    AudioError
        The array has not the shape (frames, channels).

    Examples
    --------
    >>> tone = 0.1 * np.sin(2 * np.pi * 997.0 * np.arange(48000) / 48000)
    >>> round(integrated_loudness(np.stack([tone, tone], axis=1), rate_hz=48000), 2)
    -20.0
    """
    block = as_block(samples)
    meter = LoudnessMeter(rate_hz, block.shape[1])
    meter.add(block)
    return meter.integrated_lufs
