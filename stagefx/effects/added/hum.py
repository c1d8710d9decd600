"""Mains hum at the amplifier's input."""

from __future__ import annotations

from collections.abc import Iterator

from stagefx.effects.added.tone import Tone
from stagefx.effects.effect import Setting, check_settings
from stagefx.effects.kind import EffectKind, Piece, Place, Setup
from stagefx.units import ROOT_TWO

NAME = "hum"
SETTINGS = (
    Setting("peak_v", "V", 0.0, 10.0, "peak of the hum at the amplifier's input"),
    Setting("frequency_hz", "Hz", 1e-3, 20e3, "its frequency", 50.0),
)


def hum(level_v_rms: float, frequency_hz: float) -> Tone:
    """Add a sine at the amplifier's input."""
    peak_v = ROOT_TWO * level_v_rms
    check_settings(NAME, SETTINGS, peak_v=peak_v, frequency_hz=frequency_hz)
    return Tone(NAME, peak_v, frequency_hz, SETTINGS)


def _pieces(setup: Setup) -> Iterator[Piece]:
    table = setup.circuit.stage.hum
    if table is not None:
        yield Place.AMPLIFIER_INPUT, hum(table.level.value, table.frequency.value)


EFFECT = EffectKind(
    NAME, "mains hum at the amplifier's input", SETTINGS, lambda s: s.hum is not None, _pieces
)
