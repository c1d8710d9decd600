"""Hiss, hum and tones, set against threshold and room."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tests.battery import at_ear, changes, traits
from tests.battery.case import (
    BELOW,
    BETWEEN,
    IN_TIME,
    INAUDIBLE,
    MAY,
    ROWS,
    SHOULD,
    WILL,
    Case,
    Make,
    Pair,
    Setting,
    Want,
    lit,
    said,
)
from tests.battery.pieces import Audio
from tests.battery.textures import wash

LEVELS_DB = (65.0, 85.0, 95.0)
SINE_DB = 10.0 * np.log10(2.0)
"""A full-scale sine's level under a level re full scale."""
SILENCE = ("drums", "voice", "sparse")
STEADY = Want(BELOW, WILL, lit=ROWS - IN_TIME - BETWEEN)
"""Music may mask it or not; but what goes on evenly is no edit, no speed, no event, no place."""


def cases() -> Iterator[Case]:
    # 10 dB either way of what is just heard in the room in the most favourable third-octave.
    yield Case("hiss/10 dB under threshold", _hiss(-10.0), levels_db=LEVELS_DB, swapped=True)
    yield Case("hiss/10 dB over threshold", _hiss(10.0), levels_db=LEVELS_DB, only=SILENCE)
    yield Case("hiss/20 dB over threshold", _hiss(20.0), near=True, only=SILENCE, swapped=True)
    yield Case("hiss/15 dB under threshold", _hiss(-15.0), near=True)
    yield Case("hiss/20 dB over threshold, breathing", _breathing, near=True, only=SILENCE)
    yield Case("hiss/like the music, 30 dB under it", _hidden, only=("wash",))
    yield Case("hum/100 Hz at -40 dBFS", _hum(100.0, -40.0), levels_db=LEVELS_DB)
    yield Case("hum/100 Hz at -30 dBFS", _hum(100.0, -30.0), near=True)
    yield Case("hum/100 Hz, 10 dB under threshold", _hum_under(100.0), levels_db=LEVELS_DB)
    yield Case("hum/50 Hz, 10 dB under threshold", _hum_under(50.0), near=True)
    yield Case("tone/21 kHz at -20 dBFS", _unheard_tone(21e3, -20.0))
    yield Case("tone/20 kHz at -25 dBFS", _unheard_tone(20e3, -25.0), near=True)
    yield Case("tone/3 kHz at -50 dBFS", _heard_tone, near=True, only=SILENCE)


def _silent(s: Setting, seconds_db: float = 15.0) -> bool:
    """Whether the piece has a place that is under hearing or nearly so."""
    level_db = traits.quiet_place(s.piece)[1] + SINE_DB
    return level_db + at_ear.full_scale_db(s.piece, s.listening_db) < seconds_db


def _hiss_of(s: Setting, over_db: float) -> Audio:
    full_scale_db = at_ear.full_scale_db(s.piece, s.listening_db)
    level_db = over_db - at_ear.white_over_threshold_db(0.0, s.rate_hz, full_scale_db)
    rms = changes.gain(level_db - SINE_DB)
    return changes.hiss(s.audio, s.piece.frames, rms, s.random)


def _hiss(over_db: float) -> Make:
    def make(s: Setting) -> Pair:
        second = s.audio + _hiss_of(s, over_db)
        if over_db < 0.0:
            return s.pair(second, INAUDIBLE)
        if not _silent(s):
            return s.pair(second, STEADY)
        return s.pair(second, Want(MAY, WILL, (lit("noise"),)))

    return make


def _breathing(s: Setting) -> Pair | None:
    if not _silent(s):
        return None
    breath = 0.5 - 0.5 * np.cos(2.0 * np.pi * 0.5 * np.arange(s.piece.frames) / s.rate_hz)
    return s.pair(s.audio + breath[:, None] * _hiss_of(s, 20.0), Want(MAY, WILL))


def _hidden(s: Setting) -> Pair | None:
    """Noise in noise of its own spectrum, an eighth of the smallest step of level that is heard."""
    if s.piece.name != "wash":
        return None
    other = np.roll(wash(s.piece.seconds)[::-1, ::-1], s.rate_hz, axis=0)
    return s.pair(s.audio + changes.gain(-30.0) * other, INAUDIBLE)


def _threshold_db(hz: float) -> float:
    return float(np.interp(hz, at_ear.ISO_389_7[:, 0], at_ear.threshold_db()))


def _with_tone(s: Setting, hz: float, level_dbfs: float) -> Audio:
    tone = changes.tone(s.piece.frames, s.rate_hz, hz, level_dbfs)
    return s.audio + tone * changes.ramped(s.piece.frames, s.rate_hz, 0.5)


def _hum(hz: float, level_dbfs: float) -> Make:
    def make(s: Setting) -> Pair:
        """Heard where it is over the least of its critical band, threshold and room by 6 dB."""
        second = _with_tone(s, hz, level_dbfs)
        at_ear_db = level_dbfs + at_ear.full_scale_db(s.piece, s.listening_db) + SINE_DB
        over_music = level_dbfs - SINE_DB > traits.quietest_low_band_db(s.piece) + 6.0
        if over_music and at_ear_db > _threshold_db(hz) + 6.0:
            return s.pair(second, Want(MAY, WILL, (lit("hum", "noise"),)))
        return s.pair(second, STEADY)

    return make


def _hum_under(hz: float) -> Make:
    def make(s: Setting) -> Pair:
        level_dbfs = _threshold_db(hz) - 10.0 - SINE_DB
        level_dbfs -= at_ear.full_scale_db(s.piece, s.listening_db)
        return s.pair(_with_tone(s, hz, level_dbfs), INAUDIBLE)

    return make


def _unheard_tone(hz: float, level_dbfs: float) -> Make:
    def make(s: Setting) -> Pair | None:
        """Over 18 kHz, where no threshold stands and few hear anything."""
        if s.rate_hz < 2.05 * hz:
            return None
        want = replace(INAUDIBLE, most=SHOULD, named=(said(r"\b(18|20|21)(\.\d+)? ?kHz"),))
        return s.pair(_with_tone(s, hz, level_dbfs), want)

    return make


def _heard_tone(s: Setting) -> Pair | None:
    """40 dB and more over threshold and room in a silence."""
    if not _silent(s):
        return None
    return s.pair(_with_tone(s, 3e3, -50.0), Want(MAY, WILL))
