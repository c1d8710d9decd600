"""What a described stage gives on paper for each number that was measured."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.bench_setting import with_knob, with_load
from stagefx.bench.fit.rounds import Round, Seen, sweep_emf_v
from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import set_knob
from stagefx.circuit.limits import limits
from stagefx.circuit.noise_budget import AudioNoise
from stagefx.circuit.response import Response
from stagefx.effects.crosstalk import crosstalk

Array = NDArray[np.float64]

_KILOHERTZ = np.array([1000.0])
_SLEWING_HZ = np.array([10e3])
_CLIPPING_HZ = np.array([300.0])
"""Where the round's clipping ramp lies."""
_HARDEST = 0.9


def circuit_of(stage: Stage, one: Round) -> Circuit:
    """A stage's circuit under the conditions of a round."""
    return set_knob(nominal(with_load(with_knob(stage, one.knob), one.load_ohm))).circuit


def predicted(stage: Stage, one: Round, seen: Sequence[Seen]) -> Array:
    """What a stage gives for measured numbers."""
    circuit = circuit_of(stage, one)
    single = _single_numbers(stage, circuit, {item.kind for item in seen})
    found = np.array([single.get(item.kind, math.nan) for item in seen])
    hz = np.array([item.hz or 1000.0 for item in seen])
    swept = np.array([item.kind == "response" for item in seen])
    if swept.any():
        found[swept] = _response_db(circuit, hz[swept], sweep_emf_v(one.measurement))
    crossed = np.array([item.kind == "crosstalk" for item in seen])
    if crossed.any():
        found[crossed] = _db(crosstalk(circuit, hz[crossed]))
    return found


def _single_numbers(stage: Stage, circuit: Circuit, kinds: set[str]) -> dict[str, float]:
    numbers: dict[str, float] = {}
    if "gain" in kinds:
        numbers["gain"] = float(_db(Response(circuit, _KILOHERTZ).to_load[0])[0])
    if any(kind.startswith(("clip", "slew")) for kind in kinds):
        numbers |= _limit_numbers(circuit)
    if "noise" in kinds:
        numbers["noise"] = float(AudioNoise(circuit).budget().total[0])
    amplifier = stage.amplifier
    levels = None if amplifier is None else amplifier.harmonics
    for order, level in enumerate(levels or (), start=2):
        numbers[f"harmonic {order}"] = level.value
    mismatch = None if stage.volume is None else stage.volume.mismatch
    numbers["balance"] = 0.0 if mismatch is None else mismatch.value
    return numbers


def _limit_numbers(circuit: Circuit) -> dict[str, float]:
    """Limits as a recorder at the load sees them; infinite where there is none."""
    bounds = limits(circuit)
    names = ("clip high", "clip low", "slew rise", "slew fall")
    if bounds is None:
        return dict.fromkeys(names, math.inf)
    level = abs(complex(Response(circuit, _CLIPPING_HZ).output[0, 0]))
    slope = 1e-6 * abs(complex(Response(circuit, _SLEWING_HZ).output[0, 0]))
    sizes = (bounds.high_v, bounds.low_v, bounds.slew_rise_v_per_s, bounds.slew_fall_v_per_s)
    return {
        name: math.inf if size is None else abs(float(size[0])) * scale
        for name, size, scale in zip(names, sizes, (level, level, slope, slope), strict=True)
    }


def _response_db(circuit: Circuit, hz: Array, emf_v: float | None) -> Array:
    """Level re 1 kHz, of a sweep as hot as it was played."""
    response = Response(circuit, np.append(hz, 1000.0))
    levels = _db(response.to_load[0])
    if emf_v is not None:
        levels = levels - slewing_loss_db(circuit, response, emf_v)
    return np.asarray(levels[:-1] - levels[-1])


def slewing_loss_db(circuit: Circuit, response: Response, emf_v: float) -> Array:
    """What a sine below the slew limit loses beyond the loop's pole.

    The error of dv/dt = S tanh(e/(S tau)) is S tau artanh(r cos), r = slope/S; its fundamental is
    that of a pole of tau (1 + r²/4 + r⁴/8 + 5 r⁶/64 ...), rise and fall in equal parts.

    Good to a tenth of itself for r up to 0.4 and frequencies well below the pole.
    """
    bounds = limits(circuit)
    if bounds is None or bounds.slew_rise_v_per_s is None or bounds.slew_fall_v_per_s is None:
        return np.zeros(response.hz.size)
    angle = 2.0 * np.pi * response.hz
    slope = angle * emf_v * np.abs(response.to_amplifier_output[0])
    grown = np.zeros(response.hz.size)
    for slew in (bounds.slew_rise_v_per_s, bounds.slew_fall_v_per_s):
        r = np.minimum(slope / float(slew[0]), _HARDEST)
        grown += 0.5 * (1.0 + r**2 / 4.0 + r**4 / 8.0 + 5.0 * r**6 / 64.0)
    pole = angle * float(bounds.time_constant_s[0])
    return np.asarray(10.0 * np.log10((1.0 + (pole * grown) ** 2) / (1.0 + pole**2)))


def _db(transfer: NDArray[np.complex128]) -> Array:
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(transfer), 1e-30)))
