"""Figures of response: corners, losses at the band's ends, the closed loop alone."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from stagefx.stage.amplifier import Amplifier
from stagefx.stage.circuit import Array
from stagefx.stage.figures.definition import (
    NO_AMPLIFIER,
    Definition,
    Missing,
    Worked,
    Working,
    decibels_of,
)
from stagefx.stage.ladder import laplace
from stagefx.stage.response import Response

HALF_POWER_DB = -10.0 * np.log10(2.0)
_LOWEST_HZ, _HIGHEST_HZ = 1e-4, 1e10
_PER_DECADE = 16
_HALVINGS = 48

Loss = Callable[[Array], Array]


def _relative_db(working: Working, hz: Array) -> Array:
    level = decibels_of(np.abs(Response(working.circuit, hz).to_load))
    return np.asarray(level - decibels_of(np.abs(working.at_kilohertz.to_load)))


def _crossing(loss: Loss, wanted_db: float, outward_hz: Array) -> Worked:
    """The first frequency, walking outward from 1 kHz, at which a loss is reached."""
    reached = loss(outward_hz) <= wanted_db
    if not np.all(reached.any(axis=1)):
        return Missing("infinite" if outward_hz[-1] > outward_hz[0] else "reaches 0 Hz")
    first = np.maximum(np.argmax(reached, axis=1), 1)
    inside, outside = np.log(outward_hz[first - 1])[:, None], np.log(outward_hz[first])[:, None]
    for _ in range(_HALVINGS):
        middle = 0.5 * (inside + outside)
        beyond = loss(np.exp(middle)) <= wanted_db
        inside, outside = np.where(beyond, inside, middle), np.where(beyond, middle, outside)
    return np.asarray(np.exp(0.5 * (inside + outside))[:, 0])


def _grid(low_hz: float, high_hz: float) -> Array:
    decades = abs(np.log10(high_hz / low_hz))
    return np.geomspace(low_hz, high_hz, int(decades * _PER_DECADE) + 1)


def _high(wanted_db: float) -> Callable[[Working], Worked]:
    def work(working: Working) -> Worked:
        outward = _grid(1e3, _HIGHEST_HZ)
        return _crossing(lambda hz: _relative_db(working, hz), wanted_db, outward)

    return work


def _low(working: Working) -> Worked:
    outward = _grid(1e3, _LOWEST_HZ)
    found = _crossing(lambda hz: _relative_db(working, hz), HALF_POWER_DB, outward)
    return np.zeros(working.circuit.draws) if isinstance(found, Missing) else found


def _at(hz: float) -> Callable[[Working], Worked]:
    return lambda working: _relative_db(working, np.array([hz]))[:, 0]


def _phase_20_hz(working: Working) -> Worked:
    response = Response(working.circuit, np.array([20.0])).to_load[:, 0]
    upright = np.sign(working.at_kilohertz.to_load[:, 0].real)
    return np.asarray(np.degrees(np.angle(response * upright)))


def _closed_loop(working: Working) -> Worked:
    circuit = working.circuit
    if circuit.stage.amplifier is None:
        return Missing(NO_AMPLIFIER)
    reference = decibels_of(np.abs(_loop(working, np.array([1e3]))))
    return _crossing(
        lambda hz: decibels_of(np.abs(_loop(working, hz))) - reference,
        HALF_POWER_DB,
        _grid(1e3, _HIGHEST_HZ),
    )


def _loop(working: Working, hz: Array) -> Array:
    return np.abs(Amplifier(working.circuit, laplace(hz)).closed_loop_gain)


_NETWORK = ("source", "input_cable", "volume", "input", "amplifier", "output", "load")
_LOW = ("source.coupling", "input.coupling", "output.coupling", "amplifier.gain_leg_capacitance")

RESPONSE = (
    Definition(
        "low_corner_hz", "Hz", "response", "bass corner, 3 dB down",
        "-3.0103 dB re 1 kHz, EMF to load; 0 if it reaches 0 Hz", _LOW, _low,
    ),
    Definition(
        "high_corner_hz", "Hz", "response", "treble corner, 3 dB down",
        "-3.0103 dB re 1 kHz, EMF to load", _NETWORK, _high(HALF_POWER_DB),
    ),
    Definition(
        "high_half_db_hz", "Hz", "response", "where the treble is half a decibel down",
        "-0.5 dB re 1 kHz, EMF to load", _NETWORK, _high(-0.5),
    ),
    Definition(
        "response_20_hz_db", "dB", "response", "level at 20 Hz", "re 1 kHz, EMF to load", _LOW,
        _at(20.0),
    ),
    Definition(
        "response_10_khz_db", "dB", "response", "level at 10 kHz", "re 1 kHz, EMF to load",
        _NETWORK, _at(10e3),
    ),
    Definition(
        "response_20_khz_db", "dB", "response", "level at 20 kHz", "re 1 kHz, EMF to load",
        _NETWORK, _at(20e3),
    ),
    Definition(
        "phase_20_hz_deg", "deg", "response", "phase at 20 Hz",
        "angle of EMF to load, polarity removed", _LOW, _phase_20_hz,
    ),
    Definition(
        "closed_loop_bandwidth_hz", "Hz", "speed", "the amplifier's own bandwidth",
        "-3.0103 dB re 1 kHz of the closed loop alone, as loaded",
        ("amplifier.gain_bandwidth", "amplifier.feedback_resistance", "amplifier.gain_resistance"),
        _closed_loop,
    ),
)  # fmt: skip
