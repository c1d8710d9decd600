"""Versions of a passage at one level, and their difference turned up as far as is safe.

For sighted listening: what is switched between is level-matched, and a difference is never played
louder than the music it came from.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.blind.pack.equal import equalised
from stagefx.dsp.levels import rms_dbfs
from stagefx.dsp.loudness import LoudnessMeter, integrated_loudness
from stagefx.dsp.true_peak import TruePeakMeter
from stagefx.units import ratio

Array = NDArray[np.float64]

LOUDEST_DIFFERENCE_DBFS = -20.0
"""A difference that is turned up gets no louder than this, re a full-scale sine."""
MOST_TURNED_UP_DB = 80.0
"""Beyond it a file's own rounding would be what is heard."""
HIGHEST_PEAK_DBTP = -1.0
_MOMENT_S = 0.4
_NOTHING = 2.0**-31


@dataclass(frozen=True)
class TurnedUp:
    """A difference, made as loud as the caps allow."""

    samples: Array
    gain_db: float
    capped_by: str


def level_matched(versions: Sequence[Array], rate_hz: int) -> list[Array]:
    """Versions of a passage at the loudness of the first, with room for their peaks."""
    even = equalised(versions, rate_hz)
    wanted = integrated_loudness(even[0], rate_hz=rate_hz)
    even = [
        one * ratio(wanted - integrated_loudness(one, rate_hz=rate_hz)) if n else one
        for n, one in enumerate(even)
    ]
    highest = max(_true_peak(one, rate_hz) for one in even)
    gain = min(1.0, ratio(HIGHEST_PEAK_DBTP) / highest) if highest else 1.0
    return [np.ascontiguousarray(gain * one) for one in even]


def turned_up(difference: Array, music: Array, rate_hz: int) -> TurnedUp | None:
    """A difference as loud as it may be played.

    Its loudest 0.4 s stay at or under the music's level as a whole, in rms and in loudness, and
    under -20 dBFS; its peak stays under the music's.  The gain is rounded down to a whole decibel.
    """
    peak = float(np.abs(difference).max(initial=0.0))
    if peak < _NOTHING:
        return None
    meter = LoudnessMeter(rate_hz, difference.shape[1])
    meter.add(difference)
    level = float(rms_dbfs(music).max())
    room = {
        f"{LOUDEST_DIFFERENCE_DBFS:g} dBFS": LOUDEST_DIFFERENCE_DBFS,
        "the level of the music": level,
    }
    loudest = loudest_moment_dbfs(difference, rate_hz)
    caps = {name: cap - loudest for name, cap in room.items()}
    heard = integrated_loudness(music, rate_hz=rate_hz) - meter.maximum_momentary_lufs
    caps["the loudness of the music"] = heard
    caps["the peak of the music"] = 20.0 * math.log10(float(np.abs(music).max()) / peak)
    caps[f"{MOST_TURNED_UP_DB:g} dB, beyond which a file's rounding is heard"] = MOST_TURNED_UP_DB
    capped_by = min(caps, key=lambda name: caps[name])
    gain_db = float(math.floor(caps[capped_by]))
    return TurnedUp(np.ascontiguousarray(ratio(gain_db) * difference), gain_db, capped_by)


def loudest_moment_dbfs(samples: Array, rate_hz: int) -> float:
    """Level of the loudest 0.4 s of the loudest channel."""
    frames = min(round(_MOMENT_S * rate_hz), len(samples))
    energy = np.cumsum(np.pad(np.square(samples), ((1, 0), (0, 0))), axis=0)
    power = float((energy[frames:] - energy[:-frames]).max(initial=0.0)) / max(frames, 1)
    return 10.0 * math.log10(2.0 * power) if power > 0.0 else -math.inf


def _true_peak(samples: Array, rate_hz: int) -> float:
    meter = TruePeakMeter(rate_hz, samples.shape[1])
    meter.add(samples)
    return float(meter.peak.max())
