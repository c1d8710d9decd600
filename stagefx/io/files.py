"""Audio read from files, block by block or anywhere, with one clear error where that fails."""

from __future__ import annotations

import difflib
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import BinaryIO, Self

import numpy as np
import soundfile
from numpy.typing import NDArray

from stagefx.dsp.blocks import GRID_FRAMES
from stagefx.errors import AudioError
from stagefx.io.decoding import Decoder, ForwardDecoder, library_reason
from stagefx.io.truncation import missing_bytes

STANDARD_STREAM = "-"
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8000, 384000
MOST_CHANNELS = 8

_BITS = MappingProxyType(
    {"PCM_U8": 8, "PCM_S8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
    | {"ALAC_16": 16, "ALAC_20": 20, "ALAC_24": 24, "ALAC_32": 32}
)
_KINDS = MappingProxyType(
    {"VORBIS": "Ogg Vorbis", "OPUS": "Ogg Opus", "MPEG_LAYER_III": "MP3", "WAVEX": "WAV"}
)
_EXACT = frozenset({"FLOAT", "DOUBLE", "ULAW", "ALAW"})
"""Not whole steps, but stored sample by sample: a decoder may jump to any of them."""
_COMPRESSED = frozenset({"FLAC"})
_READABLE = "give a WAV, FLAC, AIFF, OGG or MP3 file"
_SPOOL_BYTES = 1 << 20
_MOST_KEPT_BYTES = 1 << 26
_WHOLE_STEP = 2.0**-31
"""What a step of 32 bits means; multiplied by it, whole steps of fewer bits come out exactly."""


@dataclass(frozen=True)
class AudioFormat:
    """What kind of audio a file holds, and how much."""

    rate_hz: int
    channels: int
    frames: int
    bits: int | None
    kind: str

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.frames / self.rate_hz


class AudioReader:
    """Audio that is open for reading; made by `open_audio`, and a context manager.

    One reader belongs to one thread.
    """

    def __init__(self, file: BinaryIO, *, place: str) -> None:
        self.place = place
        self._file = file
        self._decoder = Decoder(file, place=place)
        sound = self._decoder.sound
        self.format = AudioFormat(
            rate_hz=sound.samplerate,
            channels=sound.channels,
            frames=sound.frames,
            bits=_BITS.get(sound.subtype),
            kind=_KINDS.get(sound.subtype, _KINDS.get(sound.format, sound.format)),
        )
        self._kept = np.empty((0, sound.channels), dtype=np.int32)
        self._known = 0
        if self.format.bits is None and sound.subtype not in _EXACT:
            self._decoder.close()
            self._decoder = ForwardDecoder(file, place=place)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._decoder.close()
        self._file.close()

    def blocks(
        self, frames: int = 16 * GRID_FRAMES, *, start: int = 0, stop: int | None = None
    ) -> Iterator[NDArray[np.float64]]:
        """The audio in order, a block at a time."""
        stop = self.format.frames if stop is None else stop
        self._check_stretch(start, stop)
        for first in range(start, stop, frames):
            yield self.read(first, min(first + frames, stop))

    def read(self, start: int, stop: int) -> NDArray[np.float64]:
        """The audio from one frame up to another."""
        self._check_stretch(start, stop)
        if start <= self._known < stop <= len(self._kept):
            self._decoder.read(self._known, self._kept[self._known : stop])
            self._known = stop
        if stop <= self._known:
            return np.multiply(self._kept[start:stop], _WHOLE_STEP, dtype=np.float64)
        block = np.empty((stop - start, self.format.channels))
        self._decoder.read(start, block)
        if self.format.bits is None:
            self._check_numbers(block, start)
        return block

    @property
    def is_lossy(self) -> bool:
        """Whether it is decoded forwards only, so that going back means beginning again."""
        return isinstance(self._decoder, ForwardDecoder)

    @property
    def is_compressed(self) -> bool:
        """Whether reading means decoding."""
        return self.is_lossy or self.format.kind in _COMPRESSED

    def keep(self) -> None:
        """Keep what is decoded from the beginning on, for it will be asked for again.

        At most 64 MiB of it, and only of files that hold whole steps.
        """
        if self.format.bits is not None and not len(self._kept):
            most = _MOST_KEPT_BYTES // (4 * self.format.channels)
            self._kept = np.empty((min(most, self.format.frames), self.format.channels), np.int32)

    def _check_stretch(self, start: int, stop: int) -> None:
        if not 0 <= start <= stop <= self.format.frames:
            rate_hz = self.format.rate_hz
            raise AudioError(
                f"{self.place} has no stretch from {start / rate_hz:.6g} s to "
                f"{stop / rate_hz:.6g} s; it is {self.format.duration_s:.6g} s long"
            )

    def _check_numbers(self, block: NDArray[np.float64], first: int) -> None:
        with np.errstate(all="ignore"):
            if np.isfinite(block.sum()):
                return
        wrong = np.argwhere(~np.isfinite(block))
        if not len(wrong):
            return
        frame, channel = (int(index) for index in wrong[0])
        what = "NaN" if np.isnan(block[frame, channel]) else "infinity"
        raise AudioError(
            f"{self.place} holds {what} at {(first + frame) / self.format.rate_hz:.6f} s, "
            f"channel {channel + 1}; write it anew from a source without"
        )


def open_audio(place: str | Path, *, name: str = "") -> AudioReader:
    """Open audio for reading.

    Parameters
    ----------
    place : str or Path
        Any file that libsndfile reads, or ``"-"`` for WAV on standard input, which is taken in
        whole and kept in a temporary file.
    name : str
        What messages call it; its place, if left out.

    Returns
    -------
    AudioReader
        To be used in a ``with`` statement.

    Raises
    ------
    AudioError
        There is no such file, it is a folder, or it may not be read.
    AudioError
        It is empty, cut off, no audio, or holds no frames.
    AudioError
        Its rate is not 8 to 384 kHz, or it has more than 8 channels.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.NamedTemporaryFile(suffix=".wav") as file:
    ...     soundfile.write(file.name, np.zeros((4800, 2)), 48000, subtype="PCM_24")
    ...     with open_audio(file.name) as reader:
    ...         print(reader.format.kind, reader.format.bits, reader.format.duration_s)
    WAV 24 0.1
    """
    if str(place) == STANDARD_STREAM:
        file, name = _spooled(sys.stdin.buffer), name or "standard input"
    else:
        file, name = _opened(Path(place)), name or str(place)
        if not file.seekable():  # a named pipe
            with file as pipe:
                file = _spooled(pipe)
    try:
        _check_whole(file, name)
        try:
            reader = AudioReader(file, place=name)
        except soundfile.LibsndfileError as error:
            raise AudioError(_not_audio(file, name, error)) from None
        _check_usable(reader.format, name)
    except BaseException:
        file.close()
        raise
    return reader


def _spooled(stream: BinaryIO) -> BinaryIO:
    try:
        with tempfile.TemporaryFile(prefix="stagefx-") as spool:
            shutil.copyfileobj(stream, spool, _SPOOL_BYTES)
            spool.flush()
            return os.fdopen(os.dup(spool.fileno()), "rb", buffering=0)
    except OSError as error:
        raise AudioError(
            f"standard input cannot be kept in {tempfile.gettempdir()} ({error.strerror}); "
            "make room there, or set TMPDIR to a place that has it"
        ) from None


def _opened(path: Path) -> BinaryIO:
    try:
        if path == Path():  # an empty name, too
            raise AudioError(
                "no name, or this folder's own, was given for music; give one audio file"
            )
        if path.is_dir():
            raise AudioError(f"{path} is a folder; give one audio file")
        return path.open("rb", buffering=0)
    except FileNotFoundError:
        raise AudioError(f"there is no file {path}{_nearest_file(path)}") from None
    except PermissionError:
        raise AudioError(f"{path} may not be read; change its permissions, or copy it") from None
    except OSError as error:
        raise AudioError(f"{path} cannot be read ({error.strerror}); {_READABLE}") from None


def _nearest_file(path: Path) -> str:
    try:
        names = [entry.name for entry in path.parent.iterdir()]
    except OSError:
        return f"; there is no folder {path.parent} either"
    close = difflib.get_close_matches(path.name, names, n=1, cutoff=0.6)
    return f"; did you mean '{close[0]}'?" if close else "; check its name and folder"


def _check_whole(file: BinaryIO, name: str) -> None:
    try:
        length = file.seek(0, os.SEEK_END)
        missing = missing_bytes(file) if length else 0
    except OSError as error:
        raise AudioError(f"{name} cannot be read ({error.strerror}); {_READABLE}") from None
    if length == 0:
        raise AudioError(f"{name} is empty (0 bytes); {_READABLE}")
    if missing:
        raise AudioError(
            f"{name} is cut off: at least {missing} bytes of what its header promises are missing; "
            "copy it again"
        )


def _not_audio(file: BinaryIO, name: str, error: soundfile.LibsndfileError) -> str:
    file.seek(0)
    head = file.read(512)
    if head.isascii() and all(byte >= 32 or byte in b"\t\n\f\r" for byte in head):
        return f"{name} is no audio: it holds text; {_READABLE}"
    return f"{name} is no audio that can be read ({library_reason(error)}); {_READABLE}"


def _check_usable(found: AudioFormat, name: str) -> None:
    if found.frames == 0:
        raise AudioError(f"{name} holds no sound (0 frames); give a file that does")
    if not LOWEST_RATE_HZ <= found.rate_hz <= HIGHEST_RATE_HZ:
        raise AudioError(
            f"{name} has {found.rate_hz} Hz, outside 8 to 384 kHz; convert its sampling rate"
        )
    if found.channels > MOST_CHANNELS:
        raise AudioError(
            f"{name} has {found.channels} channels, more than {MOST_CHANNELS}; "
            "give a file with fewer"
        )
