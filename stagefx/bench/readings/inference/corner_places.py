"""Where in a stage the part that makes a corner may stand."""

from __future__ import annotations

import numpy as np

from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.conditions import on_bench
from stagefx.circuit.amplifier.small_signal import Amplifier
from stagefx.circuit.description.devices import device_class, device_classes
from stagefx.circuit.network.ladder import laplace
from stagefx.circuit.response import Response

_KILOHERTZ = np.array([1000.0])
NOTHING_OHM = 1e-6
"""Below this there is no resistance for a capacitance to work with."""


def places(draft: Draft, corner_hz: float, stated: str | None) -> list[str]:
    """Where the part that makes a treble corner may stand, the likeliest place first."""
    if stated is not None:
        return [stated]
    first = _likely_place(draft, corner_hz)
    if not draft.described:
        return [first]
    there = {"input"}
    if draft.stage.amplifier is not None and not _speed_is_told(draft):
        there |= {"amplifier"}
    there |= {"output"} if output_ohm(draft) > NOTHING_OHM else set()
    return [first, *sorted(there - {first}, reverse=True)]


def _speed_is_told(draft: Draft) -> bool:
    """Whether an overshoot has told the amplifier's own speed."""
    told = {"amplifier.second_pole", "amplifier.open_loop_output_resistance"}
    return any(one.part in told for one in draft.found)


def noise_gain(draft: Draft) -> float:
    """The amplifier's noise gain."""
    circuit = on_bench(draft.stage, knob=draft.knob)
    return float(Amplifier(circuit, laplace(_KILOHERTZ)).noise_gain[0, 0])


def _likely_place(draft: Draft, corner_hz: float) -> str:
    amplifier = draft.stage.amplifier
    if amplifier is None:
        return "output" if output_ohm(draft) > NOTHING_OHM else "input"
    if _speed_is_told(draft):
        return "input"
    classes = (
        list(device_classes().values())
        if amplifier.device is None
        else [device_class(amplifier.device)]
    )
    slowest = min(
        one.low.gain_bandwidth.value for one in classes if one.low.gain_bandwidth is not None
    )
    return "amplifier" if corner_hz * noise_gain(draft) >= slowest else "input"


def output_ohm(draft: Draft) -> float:
    """The resistance at the output that a capacitance there would work with."""
    response = Response(on_bench(draft.stage, knob=draft.knob), _KILOHERTZ)
    return float(np.abs(response.output_impedance_ohm[0, 0].real))


def output_load_ohm(draft: Draft) -> float:
    """What an output coupling capacitor works into."""
    load = draft.stage.load
    return 10e3 if load is None or load.resistance is None else load.resistance.value
