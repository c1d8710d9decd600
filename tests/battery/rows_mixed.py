"""Several changes at once, and pairs that are no pair."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tests.battery import changes, traits
from tests.battery.case import (
    INAUDIBLE,
    MAY,
    UNLIKELY,
    WILL,
    Case,
    Make,
    Pair,
    Setting,
    Want,
    edit,
    event,
    lit,
)
from tests.battery.pieces import SAMPLES, TEXTURES, piece
from tests.battery.rows_events import NOISY, QUIET_DB

QUIET = ("drums", "voice", "sparse", "trio")


def cases() -> Iterator[Case]:
    yield Case("mixed/cut of 100 ms, -1 dB, 100 ppm", _cut_gain_drift)
    yield Case("mixed/click of 0.2 and all-pass", _click_all_pass, only=QUIET)
    yield Case("mixed/direct voltage and clipping", _direct_clipping)
    yield Case("mixed/exchanged and 100 ms missing", _exchanged_cut, near=True)
    yield Case("mixed/inverted and last third missing", _inverted_missing, near=True)
    yield Case("mixed/320 kbit/s and cut of 100 ms", _coded_cut, near=True, only=SAMPLES)
    yield Case("mixed/2 s of silence before, inverted, 0.25 frames", _silence_inverted, near=True)
    yield Case("mixed/24 bits, 48 kHz and back, delayed", _converted_delayed, near=True)
    yield Case("mixed/pole at 60 kHz and delay", _pole_delay, near=True)
    yield Case(
        "mixed/x 0.5, inverted, 24 bits, matched", _matched_inverted, level_by="gain", near=True
    )
    yield Case("mixed/pole at 5 kHz, x 0.7, matched", _pole_matched, level_by="gain", near=True)

    yield Case("no pair/other music", _other_music)
    yield Case("no pair/other noise", _other_noise, only=("wash",))
    yield Case("no pair/the music backwards", _backwards, near=True)
    yield Case("no pair/second silent", _silent)
    yield Case("no pair/one channel against two", _one_channel)
    yield Case("length/first 10 s of 4 minutes", _long(swapped=False), slow=True)
    yield Case("length/4 minutes, second ends after 10 s", _long(swapped=True), slow=True)


def _cut_gain_drift(s: Setting) -> Pair:
    start, frames = s.piece.at(traits.loud_places_s(s.piece)[0]) - s.piece.at(0.05), s.piece.at(0.1)
    cut = changes.without(s.audio, start, frames)
    second = changes.gain(-1.0) * changes.faster(cut, s.rate_hz, 0.01)
    found = edit("cut", at_s=start / s.rate_hz, length_s=0.1)
    return s.pair(second, Want(_spliced(s), WILL, (found, lit("level"))))


def _spliced(s: Setting) -> int:
    return WILL if traits.has_pitch(s.piece) or traits.has_rhythm(s.piece) else MAY


def _click_all_pass(s: Setting) -> Pair | None:
    at_s, level_db = traits.quiet_place(s.piece)
    if level_db > QUIET_DB:
        return None
    passed = changes.all_pass(s.audio, s.rate_hz, 1000.0, 0.785)
    second = changes.clicked(passed, [s.piece.at(at_s)], 0.2)
    return s.pair(second, Want(MAY, WILL, (event(at_s),)))


def _direct_clipping(s: Setting) -> Pair | None:
    if s.piece.name in NOISY:
        return None
    places_s = traits.loud_places_s(s.piece, 3)
    starts = [s.piece.at(at_s - 0.1) for at_s in places_s]
    clipped = changes.clipped(s.audio, starts, s.piece.at(0.2), 6.0)
    second = clipped + 0.15 * changes.ramped(s.piece.frames, s.rate_hz, 0.5)
    named = (edit("direct voltage"), event(*places_s, within_s=0.15))
    return s.pair(second, Want(WILL, WILL, named))


def _exchanged_cut(s: Setting) -> Pair | None:
    if traits.channel_difference_db(s.piece) < 0.5:
        return None
    start = s.piece.at(traits.loud_places_s(s.piece)[0])
    second = changes.without(s.audio[:, ::-1], start, s.piece.at(0.1))
    at_s = start / s.rate_hz
    named = (edit("exchanged channels"), edit("cut", at_s=at_s, length_s=0.1))
    return s.pair(second, Want(min(_spliced(s), WILL), WILL, named))


def _inverted_missing(s: Setting) -> Pair | None:
    kept = round(2.0 / 3.0 * s.piece.frames)
    if not traits.sounds(s.piece, kept / s.rate_hz, s.piece.seconds):
        return None
    named = (edit("inverted polarity"), edit("missing at the end", at_s=kept / s.rate_hz))
    return s.pair(-s.audio[:kept], Want(WILL, WILL, named))


def _coded_cut(s: Setting) -> Pair:
    start = s.piece.at(traits.loud_places_s(s.piece)[0]) - s.piece.at(0.05)
    second = changes.without(changes.coded(s.audio, s.rate_hz, 320), start, s.piece.at(0.1))
    found = edit("cut", at_s=start / s.rate_hz, length_s=0.1)
    return s.pair(second, Want(_spliced(s), WILL, (found,)))


def _silence_inverted(s: Setting) -> Pair:
    silence = changes.silence(s.audio, s.piece.at(2.0))
    second = np.concatenate([silence, -changes.delayed(s.audio, 0.25)])
    named = (edit("inverted polarity"), edit("added at the beginning", length_s=2.0))
    return s.pair(second, replace(INAUDIBLE, named=named))


def _converted_delayed(s: Setting) -> Pair:
    second = changes.there_and_back(s.audio, s.rate_hz, 48_000)
    return s.pair(changes.dithered(changes.delayed(second, 5.4), 24, s.random), INAUDIBLE)


def _pole_delay(s: Setting) -> Pair:
    return s.pair(changes.delayed(changes.one_pole(s.audio, s.rate_hz, 60e3), 3.3), UNLIKELY)


def _matched_inverted(s: Setting) -> Pair:
    second = changes.dithered(-0.5 * s.audio, 24, s.random)
    return s.pair(second, replace(INAUDIBLE, named=(edit("inverted polarity"),)))


def _pole_matched(s: Setting) -> Pair | None:
    if traits.band_share_db(s.piece, 5e3, 15e3) < -25.0:
        return None
    return s.pair(0.7 * changes.one_pole(s.audio, s.rate_hz, 5e3), Want(MAY, WILL))


def _other(s: Setting) -> str:
    names = [name for name in (*SAMPLES, *TEXTURES) if name != s.piece.name]
    return str(s.random.choice(names))


def _other_music(s: Setting) -> Pair:
    """Refused, and only such pairs are."""
    other = piece(_other(s), s.piece.seconds)
    return Pair(s.audio, other.audio, Want(refused="must"), s.rate_hz, other.rate_hz)


def _other_noise(s: Setting) -> Pair | None:
    if s.piece.name != "wash":
        return None
    return s.pair(np.roll(s.audio[::-1], s.rate_hz, axis=0), Want(refused="must"))


def _backwards(s: Setting) -> Pair:
    return s.pair(s.audio[::-1].copy(), Want(refused="must"))


def _silent(s: Setting) -> Pair:
    """Nothing is left to align; said so, or judged as missing."""
    return s.pair(np.zeros_like(s.audio), Want(WILL, WILL, refused="allowed"))


def _one_channel(s: Setting) -> Pair:
    return s.pair(s.audio.mean(axis=1, keepdims=True), Want(refused="must"))


def _long(*, swapped: bool) -> Make:
    def make(s: Setting) -> Pair:
        """The piece, and after it all others over and over."""
        others = [piece(name, s.piece.seconds).audio for name in (*SAMPLES, *TEXTURES)]
        rest = [others[number % len(others)] for number in range(23)]
        whole = np.concatenate([s.audio, *rest])
        length_s = (len(whole) - s.piece.frames) / s.rate_hz
        kind = "missing at the end" if swapped else "added at the end"
        want = Want(WILL, WILL, (edit(kind, at_s=s.piece.seconds, length_s=length_s),))
        if swapped:
            return s.pair(s.audio, want, first=whole)
        return s.pair(whole, want)

    return make
