"""libsndfile at work on one open file, and what goes wrong there told with its time."""

from __future__ import annotations

import os
from typing import BinaryIO

import numpy as np
import soundfile
from numpy.typing import NDArray

from stagefx.dsp.blocks import GRID_FRAMES
from stagefx.errors import AudioError

Samples = NDArray[np.float64] | NDArray[np.int32]
_SKIPPED_AT_ONCE = 16 * GRID_FRAMES


class _Unsought(soundfile.SoundFile):  # type: ignore[misc]
    """A file whose reads are reads alone.

    The base class seeks to where it is after every read of a file that it may seek in.  Sought
    within lossy files, libsndfile lands beside the frame, and what is read depends on the blocks.
    """

    def seekable(self) -> bool:
        return False


class Decoder:
    """A decoder that can be sent to any frame."""

    def __init__(self, file: BinaryIO, *, place: str) -> None:
        self._file = file
        self._place = place
        self._position = 0
        self.sound = self._opened()

    def _opened(self) -> soundfile.SoundFile:
        number = self._file.fileno()
        os.lseek(number, 0, os.SEEK_SET)
        return _Unsought(number, closefd=False)

    def close(self) -> None:
        """Let the library go of the file."""
        self.sound.close()

    def read(self, first: int, block: Samples) -> None:
        """The audio from one frame on."""
        if first != self._position:
            self._go_to(first)
        self._next(block)

    def _go_to(self, frame: int) -> None:
        try:
            self.sound.seek(frame)
        except soundfile.LibsndfileError as error:
            raise self._damaged(frame, error) from None
        self._position = frame

    def _next(self, block: Samples) -> None:
        if not len(block):
            return
        try:
            got = len(self.sound.read(len(block), dtype=block.dtype.name, out=block))
        except soundfile.LibsndfileError as error:
            raise self._damaged(self._position, error) from None
        self._position += got
        if got < len(block):
            raise AudioError(
                f"{self._place} ends early: the sound stops at {self._time(self._position)}; "
                "it was cut off or damaged, so copy it again"
            )

    def _time(self, frame: int) -> str:
        rate_hz = self.sound.samplerate
        return f"{frame / rate_hz:.3f} s of {self.sound.frames / rate_hz:.3f} s"

    def _damaged(self, frame: int, error: soundfile.LibsndfileError) -> AudioError:
        return AudioError(
            f"{self._place} cannot be decoded past {self._time(frame)} ({library_reason(error)}); "
            "it was cut off or damaged, so copy it again"
        )


class ForwardDecoder(Decoder):
    """A decoder that is only ever run forwards, for files that are no row of samples.

    Lossy decoders land beside the frame that they are sent to; run from the beginning of the
    file they give the same samples whatever is asked for.
    """

    def _go_to(self, frame: int) -> None:
        if frame < self._position:
            self.sound.close()
            self.sound = self._opened()
            self._position = 0
        while self._position < frame:
            frames = min(_SKIPPED_AT_ONCE, frame - self._position)
            self._next(np.empty((frames, self.sound.channels)))


def library_reason(error: soundfile.LibsndfileError) -> str:
    """What the library says went wrong, fit for the middle of a sentence."""
    reason: str = error.error_string
    return reason.removeprefix("Error : ").rstrip(". ").strip()
