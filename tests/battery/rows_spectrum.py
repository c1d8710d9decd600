"""Steady linear changes that are the same in both channels: poles, resonances, all-passes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tests.battery import changes, traits
from tests.battery.case import (
    BELOW,
    MAY,
    SHOULD,
    SPECTRUM,
    UNLIKELY,
    WILL,
    Case,
    Make,
    Naming,
    Pair,
    Setting,
    Want,
    lit,
    not_edit,
)

LEVELS_DB = (65.0, 85.0, 95.0)
EXCHANGED = ("exchanged channels", "inverted channel", "dead channel")
MIDDLE = frozenset({"resonance", "middle"})
TOP = frozenset({"high end", "resonance"})


def cases() -> Iterator[Case]:
    unlikely = replace(UNLIKELY, lit=frozenset({"high end"}))
    yield Case("pole/50 kHz", _pole(50e3, unlikely), levels_db=LEVELS_DB, swapped=True)
    for corner_hz in (60e3, 100e3, 200e3):
        yield Case(f"pole/{corner_hz / 1e3:g} kHz", _pole(corner_hz, unlikely), near=True)
    # 1 dB at half the corner, 3 dB at it, over two octaves and more: several times the half to one
    # decibel that a broad change of spectrum needs (common practice).
    heard = Want(MAY, WILL, (lit(*SPECTRUM),))
    yield Case("pole/5 kHz", _pole(5e3, heard), swapped=True)
    yield Case("pole/8 kHz", _pole(8e3, heard), near=True, only=("drums", "wash", "voice"))
    yield Case("pole/2 kHz", _pole(2e3, heard), near=True)
    yield Case("bass cut/first order, 300 Hz", _bass_cut, near=True)

    # Under the thresholds of Blauert & Laws (JASA 63, 1978: 3.2 ms at 500 Hz, 2 at 1 kHz, 1 at
    # 2 kHz, 1.5 at 4 kHz, none lower), and not generally audible on music (Lipshitz and others,
    # JAES 30, 1982).
    for centre_hz, delay_ms, near in (
        (1000.0, 0.5, False), (300.0, 1.5, False), (2000.0, 0.3, False),
        (500.0, 1.0, True), (4000.0, 0.15, True), (150.0, 3.0, True),
    ):  # fmt: skip
        yield Case(
            f"all-pass/{centre_hz:g} Hz {delay_ms:g} ms",
            _all_pass(centre_hz, delay_ms, MAY),
            near=near,
            swapped=centre_hz == 1000.0,
        )
    for centre_hz, delay_ms, sure in (
        (2000.0, 3.0, True), (1000.0, 3.0, True), (700.0, 2.9, False), (3000.0, 2.1, False),
    ):  # fmt: skip
        yield Case(
            f"all-pass/{centre_hz:g} Hz {delay_ms:g} ms",
            _all_pass(centre_hz, delay_ms, WILL, sure=sure),
            near=centre_hz != 2000.0,
        )

    yield Case("resonance/1 kHz Q 30 +1 dB", _resonance(1e3, 30.0, 1.0, BELOW, MAY))
    yield Case("resonance/3 kHz Q 30 +0.5 dB", _resonance(3e3, 30.0, 0.5, BELOW, MAY), near=True)
    yield Case("resonance/1 kHz Q 1 +4 dB", _resonance(1e3, 1.0, 4.0, MAY, WILL), swapped=True)
    yield Case("resonance/400 Hz Q 1 +5 dB", _resonance(400.0, 1.0, 5.0, MAY, WILL), near=True)
    yield Case("resonance/3 kHz Q 2 +6 dB", _resonance(3e3, 2.0, 6.0, MAY, WILL), near=True)
    yield Case("resonance/1 kHz Q 1 -6 dB", _resonance(1e3, 1.0, -6.0, MAY, WILL), near=True)
    yield Case("resonance/1 kHz Q 1 +0.1 dB", _resonance(1e3, 1.0, 0.1, BELOW, SHOULD), near=True)


def _has(s: Setting, low_hz: float, high_hz: float, within_db: float = 30.0) -> bool:
    """Whether enough sounds between two frequencies for a change there to be heard."""
    return traits.band_share_db(s.piece, low_hz, high_hz) > -within_db


def _pole(corner_hz: float, want: Want) -> Make:
    def make(s: Setting) -> Pair | None:
        if want.least >= MAY and not _has(s, corner_hz, 3.0 * corner_hz, 25.0):
            return None
        return s.pair(changes.one_pole(s.audio, s.rate_hz, corner_hz), want)

    return make


def _bass_cut(s: Setting) -> Pair | None:
    if not _has(s, 60.0, 250.0, 15.0):
        return None
    second = changes.filtered(s.audio, s.rate_hz, lambda hz: 1j * hz / (300.0 + 1j * hz))
    return s.pair(second, Want(MAY, WILL, (lit(*SPECTRUM, "level"),)))


def _all_pass(centre_hz: float, delay_ms: float, most: int, *, sure: bool = False) -> Make:
    """Of the Q whose group delay at the centre is the one given.

    One that is `sure`, half as much again as what is just heard, lights its row.
    """

    def make(s: Setting) -> Pair:
        q = np.pi * centre_hz * 1e-3 * delay_ms / 2.0
        named: list[Naming] = [not_edit(*EXCHANGED)]
        if sure and _has(s, 0.7 * centre_hz, 1.4 * centre_hz, 25.0):
            named.append(lit("group delay"))
        want = Want(BELOW, most, tuple(named), lit=frozenset({"group delay"}))
        return s.pair(changes.all_pass(s.audio, s.rate_hz, centre_hz, q), want)

    return make


def _resonance(centre_hz: float, q: float, height_db: float, least: int, most: int) -> Make:
    """One cause lights one row, a resonance or the middle; the loudness that it adds is its own."""

    def make(s: Setting) -> Pair | None:
        if least >= MAY and not _has(s, 0.7 * centre_hz, 1.4 * centre_hz, 15.0):
            return None
        named = (lit(*MIDDLE),) if least >= MAY else ()
        second = changes.resonant(s.audio, s.rate_hz, centre_hz, q, height_db)
        return s.pair(second, Want(least, most, named, lit=MIDDLE))

    return make
