"""Square waves through a modelled stage as an oscilloscope would show them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.scope.interpretation import read_scope
from stagefx.bench.scope.reading import ScopeReading
from stagefx.bench.scope.tables import ScopeError, Trace
from stagefx.circuit.circuit import Circuit
from stagefx.circuit.limits import Limits, limits
from stagefx.circuit.response import Response

Array = NDArray[np.float64]

QUICK_HZ, SLOW_HZ = 10e3, 50.0
POINTS = 1 << 15
_SLOW_POINTS = 1 << 12
_SMALL_V = 0.1
_CLEAN_SHARE = 0.25
_SETTLING_PERIODS = 0.5
_FULL_HZ = (QUICK_HZ, 5e3, 2e3, 1e3, 500.0, 200.0)
_SLEWING_SHARE = 0.2
"""Of half a period, so that a top has room to settle."""
_SCREEN_SHARE = 0.15
"""The scope's own bandwidth, over the rate of its points; 49 MHz at 10 kHz."""


@dataclass(frozen=True)
class SquarePicture:
    """One square wave on the screen."""

    name: str
    hz: float
    input_v_pp: float
    reading: ScopeReading | None
    trace: Trace

    def as_json(self) -> dict[str, Any]:
        """The picture as plain values."""
        told = None if self.reading is None else self.reading.as_json()
        return {"name": self.name, "hz": self.hz, "input_v_pp": self.input_v_pp, "reading": told}


def square_pictures(circuit: Circuit, full_scale_v: float) -> tuple[SquarePicture, ...]:
    """A stage's square waves: a small one, one at full scale, and a slow one."""
    gain = abs(complex(Response(circuit, np.array([QUICK_HZ])).to_amplifier_output[0, 0]))
    small = _small_step_v(limits(circuit)) / max(gain, 1e-12)
    wanted = (
        ("small", QUICK_HZ, min(small, full_scale_v), POINTS),
        ("full", _full_hz(circuit, 2.0 * full_scale_v * gain), 2.0 * full_scale_v, POINTS),
        ("slow", SLOW_HZ, full_scale_v, _SLOW_POINTS),
    )
    return tuple(
        _picture(name, circuit, hz, input_v_pp, points) for name, hz, input_v_pp, points in wanted
    )


def _small_step_v(bounds: Limits | None) -> float:
    """A step at the amplifier's output that is clearly too small to slew, V p-p."""
    if bounds is None or bounds.slew_rise_v_per_s is None or bounds.slew_fall_v_per_s is None:
        return _SMALL_V
    slowest = min(float(bounds.slew_rise_v_per_s[0]), float(bounds.slew_fall_v_per_s[0]))
    clean = _CLEAN_SHARE * slowest * float(bounds.time_constant_s[0])
    return min(_SMALL_V, clean) if clean > 0.0 else _SMALL_V


def _full_hz(circuit: Circuit, step_v: float) -> float:
    """The highest of some frequencies at which a large step has settled before the next."""
    bounds = limits(circuit)
    if bounds is None or bounds.slew_rise_v_per_s is None or bounds.slew_fall_v_per_s is None:
        return QUICK_HZ
    slowest = min(float(bounds.slew_rise_v_per_s[0]), float(bounds.slew_fall_v_per_s[0]))
    return next((hz for hz in _FULL_HZ if 2.0 * hz * step_v / slowest < _SLEWING_SHARE), 100.0)


def _picture(
    name: str, circuit: Circuit, hz: float, input_v_pp: float, points: int
) -> SquarePicture:
    volts = _on_screen(square_through(circuit, hz, 0.5 * input_v_pp, points=points))
    trace = Trace(0.0, 1.0 / (hz * points), np.tile(volts, 2), 0.0)
    try:
        reading = read_scope(trace)
    except ScopeError:
        reading = None
    return SquarePicture(name, hz, input_v_pp, reading, trace)


def square_through(circuit: Circuit, hz: float, peak_v: float, *, points: int = POINTS) -> Array:
    """One period of a square wave at the load, long after it was switched on.

    Linear parts act exactly, harmonic by harmonic.  The limits are the textbook law dv/dt =
    S tanh((u - v)/(S tau)), stepped with its exact solution for a held input; what the loop does
    beside its pole acts on the result.
    """
    square = np.where(np.abs(np.arange(points) - 0.5 * points + 0.5) < 0.25 * points, 1.0, -1.0)
    lines_hz = hz * np.arange(1.0, points // 2 + 1)
    response = Response(circuit, lines_hz)
    before, after = response.input.transfer[0], response.output[0]
    bounds, amplifier = limits(circuit), response.amplifier
    if amplifier is None or bounds is None:
        return _through(peak_v * square, before * after)
    target = _through(peak_v * square, before * amplifier.ideal_gain[0])
    correction = amplifier.correction[0]
    if not _limits_at_all(bounds):
        return _through(target, correction * after)
    tau = float(bounds.time_constant_s[0])
    moved = _limited(target, bounds, 1.0 / (hz * points))
    beside_pole = correction * (1.0 + 2j * np.pi * lines_hz * tau)
    return _through(moved, beside_pole * after) + _direct(moved, circuit)


def _through(wave: Array, transfer: NDArray[np.complex128]) -> Array:
    """A periodic wave through a response that is known at its harmonics; direct voltage is lost."""
    spectrum = np.fft.rfft(wave)
    spectrum[0] = 0.0
    spectrum[1:] *= transfer
    spectrum[-1] = spectrum[-1].real
    return np.asarray(np.fft.irfft(spectrum, wave.size))


def _on_screen(wave: Array) -> Array:
    """A periodic wave through the scope's own bandwidth, Gaussian, which does not overshoot."""
    share = np.fft.rfftfreq(wave.size) / _SCREEN_SHARE
    return np.asarray(np.fft.irfft(np.fft.rfft(wave) * 2.0 ** (-0.5 * share**2), wave.size))


def _direct(moved: Array, circuit: Circuit) -> float:
    """Direct voltage that limits which are not symmetrical leave at the load."""
    coupled = circuit.output_coupling_f is not None
    return 0.0 if coupled else float(moved.mean())


def _limits_at_all(bounds: Limits) -> bool:
    return any(
        one is not None
        for one in (
            bounds.high_v, bounds.low_v, bounds.slew_rise_v_per_s, bounds.slew_fall_v_per_s,
        )
    )  # fmt: skip


def _limited(target: Array, bounds: Limits, step_s: float) -> Array:
    """The two-stage law with a target held from point to point, in steady state."""

    def limit(value: Array | None, usual: float) -> float:
        return usual if value is None else float(value[0])

    high, low = limit(bounds.high_v, math.inf), limit(bounds.low_v, -math.inf)
    rise = limit(bounds.slew_rise_v_per_s, math.inf)
    fall = limit(bounds.slew_fall_v_per_s, math.inf)
    tau = float(bounds.time_constant_s[0])
    settling = int(_SETTLING_PERIODS * target.size)
    order = np.concatenate((np.arange(target.size - settling, target.size), np.arange(target.size)))
    v, moved = min(max(float(target[order[0]]), low), high), np.empty(order.size)
    for index, u in enumerate(target[order].tolist()):
        slew = rise if u > v else fall
        v = u - _left(u - v, slew, tau, step_s)
        v = min(max(v, low), high)
        moved[index] = v
    return moved[settling:]


def _left(error: float, slew: float, tau: float, step_s: float) -> float:
    """What is left of an error after a step: V asinh(sinh(e/V) exp(-T/tau)), V = S tau."""
    if tau == 0.0:
        most = slew * step_s
        return math.copysign(max(abs(error) - most, 0.0), error)
    fade = step_s / tau
    if math.isinf(slew):
        return error * math.exp(-fade)
    unit = slew * tau
    x = abs(error) / unit
    if x < 20.0:
        left = math.asinh(math.sinh(x) * math.exp(-fade))
    else:
        past = x - fade  # log(2 sinh x) less the fade
        left = past if past > 20.0 else math.asinh(0.5 * math.exp(past))
    return math.copysign(unit * left, error)
