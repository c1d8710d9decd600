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

from stagefx.dsp.resampling import RateConverter
from stagefx.errors import AudioError
from stagefx.io.recording import Recording

_BLOCK = 1 << 16
OPUS_RATE_HZ = 48000
_FRAMES = {"OPUS": 960, "VORBIS": 128, "MPEG_LAYER_III": 1152}
"""Opus: 20 ms (RFC 6716); MP3: 1152 samples (ISO/IEC 11172-3); Vorbis moves between its two block
lengths by the shorter one's step, half of 256 with libvorbis (from memory)."""
_MP3_RATES_HZ = frozenset({8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000})


@dataclass(frozen=True)
class Coding:
    """A way of coding: its name as people read it, libsndfile's names, and how much it keeps."""

    name: str
    container: str
    subtype: str
    compression_level: float
    constant_rate: bool = False

    def rate_hz(self, music_rate_hz: int) -> int:
        """The rate it is coded at: the music's wherever the coding takes it, else 48 kHz."""
        if self.subtype == "OPUS":
            return OPUS_RATE_HZ
        fits = music_rate_hz in _MP3_RATES_HZ or self.subtype == "VORBIS"
        return music_rate_hz if fits else OPUS_RATE_HZ

    @property
    def frame(self) -> int:
        """Samples, at the coding's rate, after which its division of time repeats."""
        return _FRAMES[self.subtype]


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
    """Code a stretch of music into a new file; returns its size over the music's length, kbit/s."""
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
        stream = RateConverter(made.rate_hz, rate_hz, made.channels, quality="HQ")
    for begin in range(start, stop, _BLOCK):
        block = recording.read(begin, min(begin + _BLOCK, stop))
        yield block if stream is None else stream.through(block)
    if stream is not None:
        yield stream.through(np.zeros((0, made.channels)), last=True)


def at_rate_of(
    recording: Recording, coding: Coding, *, start: int = 0, stop: int | None = None
) -> NDArray[np.float64]:
    """A stretch of music as the coder gets it: at the coding's rate, full scale 1.0."""
    stop = recording.format.frames if stop is None else min(stop, recording.format.frames)
    parts = list(_at_rate(recording, coding, start, stop))
    return np.concatenate(parts) if parts else np.zeros((0, recording.format.channels))
