"""A parasitic tone at the amplifier's output: it eats headroom and slew.

An oscillation is a fault.  Above hearing it adds no samples; what it leaves of the limits is
what the music has.
"""

from __future__ import annotations

from collections.abc import Iterator, Set as AbstractSet

import numpy as np

from stagefx.circuit.amplifier.stability import stability
from stagefx.circuit.circuit import Circuit
from stagefx.dsp.fir_design import BAND_EDGE
from stagefx.effects.added.tone import Tone
from stagefx.effects.effect import Setting, check_settings
from stagefx.effects.kind import EffectKind, Piece, Place, Setup
from stagefx.effects.limits.limit_set import LimitSet
from stagefx.effects.limits.limiter import Limiting
from stagefx.effects.linear import bandwidth
from stagefx.errors import StageError
from stagefx.units import show

NAME = "oscillation"
SETTINGS = (
    Setting("peak_v", "V", 0.0, 100.0, "peak of the oscillation at the amplifier's output"),
    Setting("frequency_hz", "Hz", 1.0, 1e9, "its frequency"),
)


def oscillation(peak_v: float, frequency_hz: float, rate_hz: int) -> Tone | Limiting:
    """Add a parasitic tone at the amplifier's output, or take away what it eats."""
    check_settings(NAME, SETTINGS, peak_v=peak_v, frequency_hz=frequency_hz)
    if frequency_hz <= BAND_EDGE * rate_hz:
        return Tone(NAME, peak_v, frequency_hz, SETTINGS)
    slope = 2.0 * np.pi * frequency_hz * peak_v
    return Limiting(NAME, LimitSet(eaten_v=peak_v, eaten_v_per_s=slope), SETTINGS)


def refuse_unstable(circuit: Circuit, keep: AbstractSet[str]) -> None:
    """Refuse to render an unstable loop as if it were a linear amplifier."""
    loop = stability(circuit)
    if loop is None or not loop.oscillates[0] or bandwidth.NAME not in keep or NAME in keep:
        return
    past = -float(loop.phase_margin_deg[0])
    why = f", {past:.0f} deg past 180 where its gain is still one" if past > 0.0 else ""
    raise StageError(
        f"oscillates: the loop of '{circuit.stage.name}' is unstable near "
        f"{show(float(loop.crossover_hz[0]), 'Hz', digits=3)}{why}, so it has no linear response "
        "to render; cure it, give [oscillation] the level and frequency that a scope shows, or "
        "leave the loop out with --without bandwidth"
    )


def _pieces(setup: Setup) -> Iterator[Piece]:
    table = setup.circuit.stage.oscillation
    if table is None or setup.circuit.stage.amplifier is None:
        return
    effect = oscillation(table.level.value, table.frequency.value, setup.rate_hz)
    yield Place.LIMITS if isinstance(effect, Limiting) else Place.AMPLIFIER_OUTPUT, effect


EFFECT = EffectKind(
    NAME,
    "a parasitic tone that eats headroom and slew",
    SETTINGS,
    lambda stage: stage.oscillation is not None,
    _pieces,
)
