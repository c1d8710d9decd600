"""Cuts, repeats, what is missing and what is added."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tests.battery import changes, traits
from tests.battery.case import (
    INAUDIBLE,
    MAY,
    SHOULD,
    WILL,
    Case,
    Make,
    Pair,
    Setting,
    Want,
    edit,
)

SILENT_DB = -100.0
TWICE = ("repeated", "inserted")


def cases() -> Iterator[Case]:
    # A rhythm shifts audibly from 6 ms or 2.5 % of the interval (Friberg & Sundberg, JASA 1995); a
    # splice is heard for what it leaves in the waveform, too, which depends on the place.
    for frames, near in ((1, False), (2, True), (5, True)):
        yield Case(f"cut/{frames} frames", _cut_frames(frames, SHOULD, place=near), near=near)
    for frames, near in ((3, False), (64, False), (1, True), (30, True)):
        yield Case(f"repeat/{frames} frames", _repeat_frames(frames, SHOULD), near=near)
    yield Case("cut/10 ms", _cut(0.010, SHOULD))
    yield Case("cut/25 ms", _cut(0.025, SHOULD, place=1), near=True)
    yield Case("cut/40 ms", _cut(0.040, MAY))
    yield Case("cut/60 ms", _cut(0.060, MAY, place=1), near=True)
    yield Case("cut/100 ms", _cut(0.100, WILL), swapped=True)
    yield Case("cut/150 ms", _cut(0.150, WILL, place=1), near=True)
    yield Case("cut/1.2 s", _cut(1.2, WILL), near=True)
    yield Case("repeat/20 ms", _repeat(0.020, MAY))
    yield Case("repeat/50 ms", _repeat(0.050, MAY), near=True)
    yield Case("repeat/120 ms", _repeat(0.120, WILL), near=True)
    yield Case("repeat/100 ms of silence put in", _silence_put_in)
    yield Case("repeat/100 ms of noise put in", _noise_put_in, near=True)
    yield Case("cut/2 ms of silence", _silence_cut(0.002), only=("drums", "voice", "sparse"))
    yield Case("cut/5 ms of silence", _silence_cut(0.005), only=("sparse",), near=True)

    yield Case("missing/last third", _end_missing(1.0 / 3.0))
    yield Case("missing/last 0.5 s", _end_missing(0.05), near=True)
    yield Case("missing/all but the first second", _end_missing(0.9), near=True)
    yield Case("missing/first 3 s", _start_missing(3.0))
    yield Case("missing/first 0.5 s", _start_missing(0.5), near=True)
    yield Case("missing/last 2 ms of the fade", _tail_missing, near=True)
    yield Case("added/2 s of noise after the end", _noise_added(2.0, -26.0, before=False))
    yield Case("added/0.3 s of noise before", _noise_added(0.3, -26.0, before=True), near=True)
    yield Case("added/0.5 s of noise after", _noise_added(0.5, -35.0, before=False), near=True)
    yield Case("added/2 s of silence before", _silence_added(2.0, before=True))
    yield Case("added/2 s of silence after", _silence_added(2.0, before=False))
    yield Case("added/0.3 s of silence before", _silence_added(0.3, before=True), near=True)
    yield Case("added/4 s of silence before", _silence_added(4.0, before=True), near=True)
    yield Case("added/6 s of silence after", _silence_added(6.0, before=False), near=True)
    yield Case("missing/1 s of silence before", _silence_missing, near=True)


def _least(s: Setting, least: int) -> int:
    """What must be heard of a splice, where pitch or rhythm tells it."""
    told = traits.has_pitch(s.piece) or traits.has_rhythm(s.piece)
    return least if told else min(least, SHOULD)


def _cut_frames(frames: int, least: int, *, place: int = 0) -> Make:
    def make(s: Setting) -> Pair:
        at_s = traits.loud_places_s(s.piece, 2)[place]
        start = s.piece.at(at_s) - frames // 2
        after_s = (start + frames) / s.rate_hz
        length_s = None if traits.repeats_itself(s.piece, after_s) else frames / s.rate_hz
        found = edit("cut", at_s=start / s.rate_hz, length_s=length_s)
        want = Want(_least(s, least), WILL, (found,))
        return s.pair(changes.without(s.audio, start, frames), want)

    return make


def _cut(seconds: float, least: int, *, place: int = 0) -> Make:
    return lambda s: _cut_frames(s.piece.at(seconds), least, place=place)(s)


def _repeat_frames(frames: int, least: int) -> Make:
    def make(s: Setting) -> Pair:
        start = s.piece.at(traits.loud_places_s(s.piece)[0]) - frames
        length_s = frames / s.rate_hz
        middle_s = start / s.rate_hz + 0.5 * length_s  # it starts, or starts again
        found = edit(*TWICE, at_s=middle_s, within_s=0.1 + 0.5 * length_s, length_s=length_s)
        want = Want(_least(s, least), WILL, (found,))
        return s.pair(changes.doubled(s.audio, start, frames), want)

    return make


def _repeat(seconds: float, least: int) -> Make:
    return lambda s: _repeat_frames(s.piece.at(seconds), least)(s)


def _put_in(s: Setting, what: np.ndarray) -> Pair:
    start = s.piece.at(traits.loud_places_s(s.piece)[0])
    second = np.concatenate([s.audio[:start], what, s.audio[start:]])
    found = edit(*TWICE, at_s=start / s.rate_hz, length_s=len(what) / s.rate_hz)
    return s.pair(second, Want(WILL, WILL, (found,)))


def _silence_put_in(s: Setting) -> Pair:
    """A tenth of a second of nothing in the loudest place: a gap, and a late rest."""
    return _put_in(s, changes.silence(s.audio, s.piece.at(0.1)))


def _noise_put_in(s: Setting) -> Pair:
    return _put_in(s, changes.hiss(s.audio, s.piece.at(0.1), 0.1, s.random))


def _silence_cut(seconds: float) -> Make:
    """Under 6 ms: less than a shift of rhythm that is heard, and no sound is lost."""

    def make(s: Setting) -> Pair | None:
        at_s, level_db = traits.quiet_place(s.piece)
        if level_db > SILENT_DB:
            return None
        start, frames = s.piece.at(at_s), s.piece.at(seconds)
        found = edit("cut", "silence shortened", at_s=at_s, within_s=0.5)
        return s.pair(changes.without(s.audio, start, frames), replace(INAUDIBLE, named=(found,)))

    return make


def _end_missing(share: float) -> Make:
    def make(s: Setting) -> Pair | None:
        kept = round((1.0 - share) * s.piece.frames)
        if not traits.sounds(s.piece, kept / s.rate_hz, s.piece.seconds):
            return None
        at_s, length_s = kept / s.rate_hz, (s.piece.frames - kept) / s.rate_hz
        found = edit("missing at the end", at_s=at_s, length_s=length_s)
        return s.pair(s.audio[:kept], Want(WILL, WILL, (found,)))

    return make


def _start_missing(seconds: float) -> Make:
    def make(s: Setting) -> Pair | None:
        if not traits.sounds(s.piece, 0.0, seconds):
            return None
        found = edit("missing at the beginning", at_s=0.0, length_s=seconds)
        return s.pair(s.audio[s.piece.at(seconds) :], Want(WILL, WILL, (found,)))

    return make


def _tail_missing(s: Setting) -> Pair:
    """32 dB under what sounded 20 ms before, and masked by it."""
    found = edit("missing at the end", at_s=s.piece.seconds)
    return s.pair(s.audio[: -s.piece.at(0.002)], replace(INAUDIBLE, most=MAY, named=(found,)))


def _noise_added(seconds: float, level_db: float, *, before: bool) -> Make:
    def make(s: Setting) -> Pair:
        noise = changes.hiss(s.audio, s.piece.at(seconds), changes.gain(level_db), s.random)
        return _joined(s, noise, Want(WILL, WILL), before=before)

    return make


def _silence_added(seconds: float, *, before: bool) -> Make:
    return lambda s: _joined(
        s, changes.silence(s.audio, s.piece.at(seconds)), INAUDIBLE, before=before
    )


def _joined(s: Setting, what: np.ndarray, want: Want, *, before: bool) -> Pair:
    length_s = len(what) / s.rate_hz
    if before:
        found = edit("added at the beginning", length_s=length_s)
    else:
        found = edit("added at the end", at_s=s.piece.seconds, length_s=length_s)
    second = np.concatenate([what, s.audio] if before else [s.audio, what])
    return s.pair(second, replace(want, named=(found,)))


def _silence_missing(s: Setting) -> Pair:
    first = np.concatenate([changes.silence(s.audio, s.rate_hz), s.audio])
    found = edit("missing at the beginning", at_s=0.0, length_s=1.0)
    return s.pair(s.audio.copy(), replace(INAUDIBLE, named=(found,)), first=first)
