"""What is wrong with a recording, said before its numbers are used."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.measure.decibels import ratio_db
from stagefx.bench.measure.synchronised import Synchronised
from stagefx.bench.measure.tones.steady import steady
from stagefx.io.recording import Recording

Array = NDArray[np.float64]

FULL_SCALE = 1.0 - 2.0**-14
FAINT_DBFS = -30.0
"""Below it the converter's own noise is measured rather than the stage's."""
MOST_DRIFT_PPM = 150.0
"""Crystals are better than that by far (common practice)."""
MOST_UNSTEADY_PPM = 1.5
_TELLING_HZ, _TELLING_DBFS, _TELLING_S = 900.0, -25.0, 6.0
_FLAT_FRAMES = 4


def remarks_on(recording: Synchronised, captured: Recording, channel: int) -> tuple[str, ...]:
    """What to know before the numbers of a recording are used."""
    found = []
    row = recording.samples[:, channel]
    if clipped_by_recorder(row, whole_steps=captured.format.bits is not None):
        found.append(
            f"{captured.place} is clipped by the recorder itself: turn its input down and record "
            "again; distortion and clip levels below are the recorder's"
        )
    peak_dbfs = ratio_db(float(np.abs(row).max(initial=0.0)))
    if peak_dbfs < FAINT_DBFS:
        found.append(
            f"{captured.place} peaks at {peak_dbfs:.0f} dBFS: turn the input up, else the "
            "recorder's noise is measured rather than the stage's"
        )
    if abs(recording.drift_ppm) > MOST_DRIFT_PPM:
        found.append(
            f"{captured.place} runs {recording.drift_ppm:+.0f} ppm off, more than two crystals "
            "do: frames may have been lost, or the rate converted"
        )
    off_ppm = unsteady_ppm(recording, channel)
    if abs(off_ppm) > MOST_UNSTEADY_PPM:
        found.append(
            f"{captured.place} has tones {off_ppm:+.1f} ppm off what its markers say: frames were "
            "lost or repeated, or a clock wanders; what stands beside tones may come from that"
        )
    if recording.samples.shape[1] == 1:
        found.append(f"{captured.place} has one channel: balance and crosstalk cannot be told")
    return tuple(found)


def unsteady_ppm(recording: Synchronised, channel: int) -> float:
    """By how much tones inside a recording are off the clock that its markers tell."""
    off = [0.0]
    for tones in recording.signal.tones():
        hz = max(tones.hz)
        if hz >= _TELLING_HZ and tones.level_dbfs >= _TELLING_DBFS and tones.gains[channel]:
            off.append(
                1e6 * (steady(recording, tones, channel, most_s=_TELLING_S).faster(hz) - 1.0)
            )
    return max(off, key=abs)


def clipped_by_recorder(row: Array, *, whole_steps: bool) -> bool:
    """Whether a converter ran out of steps."""
    height = np.abs(row)
    top = float(height.max(initial=0.0))
    if whole_steps:
        return top >= FULL_SCALE and _longest_run(height >= FULL_SCALE) > 2
    return top > 0.0 and _longest_run(height == top) >= _FLAT_FRAMES


def _longest_run(where: NDArray[np.bool_]) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], where, [False]]).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max(initial=0))
