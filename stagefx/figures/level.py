"""Figures of level and loading."""

from __future__ import annotations

import numpy as np

from stagefx.circuit.knob import rated_input_v
from stagefx.circuit.network.ladder import solve
from stagefx.circuit.network.placement import CONTROL, output_parts, socket_parts, source_parts
from stagefx.figures.definition import (
    NO_RATED_POWER,
    SILENT,
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
    rated_v = rated_input_v(working.circuit)
    if rated_v is None:
        return Missing(NO_RATED_POWER)
    return np.asarray(rated_v / np.abs(working.at_full.to_load)[:, 0])


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
        return Missing(SILENT)
    return decibels_of(loaded / unloaded)


def _wiper(working: Working) -> Worked:
    circuit = working.circuit
    if circuit.stage.volume is None:
        return Missing("there is no volume control")
    parts, amplifier = (
        [*source_parts(circuit), *socket_parts(circuit)],
        working.at_kilohertz.amplifier,
    )
    driven = None
    if circuit.stage.volume.place == "after":
        parts = [*parts, *output_parts(circuit)]
        if amplifier is not None:
            parts, driven = output_parts(circuit), np.abs(amplifier.output_impedance_ohm) + 0.0j
    control = [part.name for part in parts].index(CONTROL)
    upstream = [part for part in parts[: control + 2] if part.kind == "resistor"]
    s = working.at_kilohertz.s
    return np.asarray(solve(upstream, s, driven_from_ohm=driven).impedance_ohm.real[:, 0])


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
        "sensitivity_v_rms", "V rms", "level",
        "source voltage for the power amplifier's rated power",
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
