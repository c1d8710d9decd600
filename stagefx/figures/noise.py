"""Figures of noise: at the load, against the signal, and as sound."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from stagefx.circuit.circuit import Array
from stagefx.circuit.knob import seat_spl_db
from stagefx.circuit.noise_budget import AudioNoise
from stagefx.figures.definition import (
    NO_CHAIN,
    NO_LEVEL,
    Definition,
    Missing,
    Worked,
    Working,
    decibels_of,
)

_CAUSES = (
    "amplifier.voltage_noise",
    "amplifier.current_noise",
    "amplifier.feedback_resistance",
    "volume",
    "source.resistance",
)
_CHAIN = (*_CAUSES, "listening")


def _worst_knob(working: Working) -> Worked:
    position = working.worst_position
    if position is None:
        return working.noise.total
    return AudioNoise(working.circuit.at_position(position)).budget().total


def _signal_to_noise(working: Working) -> Worked:
    level = working.circuit.source_v_rms
    if level is None:
        return Missing(NO_LEVEL)
    signal = level[:, 0] * np.abs(working.at_kilohertz.to_load)[:, 0]
    return _over_noise(working, signal)


def _over_noise(working: Working, signal_v_rms: Array) -> Worked:
    if np.any(working.noise.total == 0.0):
        return Missing("infinite: nothing makes noise")
    return decibels_of(signal_v_rms / working.noise.total)


def _spl(
    noise: Callable[[Working], Array], *, at_m: float | None = None
) -> Callable[[Working], Worked]:
    def work(working: Working) -> Worked:
        if working.circuit.stage.listening is None:
            return Missing(NO_CHAIN)
        return seat_spl_db(working.circuit, noise(working), at_m=at_m)

    return work


def _flat(working: Working) -> Array:
    return working.noise.total


def _weighted(working: Working) -> Array:
    return working.noise_a.total


NOISE = (
    Definition(
        "noise_20k_v_rms", "V rms", "noise", "noise at the load, 20 kHz wide",
        "root of the sum of squares of all contributors, each through its own gain",
        _CAUSES, _flat,
    ),
    Definition(
        "noise_a_v_rms", "V rms", "noise", "the same, A-weighted",
        "the same, each frequency weighted as IEC 61672-1 says", _CAUSES, _weighted,
    ),
    Definition(
        "noise_worst_knob_20k_v_rms", "V rms", "noise", "noise at the knob's noisiest position",
        "the largest over all positions of the knob", _CAUSES, _worst_knob,
    ),
    Definition(
        "signal_to_noise_db", "dB", "noise", "full-scale source over the noise",
        "20 log(source level x |EMF-to-load, 1 kHz| / noise over 20 kHz)",
        ("source.level", *_CAUSES), _signal_to_noise,
    ),
    Definition(
        "signal_to_noise_2v_db", "dB", "noise", "2 V at the load over the noise",
        "20 log(2 V / noise over 20 kHz)", _CAUSES,
        lambda working: _over_noise(working, np.full(working.circuit.draws, 2.0)),
    ),
    Definition(
        "noise_spl_1m_db", "dB", "noise", "noise of one loudspeaker at 1 m",
        "20 log(noise x amplifier gain / sqrt 8) + sensitivity", _CHAIN, _spl(_flat, at_m=1.0),
    ),
    Definition(
        "noise_spl_seat_db", "dB", "noise", "noise at the seat",
        "the same - 20 log(distance) + 10 log(speakers)", _CHAIN, _spl(_flat),
    ),
    Definition(
        "noise_spl_seat_a_db", "dB", "noise", "noise at the seat, A-weighted",
        "the same of the A-weighted noise", _CHAIN, _spl(_weighted),
    ),
)  # fmt: skip
