"""The response between two versions of a piece, in third octaves re 1 kHz, from the music itself.

Where the music has nothing at 1 kHz, the median band is the reference.
Where the music has no energy, or something else than it sounds too loud, nothing is measured.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.bands import band_edges_hz, third_octaves_hz
from stagefx.dsp.spectra import PairSpectra

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

DITHER_MEAN_SQUARE = 2.0**-48
"""Rounding and triangular dither of a 24-bit file, full scale squared: LSB²/4, LSB = 2^-23."""

_LEAST_SHARE = 1e-10
"""A band 100 dB under the loudest holds what leaks from it."""
_MOST_UNSURE_DB = 0.25
"""Two standard deviations beyond which a band counts as not measured."""
_NOTHING = 1e-24
"""Of the first's power: what rounding leaves of a dead channel."""
_PARTS = 8
_FINE_PARTS = 64
"""Points over which a known response is averaged in a band: enough for a Q of 60."""
_EVEN_FROM = 1e-4
"""Parts of a band measured better than 40 dB count alike, so that its middle is what is found."""
_LEVEL_SLOPE = 1e-6
"""In octaves squared: where the music has one tone in a band, its slope is taken for none."""
_HIGHEST_SHARE = 0.45
_DB_PER_NEPER = 20.0 / math.log(10.0)
_OVERLAP_LOSS, _WINDOW_LINES = 1.06, 1.5
"""Segments that overlap by half, and lines under a raised cosine, are not all independent."""


@dataclass(frozen=True)
class Band:
    """The level of the second re the first in one third octave."""

    hz: float
    db: float | None
    floor_db: float | None
    phase_deg: float | None = None
    coherence: float | None = None


@dataclass(frozen=True)
class Deviation:
    """The band of a range that lies farthest from 1 kHz."""

    db: float
    hz: float
    floor_db: float
    missing_hz: tuple[float, ...]


@dataclass(frozen=True)
class Response:
    """The response between two versions, all channels together and each by itself."""

    bands: tuple[Band, ...]
    channels: tuple[tuple[Band, ...], ...]

    def re_median(self, low_hz: float, high_hz: float) -> Response:
        """The same, each channel re the median of its bands in a range."""
        return self._shifted(lambda bands: -_median_db(bands, low_hz, high_hz))

    def without(self, response: Callable[[Array], Complex]) -> Response:
        """The same with a known response taken off."""

        def change_db(bands: tuple[Band, ...]) -> Array:
            parts = [np.geomspace(*band_edges_hz(band.hz), _FINE_PARTS) for band in bands]
            power = np.square(np.abs(response(np.array(parts)))).mean(axis=1)
            return np.asarray(-10.0 * np.log10(power))

        return self._shifted(change_db)

    def _shifted(self, change_db: Callable[[tuple[Band, ...]], Array | float]) -> Response:
        def shifted(bands: tuple[Band, ...]) -> tuple[Band, ...]:
            changes = np.broadcast_to(change_db(bands), len(bands)).tolist()
            return tuple(
                band if band.db is None else replace(band, db=band.db + change)
                for band, change in zip(bands, changes, strict=True)
            )

        return Response(shifted(self.bands), tuple(map(shifted, self.channels)))

    def worst(
        self,
        low_hz: float = 0.0,
        high_hz: float = math.inf,
        *,
        audible: NDArray[np.bool_] | None = None,
    ) -> Deviation | None:
        """The band of a range that lies farthest off, whatever the channel.

        Bands beyond their floor come first: a faint one may lie far off by chance.
        """
        within = [
            band
            for bands in self.channels
            for number, band in enumerate(bands)
            if 0.97 * low_hz <= band.hz <= 1.03 * high_hz and (audible is None or audible[number])
        ]
        found = [band for band in within if band.db is not None]
        if not found:
            return None
        certain = [band for band in found if abs(band.db or 0.0) >= (band.floor_db or 0.0)]
        farthest = max(certain or found, key=lambda band: abs(band.db or 0.0))
        measured = {band.hz for band in found}
        return Deviation(
            db=farthest.db or 0.0,
            hz=farthest.hz,
            floor_db=farthest.floor_db or 0.0,
            missing_hz=tuple(sorted({band.hz for band in within} - measured)),
        )


def _median_db(bands: tuple[Band, ...], low_hz: float, high_hz: float) -> float:
    known = [
        band.db
        for band in bands
        if band.db is not None and 0.97 * low_hz <= band.hz <= 1.03 * high_hz
    ]
    return float(np.median(known)) if known else 0.0


def response_between(spectra: PairSpectra) -> Response:
    """Work out the response between two versions of a piece.

    Each band is cut into eight; in each part the least-squares transfer ``Σ X* Y / Σ |X|²`` holds
    at the part's centre of power, and a line through the parts gives the level at the band's
    middle.  So the result does not lean towards where in the band the music has most.
    """
    lines = [_Lines.of(spectra, channel) for channel in range(len(spectra.first))]
    channels = [_bands(each) for each in lines]
    together = tuple(
        _together(bands, [_power(each, bands[0].hz) for each in lines])
        for bands in zip(*channels, strict=True)
    )
    return Response(together, tuple(channels))


def _together(bands: tuple[Band, ...], powers: list[float]) -> Band:
    """One band of all channels: the mean of their levels, by their power."""
    known = [(one, power) for one, power in zip(bands, powers, strict=True) if one.db is not None]
    if not known:
        return bands[0]
    total = sum(power for _, power in known)
    return Band(
        hz=bands[0].hz,
        db=sum((one.db or 0.0) * power for one, power in known) / total,
        floor_db=max(one.floor_db or 0.0 for one, _ in known),
    )


@dataclass(frozen=True)
class _Lines:
    """Spectra of one channel."""

    hz: Array
    first: Array
    cross: NDArray[np.complex128]
    noise: Array  # what is not explained
    dither: float  # in each line
    independent: float  # segments
    highest_hz: float

    @classmethod
    def of(cls, spectra: PairSpectra, channel: int) -> _Lines:
        return cls(
            hz=spectra.hz,
            first=spectra.first[channel],
            cross=spectra.cross[channel],
            noise=spectra.unexplained[channel],
            dither=2.0 * spectra.noise_power(DITHER_MEAN_SQUARE),  # both versions have it
            independent=max(spectra.segments / _OVERLAP_LOSS, 1.0),
            highest_hz=_HIGHEST_SHARE * spectra.rate_hz,
        )


@dataclass(frozen=True)
class _Level:
    """Level in a band, its standard deviation, and what dither alone would make of it."""

    db: float
    unsure_db: float
    dither_db: float


def _bands(lines: _Lines) -> tuple[Band, ...]:
    middles = third_octaves_hz().tolist()
    loudest = max((_power(lines, middle) for middle in middles), default=0.0)
    levels = [_level(lines, middle, loudest) for middle in middles]
    reference = levels[middles.index(1000.0)] or _median_level(levels)
    return tuple(
        _relative(middle, level, reference) for middle, level in zip(middles, levels, strict=True)
    )


def _median_level(levels: list[_Level | None]) -> _Level | None:
    """The middle one of all that were measured: the reference where 1 kHz has no music."""
    known = sorted((level for level in levels if level is not None), key=lambda each: each.db)
    return known[len(known) // 2] if known else None


def _relative(middle_hz: float, level: _Level | None, reference: _Level | None) -> Band:
    if level is None or reference is None:
        return Band(middle_hz, None, None)
    if level is reference:
        return Band(middle_hz, 0.0, level.dither_db)
    unsure = 2.0 * math.hypot(level.unsure_db, reference.unsure_db)
    floor = max(unsure, math.hypot(level.dither_db, reference.dither_db))
    return Band(middle_hz, level.db - reference.db, floor)


def _within(lines: _Lines, middle_hz: float) -> NDArray[np.intp]:
    low, high = band_edges_hz(middle_hz)
    return np.flatnonzero((lines.hz >= low) & (lines.hz < high))


def _power(lines: _Lines, middle_hz: float) -> float:
    return float(lines.first[_within(lines, middle_hz)].sum())


def _level(lines: _Lines, middle_hz: float, loudest: float) -> _Level | None:
    """The level at the middle of a band, or None where it cannot be told."""
    inside = _within(lines, middle_hz)
    x = lines.first[inside]
    total = float(x.sum())
    if len(inside) < 2 or middle_hz > lines.highest_hz or total <= _LEAST_SHARE * loudest:
        return None
    noise = float(lines.noise[inside].sum())
    independent = max(total**2 / float(np.square(x).sum()) / _WINDOW_LINES, 1.0)
    transfer = 1.0 + lines.cross[inside].sum() / total
    heard = abs(transfer) ** 2 * total
    if heard <= _NOTHING * total:
        return None
    unsure = math.sqrt(noise / (2.0 * heard * independent * lines.independent)) * _DB_PER_NEPER
    if 2.0 * unsure > _MOST_UNSURE_DB:
        return None
    dither = 20.0 * math.log10(1.0 + math.sqrt(lines.dither * len(inside) / heard))
    return _Level(_middle_db(lines, inside, middle_hz), unsure, dither)


def _middle_db(lines: _Lines, inside: NDArray[np.intp], middle_hz: float) -> float:
    """The level at the middle: a line through the levels of the band's parts."""
    octaves, levels, weights = [], [], []
    for part in np.array_split(inside, min(_PARTS, len(inside))):
        x = lines.first[part]
        power = float(x.sum())
        if power <= 0.0:
            continue
        transfer = abs(1.0 + lines.cross[part].sum() / power)
        heard, noise = transfer**2 * power, float(lines.noise[part].sum())
        if heard <= 0.0:
            continue
        octaves.append(math.log2(float((x * lines.hz[part]).sum()) / power / middle_hz))
        levels.append(20.0 * math.log10(transfer))
        weights.append(heard / (noise + _EVEN_FROM * heard))
    u, level, weight = np.array(octaves), np.array(levels), np.array(weights)
    total = weight.sum()
    mean_u, mean_level = (weight * u).sum() / total, (weight * level).sum() / total
    spread = (weight * (u - mean_u) ** 2).sum() / total
    slope = (weight * (u - mean_u) * (level - mean_level)).sum() / total / (spread + _LEVEL_SLOPE)
    return float(mean_level - slope * mean_u)
