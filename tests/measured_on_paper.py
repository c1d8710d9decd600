"""Measurements made from a stage's description alone: what a perfect bench would write."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from stagefx.bench.measure.measurement import Measurement
from stagefx.bench.measure.rows import Clip, Harmonics, Level, Noise, ResponsePoint, Slew
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import set_knob
from stagefx.circuit.limits import limits
from stagefx.circuit.response import Response
from stagefx.figures.table import compute_figures


def at_knob(tables: dict[str, Any], position: float | None = None) -> Stage:
    """A stage from tables, its knob at a position."""
    if position is None:
        return stage_from(tables)
    return stage_from(tables | {"volume": tables["volume"] | {"position": position}})


def measured(
    stage: Stage, *, rate_hz: int = 96000, clips: bool = True, slews: bool = True, **others: Any
) -> Measurement:
    """What a bench without error would say of a stage."""
    circuit = set_knob(nominal(stage)).circuit
    hz = np.geomspace(10.0, 0.46 * rate_hz, 60)
    transfer = np.abs(Response(circuit, np.append(hz, 1000.0)).to_load[0])
    gain_db = 20.0 * math.log10(transfer[-1])
    level_v = stage.source.level.value if stage.source.level is not None else 2.0
    response = [
        ResponsePoint(float(f), 20.0 * math.log10(t / transfer[-1]), 0.0, 1e-4)
        for f, t in zip(hz, transfer[:-1], strict=True)
    ]
    found = {
        "made_by": "bench expect",
        "rate_hz": rate_hz,
        "levels": (
            Level("01-level-1khz", 1000.0, -12.0, -20.0, level_v / 4, transfer[-1] * level_v / 4,
                  gain_db),
        ),
        "response": tuple(response),
        "noise": noise_of(compute_figures(stage).figures["noise_20k_v_rms"].value),
    }  # fmt: skip
    bounds = limits(circuit)
    passed = abs(complex(Response(circuit, np.array([300.0])).output[0, 0]))
    swap = bool(Response(circuit, np.array([1000.0])).to_load[0, 0].real < 0.0)
    if bounds is not None and bounds.high_v is not None and bounds.low_v is not None:
        high, low = float(bounds.high_v[0]) * passed, float(bounds.low_v[0]) * passed
        high, low = (-low, -high) if swap else (high, low)
        found["clip"] = Clip(high / 20, low / 20, high, low, clips, clips, -6.0, 0.0)
    if bounds is not None and bounds.slew_rise_v_per_s is not None:
        assert bounds.slew_fall_v_per_s is not None
        rise = float(bounds.slew_rise_v_per_s[0]) * passed * 1e-6
        fall = float(bounds.slew_fall_v_per_s[0]) * passed * 1e-6
        rise, fall = (fall, rise) if swap else (rise, fall)
        if not slews:
            rise, fall = 0.3, 0.3
        found["slew"] = Slew(rise * 5e4, fall * 5e4, rise, fall, slews)
    return Measurement(**(found | others))


def noise_of(volts: float | None, *, hum_share: float = 0.0) -> Noise:
    """Noise of so many volts, with so much of its power in hum."""
    assert volts is not None
    whole = volts / math.sqrt(1.0 - hum_share)
    dbfs = 20.0 * math.log10(whole / 20.0)
    without = 20.0 * math.log10(volts / 20.0)
    return Noise(dbfs, dbfs, dbfs, whole, whole, whole, without, None, (), None, None)


def tone(output_v_rms: float, harmonics_db: tuple[float, ...]) -> Harmonics:
    """A tone of 997 Hz with its harmonics."""
    return Harmonics(
        997.0, "levels", -10.0, -10.0, output_v_rms, -80.0, harmonics_db, -130.0, -80.0
    )
