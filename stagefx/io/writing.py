"""Audio written whole or not at all, dithered where it is rounded, and always the same bytes."""

from __future__ import annotations

import sys
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.dsp.blocks import as_block
from stagefx.dsp.dither import quantise
from stagefx.errors import AudioError
from stagefx.io.atomic_file import WholeFile, not_writable
from stagefx.io.containers import WAV, Bits, check_holds, container_for
from stagefx.io.encoders import Encoder, LibraryEncoder, WaveEncoder

STANDARD_STREAM = "-"


class AudioWriter:
    """An audio file in the making; a context manager.

    Parameters
    ----------
    place : str or Path
        Where the file will be; its ending names the container: .wav (RF64 beyond 4 GiB), .rf64,
        .w64, .flac, .aif, .aiff, .ogg, .opus, .mp3.  ``"-"`` is WAV on standard output.
    rate_hz : int, Hz, 8000 to 384000
        Sampling rate.
    channels : int, 1 to 8
        Number of channels.
    bits : ``"16"``, ``"24"`` or ``"float"``
        Word length; a lossy container takes no notice of it.
    force : bool, default: False
        Whether a file that is there may be replaced.
    dither : bool, default: True
        Off for audio that lies on the steps of the format already.
    seed : int, default: 0
        What the user chose; with the frame's place it decides the dither.
    stream : int, default: 0
        Set apart two versions of a piece that need dither independent of each other.

    Attributes
    ----------
    frames : int
        Frames written.
    overs : int
        Samples beyond full scale, which an integer format clipped.

    Raises
    ------
    AudioError
        The container cannot hold such audio.
    OutputError
        Something is there already, or the place cannot be written.

    Notes
    -----
    The file is written beside its place under a hidden name and appears when the ``with``
    statement ends well; after any exception, an interruption among them, nothing is left.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     place = Path(folder, "step.wav")
    ...     with AudioWriter(place, rate_hz=48000, channels=1, bits="24") as writer:
    ...         writer.write(np.full((480, 1), 0.5))
    ...     writer.frames, writer.overs, place.stat().st_size
    (480, 0, 1520)
    """

    def __init__(
        self,
        place: str | Path,
        *,
        rate_hz: int,
        channels: int,
        bits: Bits,
        force: bool = False,
        dither: bool = True,
        seed: int = 0,
        stream: int = 0,
    ) -> None:
        self.frames = 0
        self.overs = 0
        self._channels = channels
        self._dither, self._seed, self._stream = dither, seed, stream
        self._whole: WholeFile | None = None
        self._encoder: Encoder
        if str(place) == STANDARD_STREAM:
            self._name, container = "standard output", WAV
            check_holds(WAV, rate_hz=rate_hz, channels=channels, bits=bits)
        else:
            self._name = str(place)
            container = container_for(Path(place), rate_hz=rate_hz, channels=channels, bits=bits)
            self._whole = WholeFile(place, force=force)
        self._bits = None if bits == "float" or container.lossy else int(bits)
        try:
            if container.library_format is not None and self._whole is not None:
                self._encoder = LibraryEncoder(
                    self._whole.file, container, rate_hz=rate_hz, channels=channels, bits=bits
                )
            else:
                self._encoder = WaveEncoder(
                    self._whole.file if self._whole else sys.stdout.buffer,
                    container,
                    rate_hz=rate_hz,
                    channels=channels,
                    bits=bits,
                    piped=self._whole is None,
                )
        except BaseException as error:
            if self._whole is not None:
                self._whole.drop()
            if isinstance(error, OSError):
                raise not_writable(self._name, error) from None
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if error is None:
            self.close()
        else:
            self.discard()

    def write(self, block: ArrayLike) -> None:
        """Append a block.

        Parameters
        ----------
        block : array-like [frames, channels], full scale 1.0
            Any number of frames; beyond full scale an integer format clips, which is counted.

        Raises
        ------
        AudioError
            The block has not the shape (frames, channels), or holds NaN or infinity.
        OutputError
            The disk is full, or the file cannot be written for another reason.
        """
        block = as_block(block, channels=self._channels)
        self._check_numbers(block)
        if not len(block):
            return
        samples: NDArray[np.int32] | NDArray[np.float64] = block
        if self._bits is not None:
            quantised = quantise(
                block,
                bits=self._bits,
                first_frame=self.frames,
                seed=self._seed,
                stream=self._stream,
                dither=self._dither,
            )
            samples = quantised.codes
            self.overs += quantised.overs
        try:
            self._encoder.write(samples)
        except OSError as error:
            raise not_writable(self._name, error) from None
        self.frames += len(block)

    def _check_numbers(self, block: NDArray[np.float64]) -> None:
        with np.errstate(all="ignore"):
            if np.isfinite(block.sum()) or np.isfinite(block).all():
                return
        frame = self.frames + int(np.argwhere(~np.isfinite(block))[0, 0])
        raise AudioError(
            f"{self._name} would hold a value that is no number at frame {frame}; "
            "nothing was written"
        )

    def close(self) -> None:
        """Finish the file and put it in its place.

        Raises
        ------
        OutputError
            The disk is full, the place was taken meanwhile, or it cannot be written; nothing is
            left.
        """
        try:
            self._encoder.finish()
        except BaseException as error:
            self.discard()
            if isinstance(error, OSError):
                raise not_writable(self._name, error) from None
            raise
        if self._whole is not None:
            self._whole.keep()

    def discard(self) -> None:
        """Leave nothing behind."""
        self._encoder.abandon()
        if self._whole is not None:
            self._whole.drop()
