"""The likeliest way in which a second version of a piece lies beside a first."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from stagefx.align.delay.constant import ConstantDelay, alike, constant_delay, in_common
from stagefx.align.delay.lag import Lag, find_lag
from stagefx.align.delay.periodicity import Repeat
from stagefx.align.resample import Matching, at_speed
from stagefx.align.time_path import TimePath
from stagefx.align.track.drift import (
    SHORTEST_WINDOW_S,
    WINDOW_S,
    Course,
    course_along,
    course_by_phase,
    follow,
)
from stagefx.align.track.path_fit import Delays, fit_path
from stagefx.align.track.speed import FASTEST, find_speed
from stagefx.align.track.windows import Sighting
from stagefx.align.track.wow import follow_finely, wow_percent
from stagefx.align.warp import WARP_REACH_FRAMES
from stagefx.io.recording import Recording

LEAST_IN_COMMON = 0.5
"""Share of the second's power that has to follow the first for both to be the same music."""
LEAST_ALIKE = 0.2
"""Or the mean share of the bands: noise may hide some bands, and a hum outweigh all others."""

_LEAST_TOUCH = 0.5
"""Of the shorter version."""
_NEAR_S = 0.1
_SURELY_IN_COMMON = 0.99
"""Versions of which this much agrees within 0.1 s are not sought farther off."""
_NEAR_ENOUGH = 0.3
"""Nor are those of which so much agrees in the mean of all bands: elsewhere there is less."""
_FEW_FRAMES = 3.0
"""More is no clock and no spline's overshoot, but something that was cut or doubled."""
_PLAINLY_ALIKE = 0.8
"""Versions less alike may run at another speed."""
_LEAST_SPEED = 2e-4
"""Slower drifts are followed without being sought."""
_FINELY_ALIKE = 0.97
"""Versions less alike may waver quicker than windows of a second show."""
_SHORTEST_FOR_DRIFT_S = 6.5
_SURE_TIMES = 6.0
"""A slope counts from as many standard deviations on."""
_LEAST_EXCURSION_FRAMES = 1e-3
_LEAST_WANDER_FRAMES = 0.05
"""What a stage does may look like as much: its delay can follow the music's level."""
_SETTLED_FRAMES = 1e-5
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
_SLACK = 256


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


@dataclass(frozen=True)
class Fit:
    """How a second version lies beside a first, and how much they have in common by it."""

    delay_frames: float
    gain: float
    matching: Matching
    in_common: float
    alike: float
    uncertainty_frames: float
    repeat: Repeat | None = None
    drift_ppm: float | None = None
    drift_uncertainty_ppm: float | None = None
    path: TimePath | None = None
    wow_percent: float | None = None

    def same_music(self, first_frames: int, second_frames: int) -> bool:
        """Whether what they have in common is more than other music would have.

        Where only the end of one touches the beginning of the other, much more is asked: one beat
        of a drum is like another.
        """
        over = min(first_frames, second_frames - self.delay_frames) - max(0.0, -self.delay_frames)
        if over < _LEAST_TOUCH * min(first_frames, second_frames):
            return min(self.in_common, self.alike) >= LEAST_IN_COMMON
        return self.in_common >= LEAST_IN_COMMON or self.alike >= LEAST_ALIKE


def fit_together(pieces: Pieces) -> Fit:
    """What is left to be found where both begin together: a part of a frame, gain and polarity."""
    found = _steady(_constant(pieces, 0.0), pieces)
    return replace(found, drift_ppm=0.0, drift_uncertainty_ppm=0.0)


def best_fit(pieces: Pieces) -> Fit:
    """By one delay, along one that moves, or at another speed: whatever has most in common."""
    tried = _Tried(pieces, *_at_one_speed(pieces))
    if not pieces.follows or not _long_enough(pieces):
        return tried.found
    if tried.steady.repeat and tried.found.alike >= _PLAINLY_ALIKE:
        return tried.found  # of a steady tone nothing more is known
    if tried.found.alike < _PLAINLY_ALIKE and (slope := _speed(pieces)):
        sped = replace(pieces, second=at_speed(pieces.second, slope))
        other = _Tried(sped, *_at_one_speed(sped), slope)
        tried = max(tried, other, key=lambda each: each.found.alike)
    if tried.found.alike < _FINELY_ALIKE:
        tried = replace(tried, found=_wavering(tried))
    return _with_speed(tried.found, tried.slope) if tried.slope else tried.found


@dataclass(frozen=True)
class _Tried:
    """What was found beside a second, perhaps read along a straight line."""

    pieces: Pieces
    steady: Fit
    found: Fit
    slope: float = 0.0


def _speed(pieces: Pieces) -> float | None:
    """The slope of the delay at another speed, by windows, or else by what the lengths suggest."""
    slope = find_speed(pieces.first, pieces.second, pieces.start, pieces.stop, pieces.search_s)
    if slope is None:  # long tones are found at many places; a whole piece tells by its length
        slope = pieces.second.format.frames / pieces.first.format.frames - 1.0
    return slope if _LEAST_SPEED < abs(slope) <= FASTEST else None


def _with_speed(found: Fit, slope: float) -> Fit:
    """What was found beside a second read along a straight line, on the second's own scale."""
    path = found.path or TimePath(found.delay_frames, 0.0)
    by = 1.0 + slope
    path = TimePath(
        by * path.offset_frames,
        slope + by * path.slope,
        path.start,
        path.step,
        tuple(by * each for each in path.wander),
        tuple(replace(jump, frames=by * jump.frames) for jump in path.jumps),
    )
    return replace(
        found,
        delay_frames=by * found.delay_frames,
        uncertainty_frames=by * found.uncertainty_frames,
        drift_ppm=by * (found.drift_ppm or 0.0) - 1e6 * slope,
        path=path,
    )


def _at_one_speed(pieces: Pieces) -> tuple[Fit, Fit]:
    """By one delay, and by what fits better if there is such."""
    near = min(_NEAR_S, pieces.search_s)
    constant = _constant(pieces, near)
    if constant.alike < _NEAR_ENOUGH and pieces.search_s > near:
        constant = max(constant, _constant(pieces, pieces.search_s), key=lambda each: each.alike)
    steady = _steady(constant, pieces)
    if not pieces.follows or not _long_enough(pieces):
        return steady, steady
    if constant.repeat and constant.alike >= _PLAINLY_ALIKE:
        return steady, steady
    return steady, _followed(steady, constant, pieces)


def _wavering(tried: _Tried) -> Fit:
    """Along a speed that wavers, where that has more in common than jumps or one delay."""
    found = tried.found
    half = found.path is not None and found.alike < _PLAINLY_ALIKE
    for start in [tried.steady, found] if half else [found]:
        finer = _finely(start, tried.pieces)
        found = max(found, finer, key=lambda each: each.alike)
        if found.alike >= _FINELY_ALIKE:
            break
    return found


def _followed(steady: Fit, constant: ConstantDelay, pieces: Pieces) -> Fit:
    """Along a delay that drifts or jumps, where that is seen and has more in common."""
    matching, sightings = _sightings(pieces, constant)
    found = _followed_along(steady, matching, sightings, pieces)
    agreed = [one for one in sightings if _seconded(one, sightings)]
    if found.alike < _FINELY_ALIKE and len(agreed) < len(sightings):
        found = max(
            found,
            _followed_along(steady, matching, agreed, pieces),
            key=lambda each: each.alike,
        )
    return found


def _seconded(one: Sighting, sightings: list[Sighting]) -> bool:
    """Whether another passage was seen at the same lag: a lone tone is soon seen at a wrong one."""
    return any(other is not one and abs(other.lag - one.lag) < _APART_FRAMES for other in sightings)


def _followed_along(
    steady: Fit, matching: Matching, sightings: list[Sighting], pieces: Pieces
) -> Fit:
    if not sightings:
        return steady
    stretch = _reachable(pieces, sightings[0].lag, sightings[-1].lag)
    if not _long(stretch, pieces):
        return steady
    course = follow(pieces.first, matching.of(pieces.second), sightings, *stretch)
    if course is None or not _moves(course, stretch):
        return steady
    moving = _smoothed(_moving(course, matching, stretch), pieces, stretch)
    if pieces.thorough:  # some passages do not tell what all of it has in common
        path = TimePath(steady.delay_frames, 0.0)
        second = steady.matching.of(pieces.second)
        spectra = course_along(pieces.first, second, path, *stretch).spectra
        steady = replace(steady, alike=alike(spectra), in_common=in_common(spectra))
    return steady if moving.alike < steady.alike else moving


def _smoothed(moving: Fit, pieces: Pieces, stretch: tuple[int, int]) -> Fit:
    """The same without its jumps, where a smooth course has as much in common.

    At another speed the end of a silence is soon taken for a sample or two that were dropped.
    """
    path = moving.path
    if path is None or not path.jumps or max(abs(jump.frames) for jump in path.jumps) > _FEW_FRAMES:
        return moving
    smooth = replace(path, jumps=())
    rate_hz = pieces.first.format.rate_hz
    seconds = max((stretch[1] - stretch[0]) / rate_hz / 40.0, SHORTEST_WINDOW_S)
    length = round(min(seconds, WINDOW_S) * rate_hz)
    course = course_by_phase(
        pieces.first, moving.matching.of(pieces.second), smooth, length, *stretch, overlooked=False
    )
    if course is None or course.fitted.path.jumps:
        return moving
    other = _moving(course, moving.matching, stretch)
    return other if other.alike >= moving.alike else moving


def _finely(found: Fit, pieces: Pieces) -> Fit:
    """The course laid finely about what was found, or just that."""
    path = found.path or TimePath(found.delay_frames, 0.0)
    ends = path.delay_at(np.array([pieces.start, pieces.stop], dtype=np.float64)).tolist()
    stretch = _reachable(pieces, *ends)
    if not _long(stretch, pieces):
        return found
    second = found.matching.of(pieces.second)
    course = follow_finely(pieces.first, second, path, *stretch)
    if course is None:
        return found
    wow = wow_percent(course.fitted.path, pieces.first.format.rate_hz, *stretch)
    return replace(_moving(course, found.matching, stretch), wow_percent=wow)


def _constant(pieces: Pieces, search_s: float) -> ConstantDelay:
    return constant_delay(pieces.first, pieces.second, pieces.start, pieces.stop, search_s)


def _steady(constant: ConstantDelay, pieces: Pieces) -> Fit:
    """By one delay for all, and how sure it is that the clock stays."""
    found = Fit(
        constant.delay_frames,
        constant.gain,
        constant.matching,
        constant.in_common,
        constant.alike,
        constant.uncertainty_frames,
        constant.repeat,
    )
    if not pieces.follows or constant.repeat or not _long_enough(pieces):
        return found
    slope = _slope(constant)
    if slope is None:
        return found
    return replace(found, drift_ppm=0.0, drift_uncertainty_ppm=1e6 * slope[1])


def _moving(course: Course, matching: Matching, stretch: tuple[int, int]) -> Fit:
    """By a delay that changes."""
    fitted = course.fitted
    path = fitted.path
    ends = path.smooth_delay_at(np.array(stretch, dtype=np.float64))
    drift_ppm = -1e6 * float(np.diff(ends)[0]) / (stretch[1] - stretch[0])
    if not path.wander and not _sloping(fitted.slope, fitted.slope_uncertainty):
        path, drift_ppm = _level(path, sum(stretch) / 2.0), 0.0
    return Fit(
        delay_frames=float(path.delay_at(np.zeros(1))[0]),
        gain=course.gain,
        matching=matching,
        in_common=in_common(course.spectra),
        alike=alike(course.spectra),
        uncertainty_frames=course.uncertainty_frames,
        drift_ppm=drift_ppm,
        drift_uncertainty_ppm=1e6 * fitted.slope_uncertainty,
        path=path,
    )


def _sightings(pieces: Pieces, constant: ConstantDelay) -> tuple[Matching, list[Sighting]]:
    """How the channels match, and where the second was seen, if not by one delay everywhere."""
    matching = constant.matching
    if constant.in_common < _SURELY_IN_COMMON or pieces.thorough:
        matching, alone = _each_alone(pieces, constant)
        if pieces.thorough or any(
            abs(each.lag - constant.delay_frames) >= _APART_FRAMES for each in alone
        ):
            return matching, alone
        matching = constant.matching
    slope = _slope(constant)
    if slope is None:
        return matching, []
    delays = constant.delays
    apart = np.abs(delays.frames - constant.delay_frames)
    unsteady = (apart > _LEAST_WANDER_FRAMES) & (apart > _SURE_TIMES * delays.uncertainty)
    excursion = abs(slope[0]) * (pieces.stop - pieces.start)
    if not unsteady.any() and (excursion < _LEAST_EXCURSION_FRAMES or not _sloping(*slope)):
        return matching, []
    return matching, [Sighting(float(at), constant.delay_frames) for at in delays.at]


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
        near = round(_NEAR_S * rate_hz)
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


def _slope(constant: ConstantDelay) -> tuple[float, float] | None:
    """How the passages' own delays rise, in frames a frame, and how sure that is."""
    delays = constant.delays
    known = np.isfinite(delays.uncertainty)
    if known.sum() < 3:
        return None
    chosen = Delays(delays.at[known], delays.frames[known], delays.uncertainty[known])
    fitted = fit_path(chosen, int(chosen.at[0]), int(chosen.at[-1]) + 1)
    return fitted.slope, fitted.slope_uncertainty


def _sloping(slope: float, uncertainty: float) -> bool:
    return abs(slope) > _SURE_TIMES * uncertainty


def _moves(course: Course, stretch: tuple[int, int]) -> bool:
    """Whether a course is more than one delay for all, beyond doubt."""
    fitted = course.fitted
    if fitted.path.jumps:
        return True
    along = np.linspace(*stretch, 200)
    excursion = float(np.ptp(fitted.path.delay_at(along)))
    sloping = _sloping(fitted.slope, fitted.slope_uncertainty)
    return excursion >= (_LEAST_EXCURSION_FRAMES if sloping else _LEAST_WANDER_FRAMES)


def _level(path: TimePath, middle: float) -> TimePath:
    """A course without slope; a delay close to a whole number of frames is one."""
    offset = float(path.smooth_delay_at(np.array([middle]))[0])
    whole = round(offset)
    offset = float(whole) if abs(offset - whole) < _SETTLED_FRAMES else offset
    return TimePath(offset, 0.0, jumps=path.jumps)


def _reachable(pieces: Pieces, before: float, after: float) -> tuple[int, int]:
    """The stretch of the first that the second has, by how late it is at both ends."""
    start = max(pieces.start, WARP_REACH_FRAMES + _SLACK - math.floor(before))
    end = pieces.second.format.frames - WARP_REACH_FRAMES - _SLACK - math.ceil(after)
    return start, min(pieces.stop, end)


def _long_enough(pieces: Pieces) -> bool:
    frames = min(pieces.stop - pieces.start, pieces.second.format.frames)
    return frames >= _SHORTEST_FOR_DRIFT_S * pieces.first.format.rate_hz


def _long(stretch: tuple[int, int], pieces: Pieces) -> bool:
    return stretch[1] - stretch[0] >= 0.5 * _SHORTEST_FOR_DRIFT_S * pieces.first.format.rate_hz
