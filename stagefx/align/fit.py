"""The likeliest way in which a second version of a piece lies beside a first."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from stagefx.align.delay.constant import ConstantDelay, alike, constant_delay, in_common
from stagefx.align.delay.periodicity import Repeat
from stagefx.align.resample import Matching, at_speed
from stagefx.align.sightings import (
    LEAST_EXCURSION_FRAMES,
    LEAST_WANDER_FRAMES,
    NEAR_S,
    Pieces,
    find_sightings,
    is_sloping,
    seconded,
    slope_of,
)
from stagefx.align.time_path import TimePath
from stagefx.align.track.drift import (
    SHORTEST_WINDOW_S,
    WINDOW_S,
    Course,
    course_along,
    course_by_phase,
    follow,
)
from stagefx.align.track.speed import FASTEST, find_speed
from stagefx.align.track.windows import Sighting
from stagefx.align.track.wow import follow_finely, wow_percent
from stagefx.align.warp import WARP_REACH_FRAMES

LEAST_IN_COMMON = 0.5
"""Share of the second's power that has to follow the first for both to be the same music."""
LEAST_ALIKE = 0.2
"""Or the mean share of the bands: noise may hide some bands, and a hum outweigh all others."""

_LEAST_TOUCH = 0.5
"""Of the shorter version."""
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
_SETTLED_FRAMES = 1e-5
_SLACK = 256


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
    near = min(NEAR_S, pieces.search_s)
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
    matching, sightings = find_sightings(pieces, constant)
    found = _followed_along(steady, matching, sightings, pieces)
    agreed = [one for one in sightings if seconded(one, sightings)]
    if found.alike < _FINELY_ALIKE and len(agreed) < len(sightings):
        found = max(
            found,
            _followed_along(steady, matching, agreed, pieces),
            key=lambda each: each.alike,
        )
    return found


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
    slope = slope_of(constant)
    if slope is None:
        return found
    return replace(found, drift_ppm=0.0, drift_uncertainty_ppm=1e6 * slope[1])


def _moving(course: Course, matching: Matching, stretch: tuple[int, int]) -> Fit:
    """By a delay that changes."""
    fitted = course.fitted
    path = fitted.path
    ends = path.smooth_delay_at(np.array(stretch, dtype=np.float64))
    drift_ppm = -1e6 * float(np.diff(ends)[0]) / (stretch[1] - stretch[0])
    if not path.wander and not is_sloping(fitted.slope, fitted.slope_uncertainty):
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


def _moves(course: Course, stretch: tuple[int, int]) -> bool:
    """Whether a course is more than one delay for all, beyond doubt."""
    fitted = course.fitted
    if fitted.path.jumps:
        return True
    along = np.linspace(*stretch, 200)
    excursion = float(np.ptp(fitted.path.delay_at(along)))
    sloping = is_sloping(fitted.slope, fitted.slope_uncertainty)
    return excursion >= (LEAST_EXCURSION_FRAMES if sloping else LEAST_WANDER_FRAMES)


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
