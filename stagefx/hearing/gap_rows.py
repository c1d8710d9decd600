"""Noise and hum of two recordings, as far as the silences of the music tell them."""

from __future__ import annotations

import math

import numpy as np

from stagefx.difference import GapNoise, NoiseFound
from stagefx.hearing.ledger import LedgerRow, judged_row, unjudged_row
from stagefx.hearing.noise import hiding_db, noise_change
from stagefx.units import decibels

SILENCES = "heard in {seconds:.1f} s of silence"


def gap_rows(
    gap: GapNoise,
    *,
    full_scale_spl_db: float,
    channels: int,
    matched_db: float = 0.0,
    noise_floor_db: float | None = None,
) -> tuple[LedgerRow, LedgerRow]:
    """Set the noise and the hum in the silences against hearing.

    Parameters
    ----------
    gap : GapNoise
        Noise of both versions in the silences of the first.
    full_scale_spl_db : float, dB SPL
        Of a full-scale sine in one channel at the ear.
    channels : int
        Their powers are added at the seat.
    matched_db : float, dB
        Level of the second re the first that a listener's level match takes away.
    noise_floor_db : float or None, dB
        The least change of noise that could have been found, over what hides it.

    Returns
    -------
    noise, hum : LedgerRow
        Not judged, with the reason, where the music has no silence.

    Examples
    --------
    >>> from stagefx.difference.hum import HumLine
    >>> hum = (HumLine(100.0, -60.0, 30.0),)
    >>> quiet = NoiseFound(-100.0, -102.0, (1000.0,), (-110.0,), (), None)
    >>> loud = NoiseFound(-60.0, -80.0, (1000.0,), (-90.0,), hum, 50)
    >>> rows = gap_rows(GapNoise(quiet, loud, 1.0), full_scale_spl_db=100.0, channels=1)
    >>> [round(row.value, 2) for row in rows]  # 10 dB SPL over 2.4, and 40 over 26.5
    [7.56, 13.5]
    """
    if gap.first is None or gap.second is None:
        reason = gap.reason or "not measured"
        return unjudged_row("noise", reason), unjudged_row("hum", reason)
    at_seat = full_scale_spl_db + decibels(channels) / 2.0
    shifts = (at_seat, at_seat - matched_db)
    bands = [
        np.array(found.bands_dbfs) + shift
        for found, shift in zip((gap.first, gap.second), shifts, strict=True)
    ]
    noise = noise_change(gap.first.hz, *bands)
    remark = SILENCES.format(seconds=gap.seconds)
    lines = _lines(gap.first, shifts[0]), _lines(gap.second, shifts[1])
    return (
        judged_row("noise", noise.over_db, floor=noise_floor_db, at_hz=noise.hz, remark=remark),
        _hum(*lines, floor=noise_floor_db, remark=remark),
    )


def _lines(found: NoiseFound, shift_db: float) -> dict[float, float]:
    return {line.hz: line.dbfs + shift_db for line in found.hum}


def _hum(
    first: dict[float, float], second: dict[float, float], *, floor: float | None, remark: str
) -> LedgerRow:
    worst, at_hz = -math.inf, None
    for hz in sorted({*first, *second}):
        levels = (first.get(hz, -math.inf), second.get(hz, -math.inf))
        power = abs(10.0 ** (levels[1] / 10.0) - 10.0 ** (levels[0] / 10.0))
        over = 10.0 * math.log10(power) - float(hiding_db([hz])[0]) if power > 0.0 else -math.inf
        if over > worst:
            worst, at_hz = over, hz
    return judged_row("hum", worst, floor=floor, at_hz=at_hz, remark=remark)
