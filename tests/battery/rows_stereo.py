"""What is done to one channel, or to both against each other."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tests.battery import changes, traits
from tests.battery.case import (
    BELOW,
    BETWEEN,
    MAY,
    SHOULD,
    WILL,
    Case,
    Make,
    Pair,
    Setting,
    Want,
    edit,
    either,
    lit,
    reads,
)

LEVEL_ROWS = frozenset({"balance", "inter-channel level"})


def cases() -> Iterator[Case]:
    yield Case("channels/exchanged", _exchanged(1.0), swapped=True)
    yield Case("channels/exchanged and x 0.8", _exchanged(0.8), near=True)
    for channel in (0, 1):
        yield Case(f"channels/{channel + 1} inverted", _inverted(channel), near=channel == 1)
        yield Case(f"channels/{channel + 1} dead", _dead(channel, 0.0), near=channel == 1)
    yield Case("channels/1 dead but for noise at -80 dBFS", _dead(0, 1e-4), near=True)
    yield Case("channels/left turned by 90 degrees", _turned)
    # 0.5 to 1 dB between the ears is the smallest difference that is heard (Breebaart & Faller).
    for level_db, least, most in ((1.5, MAY, WILL), (3.0, MAY, WILL), (0.05, BELOW, SHOULD)):
        yield Case(
            f"channels/left {level_db:+g} dB",
            _unbalanced(level_db, least, most),
            near=level_db != 1.5,
        )
    # 10 microseconds is the least that listeners hear (Klumpp & Eady, JASA 28, 1956).
    yield Case("channels/left 100 us late", _late(100.0))
    yield Case("channels/left 3 us late", _late(3.0))
    yield Case("channels/left 300 us late", _late(300.0), near=True)
    yield Case("channels/right 150 us late", _late(-150.0), near=True)
    yield Case("channels/left 1 us late", _late(1.0), near=True)


def _shared(s: Setting, least: int) -> int:
    return least if traits.channels_share(s.piece) else min(least, SHOULD)


def _exchanged(factor: float) -> Make:
    def make(s: Setting) -> Pair | None:
        apart_db = traits.channel_difference_db(s.piece)
        if apart_db < 0.5:
            return None
        least = MAY if apart_db >= 2.0 or factor < 0.85 else SHOULD
        return s.pair(
            factor * s.audio[:, ::-1].copy(), Want(least, WILL, (edit("exchanged channels"),))
        )

    return make


def _inverted(channel: int) -> Make:
    def make(s: Setting) -> Pair:
        second = s.audio.copy()
        second[:, channel] *= -1.0
        return s.pair(second, Want(_shared(s, WILL), WILL, (edit("inverted channel"),)))

    return make


def _dead(channel: int, noise: float) -> Make:
    def make(s: Setting) -> Pair:
        second = s.audio.copy()
        second[:, channel] = noise * s.random.standard_normal(s.piece.frames)
        return s.pair(second, Want(WILL, WILL, (edit("dead channel"),)))

    return make


def _turned(s: Setting) -> Pair:
    second = s.audio.copy()
    second[:, 0] = changes.turned(second[:, 0])
    least = _shared(s, MAY)
    named = (lit(*BETWEEN),) if least == MAY else ()
    return s.pair(second, Want(least, WILL, named, balance_within_db=0.2))


def _unbalanced(level_db: float, least: int, most: int) -> Make:
    def make(s: Setting) -> Pair:
        second = s.audio * np.array([changes.gain(level_db), 1.0])
        named = (lit(*LEVEL_ROWS),) if least >= MAY else ()
        return s.pair(second, Want(least, most, named))

    return make


def _late(late_us: float) -> Make:
    def make(s: Setting) -> Pair:
        """One channel shifted; named by its row where that is lit or read."""
        frames = 1e-6 * late_us * s.rate_hz
        shifts = [max(frames, 0.0), max(-frames, 0.0)]
        second = np.column_stack(
            [
                changes.filtered(
                    s.audio[:, [channel]],
                    s.rate_hz,
                    lambda hz, late=shift: np.exp(-2j * np.pi * hz * late / s.rate_hz),
                )
                for channel, shift in enumerate(shifts)
            ]
        )
        if abs(late_us) < 10.0:
            return s.pair(second, Want(BELOW, MAY))
        size_us = abs(late_us)
        told = reads("inter-channel delay", 0.8 * size_us, 1.2 * size_us)
        named = either(lit(*BETWEEN), told)
        return s.pair(second, Want(_shared(s, MAY), WILL, (named,)))

    return make
