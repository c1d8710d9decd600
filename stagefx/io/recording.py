"""Audio that can be read anywhere, and a window that moves forwards through it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.blocks import as_block

if TYPE_CHECKING:
    from stagefx.io.files import AudioFormat


class Recording(Protocol):
    """Audio of known rate, channels and length, such as `open_audio` gives."""

    @property
    def format(self) -> AudioFormat:
        """Rate, channels, length."""

    @property
    def place(self) -> str:
        """What it is called in messages."""

    def read(self, start: int, stop: int) -> NDArray[np.float64]:
        """The audio from one frame up to another."""


@dataclass(frozen=True)
class HeldAudio:
    """Audio held in memory."""

    samples: NDArray[np.float64]
    rate_hz: int
    place: str = field(default="the audio", kw_only=True)

    @property
    def format(self) -> AudioFormat:
        """Rate, channels, length."""
        from stagefx.io.files import AudioFormat

        frames, channels = as_block(self.samples).shape
        return AudioFormat(self.rate_hz, channels, frames, bits=None, kind="memory")

    def read(self, start: int, stop: int) -> NDArray[np.float64]:
        """The audio from one frame up to another."""
        return as_block(self.samples)[start:stop].copy()


class ForwardWindow:
    """A stretch that moves forwards through a recording, silent outside it."""

    def __init__(self, recording: Recording) -> None:
        self._recording = recording
        self._frames = recording.format.frames
        self._first = 0
        self._held = np.zeros((0, recording.format.channels))

    def stretch(self, start: int, stop: int) -> NDArray[np.float64]:
        """The audio from one frame up to another, zeros outside the recording."""
        first, last = (min(max(frame, 0), self._frames) for frame in (start, stop))
        self._move(first, last)
        sound = self._held[: last - first]
        missing = stop - start - len(sound)
        if not missing:
            return sound
        before = min(max(first - start, 0), missing)
        return np.pad(sound, ((before, missing - before), (0, 0)))

    def _move(self, first: int, last: int) -> None:
        passed = first - self._first
        held = self._held[passed:] if 0 <= passed <= len(self._held) else self._held[:0]
        end = first + len(held)
        if end < last:
            fresh = self._recording.read(end, last)
            held = np.concatenate([held, fresh]) if len(held) else fresh
        self._first, self._held = first, held
