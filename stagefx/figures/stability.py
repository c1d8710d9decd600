"""Figures of stability: how near the loop is to oscillating, and what an oscillation would do."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from stagefx.circuit.amplifier.stability import Stability
from stagefx.circuit.circuit import Array
from stagefx.circuit.ultrasonic import ultrasonic_v_rms, ultrasonic_w
from stagefx.figures.definition import NO_AMPLIFIER, Definition, Missing, Worked, Working


def _of(read: Callable[[Stability], Array], none: str) -> Callable[[Working], Worked]:
    """A reading of the loop; with a reason for the case that no draw has a number."""

    def work(working: Working) -> Worked:
        if working.circuit.stage.amplifier is None:
            return Missing(NO_AMPLIFIER)
        if working.stability is None:
            return Missing("infinite: no gain-bandwidth is stated")
        found = read(working.stability)
        return Missing(none) if not np.any(np.isfinite(found)) else found

    return work


def _ultrasonic(read: Callable[[Working], Array | None]) -> Callable[[Working], Worked]:
    def work(working: Working) -> Worked:
        if working.circuit.stage.oscillation is None:
            return Missing("no oscillation was seen")
        found = read(working)
        return Missing("no speaker_impedance is described") if found is None else found

    return work


_LOOP = (
    "amplifier.gain_bandwidth",
    "amplifier.second_pole",
    "amplifier.open_loop_output_resistance",
    "amplifier.feedback_capacitance",
    "output.resistance",
    "output_cable",
    "load.capacitance",
)
_TONE = ("oscillation", "listening.amplifier_gain", "listening.amplifier_bandwidth")

STABILITY = (
    Definition(
        "phase_margin_deg", "deg", "stability", "phase left before the loop would oscillate",
        "180 deg + angle of the loop gain where its magnitude is one; the smallest if several",
        _LOOP, _of(lambda s: s.phase_margin_deg, "infinite: the loop gain is never one"),
    ),
    Definition(
        "overshoot_percent", "%", "stability", "how far a small step overshoots",
        "largest value of the closed loop's step response over its final value, less one",
        _LOOP, _of(lambda s: s.overshoot_percent, "infinite: it oscillates"),
    ),
    Definition(
        "peaking_db", "dB", "stability", "highest rise of the amplifier's own response",
        "largest closed-loop gain re its gain at low frequencies", _LOOP,
        _of(lambda s: s.peaking_db, "infinite: it oscillates"),
    ),
    Definition(
        "ringing_hz", "Hz", "stability", "frequency at which a step rings",
        "imaginary part of the least damped pole pair", _LOOP,
        _of(lambda s: s.ringing_hz, "nothing rings: a step overshoots by less than 1 %"),
    ),
    Definition(
        "ultrasonic_v_rms", "V rms", "stability", "the oscillation at a loudspeaker",
        "level at the amplifier's output x |output network| x power amplifier's gain and pole",
        _TONE, _ultrasonic(lambda working: ultrasonic_v_rms(working.circuit)),
    ),
    Definition(
        "ultrasonic_w", "W", "stability", "power of the oscillation in a loudspeaker",
        "voltage squared / speaker_impedance", (*_TONE, "listening.speaker_impedance"),
        _ultrasonic(lambda working: ultrasonic_w(working.circuit)),
    ),
)  # fmt: skip
