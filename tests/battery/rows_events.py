"""What happens seldom: gaps, clicks, and short clipping."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tests.battery import changes, traits
from tests.battery.case import MAY, SHOULD, WILL, Case, Make, Pair, Setting, Want, event

QUIET_DB, SILENT_DB = -40.0, -70.0
"""A quiet passage, re full scale; and one in which nothing but room and threshold is heard."""
DENSE = frozenset({"wash"})
"""Noise hides a click as nothing else does."""
NOISY = DENSE | {"sparse"}
"""A flattened peak of noise is noise again."""


def cases() -> Iterator[Case]:
    # A gap of 2 ms in noise is heard (Snell & Hu, JASA 1995).
    yield Case("gap/10 ms of zeros", _zeros(0.010, MAY), swapped=True)
    yield Case("gap/100 ms of zeros", _zeros(0.100, WILL))
    yield Case("gap/5 ms of zeros in noise", _zeros(0.005, MAY), near=True, only=("wash",))
    yield Case("gap/20 ms of zeros", _zeros(0.020, MAY, place=1), near=True)
    yield Case("gap/200 ms of zeros", _zeros(0.200, WILL, place=1), near=True)
    yield Case("gap/100 ms of zeros in one channel", _zeros(0.100, MAY, channels=1), near=True)

    quiet = ("drums", "voice", "sparse", "trio")
    yield Case("click/0.2 in a quiet passage", _quiet_click(0.2), only=quiet, swapped=True)
    yield Case("click/0.4 in a quiet passage", _quiet_click(0.4), near=True, only=quiet[:2])
    yield Case(
        "click/0.03 in silence", _quiet_click(0.03, SILENT_DB), near=True, only=("drums", "sparse")
    )
    yield Case("click/eight of 0.5", _clicks(8, 0.5))
    yield Case("click/twelve of 0.6", _clicks(12, 0.6), near=True)
    yield Case("click/0.5 at frame 2", _edge_click(2))
    yield Case("click/0.5 at frame 100", _edge_click(100), near=True)
    yield Case("click/0.5 at 40 frames before the end", _edge_click(-40))
    yield Case("click/0.5 at 3 frames before the end", _edge_click(-3), near=True)

    yield Case("clipping/6 dB for 0.2 s in three places", _clipping(6.0, 0.2, 3, WILL))
    yield Case("clipping/10 dB for 0.2 s in two places", _clipping(10.0, 0.2, 2, WILL), near=True)
    yield Case("clipping/3 dB for 0.2 s in three places", _clipping(3.0, 0.2, 3, SHOULD), near=True)


def _zeros(seconds: float, least: int, *, place: int = 0, channels: int = 2) -> Make:
    def make(s: Setting) -> Pair:
        at_s = traits.loud_places_s(s.piece, 2)[place]
        start, frames = s.piece.at(at_s - 0.5 * seconds), s.piece.at(seconds)
        second = s.audio.copy()
        second[start : start + frames, :channels] = 0.0
        found = event(at_s, within_s=0.5 * seconds + 0.05)
        return s.pair(second, Want(least, WILL, (found,)))

    return make


def _quiet_click(height: float, quiet_db: float = QUIET_DB) -> Make:
    def make(s: Setting) -> Pair | None:
        at_s, level_db = traits.quiet_place(s.piece)
        if level_db > quiet_db:
            return None
        second = changes.clicked(s.audio, [s.piece.at(at_s)], height)
        return s.pair(second, Want(MAY, WILL, (event(at_s),)))

    return make


def _clicks(count: int, height: float) -> Make:
    def make(s: Setting) -> Pair:
        """One in each equal part, somewhere in it."""
        part = s.piece.seconds / count
        places_s = part * (np.arange(count) + s.random.uniform(0.2, 0.8, count))
        second = changes.clicked(s.audio, [s.piece.at(at_s) for at_s in places_s], height)
        least = MAY if s.piece.name in DENSE else WILL
        found = event(*places_s, count=1 if s.piece.name in DENSE else count // 2)
        return s.pair(second, Want(least, WILL, (found,)))

    return make


def _edge_click(frame: int) -> Make:
    def make(s: Setting) -> Pair:
        """Over the fade; dense noise masks forward and the room does the rest."""
        place = frame % s.piece.frames
        second = changes.clicked(s.audio, [place], 0.5)
        least = SHOULD if s.piece.name in DENSE else MAY
        named = (event(place / s.rate_hz),) if least == MAY else ()
        return s.pair(second, Want(least, WILL, named))

    return make


def _clipping(by_db: float, seconds: float, count: int, least: int) -> Make:
    def make(s: Setting) -> Pair | None:
        if s.piece.name in NOISY:
            return None
        places_s = traits.loud_places_s(s.piece, count)
        starts = [s.piece.at(at_s - 0.5 * seconds) for at_s in places_s]
        second = changes.clipped(s.audio, starts, s.piece.at(seconds), by_db)
        named = (event(*places_s, within_s=0.5 * seconds + 0.05),) if least >= MAY else ()
        return s.pair(second, Want(least, WILL, named))

    return make
