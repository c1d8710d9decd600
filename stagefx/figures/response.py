"""Figures of response: corners, losses at the band's ends, the closed loop alone."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from stagefx.circuit.amplifier.small_signal import Amplifier
from stagefx.circuit.circuit import Array
from stagefx.circuit.network.ladder import laplace
from stagefx.circuit.response import Response
from stagefx.circuit.search import root
from stagefx.figures.definition import (
    NO_AMPLIFIER,
    SILENT,
    Definition,
    Missing,
    Worked,
    Working,
    decibels_of,
)

HALF_POWER_DB = -10.0 * np.log10(2.0)
_START_HZ, _LOWEST_HZ, _HIGHEST_HZ = 1e3, 1e-4, 1e10
_PER_DECADE = 16

Loss = Callable[[Array], Array]


def _relative_db(working: Working, hz: Array) -> Array:
    """Level re 1 kHz; minus infinity where nothing comes through at all."""
    reference = np.abs(working.at_kilohertz.to_load)
    silent = reference == 0.0
    gain = np.abs(Response(working.circuit, hz).to_load) / np.where(silent, 1.0, reference)
    return decibels_of(np.where(silent, 0.0, gain))


def _silent(working: Working) -> bool:
    return bool(np.all(working.at_kilohertz.to_load == 0.0))


def _crossing(loss: Loss, wanted_db: float, farthest_hz: float) -> Array:
    """The first frequency, walking outward from 1 kHz, at which a loss is reached.

    Infinite, or 0 Hz, for the draws that never reach it.
    """
    inside, outside = _bracket(lambda hz: loss(hz) - wanted_db, farthest_hz)
    never = np.inf if farthest_hz > _START_HZ else 0.0
    crossed = root(lambda log_hz: loss(np.exp(log_hz)) - wanted_db, inside, outside)
    return np.where(np.isnan(crossed), never, np.exp(crossed))[:, 0]


def _bracket(excess: Loss, farthest_hz: float) -> tuple[Array, Array]:
    """Neighbouring points, ln Hz, between which the excess is used up; NaN outside if never."""
    decades = round(abs(np.log10(farthest_hz / _START_HZ)))
    step = np.log(farthest_hz / _START_HZ) / (decades * _PER_DECADE)
    inside = outside = np.array([[np.nan]])
    for decade in range(decades):
        log_hz = np.log(_START_HZ) + step * (decade * _PER_DECADE + np.arange(_PER_DECADE + 1))
        beyond = excess(np.exp(log_hz)) <= 0.0
        first = np.maximum(np.argmax(beyond, axis=1), 1)[:, None]
        fresh = beyond.any(axis=1, keepdims=True) & np.isnan(outside)
        inside = np.where(fresh, log_hz[first - 1], inside)
        outside = np.where(fresh, log_hz[first], outside)
        if not np.any(np.isnan(outside)):
            break
    return inside, outside


def _high(wanted_db: float) -> Callable[[Working], Worked]:
    def work(working: Working) -> Worked:
        return _crossing(lambda hz: _relative_db(working, hz), wanted_db, _HIGHEST_HZ)

    return _unless_silent(work)


def _low(working: Working) -> Worked:
    return _crossing(lambda hz: _relative_db(working, hz), HALF_POWER_DB, _LOWEST_HZ)


def _at(hz: float) -> Callable[[Working], Worked]:
    return _unless_silent(lambda working: _relative_db(working, np.array([hz]))[:, 0])


def _unless_silent(work: Callable[[Working], Worked]) -> Callable[[Working], Worked]:
    """Nothing has a response at a knob position where nothing comes through."""
    return lambda working: Missing(SILENT) if _silent(working) else work(working)


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
        _HIGHEST_HZ,
    )


def _loop(working: Working, hz: Array) -> Array:
    return np.abs(Amplifier(working.circuit, laplace(hz)).closed_loop_gain)


_NETWORK = ("source", "input_cable", "volume", "input", "amplifier", "output", "load")
_LOW = ("source.coupling", "input.coupling", "output.coupling", "amplifier.gain_leg_capacitance")

RESPONSE = (
    Definition(
        "low_corner_hz", "Hz", "response", "bass corner, 3 dB down",
        "-3.0103 dB re 1 kHz, EMF to load; 0 if it reaches 0 Hz", _LOW,
        _unless_silent(_low),
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
        "angle of EMF to load, polarity removed", _LOW,
        _unless_silent(_phase_20_hz),
    ),
    Definition(
        "closed_loop_bandwidth_hz", "Hz", "speed", "the amplifier's own bandwidth",
        "-3.0103 dB re 1 kHz of the closed loop alone, as loaded",
        ("amplifier.gain_bandwidth", "amplifier.feedback_resistance", "amplifier.gain_resistance"),
        _closed_loop,
    ),
)  # fmt: skip
