"""Noise and hum of two recordings, as far as the silences of the music tell them."""

from __future__ import annotations

import math

import numpy as np

from stagefx.difference.captured.gap_noise import GapNoise, NoiseFound
from stagefx.hearing.audibility import AudibilityRow, judged_row, unjudged_row
from stagefx.hearing.rows.noise import hiding_db, noise_change
from stagefx.units import decibels

SILENCES = "heard in {seconds:.1f} s of silence"


def gap_rows(
    gap: GapNoise,
    *,
    full_scale_spl_db: float,
    channels: int,
    room_dba: float | None = None,
    matched_db: float = 0.0,
    noise_floor_db: float | None = None,
) -> tuple[AudibilityRow, AudibilityRow]:
    """Set the noise and the hum in the silences, channel powers added, against hearing.

    `matched_db` is what a listener's level match takes away; `noise_floor_db` the least change of
    noise that could have been found, over what hides it.
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
    noise = noise_change(gap.first.hz, *bands, room_noise_dba=room_dba)
    remark = SILENCES.format(seconds=gap.seconds)
    lines = _lines(gap.first, shifts[0]), _lines(gap.second, shifts[1])
    return (
        judged_row("noise", noise.over_db, floor=noise_floor_db, at_hz=noise.hz, remark=remark),
        _hum(*lines, room_dba, floor=noise_floor_db, remark=remark),
    )


def _lines(found: NoiseFound, shift_db: float) -> dict[float, float]:
    return {line.hz: line.dbfs + shift_db for line in found.hum}


def _hum(
    first: dict[float, float],
    second: dict[float, float],
    room_dba: float | None,
    *,
    floor: float | None,
    remark: str,
) -> AudibilityRow:
    worst, at_hz = -math.inf, None
    for hz in sorted({*first, *second}):
        levels = (first.get(hz, -math.inf), second.get(hz, -math.inf))
        power = abs(10.0 ** (levels[1] / 10.0) - 10.0 ** (levels[0] / 10.0))
        hidden = float(hiding_db([hz], room_noise_dba=room_dba)[0])
        over = 10.0 * math.log10(power) - hidden if power > 0.0 else -math.inf
        if over > worst:
            worst, at_hz = over, hz
    return judged_row("hum", worst, floor=floor, at_hz=at_hz, remark=remark)
