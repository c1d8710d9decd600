"""Pairs that nobody tells apart, and the coders and levels beside them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import soxr

from tests.battery import at_ear, changes, traits
from tests.battery.case import (
    BELOW,
    INAUDIBLE,
    MAY,
    ROWS,
    SHOULD,
    UNLIKELY,
    WILL,
    Case,
    Make,
    Pair,
    Setting,
    Want,
    edit,
    lit,
)
from tests.battery.pieces import SAMPLES, TEXTURES

NOTHING_LIT = replace(INAUDIBLE, lit=frozenset())
TENTH_DB = float(20.0 * np.log10(0.9))
LEVELS_DB = (65.0, 85.0, 95.0)
WHITE_16_BITS_DBFS = -93.3
"""TPDF dither and rounding to 16 bits, over the whole band, re a full-scale sine: arithmetic."""


def cases() -> Iterator[Case]:
    yield Case("null/the same", lambda s: s.pair(s.audio.copy(), NOTHING_LIT), levels_db=LEVELS_DB)
    for frames in (0.5, 441.7, 10.25, 0.01, 1000.3, 20_000.4):
        yield Case(
            f"null/delayed by {frames:g} frames", _delayed(frames), near=frames not in {0.5, 441.7}
        )
    yield Case("null/inverted", _inverted)
    for factor in (0.9, 0.5, 1.2):
        for level_by in ("gain", "loudness"):
            yield Case(
                f"null/x {factor:g}, levels matched by {level_by}",
                _times(factor),
                level_by=level_by,
                near=factor != 0.9,
            )
    yield Case("null/delayed, inverted and x 0.7, matched", _all_three, level_by="gain", near=True)
    for bits in (16, 20, 24):
        yield Case(
            f"null/{bits} bits, dither", _dithered(bits), near=bits != 16, swapped=bits == 16
        )
    yield Case("null/16 bits, dither, played softly", _dithered(16), levels_db=(65.0,), near=True)
    for other_hz, quality in ((48_000, "VHQ"), (96_000, "VHQ"), (88_200, "VHQ"), (48_000, "HQ")):
        yield Case(
            f"null/to {other_hz} Hz and back, {quality}",
            _there_and_back(other_hz, quality),
            near=other_hz == 88_200 or quality != "VHQ",
        )
    yield Case("null/a file of 48 kHz", _other_rate(48_000))
    yield Case("null/speed +200 ppm", _clock(200.0))
    yield Case("null/speed -100 ppm", _clock(-100.0), near=True)
    yield Case("null/high-pass at 2 Hz", _high_pass)

    for level_db in (0.05, -0.05):
        yield Case(f"level/{level_db:+g} dB", _level(level_db, NOTHING_LIT), near=level_db < 0.0)
    for level_db in (0.1, -0.1):
        want = replace(UNLIKELY, lit=frozenset({"level"}))
        yield Case(f"level/{level_db:+g} dB", _level(level_db, want), near=level_db < 0.0)
    heard = Want(MAY, WILL, (lit("level"),), lit=frozenset({"level"}))
    yield Case("level/x 0.9", _level(TENTH_DB, heard), levels_db=LEVELS_DB, swapped=True)
    yield Case("level/+1 dB", _level(1.0, heard), near=True)
    for level_db in (-3.0, 3.0):  # three times the step that is heard beyond doubt
        yield Case(
            f"level/{level_db:+g} dB", _level(level_db, replace(heard, least=WILL)), near=True
        )

    # Trained listeners could not tell 256 and 320 kbit/s from the original; at 96 they could
    # (Pras and others, AES 126th Convention, 2009, from memory).  A texture may pass.
    yield Case(
        "coder/320 kbit/s", _coded(320, replace(UNLIKELY, lit=ROWS - {"events"})), swapped=True
    )
    yield Case("coder/256 kbit/s", _coded(256, Want(BELOW, MAY)), near=True)
    yield Case("coder/96 kbit/s", _coded(96, Want(MAY, WILL)), only=SAMPLES)
    yield Case("coder/48 kbit/s", _coded(48, Want(MAY, WILL)), near=True, only=SAMPLES)


def _delayed(frames: float) -> Make:
    return lambda s: s.pair(changes.delayed(s.audio, frames), NOTHING_LIT)


def _inverted(s: Setting) -> Pair:
    return s.pair(-s.audio, replace(NOTHING_LIT, named=(edit("inverted polarity"),)))


def _times(factor: float) -> Make:
    return lambda s: s.pair(factor * s.audio, NOTHING_LIT)


def _all_three(s: Setting) -> Pair:
    want = replace(NOTHING_LIT, named=(edit("inverted polarity"),))
    return s.pair(-0.7 * changes.delayed(s.audio, 313.37), want)


def _dithered(bits: int) -> Make:
    def make(s: Setting) -> Pair:
        """Inaudible where the noise is 3 dB under threshold and room in each third-octave, and
        open to doubt up to 3 dB over."""
        first = s.audio * (0.98 / np.abs(s.audio).max())
        full_scale_db = at_ear.full_scale_db(s.piece, s.listening_db)
        full_scale_db += 20.0 * np.log10(np.abs(s.audio).max() / 0.98)
        over_db = at_ear.white_over_threshold_db(
            WHITE_16_BITS_DBFS - 6.02 * (bits - 16), s.rate_hz, full_scale_db
        )
        want = NOTHING_LIT if over_db <= -3.0 else Want(BELOW, MAY if over_db <= 3.0 else WILL)
        return s.pair(changes.dithered(first, bits, s.random), want, first=first)

    return make


def _there_and_back(other_hz: int, quality: str) -> Make:
    return lambda s: s.pair(
        changes.there_and_back(s.audio, s.rate_hz, other_hz, quality), NOTHING_LIT
    )


def _other_rate(rate_hz: int) -> Make:
    def make(s: Setting) -> Pair:
        second = soxr.resample(s.audio, s.rate_hz, rate_hz, quality="VHQ")
        return Pair(s.audio, second, NOTHING_LIT, s.rate_hz, rate_hz)

    return make


def _clock(ppm: float) -> Make:
    """A fifth of the smallest pitch change that is heard, and less (0.18 % at 2 kHz)."""
    return lambda s: s.pair(changes.faster(s.audio, s.rate_hz, 1e-4 * ppm), INAUDIBLE)


def _high_pass(s: Setting) -> Pair:
    """0.04 dB and 0.8 ms at 20 Hz."""
    second = changes.filtered(s.audio, s.rate_hz, lambda hz: 1j * hz / (2.0 + 1j * hz))
    return s.pair(second, NOTHING_LIT)


def _level(level_db: float, want: Want) -> Make:
    return lambda s: s.pair(changes.gain(level_db) * s.audio, want)


def _coded(kbit_s: int, want: Want) -> Make:
    def make(s: Setting) -> Pair | None:
        if s.rate_hz not in {32_000, 44_100, 48_000}:
            return None
        texture = s.piece.name in TEXTURES
        bright = traits.band_share_db(s.piece, 8_000.0, 16_000.0) > -45.0
        doubtful = want.least > SHOULD and (texture or not bright)
        bounds = replace(want, least=BELOW) if doubtful else want
        return s.pair(changes.coded(s.audio, s.rate_hz, kbit_s), bounds)

    return make
