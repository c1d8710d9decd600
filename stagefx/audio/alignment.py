"""Where, how loud and which way up a second version of a piece lies beside a first."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from stagefx.audio.alignment_remarks import remarks_on
from stagefx.audio.constant_delay import ConstantDelay, constant_delay, in_common
from stagefx.audio.drift import Course, Sighting, follow
from stagefx.audio.lag import Lag, find_lag
from stagefx.audio.matched import Swapped, at_rate_of
from stagefx.audio.path_fit import Delays, fit_path
from stagefx.audio.recording import Recording
from stagefx.audio.shift import REACH_FRAMES, whole_and_fraction
from stagefx.audio.time_path import Jump, TimePath
from stagefx.audio.warp import WARP_REACH_FRAMES
from stagefx.errors import ComparisonError

SEARCH_S = 4.0
LEAST_IN_COMMON = 0.5
"""Share of the second's power that has to follow the first for both to be the same music."""

DriftPolicy = Literal["where it is there", "never"]

_NEAR_S = 0.1
_SURELY_IN_COMMON = 0.99
"""Versions of which this much agrees within 0.1 s are not sought farther off."""
_SHORTEST_FOR_DRIFT_S = 6.5
_SURE_TIMES = 6.0
"""A slope counts from as many standard deviations on."""
_LEAST_EXCURSION_FRAMES = 1e-3
_LEAST_WANDER_FRAMES = 0.05
"""What a stage does may look like as much: its delay can follow the music's level."""
_SETTLED_FRAMES = 1e-5
_LEAST_LIKENESS = 0.25
_SIGHTING_S = 0.4
"""Short, or a quick clock smears the place."""
_APART_FRAMES = 2
_SLACK = 256


@dataclass(frozen=True)
class Alignment:
    """Where, how loud and which way up a second version lies beside a first.

    Parameters
    ----------
    delay_frames : float, frames
        How late the second is at the first's frame 0.
    gain_db : float, dB
        Level of the second re the first: least squares over the aligned music, all channels.
    polarity : int, 1 or -1
        -1 where the second is turned over.
    drift_ppm : float or None, parts per million
        How much the second runs fast: positive where it comes earlier and earlier.  0 where none
        was found; None where it was not measured.
    drift_uncertainty_ppm : float or None, parts per million
        Its standard deviation.
    delay_uncertainty_frames : float or None, frames
        Standard deviation of the delay, as the coherence tells it.
    path : TimePath or None
        The delay along the piece, where it changes.
    swapped : bool
        Whether left and right are exchanged in the second.
    remarks : tuple of str
        What the reader has to know.
    """

    delay_frames: float
    gain_db: float
    polarity: int
    drift_ppm: float | None = None
    drift_uncertainty_ppm: float | None = None
    delay_uncertainty_frames: float | None = None
    path: TimePath | None = None
    swapped: bool = False
    remarks: tuple[str, ...] = ()

    @property
    def gain(self) -> float:
        """What the first is multiplied by to become the second, polarity included."""
        return float(self.polarity * 10.0 ** (self.gain_db / 20.0))

    @property
    def jumps(self) -> tuple[Jump, ...]:
        """Where samples were dropped or doubled, on the first's scale."""
        return self.path.jumps if self.path else ()

    def common_stretch(self, first_frames: int, second_frames: int) -> tuple[int, int]:
        """The frames of the first that the second has, too.

        Parameters
        ----------
        first_frames, second_frames : int, frames
            Lengths, both at the first's sampling rate.

        Returns
        -------
        start, stop : int, frames
            On the first's scale; stop is at most start where there are none.
        """
        if self.path is not None:
            return self.path.common_stretch(first_frames, second_frames, WARP_REACH_FRAMES)
        whole, fraction = whole_and_fraction(self.delay_frames)
        reach = REACH_FRAMES if fraction else 0
        return max(0, reach - whole), min(first_frames, second_frames - whole - reach)


def align(
    first: Recording,
    second: Recording,
    *,
    start: int = 0,
    stop: int | None = None,
    search_s: float = SEARCH_S,
    drift: DriftPolicy = "where it is there",
    together: bool = False,
) -> Alignment:
    """Find the delay, the gain and the polarity between two versions of a piece.

    Parameters
    ----------
    first, second : Recording
        Two versions of one number of channels; the second is converted to the first's rate.
    start, stop : int, frames
        The stretch of the first to go by; all of it where left out.
    search_s : float, s
        How far apart they may begin.
    drift : ``"where it is there"`` or ``"never"``
        Whether to look for a delay that changes.
    together : bool
        Whether both were worked out from one piece: they begin together by one clock, and are the
        same music however unlike.

    Returns
    -------
    Alignment
        With the course of the delay, where it changes beyond doubt.

    Raises
    ------
    ComparisonError
        Their channels differ in number.
    ComparisonError
        One of them is silent.
    ComparisonError
        They have less than 0.1 s in common.
    ComparisonError
        They are not the same music.

    Notes
    -----
    Goes by up to eight passages of 3 s.  Of a pure delay, 10 s of music with a floor 60 dB below
    it are right within 2e-5 frame.  Drift is looked for in 6.5 s or more; where the passages show
    it, the whole piece is followed, window by window.

    Examples
    --------
    >>> from stagefx.audio.recording import HeldAudio
    >>> noise = np.random.default_rng(1).standard_normal((48000, 1))
    >>> late = np.pad(noise[:-7], ((7, 0), (0, 0))) / -2.0
    >>> found = align(HeldAudio(noise, 48000), HeldAudio(late, 48000))
    >>> found.delay_frames, round(found.gain_db, 6), found.polarity, found.drift_ppm
    (7.0, -6.0206, -1, None)
    """
    _check_channels(first, second)
    stop = first.format.frames if stop is None else min(stop, first.format.frames)
    if together:
        return _together(_Pieces(first, second, start, stop, 0.0, "never"))
    pieces = _Pieces(first, at_rate_of(first, second), start, stop, search_s, drift)
    found = _found(pieces)
    if first.format.channels == 2 and (found.exchanged or found.in_common < LEAST_IN_COMMON):
        other = _found(replace(pieces, second=Swapped(pieces.second)))
        if other.in_common > found.in_common:
            found = replace(other, alignment=replace(other.alignment, swapped=True))
    if found.in_common < LEAST_IN_COMMON:
        raise ComparisonError(_not_the_same(first, second, found.in_common, search_s))
    return replace(
        found.alignment, remarks=remarks_on(first, second, found.alignment, found.constant.repeat)
    )


@dataclass(frozen=True)
class _Pieces:
    """What is aligned, and how."""

    first: Recording
    second: Recording
    start: int
    stop: int
    search_s: float
    drift: DriftPolicy


@dataclass(frozen=True)
class _Found:
    """An alignment, and the share of the second's power that follows the first by it."""

    alignment: Alignment
    in_common: float
    constant: ConstantDelay

    @property
    def exchanged(self) -> bool:
        """Whether the channels fit better the other way round."""
        return self.constant.exchanged


def _together(pieces: _Pieces) -> Alignment:
    """What is left to be found where both begin together: a part of a frame, gain and polarity."""
    found = _steady(_constant(pieces, 0.0), pieces)
    return replace(found, drift_ppm=0.0, drift_uncertainty_ppm=0.0)


def _found(pieces: _Pieces) -> _Found:
    near = min(_NEAR_S, pieces.search_s)
    constant, search_s = _constant(pieces, near), near
    if constant.in_common < _SURELY_IN_COMMON and pieces.search_s > near:
        search_s = pieces.search_s
        constant = max(constant, _constant(pieces, search_s), key=lambda each: each.in_common)
    steady = _Found(_steady(constant, pieces), constant.in_common, constant)
    if pieces.drift == "never" or not _long_enough(pieces) or constant.repeat:
        return steady
    polarity, sightings = _sightings(pieces, constant, search_s)
    if not sightings:
        return steady
    stretch = _reachable(pieces, sightings)
    if not _long(stretch, pieces):
        return steady
    course = follow(pieces.first, pieces.second, sightings, polarity, *stretch)
    if course is None or not _moves(course, stretch):
        return steady
    common = in_common(course.spectra)
    if common < constant.in_common or course.gain <= 0.0:
        return steady
    return _Found(_moving(course, polarity, stretch), common, constant)


def _constant(pieces: _Pieces, search_s: float) -> ConstantDelay:
    return constant_delay(pieces.first, pieces.second, pieces.start, pieces.stop, search_s)


def _steady(constant: ConstantDelay, pieces: _Pieces) -> Alignment:
    """The alignment by one delay for all, and how sure it is that the clock stays."""
    gain_db = 20.0 * math.log10(constant.gain) if constant.gain > 0.0 else 0.0
    alignment = Alignment(
        constant.delay_frames,
        gain_db,
        constant.polarity,
        delay_uncertainty_frames=constant.uncertainty_frames,
    )
    if pieces.drift == "never" or constant.repeat or not _long_enough(pieces):
        return alignment
    slope = _slope(constant)
    if slope is None:
        return alignment
    return replace(alignment, drift_ppm=0.0, drift_uncertainty_ppm=1e6 * slope[1])


def _moving(course: Course, polarity: int, stretch: tuple[int, int]) -> Alignment:
    """The alignment by a delay that changes."""
    fitted = course.fitted
    path = fitted.path
    ends = path.smooth_delay_at(np.array(stretch, dtype=np.float64))
    drift_ppm = -1e6 * float(np.diff(ends)[0]) / (stretch[1] - stretch[0])
    if not path.wander and not _sloping(fitted.slope, fitted.slope_uncertainty):
        path, drift_ppm = _level(path, sum(stretch) / 2.0), 0.0
    return Alignment(
        delay_frames=float(path.delay_at(np.zeros(1))[0]),
        gain_db=20.0 * math.log10(course.gain),
        polarity=polarity,
        drift_ppm=drift_ppm,
        drift_uncertainty_ppm=1e6 * fitted.slope_uncertainty,
        delay_uncertainty_frames=course.uncertainty_frames,
        path=path,
    )


def _sightings(
    pieces: _Pieces, constant: ConstantDelay, search_s: float
) -> tuple[int, list[Sighting]]:
    """Which way up, and where, the second was seen, if that is not by one delay everywhere."""
    polarity = constant.polarity
    if constant.in_common < _SURELY_IN_COMMON:
        polarity, alone = _each_alone(pieces, constant, search_s)
        if any(abs(each.lag - constant.delay_frames) >= _APART_FRAMES for each in alone):
            return polarity, alone
    slope = _slope(constant)
    if slope is None:
        return polarity, []
    delays = constant.delays
    apart = np.abs(delays.frames - constant.delay_frames)
    unsteady = (apart > _LEAST_WANDER_FRAMES) & (apart > _SURE_TIMES * delays.uncertainty)
    excursion = abs(slope[0]) * (pieces.stop - pieces.start)
    if not unsteady.any() and (excursion < _LEAST_EXCURSION_FRAMES or not _sloping(*slope)):
        return polarity, []
    return polarity, [Sighting(float(at), constant.delay_frames) for at in delays.at]


def _each_alone(
    pieces: _Pieces, constant: ConstantDelay, search_s: float
) -> tuple[int, list[Sighting]]:
    """The middle of every passage sought by itself, and which way up most of them are."""
    rate_hz = pieces.first.format.rate_hz
    search, most = round(search_s * rate_hz), round(_SIGHTING_S * rate_hz)
    seen: list[tuple[Sighting, Lag]] = []
    for begin, end in constant.passages:
        trimmed = max(end - begin - most, 0) // 2
        part = begin + trimmed, end - trimmed
        lag = find_lag(pieces.first, pieces.second, [part], search_frames=search)
        if lag.likeness >= _LEAST_LIKENESS:
            seen.append((Sighting(sum(part) / 2.0, float(lag.frames)), lag))
    turned = sum(lag.polarity * lag.likeness for _, lag in seen)
    return 1 if turned >= 0.0 else -1, [one for one, lag in seen if lag.polarity * turned > 0.0]


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


def _reachable(pieces: _Pieces, sightings: list[Sighting]) -> tuple[int, int]:
    """The stretch of the first that the second has, by what was seen at both ends."""
    before, after = sightings[0].lag, sightings[-1].lag
    start = max(pieces.start, WARP_REACH_FRAMES + _SLACK - math.floor(before))
    end = pieces.second.format.frames - WARP_REACH_FRAMES - _SLACK - math.ceil(after)
    return start, min(pieces.stop, end)


def _long_enough(pieces: _Pieces) -> bool:
    frames = min(pieces.stop - pieces.start, pieces.second.format.frames)
    return frames >= _SHORTEST_FOR_DRIFT_S * pieces.first.format.rate_hz


def _long(stretch: tuple[int, int], pieces: _Pieces) -> bool:
    return stretch[1] - stretch[0] >= 0.5 * _SHORTEST_FOR_DRIFT_S * pieces.first.format.rate_hz


def _check_channels(first: Recording, second: Recording) -> None:
    one, other = first.format.channels, second.format.channels
    if one != other:
        raise ComparisonError(
            f"{first.place} has {_count(one)} and {second.place} {_count(other)}; "
            "give two files with the same number"
        )


def _count(channels: int) -> str:
    return "1 channel" if channels == 1 else f"{channels} channels"


def _not_the_same(first: Recording, second: Recording, share: float, search_s: float) -> str:
    one, other = first.format.rate_hz, second.format.rate_hz
    converted = "" if one == other else f" (converted from {other} Hz to {one} Hz)"
    return (
        f"{first.place} and {second.place}{converted} are not the same music: only "
        f"{100.0 * share:.0f} % of the second's power follows the first, however it is moved "
        f"within {search_s:g} s; give two versions of one piece that begin together"
    )
