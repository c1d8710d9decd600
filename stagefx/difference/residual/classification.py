"""Distortion told from noise: what comes again when the same is played again, and what does not."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.difference.decomposition import Difference
from stagefx.difference.nulls import decibels
from stagefx.difference.residual.nonlinear_signal import remainder_blocks
from stagefx.dsp.bands import band_edges_hz, third_octaves_hz
from stagefx.dsp.spectra import PairMeter
from stagefx.errors import ComparisonError
from stagefx.io.recording import Recording

Array = NDArray[np.float64]

_SEGMENT_S = 0.18
_SINE = 0.5
_LOWEST_HZ, _HIGHEST_HZ = 20.0, 20000.0


@dataclass(frozen=True)
class RemainderParts:
    """A remainder taken apart by playing the same again."""

    hz: tuple[float, ...]
    distortion_dbfs: tuple[float, ...]
    noise_dbfs: tuple[float, ...]
    distortion_db: float
    noise_db: float
    distortion_floor_db: float

    def as_json(self) -> dict[str, Any]:
        """The parts as plain values."""
        bands = zip(self.hz, self.distortion_dbfs, self.noise_dbfs, strict=True)
        return {
            "distortion_db": _plain(self.distortion_db),
            "noise_db": _plain(self.noise_db),
            "distortion_floor_db": _plain(self.distortion_floor_db),
            "bands": [
                {"hz": hz, "distortion_dbfs": _plain(one), "noise_dbfs": _plain(other)}
                for hz, one, other in bands
            ],
        }


def _plain(value: float) -> float | None:
    return value if math.isfinite(value) else None


def told_apart(
    first: Recording,
    second: Recording,
    again: Recording,
    difference: Difference,
    difference_again: Difference,
) -> RemainderParts:
    """Tell distortion from noise by playing the second version again.

    ``distortion = Re Σ R1* R2``, ``noise = Σ (|R1|² + |R2|²) / 2 - distortion``

    J. S. Bendat, A. G. Piersol, "Random Data", Wiley: what two records have in common by their
    cross spectrum.
    """
    start = max(difference.start, difference_again.start)
    stop = min(difference.stop, difference_again.stop)
    made = first.format
    frames = int(2 ** round(math.log2(_SEGMENT_S * made.rate_hz)))
    if stop - start < frames:
        raise ComparisonError(
            f"{second.place} and {again.place} have less than {_SEGMENT_S:g} s in common; "
            "give longer recordings"
        )
    meter = PairMeter(made.rate_hz, made.channels, frames)
    music = 0.0
    one = _Stream(first, second, difference, start)
    other = _Stream(first, again, difference_again, start)
    for here in range(start, stop, 1 << 16):
        count = min(1 << 16, stop - here)
        (played, left), (_, left_again) = one.take(count), other.take(count)
        music += float(np.square(played).sum())
        meter.add(left, left_again)
    return _parts(meter, music / ((stop - start) * made.channels))


class _Stream:
    """Remainder blocks given out in any lengths."""

    def __init__(self, first: Recording, second: Recording, found: Difference, start: int) -> None:
        self._blocks = remainder_blocks(first, second, found)
        channels = first.format.channels
        self._held = (np.zeros((0, channels)), np.zeros((0, channels)))
        self.take(start - found.start)

    def take(self, count: int) -> tuple[Array, Array]:
        while len(self._held[0]) < count:
            fresh = next(self._blocks)
            self._held = (
                np.concatenate([self._held[0], fresh[0]]),
                np.concatenate([self._held[1], fresh[1]]),
            )
        taken = (self._held[0][:count], self._held[1][:count])
        self._held = (self._held[0][count:], self._held[1][count:])
        return taken


def _parts(meter: PairMeter, music: float) -> RemainderParts:
    spectra = meter.spectra()
    scale = 1.0 / spectra.noise_power(1.0) / (spectra.segment_frames / 2.0)
    both = scale * ((spectra.first + spectra.second) / 2.0).mean(axis=0)
    common = scale * spectra.cross.real.mean(axis=0)
    bands = []
    for middle in third_octaves_hz().tolist():
        low, high = band_edges_hz(middle)
        inside = (spectra.hz >= low) & (spectra.hz < high)
        again = max(float(common[inside].sum()), 0.0)
        bands.append((again, max(float(both[inside].sum()) - again, 0.0)))
    heard = (spectra.hz >= _LOWEST_HZ) & (spectra.hz <= _HIGHEST_HZ)
    again = float(common[heard].sum())
    noise = max(float(both[heard].sum()) - again, 0.0)
    # products of unlike noises average out no further than this
    chance = 2.0 * noise / math.sqrt(max(2.0 * float(heard.sum()) * spectra.segments / 3.0, 1.0))
    return RemainderParts(
        hz=tuple(third_octaves_hz().tolist()),
        distortion_dbfs=tuple(decibels(one, _SINE) for one, _ in bands),
        noise_dbfs=tuple(decibels(other, _SINE) for _, other in bands),
        distortion_db=decibels(max(again, 0.0), music),
        noise_db=decibels(noise, music),
        distortion_floor_db=decibels(chance, music),
    )
