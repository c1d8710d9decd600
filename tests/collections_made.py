"""Small folders of music made for a survey, and what is found in a survey's file."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import soundfile

from tests.played import song

RATE_HZ = 44100


def collection(folder: Path, *, pieces: int, seconds: float = 1.0) -> Path:
    """Pieces of many levels, in folders and in folders of these, one channel or two."""
    for number in range(pieces):
        place = folder / f"disc {number % 3}" / f"piece {number:02d}.{('wav', 'flac')[number % 2]}"
        place.parent.mkdir(parents=True, exist_ok=True)
        audio = song(round(seconds * RATE_HZ), 1 + number % 2, seed=number, rate_hz=RATE_HZ)
        level = 10.0 ** (-((number * 7) % 30) / 20.0)
        soundfile.write(place, level * audio, RATE_HZ, subtype="PCM_16")
        os.utime(place, (1_700_000_000 + number, 1_700_000_000 + number))
    return folder


def lines_of(place: Path) -> list[dict[str, Any]]:
    """The rows of a survey's file, its heading left out; each line is whole."""
    text = place.read_bytes()
    assert text.endswith(b"\n")
    heading, *rows = [json.loads(line) for line in text.splitlines()]
    assert "survey" in heading
    return rows


def rows_so_far(place: Path) -> int:
    """How many rows a survey has written, while it may be writing more."""
    return max(place.read_bytes().count(b"\n") - 1, 0) if place.exists() else 0
