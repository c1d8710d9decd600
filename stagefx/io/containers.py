"""Which containers can be written, and what each of them can hold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Literal

import soundfile

from stagefx.errors import AudioError, nearest

Bits = Literal["16", "24", "float"]
"""Word length of a written file; a lossy container takes no notice of it."""

BITS: tuple[Bits, ...] = ("16", "24", "float")

_MP3_RATES_HZ = frozenset({8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000})
_OPUS_RATES_HZ = frozenset({8000, 12000, 16000, 24000, 48000})
_VORBIS_HIGHEST_HZ = 200_000
"""Beyond it libvorbis has no settings, and libsndfile 1.2.2 crashes rather than say so."""
_AIFF_MOST_BYTES = 2**32 - 2**16

_INTEGER = MappingProxyType({"16": "PCM_16", "24": "PCM_24"})
_ALL = MappingProxyType({**_INTEGER, "float": "FLOAT"})


@dataclass(frozen=True, kw_only=True)
class Container:
    """A way to store audio."""

    name: str
    library_format: str | None
    encodings: Mapping[str, str]
    lossy: bool = False
    most_channels: int = 8
    rates_hz: frozenset[int] | None = None
    highest_rate_hz: int = 384_000
    most_bytes: int | None = None


WAV = Container(name="WAV", library_format=None, encodings=_ALL)
RF64 = Container(name="RF64", library_format=None, encodings=_ALL)
_AIFF = Container(name="AIFF", library_format="AIFF", encodings=_ALL, most_bytes=_AIFF_MOST_BYTES)

CONTAINERS = MappingProxyType(
    {
        ".wav": WAV,
        ".rf64": RF64,
        ".w64": Container(name="W64", library_format="W64", encodings=_ALL),
        ".flac": Container(name="FLAC", library_format="FLAC", encodings=_INTEGER),
        ".aif": _AIFF,
        ".aiff": _AIFF,
        ".ogg": Container(
            name="Ogg Vorbis",
            library_format="OGG",
            encodings=dict.fromkeys(BITS, "VORBIS"),
            lossy=True,
            highest_rate_hz=_VORBIS_HIGHEST_HZ,
        ),
        ".opus": Container(
            name="Ogg Opus",
            library_format="OGG",
            encodings=dict.fromkeys(BITS, "OPUS"),
            lossy=True,
            rates_hz=_OPUS_RATES_HZ,
        ),
        ".mp3": Container(
            name="MP3",
            library_format="MP3",
            encodings=dict.fromkeys(BITS, "MPEG_LAYER_III"),
            lossy=True,
            most_channels=2,
            rates_hz=_MP3_RATES_HZ,
        ),
    }
)
"""By the ending of the file's name."""


def container_for(path: Path, *, rate_hz: int, channels: int, bits: Bits) -> Container:
    """The container that a file's name asks for, if it can hold what is to be written."""
    container = CONTAINERS.get(path.suffix.lower())
    if container is None:
        ending = f"ends in '{path.suffix}'" if path.suffix else "has no ending"
        raise AudioError(
            f"{path} {ending}, so its container is not known"
            f"{nearest(path.suffix.lower(), CONTAINERS)}"
        )
    check_holds(container, rate_hz=rate_hz, channels=channels, bits=bits)
    _check_written_here(container, container.encodings[bits])
    return container


def _check_written_here(container: Container, encoding: str) -> None:
    library_format = container.library_format
    if library_format is None:
        return
    if library_format not in soundfile.available_formats() or (
        encoding not in soundfile.available_subtypes(library_format)
    ):
        raise AudioError(
            f"the libsndfile of this machine cannot write {container.name}; "
            "write .wav or .flac, or install libsndfile 1.1 or newer"
        )


def check_holds(container: Container, *, rate_hz: int, channels: int, bits: Bits) -> None:
    """Refuse what a container cannot hold."""
    name = container.name
    if bits not in BITS:
        raise AudioError(f"the word length is 16, 24 or float, not '{bits}'")
    if bits not in container.encodings:
        raise AudioError(f"{name} cannot hold {bits} samples; use 24 bits, or write .wav")
    if not 1 <= channels <= container.most_channels:
        raise AudioError(
            f"{name} holds 1 to {container.most_channels} channels, not {channels}"
            + ("; write .wav or .flac" if container.most_channels < 8 else "")
        )
    if container.rates_hz is not None and rate_hz not in container.rates_hz:
        known = ", ".join(str(rate) for rate in sorted(container.rates_hz))
        raise AudioError(f"{name} cannot hold {rate_hz} Hz; it knows {known}; write .wav or .flac")
    if not 8000 <= rate_hz <= container.highest_rate_hz:
        raise AudioError(
            f"{name} holds rates from 8 to {container.highest_rate_hz / 1000:g} kHz, "
            f"not {rate_hz} Hz"
            + ("; write .wav or .flac" if container.highest_rate_hz < 384_000 else "")
        )
