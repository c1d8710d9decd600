"""Hum under music that has no silence: judged in the quietest moment of its critical band."""

from __future__ import annotations

import math

import numpy as np

from stagefx.difference.decomposition import Difference
from stagefx.difference.hum import HumLine
from stagefx.hearing.audibility import AudibilityRow, judged_row
from stagefx.hearing.rows.noise import hiding_db
from stagefx.io.recording import Recording
from stagefx.units import decibels

_FRAME_S = 0.2
"""About as long as the ear adds up."""
_BLOCK_FRAMES = 1 << 16
_MOST_LINES = 6
"""The strongest: more hum than that is heard by these already."""
_CRITICAL_HZ, _CRITICAL_SHARE = 100.0, 0.2
"""Width of a critical band: 100 Hz up to 500 Hz, a fifth of the frequency above (E. Zwicker, H.
Fastl, Psychoacoustics)."""
REMARK = "under the music, in its quietest moment"


def masked_hum_row(
    first: Recording, difference: Difference, *, full_scale_spl_db: float, room_dba: float | None
) -> AudibilityRow | None:
    """The hum that one version has more, over threshold, room and music; None if none."""
    lines = sorted(difference.residual_hum, key=lambda line: -line.dbfs)[:_MOST_LINES]
    if not lines:
        return None
    at_seat_db = full_scale_spl_db + decibels(first.format.channels) / 2.0
    hidden_db = hiding_db([line.hz for line in lines], room_noise_dba=room_dba)
    music_db = at_seat_db + _quietest_dbfs(first, difference, lines)
    over = [
        at_seat_db + line.dbfs - max(hidden, music)
        for line, hidden, music in zip(lines, hidden_db.tolist(), music_db.tolist(), strict=True)
    ]
    worst = int(np.argmax(over))
    return judged_row("hum", over[worst], at_hz=lines[worst].hz, remark=REMARK)


def _quietest_dbfs(first: Recording, difference: Difference, lines: list[HumLine]) -> np.ndarray:
    """The least level of the first in the critical band of each line, re a full-scale sine."""
    size = round(_FRAME_S * first.format.rate_hz)
    window = np.hanning(size)
    scale = 2.0 / (size * float(np.square(window).sum()))
    hz = np.fft.rfftfreq(size, 1.0 / first.format.rate_hz)
    widths = [max(_CRITICAL_HZ, _CRITICAL_SHARE * line.hz) for line in lines]
    inside = np.array([
        np.abs(hz - line.hz) <= width / 2.0 for line, width in zip(lines, widths, strict=True)
    ])  # fmt: skip
    least = np.full(len(lines), math.inf)
    step = _BLOCK_FRAMES // size * size
    for start in range(difference.start, difference.stop - size + 1, step):
        block = first.read(start, min(start + step, difference.stop))
        whole = len(block) // size
        frames = block[: whole * size].reshape(whole, size, -1) * window[None, :, None]
        power = np.square(np.abs(np.fft.rfft(frames, axis=1))).mean(axis=2)
        least = np.minimum(least, scale * (power @ inside.T).min(axis=0))
    return 10.0 * np.log10(np.maximum(2.0 * least, 1e-30))
