"""Figures of the listening chain: level at the seat, and where the knob will stand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from stagefx.circuit.circuit import Array
from stagefx.circuit.knob import full_scale_spl_db, rated_input_v
from stagefx.circuit.response import Response
from stagefx.circuit.search import root
from stagefx.figures.definition import (
    NO_CHAIN,
    NO_LEVEL,
    NO_RATED_POWER,
    Definition,
    Missing,
    Worked,
    Working,
    decibels_of,
)

_KILOHERTZ = np.array([1000.0])


def _full_scale_spl(working: Working) -> Worked:
    if working.circuit.stage.listening is None:
        return Missing(NO_CHAIN)
    if working.circuit.source_v_rms is None:
        return Missing(NO_LEVEL)
    return full_scale_spl_db(working.circuit)


def _programme_spl(working: Working) -> Worked:
    found = _full_scale_spl(working)
    return found if isinstance(found, Missing) else np.asarray(found + working.programme_db)


def _programme_v(working: Working) -> Worked:
    level = working.circuit.source_v_rms
    if level is None:
        return Missing(NO_LEVEL)
    gain = np.abs(working.at_kilohertz.to_load) * 10.0 ** (working.programme_db / 20.0)
    return np.asarray((level * gain)[:, 0])


def _over_sensitivity(working: Working) -> Worked:
    level, rated_v = working.circuit.source_v_rms, rated_input_v(working.circuit)
    if rated_v is None:
        return Missing(NO_RATED_POWER)
    if level is None:
        return Missing(NO_LEVEL)
    return decibels_of(level[:, 0] * np.abs(working.at_full.to_load)[:, 0] / rated_v)


def _knob_at_rated_power(working: Working) -> Worked:
    circuit, over = working.circuit, _over_sensitivity(working)
    if isinstance(over, Missing):
        return over
    if circuit.stage.volume is None:
        return Missing("there is no volume control")
    reached = over >= 0.0
    if not np.any(reached):
        return Missing("the source cannot drive the power amplifier to its rated power")
    ratio, law = _ratio_for_gain(working, over), circuit.stage.volume.law
    travel = np.array([law.position(float(wanted)) for wanted in ratio])
    return np.where(reached, travel, np.nan)


def _ratio_for_gain(working: Working, over_db: Array) -> Array:
    """The control's unloaded ratio at which the gain is so much less than its maximum."""
    full = np.abs(working.at_full.to_load)
    wanted = 10.0 ** (-np.maximum(over_db, 0.0)[:, None] / 20.0)

    def missing(ratio: Array) -> Array:
        there = Response(replace(working.circuit, volume_ratio=ratio), _KILOHERTZ).to_load
        return np.asarray(wanted - np.abs(there) / full)

    return root(missing, np.zeros_like(wanted), np.ones_like(wanted))[:, 0]


_CHAIN = ("source.level", "volume", "amplifier", "listening")

LISTENING = (
    Definition(
        "source_over_sensitivity_db", "dB", "level",
        "what a full-scale source gives over the power amplifier's rated power",
        "20 log(source level / sensitivity), knob at maximum", _CHAIN, _over_sensitivity,
    ),
    Definition(
        "knob_at_rated_power", "", "level",
        "share of the knob's travel at which full scale drives rated power",
        "where source level x |EMF-to-load| = sqrt(P R) / amplifier gain", _CHAIN,
        _knob_at_rated_power,
    ),
    Definition(
        "listening_spl_db", "dB", "level", "level at the seat of a full-scale sine",
        "20 log(V x amplifier gain / sqrt 8) + sensitivity - 20 log(distance) + 10 log(speakers)",
        _CHAIN, _full_scale_spl,
    ),
    Definition(
        "programme_spl_db", "dB", "level", "level at the seat of a programme",
        "the same + the programme's level re full scale, -18 dB where no music is at hand",
        _CHAIN, _programme_spl,
    ),
    Definition(
        "programme_v_rms", "V rms", "level", "a programme at the load",
        "source level x |EMF-to-load| x the programme's level re full scale",
        ("source.level", "volume", "amplifier"), _programme_v,
    ),
)  # fmt: skip
