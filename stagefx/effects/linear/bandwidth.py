"""The amplifier's own linear response: its feedback parts, then the speed of its loop."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from stagefx.circuit.amplifier.small_signal import Amplifier
from stagefx.circuit.circuit import Circuit
from stagefx.circuit.network.ladder import laplace
from stagefx.dsp.fir_design import Array, Complex
from stagefx.effects.kind import EffectKind, Piece, Place, Setup
from stagefx.effects.linear.sections import Corner, Linear

NAME = "bandwidth"


def feedback_parts(circuit: Circuit) -> Linear:
    """From amplifier input to the target of its output, the device taken as infinitely fast."""
    return _response(circuit, lambda amplifier: amplifier.ideal_gain, _gain_leg_corner(circuit))


def loop_speed(circuit: Circuit) -> Linear:
    """What the loop's finite speed and gain leave of the target."""
    return _response(circuit, lambda amplifier: amplifier.correction, ())


def _response(
    circuit: Circuit, of: Callable[[Amplifier], Complex], corners: tuple[Corner, ...]
) -> Linear:
    def response(hz: Array) -> Complex:
        return np.asarray(of(Amplifier(circuit, laplace(hz)))[0])

    at_kilohertz = response(np.array([1000.0]))[0]
    gain = float(np.copysign(abs(at_kilohertz), at_kilohertz.real))
    return Linear(NAME, response, gain, corners)


def _gain_leg_corner(circuit: Circuit) -> tuple[Corner, ...]:
    """The pole and zero of the gain leg's capacitor; an inverting leg counts as loading."""
    assert circuit.stage.amplifier is not None
    if circuit.gain_leg_f is None or circuit.stage.amplifier.topology == "inverting":
        return ()
    assert circuit.feedback_ohm is not None
    assert circuit.gain_leg_ohm is not None
    upper, lower = float(circuit.feedback_ohm[0, 0]), float(circuit.gain_leg_ohm[0, 0])
    leg = float(circuit.gain_leg_f[0, 0])
    across = 0.0 if circuit.feedback_f is None else float(circuit.feedback_f[0, 0])
    pole = 1.0 / (lower * leg)
    # numerator of 1 + Zf/Zg: s^2 Rf Cf Rg Cg + s (Rf Cf + Rg Cg + Rf Cg) + 1
    square = upper * across * lower * leg
    linear = upper * across + lower * leg + upper * leg
    zero = 2.0 / (linear + np.sqrt(linear * linear - 4.0 * square))
    return (Corner(pole, float(zero)),)


def _pieces(setup: Setup) -> Iterator[Piece]:
    if setup.circuit.stage.amplifier is not None:
        yield Place.FEEDBACK_PARTS, feedback_parts(setup.circuit)
        yield Place.LOOP, loop_speed(setup.circuit)


EFFECT = EffectKind(
    NAME,
    "the amplifier's own linear response",
    (),
    lambda stage: stage.amplifier is not None,
    _pieces,
)
