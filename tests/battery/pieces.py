"""The pieces that the battery is run on: synthesised textures, the samples, a folder of music."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from tests.battery import textures

Audio = NDArray[np.float64]

MUSIC = Path(__file__).parents[2] / "samples" / "music"
SECONDS = 10.0
FADE_S = 0.02
SAMPLES = ("drums", "trio", "voice")
TEXTURES: dict[str, Callable[[float], Audio]] = {
    "solo": textures.solo,
    "sparse": textures.sparse,
    "wash": textures.wash,
    "shared": textures.shared,
}
FOLDER = "STAGEFX_TRUST_MUSIC"
"""The environment variable that names a folder of music to run on as well."""
KINDS = {".flac", ".wav", ".ogg", ".aif", ".aiff", ".mp3", ".opus"}


@dataclass(frozen=True, eq=False)
class Piece:
    """Music or a texture, faded at both ends; equal to itself alone."""

    name: str
    audio: Audio
    rate_hz: int

    @property
    def frames(self) -> int:
        return len(self.audio)

    @property
    def seconds(self) -> float:
        return self.frames / self.rate_hz

    def at(self, seconds: float) -> int:
        return round(seconds * self.rate_hz)


def faded(audio: Audio, rate_hz: int, seconds: float = FADE_S) -> Audio:
    """Raised-cosine fades at both ends, from and to zero."""
    frames = round(seconds * rate_hz)
    ramp = np.sin(0.5 * np.pi * (np.arange(frames) + 0.5) / frames)[:, None] ** 2
    result = audio.copy()
    result[:frames] *= ramp
    result[-frames:] *= ramp[::-1]
    return result


@cache
def piece(name: str, seconds: float = SECONDS) -> Piece:
    """A texture or a sample by its name."""
    if name in TEXTURES:
        return Piece(name, faded(TEXTURES[name](seconds), textures.RATE_HZ), textures.RATE_HZ)
    return cut_from(MUSIC / f"{name}.flac", start_s=5.0, seconds=seconds)


@cache
def cut_from(place: Path, *, start_s: float, seconds: float) -> Piece:
    """A passage of a file; of a shorter file what lies in its middle."""
    with soundfile.SoundFile(place) as file:
        wanted = round(seconds * file.samplerate)
        start = min(round(start_s * file.samplerate), max(0, (file.frames - wanted) // 2))
        file.seek(start)
        audio = file.read(wanted, always_2d=True)
        return Piece(place.stem, faded(audio, file.samplerate), file.samplerate)


def folder_of_music() -> Path | None:
    named = os.environ.get(FOLDER)
    return Path(named) if named else None


def pieces_in(folder: Path, *, start_s: float = 30.0, seconds: float = SECONDS) -> Iterator[Piece]:
    """Ten seconds from half a minute into each stereo file that is long enough to have them."""
    for place in sorted(folder.rglob("*")):
        if place.suffix.lower() in KINDS:
            about = soundfile.info(place)
            if about.channels == 2 and about.duration >= seconds + 2.0:
                yield cut_from(place, start_s=start_s, seconds=seconds)


def own_pieces(seconds: float = SECONDS) -> list[Piece]:
    """Every piece that lies in the repository or is made here."""
    return [piece(name, seconds) for name in (*SAMPLES, *TEXTURES)]
