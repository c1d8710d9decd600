"""Where a second version is seen beside a first, passage by passage."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from stagefx.align.delay.constant import ConstantDelay
from stagefx.align.delay.lag import Lag, find_lag
from stagefx.align.path_fit import Delays, fit_path
from stagefx.align.resample import Matching
from stagefx.align.track.windows import Sighting
from stagefx.io.recording import Recording

NEAR_S = 0.1
_SURELY_IN_COMMON = 0.99
"""Versions of which this much agrees within 0.1 s are not sought farther off."""
_SURE_TIMES = 6.0
"""A slope counts from as many standard deviations on."""
LEAST_EXCURSION_FRAMES = 1e-3
LEAST_WANDER_FRAMES = 0.05
"""What a stage does may look like as much: its delay can follow the music's level."""
_LEAST_LIKENESS, _PLAINLY_LIKE = 0.15, 0.5
"""Of a window to where it was found: to count at all, and to be sought nowhere else."""
_AS_LIKE = 0.9
"""Of the likest so far: music repeats itself, nearly."""
_SIGHTING_S = 0.4
"""Short, or a quick clock smears the place."""
_SIGHTINGS_EVERY_S, _FEWEST_SIGHTINGS, _MOST_SIGHTINGS = 4.0, 10, 64
_MOST_FARTHER_OFF = 10
"""Searches of the whole range; they take most of the time."""
_APART_FRAMES = 2


@dataclass(frozen=True)
class Pieces:
    """What is aligned, and how: the second at the first's rate, the stretch, the search."""

    first: Recording
    second: Recording
    start: int
    stop: int
    search_s: float
    follows: bool
    thorough: bool = False


def find_sightings(pieces: Pieces, constant: ConstantDelay) -> tuple[Matching, list[Sighting]]:
    """How the channels match, and where the second was seen, if not by one delay everywhere."""
    matching = constant.matching
    if constant.in_common < _SURELY_IN_COMMON or pieces.thorough:
        matching, alone = _each_alone(pieces, constant)
        if pieces.thorough or any(
            abs(each.lag - constant.delay_frames) >= _APART_FRAMES for each in alone
        ):
            return matching, alone
        matching = constant.matching
    slope = slope_of(constant)
    if slope is None:
        return matching, []
    delays = constant.delays
    apart = np.abs(delays.frames - constant.delay_frames)
    unsteady = (apart > LEAST_WANDER_FRAMES) & (apart > _SURE_TIMES * delays.uncertainty)
    excursion = abs(slope[0]) * (pieces.stop - pieces.start)
    if not unsteady.any() and (excursion < LEAST_EXCURSION_FRAMES or not is_sloping(*slope)):
        return matching, []
    return matching, [Sighting(float(at), constant.delay_frames) for at in delays.at]


def seconded(one: Sighting, sightings: list[Sighting]) -> bool:
    """Whether another passage was seen at the same lag: a lone tone is soon seen at a wrong one."""
    return any(other is not one and abs(other.lag - one.lag) < _APART_FRAMES for other in sightings)


def _each_alone(pieces: Pieces, constant: ConstantDelay) -> tuple[Matching, list[Sighting]]:
    """Short windows from end to end, each sought by itself, and how the channels match in most.

    First where the last one was found; farther off where it is not found there.
    """
    first, rate_hz = pieces.first, pieces.first.format.rate_hz
    length, search = round(_SIGHTING_S * rate_hz), round(pieces.search_s * rate_hz)
    seconds = (pieces.stop - pieces.start) / rate_hz
    many = int(min(max(seconds / _SIGHTINGS_EVERY_S, _FEWEST_SIGHTINGS), _MOST_SIGHTINGS))
    seen: list[tuple[Sighting, Lag]] = []
    expected, farther_off, best, reached = round(constant.delay_frames), 0, 0.0, -math.inf
    for middle in pieces.start + (np.arange(many) + 0.5) * (pieces.stop - pieces.start) / many:
        part = round(float(middle)) - length // 2, round(float(middle)) + length // 2
        if not np.diff(first.read(*part), axis=0).any():
            continue
        near = round(NEAR_S * rate_hz)
        lag = find_lag(first, pieces.second, [part], search_frames=near, around=expected)
        plain = max(_PLAINLY_LIKE, _AS_LIKE * best)
        if lag.likeness < plain and farther_off < _MOST_FARTHER_OFF and search > near:
            farther_off += 1
            other = find_lag(first, pieces.second, [part], search_frames=search)
            lag = max(lag, other, key=lambda each: each.likeness)
        if lag.likeness >= _LEAST_LIKENESS:
            seen.append((Sighting(float(middle), float(lag.frames)), lag))
            if middle + lag.frames >= reached:  # or a later one would be sought in the wrong place
                expected, reached = lag.frames, float(middle + lag.frames)
            best = max(best, lag.likeness)
    if not seen:
        return constant.matching, []
    seen = _forwards(seen)
    return _matching([lag for _, lag in seen]), [one for one, _ in seen]


def _forwards(seen: list[tuple[Sighting, Lag]]) -> list[tuple[Sighting, Lag]]:
    """The likeliest of them in which nothing comes earlier in the second than what came before."""
    found = [one.frame + one.lag for one, _ in seen]
    total, back = [lag.likeness for _, lag in seen], [-1] * len(seen)
    for here in range(len(seen)):
        for before in range(here):
            if found[before] <= found[here] and (
                total[before] + seen[here][1].likeness > total[here]
            ):
                total[here], back[here] = total[before] + seen[here][1].likeness, before
    chosen, kept = int(np.argmax(total)), []
    while chosen >= 0:
        kept.append(seen[chosen])
        chosen = back[chosen]
    return kept[::-1]


def _matching(lags: list[Lag]) -> Matching:
    """How the channels match in most of the places."""
    crossed = sum(lag.likeness if lag.crossed else -lag.likeness for lag in lags) > 0.0
    votes = np.sum(
        [lag.likeness * np.array(lag.signs) for lag in lags if lag.crossed == crossed], axis=0
    )
    return Matching(crossed, tuple(1 if vote >= 0.0 else -1 for vote in votes.tolist()))


def slope_of(constant: ConstantDelay) -> tuple[float, float] | None:
    """How the passages' own delays rise, in frames a frame, and how sure that is."""
    delays = constant.delays
    known = np.isfinite(delays.uncertainty)
    if known.sum() < 3:
        return None
    chosen = Delays(delays.at[known], delays.frames[known], delays.uncertainty[known])
    fitted = fit_path(chosen, int(chosen.at[0]), int(chosen.at[-1]) + 1)
    return fitted.slope, fitted.slope_uncertainty


def is_sloping(slope: float, uncertainty: float) -> bool:
    """Whether a slope is there beyond doubt."""
    return abs(slope) > _SURE_TIMES * uncertainty
