"""What a short frame hides: bands, masking before and after, the threshold in quiet, the room.

A frame lasts 5 ms, under a window, and the next begins half a frame on; so what one says comes
from 2.5 ms.  Nothing that follows later can hide what was heard before.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.bands import third_octaves_hz
from stagefx.hearing.ear.scale import bark, ear_weight_db
from stagefx.hearing.ear.threshold_of_hearing import room_band_db_spl, threshold_db_spl

Array = NDArray[np.float64]

HOP_S = 0.0025
"""Half a frame: in a longer one an attack hides the click before it, a shorter one has no bands."""
BAND_BARK = 0.5
LOWEST_HZ, HIGHEST_HZ = 80.0, 16000.0
"""Below, a frame holds less than half a period; above, few adults hear what lasts so short."""
LOWER_DB_PER_BARK = 27.0
UPPER_DB_PER_BARK, UPPER_DB_HZ_PER_BARK = -24.0, -230.0
"""Slopes of masking after ITU-R BS.1387, annex 2, 2.1.7; each adds a fifth of the level."""
AFTER_FROM_S, AFTER_TO_S = 0.0025, 0.2
"""Forward masking, in decibels, falls along the logarithm of time to nothing at some 200 ms,
whatever its level.  R. Plomp, J. Acoust. Soc. Am. 36, 1964, 277 (from memory); in proportion to
level and log delay: W. Jesteadt, S. P. Bacon, J. R. Lehman, J. Acoust. Soc. Am. 71, 1982, 950."""
BEFORE_FROM_S, BEFORE_TO_S = 0.001, 0.02
"""Backward masking is strong for 1 to 2 ms (T. Painter, A. Spanias, Audio Signal Processing and
Coding, Wiley 2007, 5.5), small at 10 ms (L. L. Elliott, J. Acoust. Soc. Am. 34, 1962, 1116) and
over at 20 ms (E. Zwicker, H. Fastl, Psychoacoustics; from memory)."""
INTEGRATION_S = 0.2
"""Thresholds of short sounds fall by 8 to 10 dB a decade of duration, to some 200 ms:
M. Florentine, H. Fastl, S. Buus, J. Acoust. Soc. Am. 84, 1988, 195."""
CRITICAL_BANDS = 3
"""So many bands make up a critical band, over which a sound's energy counts together."""
WINDOW_SHARE = 0.5
"""Mean square of the window: what lasts on is seen for so much of the frame."""


def hop_frames(rate_hz: int) -> int:
    """Frames from one frame of analysis to the next; it is twice as long."""
    return max(round(HOP_S * rate_hz), 4)


def transform_frames(rate_hz: int) -> int:
    """The power of two that a frame of analysis fits in."""
    return 1 << (2 * hop_frames(rate_hz) - 1).bit_length()


@lru_cache(maxsize=4)
def curves(rate_hz: int) -> Array:
    """A window, and it times a level, a slope and a bend that are orthonormal under it.

    The window is that of the Vorbis I specification (Xiph.org, 4.3.1): squared and overlapping by
    half it adds up to 1, so that a click weighs the same wherever it falls.  What the rest explains
    is no sound that a frame could tell: a steady voltage, its ramps, and what lies below some
    100 Hz.
    """
    frames = 2 * hop_frames(rate_hz)
    window = np.sin(0.5 * np.pi * np.sin(np.pi * (np.arange(frames) + 0.5) / frames) ** 2)
    late = (np.arange(frames) - 0.5 * (frames - 1)) / frames
    table = np.stack([window, np.ones(frames), late, late**2])
    table[3] -= float((window * table[3]).sum() / window.sum())
    table[1:] /= np.sqrt((window * np.square(table[1:])).sum(axis=1, keepdims=True))
    table[1:] *= window
    table.setflags(write=False)
    return table


def band_edges_hz(rate_hz: int) -> Array:
    """Edges of bands half a Bark wide, as far up as the rate reaches."""
    low, high = (float(bark(hz)) for hz in (LOWEST_HZ, min(HIGHEST_HZ, 0.5 * rate_hz)))
    count = int((high - low) / BAND_BARK)
    return np.asarray(650.0 * np.sinh((low + BAND_BARK * np.arange(count + 1)) / 7.0))


def band_centres_hz(rate_hz: int) -> Array:
    """Middles of the bands along the ear."""
    places = bark(band_edges_hz(rate_hz))
    return np.asarray(650.0 * np.sinh(0.5 * (places[:-1] + places[1:]) / 7.0))


def line_weights(rate_hz: int, full_scale_spl_db: float) -> Array:
    """From a line's squared magnitude to sound energy at the inner ear, 1 for 0 dB SPL.

    All lines of a full-scale sine add up to its sound pressure, times the ear's weight.
    """
    transform = transform_frames(rate_hz)
    hz = np.arange(transform // 2 + 1) * rate_hz / transform
    weight = np.zeros((1, len(hz)))
    weight[0, 1:] = 10.0 ** (ear_weight_db(hz[1:]) / 10.0)
    sine = transform * float(np.square(curves(rate_hz)[0]).sum()) / 4.0
    return np.asarray(weight * 10.0 ** (full_scale_spl_db / 10.0) / sine)


def band_table(rate_hz: int, room_dba: float | None) -> Array:
    """All that the kernels need to know of each band; `stagefx.kernels.events` names the rows."""
    from stagefx.kernels import events

    edges, centres = band_edges_hz(rate_hz), band_centres_hz(rate_hz)
    line_hz = rate_hz / transform_frames(rate_hz)
    table = np.zeros((events.TABLE_ROWS, len(centres)))
    first, last = (np.floor(hz / line_hz + 0.5) for hz in (edges[:-1], edges[1:]))
    last = np.minimum(last, transform_frames(rate_hz) // 2)
    table[events.FIRST_LINE], table[events.LAST_LINE] = first, last
    table[events.FIRST_SHARE] = np.minimum(edges[1:] / line_hz, first + 0.5) - edges[:-1] / line_hz
    table[events.LAST_SHARE] = edges[1:] / line_hz - np.maximum(edges[:-1] / line_hz, last - 0.5)
    slope_db = UPPER_DB_PER_BARK + UPPER_DB_HZ_PER_BARK / centres
    table[events.UPPER_SLOPE] = nepers(slope_db * BAND_BARK)
    place = BAND_BARK * np.arange(len(centres))
    table[events.OFFSET] = nepers(np.where(place <= 12.0, 3.0, 0.25 * place))
    table[events.HIDDEN] = quiet_energy(rate_hz) + room_energy(rate_hz, room_dba)
    return table


def nepers(db: Array | float) -> Array:
    """Decibels as the natural logarithm of energy."""
    return np.asarray(db) * (math.log(10.0) / 10.0)


def quiet_energy(rate_hz: int) -> Array:
    """The threshold of hearing, a critical band's spread over its bands, raised for a short frame.

    ISO 389-7 as it reaches the inner ear; it lies up to 10 dB above the noise that ITU-R BS.1387
    gives the ear from 8 kHz on.
    """
    lasting_s = WINDOW_SHARE * 2 * hop_frames(rate_hz) / rate_hz
    centres = band_centres_hz(rate_hz)
    threshold = 10.0 ** ((threshold_db_spl(centres) + ear_weight_db(centres)) / 10.0)
    return np.asarray(threshold * (INTEGRATION_S / lasting_s) / CRITICAL_BANDS)


def room_energy(rate_hz: int, room_dba: float | None) -> Array:
    """What a room's noise brings into each band."""
    edges, centres = band_edges_hz(rate_hz), band_centres_hz(rate_hz)
    if room_dba is None:
        return np.zeros(len(centres))
    thirds_hz = np.asarray(third_octaves_hz())
    levels = np.broadcast_to(np.asarray(room_band_db_spl(room_dba), np.float64), thirds_hz.shape)
    level_db = np.interp(np.log(centres), np.log(thirds_hz), levels)
    share = np.log2(edges[1:] / edges[:-1]) * 3.0
    return np.asarray(10.0 ** ((level_db + ear_weight_db(centres)) / 10.0) * share)


@lru_cache(maxsize=4)
def fades(rate_hz: int) -> tuple[Array, Array]:
    """What is left of a level 0, 1, 2 ... frames later, and earlier, in proportion to it.

    A sound lies up to a quarter of the frame nearer than the frame's middle.
    """
    hop_s = hop_frames(rate_hz) / rate_hz
    found = []
    for begin_s, end_s in ((AFTER_FROM_S, AFTER_TO_S), (BEFORE_FROM_S, BEFORE_TO_S)):
        apart = np.maximum(np.arange(math.ceil(end_s / hop_s) + 1) * hop_s - 0.5 * hop_s, begin_s)
        fade = np.maximum(1.0 - np.log(apart / begin_s) / math.log(end_s / begin_s), 0.0)
        found.append(np.trim_zeros(fade, "b"))
    return found[0], found[1]
