"""The two ways in which samples become bytes: our own WAV, and libsndfile for all else."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import current_thread, main_thread
from typing import Any, BinaryIO, Protocol

import numpy as np
import soundfile
from numpy.typing import NDArray

from stagefx.dsp.blocks import GRID_FRAMES
from stagefx.errors import AudioError
from stagefx.io.containers import RF64, Bits, Container
from stagefx.io.reproducible import steady_aiff, steady_ogg
from stagefx.io.wav_header import BYTES_PER_SAMPLE, sample_bytes, wave_header

Samples = NDArray[np.int32] | NDArray[np.float64]
"""Whole steps, or floating point, full scale 1.0; [frames, channels]."""

_ENCODED_AT_ONCE = 4 * GRID_FRAMES
"""Lossy encoders are fed on the grid, because what they make depends on how they are fed; and in
short pieces, because libsndfile's Vorbis encoder needs stack in proportion."""


class Encoder(Protocol):
    """Turns samples into the bytes of a file."""

    def write(self, samples: Samples) -> None:
        """Append samples."""

    def finish(self) -> None:
        """Write what is still owed: the last frames, the lengths in the header."""

    def abandon(self) -> None:
        """Let go without caring what becomes of the file."""


def _write_all(file: BinaryIO, data: bytes) -> None:
    rest = memoryview(data)
    while rest:
        rest = rest[file.write(rest) :]


class WaveEncoder:
    """WAV or RF64, to a file or to a pipe."""

    def __init__(
        self,
        file: BinaryIO,
        container: Container,
        *,
        rate_hz: int,
        channels: int,
        bits: Bits,
        piped: bool = False,
    ) -> None:
        self._file = file
        self._rf64 = container is RF64
        self._rate_hz, self._channels, self._bits = rate_hz, channels, bits
        self._piped = piped
        self._frames = 0
        _write_all(file, self._header(None if piped else 0))

    def _header(self, frames: int | None) -> bytes:
        return wave_header(
            rate_hz=self._rate_hz,
            channels=self._channels,
            bits=self._bits,
            frames=frames,
            rf64=self._rf64,
        )

    def write(self, samples: Samples) -> None:
        """Append samples."""
        _write_all(self._file, sample_bytes(samples, self._bits))
        self._frames += len(samples)

    def finish(self) -> None:
        """Write the length into the header."""
        if self._piped:
            self._file.flush()
            return
        if self._frames * self._channels * BYTES_PER_SAMPLE[self._bits] % 2:
            _write_all(self._file, b"\0")
        self._file.seek(0)
        _write_all(self._file, self._header(self._frames))

    def abandon(self) -> None:
        """Let go; there is nothing to let go of."""


class _Sink:
    """What the library writes to: keeps a failure for later, for nothing can be raised through it.

    Without it a full disk would go unnoticed, because not all of libsndfile's encoders look at
    what became of their bytes.
    """

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self.trouble: OSError | None = None
        self.seek, self.tell, self.read = file.seek, file.tell, file.read

    def write(self, data: bytes) -> int:
        try:
            if self.trouble is None:
                _write_all(self._file, data)
        except OSError as trouble:
            self.trouble = trouble
        return len(data)


def _frames_by_header(file: BinaryIO) -> int:
    """Frames in all by a FLAC file's first block, which the encoder fills in when all is written.

    M. Q. C. van Beurden, A. Weaver, RFC 9639 (2024), section 8.2: 36 bits from bit 172 on.
    """
    file.seek(0)
    head = file.read(26)
    return int.from_bytes(head[18:], "big") % 2**36 if len(head) == 26 else -1


class LibraryEncoder:
    """Everything that libsndfile writes.

    The library is never called in the main thread.  It calls back to write, and an interruption by
    the user, which Python raises in the main thread, would get lost there.  FLAC it writes to the
    open file itself, without calling back for every frame of it: its encoder minds what becomes of
    its bytes.
    """

    def __init__(
        self, file: BinaryIO, container: Container, *, rate_hz: int, channels: int, bits: Bits
    ) -> None:
        self._file = file
        self._container = container
        self._frame_bytes = channels * BYTES_PER_SAMPLE[bits]
        self._shift = 0 if bits == "float" else 32 - int(bits)
        self._frames = 0
        self._waiting: Samples = np.empty((0, channels))
        self._direct = container.library_format == "FLAC"
        self._sink = _Sink(file)
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="encoder")
        try:
            # An executor that is interrupted while it starts its thread never waits for it, so the
            # thread is there before it has anything to leave open.
            self._run(int)
            self._run(
                self._open,
                samplerate=rate_hz,
                channels=channels,
                format=container.library_format,
                subtype=container.encodings[bits],
            )
        except BaseException:
            self._worker.shutdown()
            if hasattr(self, "_sound"):  # interrupted while it opened
                self._sound.close()
            raise
        if self._sink.trouble is not None:
            self.abandon()
            raise self._sink.trouble

    def _open(self, **settings: Any) -> None:
        if self._direct:
            place = self._file.fileno()
            self._sound = soundfile.SoundFile(place, "w", closefd=False, **settings)
        else:
            self._sound = soundfile.SoundFile(self._sink, "w", **settings)

    def write(self, samples: Samples) -> None:
        """Append samples."""
        self._frames += len(samples)
        most = self._container.most_bytes
        if most is not None and self._frames * self._frame_bytes > most:
            raise AudioError(
                f"{self._container.name} cannot hold more than 4 GiB; write .wav, .w64 or .flac"
            )
        if samples.dtype == np.int32:
            samples = np.left_shift(samples, self._shift)  # the library takes the upper bits
        if self._container.lossy:
            samples = np.concatenate([self._waiting, samples])
            whole = len(samples) - len(samples) % _ENCODED_AT_ONCE
            samples, self._waiting = samples[:whole], samples[whole:]
        self._run_and_check(self._encode, samples)

    def _encode(self, samples: Samples) -> None:
        step = _ENCODED_AT_ONCE if self._container.lossy else max(len(samples), 1)
        for first in range(0, len(samples), step):
            self._sound.write(samples[first : first + step])

    def finish(self) -> None:
        """Write the last frames and the header, and make the bytes the same in every run."""
        self._run_and_check(self._encode, self._waiting)
        self._run_and_check(self._sound.close)
        self._worker.shutdown()
        if self._direct and self._frames:  # without any there is no header either
            self._check_header()
        if self._container.library_format == "OGG":
            steady_ogg(self._file)
        elif self._container.library_format == "AIFF":
            steady_aiff(self._file)

    def abandon(self) -> None:
        """Close the library's side without caring what becomes of the file."""
        self._worker.shutdown()
        try:
            self._sound.close()
        except soundfile.LibsndfileError:
            return

    def _run(self, function: Callable[..., Any], *arguments: Any, **options: Any) -> Any:
        try:
            if current_thread() is not main_thread():
                return function(*arguments, **options)
            return self._worker.submit(function, *arguments, **options).result()
        except (soundfile.LibsndfileError, AssertionError) as error:  # it asserts that all is taken
            if self._direct:
                self._find_trouble()
            raise self._sink.trouble or self._refused(error) from None

    def _run_and_check(self, function: Callable[..., None], *arguments: Any) -> None:
        self._run(function, *arguments)
        if self._sink.trouble is not None:
            raise self._sink.trouble

    def _check_header(self) -> None:
        if _frames_by_header(self._file) != self._frames:
            self._find_trouble()
            raise self._sink.trouble or OSError(errno.EIO, "some of what was written is not there")

    def _find_trouble(self) -> None:
        """Write on, to be told what kept the library from it; the file is lost already."""
        self._file.seek(0, os.SEEK_END)
        self._sink.write(bytes(_ENCODED_AT_ONCE * self._frame_bytes))

    def _refused(self, error: BaseException) -> AudioError:
        reason = getattr(error, "error_string", "").rstrip(". ") or "it takes no more samples"
        return AudioError(f"{self._container.name} cannot be encoded ({reason}); write .wav")
