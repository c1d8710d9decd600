"""Music through lossy coding, as an audience gets it: coded, decoded, and how many bits it took.

The coders are those of libsndfile, which takes a compression level from 0, least, to 1, most.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.audio.recording import Recording
from stagefx.errors import AudioError

_BLOCK = 1 << 16
OPUS_RATE_HZ = 48000
_MP3_RATES_HZ = frozenset({8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000})


@dataclass(frozen=True)
class Coding:
    """A way of coding.

    Parameters
    ----------
    name : str
        As it is told.
    container, subtype : str
        libsndfile's names.
    compression_level : float, 0 to 1
        0 keeps most.
    constant_rate : bool
        Whether the bit rate is constant.

    Examples
    --------
    >>> Coding("Opus", "OGG", "OPUS", 0.75).rate_hz(44100)
    48000
    """

    name: str
    container: str
    subtype: str
    compression_level: float
    constant_rate: bool = False

    def rate_hz(self, music_rate_hz: int) -> int:
        """The rate it is coded at.

        Parameters
        ----------
        music_rate_hz : int, Hz
            The music's.

        Returns
        -------
        int, Hz
            The music's own wherever the coding takes it, else 48 kHz.
        """
        if self.subtype == "OPUS":
            return OPUS_RATE_HZ
        fits = music_rate_hz in _MP3_RATES_HZ or self.subtype == "VORBIS"
        return music_rate_hz if fits else OPUS_RATE_HZ


CODINGS = (
    Coding("Opus", "OGG", "OPUS", 0.75),
    Coding("Opus, high rate", "OGG", "OPUS", 0.5),
    Coding("Vorbis", "OGG", "VORBIS", 0.75),
    Coding("Vorbis, high rate", "OGG", "VORBIS", 0.4),
    Coding("MP3", "MP3", "MPEG_LAYER_III", 0.7, constant_rate=True),
    Coding("MP3, high rate", "MP3", "MPEG_LAYER_III", 0.4, constant_rate=True),
    Coding("MP3, highest rate", "MP3", "MPEG_LAYER_III", 0.0, constant_rate=True),
)
"""What an audience commonly gets: about 110 to 130 kbit/s, and about twice as much."""


def code(
    recording: Recording,
    coding: Coding,
    place: Path,
    *,
    start: int = 0,
    stop: int | None = None,
) -> float:
    """Code a stretch of music into a file.

    Parameters
    ----------
    recording : Recording
        The music.
    coding : Coding
        How.
    place : Path
        A new file.
    start, stop : int, frames
        The stretch; all of it where left out.

    Returns
    -------
    float, kbit/s
        Size of the file over the length of the music, headers and all.

    Raises
    ------
    AudioError
        libsndfile cannot code so many channels, or was built without this coder.

    Examples
    --------
    >>> import tempfile
    >>> from stagefx.audio.recording import HeldAudio
    >>> noise = HeldAudio(0.1 * np.random.default_rng(1).standard_normal((96000, 1)), 48000)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     100.0 < code(noise, CODINGS[-1], Path(folder, "noise.mp3")) < 400.0
    True
    """
    import soundfile

    made = recording.format
    stop = made.frames if stop is None else min(stop, made.frames)
    more: dict[str, Any] = {"bitrate_mode": "CONSTANT"} if coding.constant_rate else {}
    try:
        with soundfile.SoundFile(
            place, "w", coding.rate_hz(made.rate_hz), made.channels, coding.subtype,
            format=coding.container, compression_level=coding.compression_level, **more,
        ) as coded:  # fmt: skip
            for block in _at_rate(recording, coding, start, stop):
                coded.write(block)
    except (soundfile.LibsndfileError, ValueError) as error:
        raise AudioError(
            f"{recording.place} cannot be coded as {coding.name} ({error}); give music of one or "
            "two channels at 44.1 or 48 kHz"
        ) from None
    return place.stat().st_size * 8e-3 * made.rate_hz / max(stop - start, 1)


def _at_rate(
    recording: Recording, coding: Coding, start: int, stop: int
) -> Iterator[NDArray[np.float64]]:
    made = recording.format
    rate_hz = coding.rate_hz(made.rate_hz)
    stream = None
    if rate_hz != made.rate_hz:
        import soxr

        stream = soxr.ResampleStream(made.rate_hz, rate_hz, made.channels, dtype="float64")
    for begin in range(start, stop, _BLOCK):
        block = recording.read(begin, min(begin + _BLOCK, stop))
        yield block if stream is None else stream.resample_chunk(block)
    if stream is not None:
        yield stream.resample_chunk(np.zeros((0, made.channels)), last=True)


def at_rate_of(
    recording: Recording, coding: Coding, *, start: int = 0, stop: int | None = None
) -> NDArray[np.float64]:
    """A stretch of music as the coder gets it.

    Parameters
    ----------
    recording : Recording
        The music.
    coding : Coding
        How it will be coded.
    start, stop : int, frames
        The stretch; all of it where left out.

    Returns
    -------
    ndarray of float64 [frames, channels], full scale 1.0
        At the coding's rate.

    Examples
    --------
    >>> from stagefx.audio.recording import HeldAudio
    >>> at_rate_of(HeldAudio(np.zeros((44100, 2)), 44100), CODINGS[0]).shape
    (48000, 2)
    """
    stop = recording.format.frames if stop is None else min(stop, recording.format.frames)
    parts = list(_at_rate(recording, coding, start, stop))
    return np.concatenate(parts) if parts else np.zeros((0, recording.format.channels))
