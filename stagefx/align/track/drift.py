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

from stagefx.align.delay.phase_slope import delay_from_phase, direction, segment_frames
from stagefx.align.path_fit import Delays, FittedPath, fit_path
from stagefx.align.resample import Along
from stagefx.align.time_path import Jump, TimePath
from stagefx.align.track.dropouts import find_jumps, placed
from stagefx.align.track.windows import Sighting, centre, seek_windows
from stagefx.align.warp import WARP_REACH_FRAMES
from stagefx.dsp.spectra import Complex, PairMeter, PairSpectra
from stagefx.io.recording import ForwardWindow, Recording

Array = NDArray[np.float64]

WINDOW_S, SHORTEST_WINDOW_S = 1.0, 0.25
_WINDOWS = 40
"""A short piece is cut into as many windows, none shorter than a quarter of a second."""
_ROUNDS = 3
_CONVERGED_FRAMES = 1e-4
"""What is left after such a round is a small part of it."""
_LEAST_KNOWN_FRAMES = 1.0
"""A window that says less tells nothing."""
_COARSE_S = 0.5
"""Short, or a quick clock smears the place."""


@dataclass(frozen=True)
class Course:
    """What following the second along the first has brought."""

    fitted: FittedPath
    spectra: PairSpectra
    gain: float
    uncertainty_frames: float


def follow(
    first: Recording,
    second: Recording,
    sightings: list[Sighting],
    start: int,
    stop: int,
) -> Course | None:
    """Follow the second along the first."""
    rate_hz = first.format.rate_hz
    seconds = min(max((stop - start) / rate_hz / _WINDOWS, SHORTEST_WINDOW_S), WINDOW_S)
    length = round(seconds * rate_hz)
    short = min(round(_COARSE_S * rate_hz), length)
    coarse = seek_windows(first, second, sightings, _begins(start, stop, short), short)
    if len(coarse.at) < 3:
        return None
    jumps = find_jumps(coarse)
    path = fit_path(coarse, start, stop, tuple(jumps)).path
    if jumps:
        path = placed(first, second, path, coarse.at)
        path = fit_path(coarse, start, stop, path.jumps).path
    return course_by_phase(first, second, path, length, start, stop)


def course_along(
    first: Recording, second: Recording, path: TimePath, start: int, stop: int
) -> Course:
    """What both have in common along a known course."""
    length = round(min(WINDOW_S * first.format.rate_hz, stop - start))
    windows = _Windows(first, second, path, length)
    windows.measured(start, stop, None)
    spectra = windows.total.spectra()
    fitted = FittedPath(path, path.slope, math.inf, math.inf)
    return Course(fitted, spectra, windows.gain, delay_from_phase(spectra).uncertainty_frames)


def _begins(start: int, stop: int, length: int, overlap: int = 1) -> list[int]:
    """Where windows begin that reach from end to end, so many over each other, or a little more."""
    many = -(-(stop - start) * overlap // length) - (overlap - 1)
    return [round(begin) for begin in np.linspace(start, stop - length, many).tolist()]


def course_by_phase(
    first: Recording,
    second: Recording,
    path: TimePath,
    length: int,
    start: int,
    stop: int,
    *,
    overlap: int = 1,
    rounds: int = _ROUNDS,
    overlooked: bool = True,
) -> Course | None:
    """A course laid anew by what the phase still shows along it, window by window.

    Jumps that were overlooked so far are sought only in a delay that else moves slowly.
    """
    response: Complex | None = None
    for turn in range(rounds):
        windows = _Windows(first, second, path, length, overlap)
        delays = windows.measured(start, stop, response)
        if len(delays.at) < 3:
            return None
        spectra = windows.total.spectra()
        whole = delay_from_phase(spectra)
        jumps = path.jumps
        if overlooked and turn < rounds - 1 and (more := _overlooked(delays, path)):
            jumps = (*jumps, *more)
            jumps = tuple(sorted(jumps, key=lambda jump: jump.frame))
            rough = fit_path(delays, start, stop, jumps).path
            jumps = placed(first, second, rough, delays.at).jumps
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
        self, first: Recording, second: Recording, path: TimePath, length: int, overlap: int = 1
    ) -> None:
        self._pieces = first, second
        self._path, self._length, self._overlap = path, length, overlap
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
                at = begin + centre(np.diff(x.T))
                found.append((at, rest.frames, max(rest.uncertainty_frames, 1e-9)))
        places, frames, uncertainty = np.array(found).reshape(-1, 3).T
        return Delays(places, frames + self._path.delay_at(places), uncertainty)

    def _read(self, start: int, stop: int) -> Iterator[tuple[int, Array, Array]]:
        first, second = self._pieces
        straightened = Along(second, self._path, first.format.frames)
        x_window, y_window = ForwardWindow(first), ForwardWindow(straightened)
        for stretch in self._stretches(start, stop):
            for begin in _begins(*stretch, self._length, self._overlap):
                end = begin + self._length
                yield begin, x_window.stretch(begin, end), y_window.stretch(begin, end)

    def _stretches(self, start: int, stop: int) -> Iterator[tuple[int, int]]:
        """What lies between the jumps, as far as a window fits in."""
        for jump in self._path.jumps:
            end, after = jump.left_out(WARP_REACH_FRAMES)
            if end - start >= self._length:
                yield start, end
            start = max(start, after)
        if stop - start >= self._length:
            yield start, stop
