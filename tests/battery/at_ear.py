"""How loud a piece, a hiss or a hum is at the seat, and the threshold of a quiet room."""

from __future__ import annotations

from functools import cache

import numpy as np

from tests.battery.pieces import Audio, Piece

ISO_389_7 = np.array(
    [
        [20.0, 78.1], [25.0, 68.7], [31.5, 59.5], [40.0, 51.1], [50.0, 44.0], [63.0, 37.5],
        [80.0, 31.5], [100.0, 26.5], [125.0, 22.1], [160.0, 17.9], [200.0, 14.4], [250.0, 11.4],
        [315.0, 8.6], [400.0, 6.2], [500.0, 4.4], [630.0, 3.0], [800.0, 2.2], [1000.0, 2.4],
        [1250.0, 3.5], [1600.0, 1.7], [2000.0, -1.3], [2500.0, -4.2], [3150.0, -6.0],
        [4000.0, -5.4], [5000.0, -1.5], [6300.0, 6.0], [8000.0, 12.6], [10000.0, 13.9],
        [12500.0, 12.3], [16000.0, 40.2],
    ]
)  # fmt: skip
"""Hz and dB: threshold of hearing, free field, both ears (ISO 389-7:2019; 25 to 10000 Hz as
printed in ISO 226:2003)."""
NOISE_RATING = np.array(
    [
        [31.5, 55.4, 0.681], [63.0, 35.5, 0.790], [125.0, 22.0, 0.870], [250.0, 12.0, 0.930],
        [500.0, 4.8, 0.974], [1000.0, 0.0, 1.000], [2000.0, -3.5, 1.015], [4000.0, -6.1, 1.025],
        [8000.0, -8.0, 1.030],
    ]
)  # fmt: skip
"""Hz, a and b of an octave's level a + b NR (noise-rating curves, ISO/R 1996:1971, from memory)."""
ROOM_DBA = 30.0
"""A quiet living room: what two files are judged in."""
HIGHEST_FULL_SCALE_DB = 120.0


def a_weighting_db(hz: Audio) -> Audio:
    """IEC 61672-1, the analytic form."""
    f2 = np.maximum(np.asarray(hz, dtype=float), 1e-3) ** 2
    gain = 12194.0**2 * f2**2 / (
        (f2 + 20.6**2) * np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2)) * (f2 + 12194.0**2)
    )  # fmt: skip
    return 20.0 * np.log10(gain) + 2.0


@cache
def programme_db(piece: Piece) -> float:
    """A-weighted level of a piece re a full-scale sine, both channels together.

    Blocks of 0.4 s count that lie within 10 dB of the mean of those that sound at all, as loudness
    is gated by ITU-R BS.1770.
    """
    hz = np.fft.rfftfreq(piece.frames, 1.0 / piece.rate_hz)
    weights = 10.0 ** (a_weighting_db(hz) / 20.0)
    heard = np.fft.irfft(np.fft.rfft(piece.audio, axis=0) * weights[:, None], piece.frames, axis=0)
    block = piece.at(0.4)
    whole = heard[: piece.frames // block * block].reshape(-1, block, heard.shape[1])
    power = (whole**2).mean(axis=1).sum(axis=1)
    power = power[power > 10.0**-7]
    power = power[power >= 0.1 * power.mean()]
    return float(10.0 * np.log10(2.0 * power.mean()))


def full_scale_db(piece: Piece, listening_db: float) -> float:
    """Sound pressure level of a full-scale sine in one channel while the piece plays."""
    return min(listening_db - programme_db(piece), HIGHEST_FULL_SCALE_DB)


@cache
def room_third_octaves_db(room_dba: float = ROOM_DBA) -> Audio:
    """A room's noise at the frequencies of `ISO_389_7`, a noise-rating curve moved to its level."""
    a_curve = a_weighting_db(NOISE_RATING[:, 0])
    ratings = np.arange(-10.0, 60.0, 0.1)
    octaves = NOISE_RATING[:, 1] + NOISE_RATING[:, 2] * ratings[:, None]
    levels = 10.0 * np.log10((10.0 ** ((octaves + a_curve) / 10.0)).sum(axis=1))
    octave = octaves[np.argmin(np.abs(levels - room_dba))]
    third = np.interp(np.log(ISO_389_7[:, 0]), np.log(NOISE_RATING[:, 0]), octave)
    return np.asarray(third - 10.0 * np.log10(3.0))


@cache
def threshold_db(room_dba: float | None = ROOM_DBA) -> Audio:
    """What a third-octave of noise must reach, in the room, at the frequencies of `ISO_389_7`."""
    quiet = 10.0 ** (ISO_389_7[:, 1] / 10.0)
    room = 0.0 if room_dba is None else 10.0 ** (room_third_octaves_db(room_dba) / 10.0)
    return np.asarray(10.0 * np.log10(quiet + room))


def white_over_threshold_db(level_dbfs: float, rate_hz: int, full_scale_spl_db: float) -> float:
    """By how much white noise in both channels exceeds the threshold where it does most.

    `level_dbfs` is one channel's, re a full-scale sine, over the whole band.
    """
    width = ISO_389_7[:, 0] * (2.0 ** (1.0 / 6.0) - 2.0 ** (-1.0 / 6.0))
    both = level_dbfs + full_scale_spl_db + 10.0 * np.log10(2.0)
    return float((both + 10.0 * np.log10(width / (rate_hz / 2.0)) - threshold_db()).max())
