"""Speed and wow, direct voltage, and what changes slowly."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tests.battery import changes, traits
from tests.battery.case import (
    BELOW,
    INAUDIBLE,
    MAY,
    SHOULD,
    WILL,
    Case,
    Make,
    Naming,
    Pair,
    Setting,
    Want,
    edit,
    either,
    lit,
)


def cases() -> Iterator[Case]:
    # The smallest change of pitch that is heard is 0.2 % at 2 kHz, 0.34 % at 1 kHz, 1 % at 250 Hz
    # (table of difference limens for frequency, 60 dB SPL); with music it may be heard from 0.2 %
    # and will be from 1 % (common practice).
    for percent, least, most in (
        (0.1, SHOULD, MAY), (0.5, MAY, WILL), (2.0, WILL, WILL),
        (-0.1, SHOULD, MAY), (-0.6, MAY, WILL), (-1.8, WILL, WILL), (0.3, SHOULD, WILL),
        (5.0, WILL, WILL),
    ):  # fmt: skip
        yield Case(
            f"speed/{percent:+g} %",
            _speed(percent, least, most),
            near=percent not in {0.1, 0.5, 2.0},
            swapped=percent == 0.5,
        )
    # Weighted after IEC 60386: 0.1 % may be heard (common practice), 0.3 % will (an assumption).
    yield Case("wow/0.5 % at 0.7 Hz", _wow(0.5, 0.7, MAY, WILL))
    yield Case("wow/1 % at 4 Hz", _wow(1.0, 4.0, WILL, WILL), near=True)
    yield Case("wow/0.5 % at 2 Hz", _wow(0.5, 2.0, MAY, WILL), near=True)
    yield Case("wow/0.01 % at 4 Hz", _wow(0.01, 4.0, BELOW, SHOULD), near=True)

    yield Case("direct voltage/0.15, ramps of 0.5 s", _direct(0.15, 0.5))
    yield Case("direct voltage/0.15, no ramps", _direct(0.15, 0.0))
    yield Case("direct voltage/-0.08, ramps of 0.6 s", _direct(-0.08, 0.6), near=True)
    yield Case("direct voltage/0.1 in one channel, ramped", _direct_left(0.1), near=True)

    yield Case("slow/1 dB of gain in all", _gain_drift(1.0, MAY, WILL))
    yield Case("slow/2 dB of gain in all", _gain_drift(-2.0, MAY, WILL), near=True)
    yield Case("slow/0.03 dB of gain in all", _gain_drift(0.03, BELOW, SHOULD), near=True)
    yield Case("slow/balance fading by 3 dB", _fading(3.0))
    yield Case("slow/balance fading by 0.05 dB", _fading(0.05), near=True)


def _pitched(s: Setting, least: int) -> int:
    return least if traits.has_pitch(s.piece) else min(least, SHOULD)


def _named(kind: str) -> Naming:
    return either(edit(kind), lit(kind))


def _speed(percent: float, least: int, most: int) -> Make:
    def make(s: Setting) -> Pair:
        second = changes.faster(s.audio, s.rate_hz, percent)
        return s.pair(second, Want(_pitched(s, least), most, (_named("speed"),)))

    return make


def _wow(percent: float, at_hz: float, least: int, most: int) -> Make:
    def make(s: Setting) -> Pair:
        second = changes.wowed(s.audio, s.rate_hz, percent, at_hz)
        named = (_named("wow"),) if least >= MAY else ()
        return s.pair(second, Want(_pitched(s, least), most, named))

    return make


def _direct(height: float, ramp_s: float) -> Make:
    """Not heard itself; a step of it at start and stop is a knock."""

    def make(s: Setting) -> Pair:
        if ramp_s > 0.0:
            shape, want = changes.ramped(s.piece.frames, s.rate_hz, ramp_s), INAUDIBLE
        else:
            shape, want = np.ones((s.piece.frames, 1)), Want(SHOULD, WILL)
        return s.pair(s.audio + height * shape, replace(want, named=(edit("direct voltage"),)))

    return make


def _direct_left(height: float) -> Make:
    def make(s: Setting) -> Pair:
        shape = changes.ramped(s.piece.frames, s.rate_hz, 0.5) * np.array([height, 0.0])
        return s.pair(s.audio + shape, replace(INAUDIBLE, named=(edit("direct voltage"),)))

    return make


def _gain_drift(by_db: float, least: int, most: int) -> Make:
    return lambda s: s.pair(changes.drifting_gain(s.audio, by_db), Want(least, most))


def _fading(by_db: float) -> Make:
    """Half of it up in the left channel and half down in the right."""

    def make(s: Setting) -> Pair:
        left = changes.drifting_gain(s.audio[:, :1], 0.5 * by_db)
        right = changes.drifting_gain(s.audio[:, 1:], -0.5 * by_db)
        want = Want(MAY, WILL) if by_db > 1.0 else INAUDIBLE
        return s.pair(np.hstack([left, right]), want)

    return make
