"""What a piece has, from which follows what must be heard of a change: numpy and scipy alone."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tests.battery.pieces import Audio, Piece

NOTHING = 1e-12
"""Power that stands for none, 120 dB under full scale."""
ONE_NOTE = 0.97
"""Chords and music do not come again as exactly within a tenth of a second."""


def _decibels(power: Audio) -> Audio:
    return 10.0 * np.log10(np.maximum(power, NOTHING))


def _powers(audio: Audio, rate_hz: int, frame_s: float, hop_s: float) -> tuple[Audio, Audio]:
    """Frequencies, and powers [channels, bins, frames] by a Hann window."""
    frames, hop = round(frame_s * rate_hz), round(hop_s * rate_hz)
    hz, _, found = signal.stft(
        audio.T, rate_hz, nperseg=frames, noverlap=frames - hop, boundary=None, padded=False
    )
    return hz, np.abs(found) ** 2


def _third_octaves(
    hz: Audio, low_hz: float = 50.0, high_hz: float = 16_000.0
) -> list[NDArray[np.bool_]]:
    centres = 1000.0 * 2.0 ** (np.arange(-13, 13) / 3.0)
    chosen = [centre for centre in centres if low_hz <= centre <= high_hz]
    edge = 2.0 ** (1.0 / 6.0)
    bands = [(hz >= centre / edge) & (hz < centre * edge) for centre in chosen]
    return [band for band in bands if band.any()]


@cache
def tonal_share(piece: Piece) -> float:
    """How much of the power from 80 Hz to 5 kHz stands in spectral peaks that last.

    A peak rises 15 dB over the median of its surroundings in two frames that share no sample.
    """
    frame_s, hop_s = 0.12, 0.06
    hz, powers = _powers(piece.audio, piece.rate_hz, frame_s, hop_s)
    power = powers.sum(axis=0)[(hz >= 80.0) & (hz <= 5_000.0)]
    reach = round(200.0 * frame_s) | 1
    around = np.stack([np.roll(power, shift, axis=0) for shift in range(-reach, reach + 1)])
    stands = power > 10.0**1.5 * np.median(around, axis=0) + NOTHING
    wide = stands | np.roll(stands, 1, axis=0) | np.roll(stands, -1, axis=0)
    lasting = wide[:, :-2] & wide[:, 2:]
    return float(power[:, :-2][lasting].sum() / max(power.sum(), NOTHING))


def has_pitch(piece: Piece) -> bool:
    return tonal_share(piece) > 0.3


@cache
def attacks_s(piece: Piece) -> tuple[float, ...]:
    """When sound sets in: bands rise by 8 dB on average over 20 ms, at least 0.1 s apart."""
    hop_s = 0.01
    hz, powers = _powers(piece.audio, piece.rate_hz, 0.02, hop_s)
    power = powers.sum(axis=0)
    bands = np.stack([power[band].mean(axis=0) for band in _third_octaves(hz, 200.0)])
    loud = _decibels(np.maximum(bands, bands.max() * 1e-5))
    rise = np.maximum(loud[:, 2:] - loud[:, :-2], 0.0).mean(axis=0)
    peaks, _ = signal.find_peaks(rise, height=5.0, distance=round(0.1 / hop_s))
    return tuple(float((peak + 1) * hop_s) for peak in peaks)


def has_rhythm(piece: Piece) -> bool:
    """An attack a second or more."""
    return len(attacks_s(piece)) >= piece.seconds


@cache
def shared_source(piece: Piece) -> float:
    """Coherence of the channels under 1.4 kHz, weighted by power; no less than 0."""
    left, right = piece.audio.T
    hz, cross = signal.csd(left, right, piece.rate_hz, nperseg=4096)
    _, one = signal.welch(left, piece.rate_hz, nperseg=4096)
    _, other = signal.welch(right, piece.rate_hz, nperseg=4096)
    low = (hz >= 80.0) & (hz <= 1_400.0)
    weight = np.sqrt(one * other)[low]
    coherence = np.abs(cross[low]) ** 2 / np.maximum(one * other, 1e-30)[low]
    return float((weight * coherence).sum() / max(weight.sum(), 1e-30))


def channels_share(piece: Piece) -> bool:
    """Enough in common that their time and phase against each other make an image."""
    return shared_source(piece) > 0.5


@cache
def channel_difference_db(piece: Piece) -> float:
    """Between the levels of both channels, by third-octave and 100 ms: the median of the power."""
    hz, powers = _powers(piece.audio, piece.rate_hz, 0.1, 0.1)
    bands = np.stack([powers[:, band].sum(axis=1) for band in _third_octaves(hz)], axis=1)
    apart = np.abs(_decibels(bands[0]) - _decibels(bands[1])).ravel()
    weight = bands.sum(axis=0).ravel()
    order = np.argsort(apart)
    passed = np.cumsum(weight[order])
    return float(apart[order][np.searchsorted(passed, 0.5 * passed[-1])])


def _course_db(piece: Piece, window_s: float) -> tuple[Audio, Audio]:
    """Middles of windows, and the level of the louder channel in them, every 10 ms."""
    frames, hop = piece.at(window_s), piece.at(0.01)
    total = np.vstack([np.zeros((1, 2)), np.cumsum(piece.audio**2, axis=0)])
    starts = np.arange(0, piece.frames - frames, hop)
    power = (total[starts + frames] - total[starts]).max(axis=1) / frames
    return (starts + frames / 2) / piece.rate_hz, _decibels(power)


@cache
def loud_places_s(piece: Piece, count: int = 1, apart_s: float = 1.5) -> tuple[float, ...]:
    """The loudest 20 ms of the loudest fifths of a second, away from each other and both ends."""
    at_s, level_db = _course_db(piece, 0.2)
    fine_s, fine_db = _course_db(piece, 0.02)
    level_db = np.where((at_s > apart_s) & (at_s < piece.seconds - apart_s), level_db, -np.inf)
    found: list[float] = []
    for _ in range(count):
        middle = at_s[np.argmax(level_db)]
        inside = np.abs(fine_s - middle) <= 0.1
        found.append(float(fine_s[inside][np.argmax(fine_db[inside])]))
        level_db = np.where(np.abs(at_s - found[-1]) < apart_s, -np.inf, level_db)
    return tuple(found)


@cache
def repeats_itself(piece: Piece, at_s: float) -> bool:
    """Whether after a place the sound is a note alone, the same again some periods later.

    How many of its periods were cut out, or put in, the sound cannot tell.
    """
    start, longest = piece.at(at_s), piece.at(0.1)
    sound = piece.audio[start : start + piece.at(0.4)].mean(axis=1)
    if len(sound) < 2 * longest:
        return False
    first = sound[:-longest]
    likeness = [
        float(first @ sound[lag : lag + len(first)])
        / float(np.linalg.norm(first) * np.linalg.norm(sound[lag : lag + len(first)]) + 1e-300)
        for lag in range(piece.at(0.0015), longest)
    ]
    return max(likeness) > ONE_NOTE


def quiet_place(piece: Piece) -> tuple[float, float]:
    """Where the least sounds from 150 ms before to 50 ms after, and how loud that is, in dB."""
    at_s, level_db = _course_db(piece, 0.2)
    level_db = np.where((at_s > 0.5) & (at_s < piece.seconds - 0.5), level_db, np.inf)
    best = int(np.argmin(level_db))
    return float(at_s[best] + 0.05), float(level_db[best])


@cache
def level_db(piece: Piece) -> float:
    """Of the louder channel over all, re full scale."""
    return float(_decibels((piece.audio**2).mean(axis=0).max()))


def sounds(piece: Piece, start_s: float, stop_s: float) -> bool:
    """Whether at least 0.1 s of a stretch is within 20 dB of the piece's own level."""
    at_s, course_db = _course_db(piece, 0.02)
    inside = (at_s >= start_s) & (at_s <= stop_s)
    return int((course_db[inside] > level_db(piece) - 20.0).sum()) >= 10


@cache
def band_share_db(piece: Piece, low_hz: float, high_hz: float) -> float:
    """Power between two frequencies re the whole, in dB."""
    hz, power = signal.welch(piece.audio, piece.rate_hz, nperseg=8192, axis=0)
    inside = (hz >= low_hz) & (hz <= high_hz)
    return float(_decibels(np.array(power[inside].sum() / power.sum())))


@cache
def quietest_low_band_db(piece: Piece) -> float:
    """Least level of the critical band about 100 Hz (50 to 150 Hz) in a fifth of a second.

    What lies above it, up to 400 Hz, counts at 20 dB less: it masks downwards, but steeply.
    """
    _, powers = _powers(piece.audio, piece.rate_hz, 0.2, 0.05)
    hz = np.fft.rfftfreq(round(0.2 * piece.rate_hz), 1.0 / piece.rate_hz)
    counts = np.where((hz >= 50.0) & (hz <= 150.0), 1.0, 0.0)
    counts += np.where((hz > 150.0) & (hz <= 400.0), 0.01, 0.0)
    window_power = 1.5  # a Hann window's, re its own squared mean
    band = 2.0 * (powers * counts[:, None]).sum(axis=1).max(axis=0) / window_power
    return float(_decibels(band).min())
