"""The course of a delay that does not stay: a clock that drifts, samples that were dropped.

First every window of about a second is sought on its own, to a fraction of a frame.  Then the
second is read along the course so found, what the phase still shows is measured window by window,
and the course is laid anew; each round leaves a small part of what it took off.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stagefx.audio.jumps import find_jumps, placed
from stagefx.audio.path_fit import Delays, FittedPath, fit_path
from stagefx.audio.phase_slope import delay_from_phase, direction
from stagefx.audio.recording import ForwardWindow, Recording
from stagefx.audio.spectra import Complex, PairMeter, PairSpectra
from stagefx.audio.time_path import Jump, TimePath
from stagefx.audio.warp import WARP_REACH_FRAMES, read_along

Array = NDArray[np.float64]

WINDOW_S, SHORTEST_WINDOW_S = 1.0, 0.25
_WINDOWS = 40
"""A short piece is cut into as many windows, none shorter than a quarter of a second."""
SEGMENT_S = 0.17
_ROUNDS = 3
_CONVERGED_FRAMES = 1e-4
"""What is left after such a round is a small part of it."""
_LEAST_KNOWN_FRAMES = 1.0
"""A window that says less tells nothing."""
_COARSE_FRAMES = 0.02
"""How well a window is placed by its correlation."""
_COARSE_S = 0.5
"""Short, or a quick clock smears the place."""
_LEAST_LIKENESS = 0.25
_SLACK_FRAMES = 48
"""How far a window may lie beside what was seen before and after it."""

_AROUND = 24
_PLACES = np.linspace(-1.0, 1.0, 17)
_BETWEEN = (
    np.sinc(_PLACES[:, None] - np.arange(-_AROUND, _AROUND + 1)) * np.hanning(2 * _AROUND + 3)[1:-1]
)
"""What a band-limited curve has between its values, an eighth apart."""


@dataclass(frozen=True)
class Sighting:
    """A place where the second was found beyond doubt.

    Parameters
    ----------
    frame : float, frames
        On the first's scale.
    lag : float, frames
        How late the second is there.
    """

    frame: float
    lag: float


@dataclass(frozen=True)
class Course:
    """What following the second along the first has brought.

    Parameters
    ----------
    fitted : FittedPath
        Delay along the piece, and its straight part.
    spectra : PairSpectra
        Both pieces, the second read along that course.
    gain : float
        Least squares from first to second, polarity left out.
    uncertainty_frames : float, frames
        Standard deviation of the delay as a whole.
    """

    fitted: FittedPath
    spectra: PairSpectra
    gain: float
    uncertainty_frames: float


def follow(
    first: Recording,
    second: Recording,
    sightings: list[Sighting],
    polarity: int,
    start: int,
    stop: int,
) -> Course | None:
    """Follow the second along the first.

    Parameters
    ----------
    first, second : Recording
        Two versions of one rate and number of channels.
    sightings : list of Sighting, one or more
        Where the second lies, here and there, in order.
    polarity : int, 1 or -1
        Which way up the second is.
    start, stop : int, frames
        The stretch of the first.

    Returns
    -------
    Course or None
        None where too little was found.

    Examples
    --------
    >>> from stagefx.audio.recording import HeldAudio
    >>> noise = np.random.default_rng(1).standard_normal((80_000, 1))
    >>> one, other = HeldAudio(noise, 8000), HeldAudio(np.delete(noise, 40_000, axis=0), 8000)
    >>> course = follow(one, other, [Sighting(100.0, 0.0)], 1, 100, 79_800)
    >>> course.fitted.path.jumps[0].frames, abs(course.fitted.path.jumps[0].frame - 40_001) < 9
    (-1.0, True)
    """
    rate_hz = first.format.rate_hz
    seconds = min(max((stop - start) / rate_hz / _WINDOWS, SHORTEST_WINDOW_S), WINDOW_S)
    length = round(seconds * rate_hz)
    short = min(round(_COARSE_S * rate_hz), length)
    coarse = _coarse(first, second, sightings, polarity, _begins(start, stop, short), short)
    if len(coarse.at) < 3:
        return None
    jumps = find_jumps(coarse)
    path = fit_path(coarse, start, stop, tuple(jumps)).path
    if jumps:
        path = placed(first, second, path, coarse.at, polarity)
        path = fit_path(coarse, start, stop, path.jumps).path
    return _refined(first, second, path, length, polarity, start, stop)


def _begins(start: int, stop: int, length: int) -> list[int]:
    """Where windows begin that reach from end to end, side by side or a little over each other."""
    many = -(-(stop - start) // length)
    return [round(begin) for begin in np.linspace(start, stop - length, many).tolist()]


def _coarse(
    first: Recording,
    second: Recording,
    sightings: list[Sighting],
    polarity: int,
    begins: list[int],
    length: int,
) -> Delays:
    """Each window sought on its own between what was seen before and after it."""
    x_window, y_window = ForwardWindow(first), ForwardWindow(second)
    seen_at = np.array([each.frame for each in sightings])
    lags = np.array([each.lag for each in sightings])
    found: list[tuple[float, float, float]] = []
    last: float | None = None
    for begin in begins:
        middle = begin + length / 2
        after = int(np.searchsorted(seen_at, middle))
        near = lags[max(after - 1, 0) : after + 1].tolist() + ([] if last is None else [last])
        low = math.floor(min(near)) - _SLACK_FRAMES
        high = math.ceil(max(near)) + _SLACK_FRAMES
        x = np.diff(x_window.stretch(begin, begin + length).T)
        y = np.diff(y_window.stretch(begin + low, begin + length + high).T)
        lag, likeness = _peak(x, polarity * y)
        if likeness >= _LEAST_LIKENESS:
            last = low + lag
            found.append((begin + _centre(x), last, _COARSE_FRAMES / likeness))
    at, frames, uncertainty = np.array(found).reshape(-1, 3).T
    return Delays(at, frames, uncertainty)


def _centre(movement: Array) -> float:
    """Where in a window most happens: the place its delay speaks of."""
    power = np.square(movement).sum(axis=0)
    return float((power * np.arange(1, len(power) + 1)).sum() / power.sum())


def _peak(x: Array, y: Array) -> tuple[float, float]:
    """How much later in y the movement x is found, and how like it is."""
    length = 1 << (y.shape[1] - 1).bit_length()
    cross = np.fft.rfft(x, length, axis=1).conj() * np.fft.rfft(y, length, axis=1)
    across = np.fft.irfft(cross.sum(axis=0), length)[: y.shape[1] - x.shape[1] + 1]
    total = np.concatenate([[0.0], np.cumsum(np.square(y).sum(axis=0))])
    power = float(np.square(x).sum()) * (total[x.shape[1] :] - total[: -x.shape[1]])
    if not power.max() > 0.0:
        return 0.0, 0.0
    likeness = across / np.sqrt(np.maximum(power, 1e-6 * power.max()))
    best = int(np.argmax(likeness))
    return best + _top(likeness, best), float(likeness[best])


def _top(heights: Array, best: int) -> float:
    """How far from a highest value the curve between the values has its top."""
    if not _AROUND <= best < len(heights) - _AROUND:
        return 0.0
    fine = _BETWEEN @ heights[best - _AROUND : best + _AROUND + 1]
    top = min(max(int(np.argmax(fine)), 1), len(fine) - 2)
    before, here, after = fine[top - 1 : top + 2].tolist()
    bend = before - 2.0 * here + after
    rest = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return float(_PLACES[top] + rest * (_PLACES[1] - _PLACES[0]))


def _refined(
    first: Recording,
    second: Recording,
    path: TimePath,
    length: int,
    polarity: int,
    start: int,
    stop: int,
) -> Course | None:
    response: Complex | None = None
    for turn in range(_ROUNDS):
        windows = _Windows(first, second, path, length, polarity)
        delays = windows.measured(start, stop, response)
        if len(delays.at) < 3:
            return None
        spectra = windows.total.spectra()
        whole = delay_from_phase(spectra)
        jumps = path.jumps
        if turn < _ROUNDS - 1 and (more := _overlooked(delays, path)):
            jumps = (*jumps, *more)
            jumps = tuple(sorted(jumps, key=lambda jump: jump.frame))
            rough = fit_path(delays, start, stop, jumps).path
            jumps = placed(first, second, rough, delays.at, polarity).jumps
        fitted = fit_path(delays, start, stop, jumps)
        at = np.linspace(start, stop, 200)
        moved = float(np.abs(fitted.path.delay_at(at) - path.delay_at(at)).max())
        response, path = direction(spectra, whole.frames), fitted.path
        if moved < _CONVERGED_FRAMES:
            break
    return Course(fitted, spectra, windows.gain, whole.uncertainty_frames)


def _overlooked(delays: Delays, path: TimePath) -> list[Jump]:
    """Jumps that stand out only now that drift blurs nothing any more."""
    known = TimePath(0.0, 0.0, jumps=path.jumps).delay_at(delays.at)
    return find_jumps(replace(delays, frames=delays.frames - known))


class _Windows:
    """Windows of both pieces side by side, the second read along a course."""

    def __init__(
        self, first: Recording, second: Recording, path: TimePath, length: int, polarity: int
    ) -> None:
        self._pieces = first, second
        self._path, self._length, self._polarity = path, length, polarity
        made = first.format
        self._segment = segment_frames(length, rate_hz=made.rate_hz)
        self.total = PairMeter(made.rate_hz, made.channels, self._segment)
        self._across = self._power = 0.0

    @property
    def gain(self) -> float:
        """Least-squares gain of all that was read."""
        return 1.0 + self._across / self._power if self._power > 0.0 else 0.0

    def measured(self, start: int, stop: int, response: Complex | None) -> Delays:
        """The course with what the phase of each window still shows added to it."""
        made = self._pieces[0].format
        found = []
        for begin, x, y in self._read(start, stop):
            meter = PairMeter(made.rate_hz, made.channels, self._segment)
            meter.add(x, y)
            spectra = meter.spectra()
            self.total.add_spectra(spectra)
            self._across += float(np.einsum("nc,nc->", x, y - x))
            self._power += float(np.einsum("nc,nc->", x, x))
            rest = delay_from_phase(spectra, response)
            if rest.uncertainty_frames < _LEAST_KNOWN_FRAMES:
                at = begin + _centre(np.diff(x.T))
                found.append((at, rest.frames, max(rest.uncertainty_frames, 1e-9)))
        places, frames, uncertainty = np.array(found).reshape(-1, 3).T
        return Delays(places, frames + self._path.delay_at(places), uncertainty)

    def _read(self, start: int, stop: int) -> Iterator[tuple[int, Array, Array]]:
        x_window, y_window = (ForwardWindow(each) for each in self._pieces)
        for stretch in self._stretches(start, stop):
            for begin in _begins(*stretch, self._length):
                end = begin + self._length
                y = read_along(y_window, self._path, begin, end)
                yield begin, x_window.stretch(begin, end), self._polarity * y

    def _stretches(self, start: int, stop: int) -> Iterator[tuple[int, int]]:
        """What lies between the jumps, as far as a window fits in."""
        for jump in self._path.jumps:
            end, after = jump.left_out(WARP_REACH_FRAMES)
            if end - start >= self._length:
                yield start, end
            start = max(start, after)
        if stop - start >= self._length:
            yield start, stop


def segment_frames(length: int, *, rate_hz: int) -> int:
    """How long the segments are of which delays are read.

    Parameters
    ----------
    length : int, frames
        The shortest stretch.
    rate_hz : int, Hz
        Sampling rate.

    Returns
    -------
    int, frames
        The power of two nearest 0.13 s, or less, so that several fit into the stretch.

    Examples
    --------
    >>> segment_frames(3 * 44100, rate_hz=44100), segment_frames(11025, rate_hz=44100)
    (4096, 2048)
    """
    target = math.log2(min(SEGMENT_S * rate_hz, length / 4))
    return 1 << round(target - 0.4)
