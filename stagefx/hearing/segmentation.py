"""Where music begins something: hits, and places where its colour changes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from stagefx.io.recording import Recording

Array = NDArray[np.float64]

MEL_BANDS = 64
HOP_S = 0.0116
"""512 frames at 44.1 kHz."""
_FRAME_HOPS = 4
_FAINTEST = 1e-10
_RANGE_DB = 80.0
_SOUND_S = 0.03
"""A place is judged by the level of what follows it."""
COLOUR_S = 1.0
"""Colour before and after a place is taken over as long."""


@dataclass(frozen=True)
class Phrasing:
    """How much begins at each moment of a stretch of music."""

    times_s: Array
    onset: Array
    novelty: Array
    following: Array


def phrasing(recording: Recording, start_s: float, stop_s: float) -> Phrasing:
    """Look for beginnings in a stretch of a piece.

    Onset strength is the mean over mel bands of what the level rises from one moment to the next,
    levels taken no lower than 80 dB under the loudest.  The filter bank is librosa's; its module
    of onsets is not loaded, since that compiles for half a minute on a fresh machine.

    S. Böck, G. Widmer, "Maximum filter vibrato suppression for onset detection", DAFx 2013:
    spectral flux over logarithmic bands.
    J. Foote, "Automatic audio segmentation using a measure of audio novelty", ICME 2000: before
    and after compared.
    """
    made = recording.format
    hop = max(round(HOP_S * made.rate_hz), 1)
    reach = round(COLOUR_S / HOP_S)
    moments = max(int((stop_s - start_s) * made.rate_hz / hop), 0)
    # A moment is the end of its frame, which a rise reaches first; on either side there are as
    # many moments more as colour needs.
    first = round(start_s * made.rate_hz) - (reach + 1 + _FRAME_HOPS) * hop
    count = moments + 2 * reach + 1
    ahead = max(round(_SOUND_S * made.rate_hz), 1)
    audio = _read(recording, first, first + (count + _FRAME_HOPS) * hop + ahead)
    mels = _mel_powers(audio.mean(axis=1), made.rate_hz, hop)[:count]
    level_db = 10.0 * np.log10(np.maximum(mels, _FAINTEST))
    level_db = np.maximum(level_db, level_db.max() - _RANGE_DB)
    rise = np.maximum(np.diff(level_db, axis=0), 0.0).mean(axis=1)
    here = slice(reach, reach + moments)
    squares = np.square(audio).mean(axis=1)
    sums = np.concatenate([[0.0], np.cumsum(squares)])
    begins = (np.arange(moments) + reach + 1 + _FRAME_HOPS) * hop
    return Phrasing(
        times_s=(first + begins) / made.rate_hz,
        onset=rise[here],
        novelty=_novelty(mels, reach)[:moments],
        following=np.asarray((sums[begins + ahead] - sums[begins]) / ahead),
    )


def _read(recording: Recording, start: int, stop: int) -> Array:
    """The audio from one frame to another, zeros outside the piece."""
    frames = recording.format.frames
    inside = (min(max(start, 0), frames), min(max(stop, 0), frames))
    sound = recording.read(*inside)
    before = inside[0] - start
    return np.pad(sound, ((before, stop - start - len(sound) - before), (0, 0)))


def _mel_powers(mono: Array, rate_hz: int, hop: int) -> Array:
    """Power in mel bands, a row for each moment."""
    size = _FRAME_HOPS * hop
    frames = sliding_window_view(mono, size)[::hop]
    bank = _mel_bank(rate_hz, size)
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(size) / size)
    rows = []
    for begin in range(0, len(frames), 256):
        spectra = np.fft.rfft(frames[begin : begin + 256] * window, axis=1)
        power = np.square(spectra.real) + np.square(spectra.imag)
        bands = [(power[:, lines] * weights).sum(axis=1) for lines, weights in bank]
        rows.append(np.stack(bands, axis=1))
    return np.concatenate(rows)


@lru_cache(maxsize=4)
def _mel_bank(rate_hz: int, size: int) -> tuple[tuple[slice, Array], ...]:
    """Of each band the lines that it takes part of, and their weights."""
    from librosa.filters import mel

    bank = mel(sr=rate_hz, n_fft=size, n_mels=MEL_BANDS, fmax=min(16e3, rate_hz / 2))
    found = []
    for band in np.asarray(bank, np.float64):
        taken = np.flatnonzero(band)
        lines = slice(int(taken[0]), int(taken[-1]) + 1) if taken.size else slice(0, 1)
        found.append((lines, band[lines]))
    return tuple(found)


def _novelty(mels: Array, reach: int) -> Array:
    """One less the cosine between the mean spectra on either side of each moment."""
    loudness = np.sqrt(np.sqrt(mels))
    sums = np.concatenate([np.zeros((1, loudness.shape[1])), np.cumsum(loudness, axis=0)])
    means = (sums[reach:] - sums[:-reach]) / reach
    before, after = means[1 : len(means) - reach], means[1 + reach :]
    sizes = np.sqrt(np.square(before).sum(axis=1) * np.square(after).sum(axis=1))
    across = (before * after).sum(axis=1)
    alike = np.divide(across, sizes, out=np.zeros_like(across), where=sizes > 0.0)
    return np.asarray(np.where(sizes > 0.0, 1.0 - np.minimum(alike, 1.0), 0.0))
