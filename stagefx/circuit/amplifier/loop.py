"""The amplifier's feedback loop as ratios of polynomials: what stability is worked out from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.network.placement import load_parts, output_parts, socket_parts, source_parts
from stagefx.circuit.network.polynomial import plus, times, trimmed
from stagefx.circuit.network.rational import (
    UNIT_RAD_PER_S,
    Ratio,
    fast_admittance,
    fast_source_impedance,
)


@dataclass(frozen=True)
class Loop:
    """A feedback loop, its coupling capacitors taken as shorts."""

    gain: Ratio
    closed: Ratio


@dataclass(frozen=True)
class _Feedback:
    """Share of the output fed back, ``share / common``, and the path's load, ``load / common``."""

    share: Array
    common: Array
    load: Array


def feedback_loop(circuit: Circuit) -> Loop | None:
    """A circuit's feedback loop.

    With A the device's open loop behind its output resistance Ro, the load Y_L and the feedback
    path's own load Y_fb, T = A beta / (1 + Ro (Y_L + Y_fb)) and the closed loop is T/(1 + T) over
    beta (textbook feedback theory).
    """
    amplifier, device = circuit.stage.amplifier, circuit.device
    if amplifier is None or device.gain_bandwidth_hz is None:
        return None
    path, one = _feedback(circuit), np.ones((circuit.draws, 1))
    load = fast_admittance([*output_parts(circuit), *load_parts(circuit)], circuit.draws)
    own_ohm = 0.0 * one if device.open_loop_output_ohm is None else device.open_loop_output_ohm
    loading = plus(times(load.above, path.common), times(path.load, load.below))
    slow = _open_loop_inverse(circuit)
    lost = times(slow, plus(times(path.common, load.below), loading * own_ohm))
    kept = times(path.share, load.below)
    if circuit.gain is not None:
        ideal = kept * circuit.gain * (-1.0 if amplifier.topology == "inverting" else 1.0)
    elif amplifier.topology == "inverting":
        assert circuit.feedback_ohm is not None
        assert circuit.gain_leg_ohm is not None
        pole = _feedback_pole(circuit)
        forward = plus(one, times(slow, pole) * (-own_ohm / circuit.feedback_ohm))
        leg = times(times(_leg(circuit).above, load.below), forward)
        ideal = leg * (-circuit.feedback_ohm / circuit.gain_leg_ohm)
    else:
        ideal = times(path.common, load.below)
    return Loop(
        Ratio(trimmed(kept), trimmed(lost)), Ratio(trimmed(ideal), trimmed(plus(kept, lost)))
    )


def _open_loop_inverse(circuit: Circuit) -> Array:
    """1/A of the device."""
    device = circuit.device
    assert device.gain_bandwidth_hz is not None
    one = np.ones((circuit.draws, 1))
    direct = 0.0 * one if device.open_loop_gain is None else 1.0 / device.open_loop_gain
    inverse = np.hstack([direct, UNIT_RAD_PER_S / (2.0 * np.pi * device.gain_bandwidth_hz)])
    if device.second_pole_hz is None:
        return inverse
    second = np.hstack([one, UNIT_RAD_PER_S / (2.0 * np.pi * device.second_pole_hz)])
    return times(inverse, second)


def _feedback(circuit: Circuit) -> _Feedback:
    amplifier, one = circuit.stage.amplifier, np.ones((circuit.draws, 1))
    assert amplifier is not None
    if amplifier.topology == "follower":
        return _Feedback(one, one, 0.0 * one)
    if circuit.gain is not None:
        noise_gain = circuit.gain + (1.0 if amplifier.topology == "inverting" else 0.0)
        return _Feedback(one, noise_gain, 0.0 * one)
    assert circuit.feedback_ohm is not None
    leg, pole = _leg(circuit), _feedback_pole(circuit)
    share = times(leg.above, pole)
    common = plus(share, leg.below * circuit.feedback_ohm)
    return _Feedback(share, common, times(leg.below, pole))


def _feedback_pole(circuit: Circuit) -> Array:
    """1 + s Rf Cf."""
    one = np.ones((circuit.draws, 1))
    if circuit.feedback_f is None or circuit.feedback_ohm is None:
        return one
    return np.hstack([one, circuit.feedback_ohm * circuit.feedback_f * UNIT_RAD_PER_S])


def _leg(circuit: Circuit) -> Ratio:
    """Impedance of the gain leg; of an inverting amplifier with what drives it."""
    amplifier = circuit.stage.amplifier
    assert amplifier is not None
    assert circuit.gain_leg_ohm is not None
    if amplifier.topology != "inverting":
        return Ratio(circuit.gain_leg_ohm, np.ones((circuit.draws, 1)))
    driving = fast_source_impedance([*source_parts(circuit), *socket_parts(circuit)], circuit.draws)
    return Ratio(plus(driving.above, driving.below * circuit.gain_leg_ohm), driving.below)
