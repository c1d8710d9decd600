"""A second version made to match a first: at its sampling rate, its channels in its order."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import gcd

import numpy as np
from numpy.typing import NDArray

from stagefx.align.time_path import TimePath
from stagefx.align.warp import read_along
from stagefx.dsp.resampling import RateConverter
from stagefx.io.files import AudioFormat
from stagefx.io.recording import ForwardWindow, Recording

Array = NDArray[np.float64]

_SETTLING_FRAMES = 4096
"""Of the slower rate: what the converter has to have heard before it is right."""
_CHUNK_FRAMES = 1 << 16


class RateConverted:
    """A recording at another sampling rate, converted as it is read.

    soxr at its very high quality.  Read in order, each frame is converted once; a jump begins a
    little before the place that is asked for, on frames that both rates share, so that the
    result does not depend on where reading began.
    """

    def __init__(self, recording: Recording, rate_hz: int) -> None:
        made = recording.format
        common = gcd(made.rate_hz, rate_hz)
        self._recording = recording
        self._rates = (made.rate_hz, rate_hz)
        self._in_step, self._out_step = made.rate_hz // common, rate_hz // common
        frames = -(-made.frames * self._out_step // self._in_step)
        self.format: AudioFormat = replace(made, rate_hz=rate_hz, frames=frames, bits=None)
        self.place = recording.place
        self._next = self._first = 0
        self._held: Array = np.zeros((0, made.channels))
        self._begin(0)

    def read(self, start: int, stop: int) -> Array:
        """The audio from one frame up to another."""
        if not self._first <= start <= self._first + len(self._held) + _CHUNK_FRAMES:
            self._begin(start)
        parts, ready = [self._held], self._first + len(self._held)
        while ready < stop:
            fresh = self._more()
            ready += len(fresh)
            parts.append(fresh)
        held = np.concatenate(parts)[start - self._first :]
        self._held, self._first = held, start
        return held[: stop - start].copy()

    def _begin(self, frame: int) -> None:
        """Begin anew, early enough that the converter has settled at a frame."""
        slower = min(self._in_step, self._out_step)
        settling = -(-_SETTLING_FRAMES // slower)
        steps = max(frame // self._out_step - settling, 0)
        self._stream = RateConverter(*self._rates, self.format.channels)
        self._next = steps * self._in_step
        self._first = steps * self._out_step
        self._held = np.zeros((0, self.format.channels))

    def _more(self) -> Array:
        frames = self._recording.format.frames
        stop = min(self._next + _CHUNK_FRAMES, frames)
        if self._next >= frames:  # past the end the converter rings on into silence
            return np.zeros((_CHUNK_FRAMES, self.format.channels))
        block = self._recording.read(self._next, stop)
        self._next = stop
        return self._stream.through(block, last=stop >= frames)


@dataclass(frozen=True)
class Matching:
    """Which channel of a second version is which of the first, and which way up it is."""

    crossed: bool
    signs: tuple[int, ...]

    @property
    def polarity(self) -> int:
        """-1 where all channels are turned over."""
        return -1 if max(self.signs) < 0 else 1

    def turned(self, signs: tuple[int, ...]) -> Matching:
        """The same with some channels turned over once more."""
        pairs = zip(self.signs, signs, strict=True)
        return replace(self, signs=tuple(one * other for one, other in pairs))

    def put(self, block: Array) -> Array:
        """A block of the second, its channels in order and the right way up."""
        ordered = block[:, ::-1] if self.crossed else block
        if min(self.signs) > 0:
            return ordered
        return ordered * np.array(self.signs, dtype=np.float64)

    def of(self, second: Recording) -> Recording:
        """The second, its channels in order and the right way up."""
        return second if not self.crossed and min(self.signs) > 0 else _Put(second, self)


class _Put:
    """A recording whose channels are put in order and the right way up as it is read."""

    def __init__(self, recording: Recording, matching: Matching) -> None:
        self._recording, self._matching = recording, matching
        self.format = recording.format
        self.place = recording.place

    def read(self, start: int, stop: int) -> Array:
        """The audio from one frame up to another; a new array."""
        return np.ascontiguousarray(self._matching.put(self._recording.read(start, stop)))


class Along:
    """A recording of so many frames read along a course, ``y[m] = recording(m + delay(m))``."""

    def __init__(self, recording: Recording, path: TimePath, frames: int) -> None:
        self._path = path
        self.format: AudioFormat = replace(recording.format, frames=frames, bits=None)
        self.place = recording.place
        self._window = ForwardWindow(recording)

    def read(self, start: int, stop: int) -> Array:
        """The audio from one frame up to another; a new array."""
        stop = min(stop, self.format.frames)
        if stop <= start:
            return np.zeros((0, self.format.channels))
        parts = [
            read_along(self._window, self._path, here, min(here + _CHUNK_FRAMES, stop))
            for here in range(start, stop, _CHUNK_FRAMES)
        ]
        return np.concatenate(parts)


def at_speed(recording: Recording, slope: float) -> Recording:
    """A recording read along a straight line through its beginning."""
    frames = int((recording.format.frames - 1) / (1.0 + slope)) + 1
    return Along(recording, TimePath(0.0, slope), frames)


def at_rate_of(first: Recording, second: Recording) -> Recording:
    """A second version at the first's sampling rate."""
    rate_hz = first.format.rate_hz
    return second if second.format.rate_hz == rate_hz else RateConverted(second, rate_hz)
