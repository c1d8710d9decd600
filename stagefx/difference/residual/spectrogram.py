"""Where the remainder lies in time and in frequency, and its worst moments."""

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
from stagefx.io.recording import Recording

Array = NDArray[np.float64]

SLOT_S = 0.5
MOST_SLOTS = 1024
"""Of a long piece neighbours are joined, so that memory stays bounded."""
_SINE = 0.5
"""Mean square of a full-scale sine."""
_MOMENTS = 5


@dataclass(frozen=True)
class Moment:
    """A moment at which much is left over."""

    at_s: float
    remainder_dbfs: float
    under_music_db: float
    hz: float


@dataclass(frozen=True)
class RemainderPicture:
    """The remainder by third octaves and slots of time."""

    hz: Array
    start_s: Array
    slot_s: float
    remainder_dbfs: Array
    first_dbfs: Array
    music_dbfs: float
    worst: tuple[Moment, ...]

    @property
    def under_music_db(self) -> Array:
        """The remainder re the level of the whole music, dB."""
        return self.remainder_dbfs - self.music_dbfs

    def as_json(self) -> dict[str, Any]:
        """The picture as plain values."""
        return {
            "hz": self.hz.tolist(),
            "start_s": self.start_s.tolist(),
            "slot_s": self.slot_s,
            "music_dbfs": _plain(self.music_dbfs),
            "remainder_dbfs": [[_plain(x) for x in row] for row in self.remainder_dbfs.tolist()],
            "first_dbfs": [[_plain(x) for x in row] for row in self.first_dbfs.tolist()],
            "worst": [
                {name: _plain(value) for name, value in vars(each).items()} for each in self.worst
            ],
        }


def _plain(value: float) -> float | None:
    return value if math.isfinite(value) else None


def remainder_picture(
    first: Recording, second: Recording, difference: Difference
) -> RemainderPicture:
    """Draw up where the remainder lies in time and in frequency."""
    made = first.format
    slots = _Slots(made.rate_hz, made.channels)
    for played, left in remainder_blocks(first, second, difference):
        slots.add(played, left)
    powers = slots.powers()
    begin_s = difference.start / made.rate_hz
    start_s = np.asarray(begin_s + slots.slot_s * np.arange(powers.shape[2]), np.float64)
    with np.errstate(divide="ignore"):
        levels = 10.0 * np.log10(powers / _SINE)
    return RemainderPicture(
        hz=third_octaves_hz(),
        start_s=start_s,
        slot_s=slots.slot_s,
        remainder_dbfs=levels[1],
        first_dbfs=levels[0],
        music_dbfs=difference.first_dbfs,
        worst=_worst(powers, start_s),
    )


def _worst(powers: Array, start_s: Array) -> tuple[Moment, ...]:
    music, left = powers.sum(axis=1)
    bands = third_octaves_hz()
    found: list[int] = []
    for slot in np.argsort(-left, kind="stable").tolist():
        if len(found) == _MOMENTS or left[slot] <= 0.0:
            break
        if all(abs(slot - other) > 1 for other in found):
            found.append(slot)
    return tuple(
        Moment(
            float(start_s[slot]),
            decibels(float(left[slot]), _SINE),
            decibels(float(left[slot]), float(music[slot])),
            float(bands[np.argmax(powers[1, :, slot])]),
        )
        for slot in found
    )


class BandPowers:
    """Mean squares by third octaves, of segments under a raised cosine that overlap by half."""

    def __init__(self, rate_hz: int, frames: int) -> None:
        self.window = np.sin(np.pi * np.arange(frames) / frames) ** 2
        hz = np.fft.rfftfreq(frames, 1.0 / rate_hz)
        edges = [band_edges_hz(float(middle)) for middle in third_octaves_hz()]
        self._bands = np.array([(hz >= low) & (hz < high) for low, high in edges], float)
        spacing = rate_hz / frames
        for band, (low, high) in zip(self._bands, edges, strict=True):
            if not band.any():  # narrower than the lines lie: its share of the nearest
                nearest = int(np.argmin(np.abs(hz - math.sqrt(low * high))))
                band[nearest] = (high - low) / spacing if low < hz[-1] else 0.0
        self._scale = 2.0 / (frames * float(np.square(self.window).sum()))

    def of(self, segments: Array) -> Array:
        """Powers of segments."""
        spectra = np.fft.rfft(segments * self.window, axis=-1)
        power = np.square(spectra.real) + np.square(spectra.imag)
        return np.asarray(power @ self._bands.T * self._scale)


class _Slots:
    """Powers slot by slot; when there are too many, neighbours are joined."""

    def __init__(self, rate_hz: int, channels: int) -> None:
        self._rate_hz, self._channels = rate_hz, channels
        self._frames = int(2 ** round(math.log2(SLOT_S * rate_hz / 2.0)))
        self._bands = BandPowers(rate_hz, self._frames)
        self._hop = self._frames // 2
        self._joined = max(round(SLOT_S * rate_hz / self._hop), 1)
        self._waiting = np.zeros((2, channels, 0))
        self._powers: list[Array] = []
        self._now = np.zeros((2, 31))
        self._counted = 0

    @property
    def slot_s(self) -> float:
        """Length of a slot."""
        return self._joined * self._hop / self._rate_hz

    def add(self, first: Array, left: Array) -> None:
        self._waiting = np.concatenate([self._waiting, np.stack([first.T, left.T])], axis=2)
        begin = 0
        while begin + self._frames <= self._waiting.shape[2]:
            segment = self._waiting[:, :, begin : begin + self._frames]
            self._add_powers(self._bands.of(segment).mean(axis=1))
            begin += self._hop
        self._waiting = self._waiting[:, :, begin:].copy()

    def _add_powers(self, powers: Array) -> None:
        self._now += powers
        self._counted += 1
        if self._counted < self._joined:
            return
        self._close()
        if len(self._powers) >= MOST_SLOTS:
            pairs = zip(self._powers[::2], self._powers[1::2], strict=True)
            self._powers = [(one + other) / 2.0 for one, other in pairs]
            self._joined *= 2

    def _close(self) -> None:
        self._powers.append(self._now / self._counted)
        self._now, self._counted = np.zeros((2, 31)), 0

    def powers(self) -> Array:
        """First and remainder [2, bands, slots]; the last slot is what was left."""
        rest = self._waiting.shape[2]
        if rest > self._hop or not (self._powers or self._counted):
            short = np.pad(self._waiting, ((0, 0), (0, 0), (0, max(self._frames - rest, 0))))
            self._now += self._bands.of(short).mean(axis=1)
            self._counted += 1
        if self._counted:
            self._close()
        return np.stack(self._powers, axis=2)
