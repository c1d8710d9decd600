"""Figures of level and loading."""

from __future__ import annotations

import numpy as np

from stagefx.stage.circuit import Array
from stagefx.stage.figures.definition import (
    Definition,
    Missing,
    Worked,
    Working,
    decibels_of,
)


def _gain(working: Working) -> Worked:
    return decibels_of(np.abs(working.at_kilohertz.to_load)[:, 0])


def _gain_maximum(working: Working) -> Worked:
    return decibels_of(np.abs(working.at_full.to_load)[:, 0])


def _sensitivity(working: Working) -> Worked:
    chain = working.circuit.stage.listening
    if chain is None or chain.rated_power is None or chain.speaker_impedance is None:
        return Missing("no power amplifier with rated_power and speaker_impedance is described")
    rated_v = np.sqrt(chain.rated_power.value * chain.speaker_impedance.value)
    gain = chain.amplifier_gain * np.abs(working.at_full.to_load)[:, 0]
    return np.asarray(rated_v / gain)


def _input_impedance(working: Working) -> Worked:
    impedance = np.abs(working.at_kilohertz.input_impedance_ohm)[:, 0]
    return impedance if np.all(np.isfinite(impedance)) else Missing("infinite")


def _output_impedance(working: Working) -> Worked:
    return np.asarray(np.abs(working.at_kilohertz.output_impedance_ohm)[:, 0])


def _source_loss(working: Working) -> Worked:
    return decibels_of(np.abs(working.at_kilohertz.at_input_socket)[:, 0])


def _load_loss(working: Working) -> Worked:
    loaded = np.abs(working.at_kilohertz.to_load)[:, 0]
    unloaded = np.abs(working.at_kilohertz.unloaded)[:, 0]
    if np.any(unloaded == 0.0):
        return Missing("the knob stands at zero")
    return decibels_of(loaded / unloaded)


def _wiper(working: Working) -> Worked:
    circuit = working.circuit
    if circuit.volume_ohm is None or circuit.volume_ratio is None:
        return Missing("there is no volume control")
    after = circuit.stage.volume is not None and circuit.stage.volume.place == "after"
    source: Array = circuit.source_ohm
    if after:
        amplifier = working.at_kilohertz.amplifier
        own = np.zeros_like(source) if circuit.output_ohm is None else circuit.output_ohm
        before = source if amplifier is None else np.abs(amplifier.output_impedance_ohm)
        source = own + before
    upper = circuit.volume_ohm * (1.0 - circuit.volume_ratio) + source
    lower = circuit.volume_ohm * circuit.volume_ratio
    return np.asarray((upper * lower / (upper + lower))[:, 0])


_NETWORK = ("source", "input_cable", "volume", "input", "amplifier", "output", "load")

LEVEL = (
    Definition(
        "gain_db", "dB", "level", "gain from source to load at this knob position",
        "20 log |V(load)/EMF| at 1 kHz", _NETWORK, _gain,
    ),
    Definition(
        "gain_maximum_db", "dB", "level", "the same with the knob at maximum",
        "20 log |V(load)/EMF| at 1 kHz, knob at maximum", _NETWORK, _gain_maximum,
    ),
    Definition(
        "sensitivity_v_rms", "V rms", "level", "source voltage for the power amplifier's rated power",
        "sqrt(P R) / (amplifier gain x |EMF-to-load| at maximum)",
        ("listening.rated_power", "listening.speaker_impedance", "listening.amplifier_gain"),
        _sensitivity,
    ),
    Definition(
        "input_impedance_ohm", "ohm", "loading", "what the source sees at the input socket",
        "|Z| at 1 kHz, cable excluded", ("volume", "input", "amplifier"), _input_impedance,
    ),
    Definition(
        "output_impedance_ohm", "ohm", "loading", "what the load sees at the output socket",
        "|Z| at 1 kHz, cable excluded", ("amplifier", "output", "volume"), _output_impedance,
    ),
    Definition(
        "source_loss_db", "dB", "loading", "lost between the source's EMF and the input socket",
        "20 log |V(input socket)/EMF| at 1 kHz", ("source", "input_cable", "volume", "input"),
        _source_loss,
    ),
    Definition(
        "load_loss_db", "dB", "loading", "lost by connecting the load and its cable",
        "20 log |V loaded / V unloaded| at 1 kHz", ("output", "output_cable", "load"), _load_loss,
    ),
    Definition(
        "wiper_resistance_ohm", "ohm", "loading", "resistance of the control's wiper",
        "(Rs + upper part) parallel to the lower part", ("volume", "source.resistance"), _wiper,
    ),
)  # fmt: skip
