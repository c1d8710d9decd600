"""Figures of headroom and speed: where it clips, and how fast it must and can move."""

from __future__ import annotations

import numpy as np

from stagefx.circuit.limits import Limits
from stagefx.figures.definition import (
    NO_AMPLIFIER,
    NO_LEVEL,
    NO_SUPPLY,
    SILENT,
    Definition,
    Missing,
    Worked,
    Working,
    decibels_of,
)

HIGHEST_AUDIO_HZ = 20_000.0


def _levels(working: Working) -> Limits | Missing:
    found = working.limits
    if found is None:
        return Missing(NO_AMPLIFIER)
    return Missing(NO_SUPPLY) if found.high_v is None else found


def _clip_high(working: Working) -> Worked:
    found = _levels(working)
    if isinstance(found, Missing):
        return found
    assert found.high_v is not None
    return found.high_v


def _clip_low(working: Working) -> Worked:
    found = _levels(working)
    if isinstance(found, Missing):
        return found
    assert found.low_v is not None
    return found.low_v


def _smaller(working: Working) -> Worked:
    found = _levels(working)
    if isinstance(found, Missing):
        return found
    assert found.high_v is not None
    assert found.low_v is not None
    return np.asarray(np.minimum(found.high_v, -found.low_v))


def _maximum_output(working: Working) -> Worked:
    level = _smaller(working)
    if isinstance(level, Missing):
        return level
    return np.asarray(level / np.sqrt(2.0) * np.abs(working.at_kilohertz.output)[:, 0])


def _source_headroom(working: Working) -> Worked:
    level = _smaller(working)
    if isinstance(level, Missing):
        return level
    if working.full_scale_v is None:
        return Missing(NO_LEVEL)
    if np.any(working.full_scale_v == 0.0):
        return Missing(f"infinite: {SILENT}")
    return decibels_of(level / working.full_scale_v)


def _slew_needed(working: Working) -> Worked:
    if working.circuit.stage.amplifier is None:
        return Missing(NO_AMPLIFIER)
    if working.full_scale_v is None:
        return Missing(NO_LEVEL)
    return np.asarray(2.0 * np.pi * HIGHEST_AUDIO_HZ * working.full_scale_v * 1e-6)


def _slew_available(working: Working) -> Worked:
    found = working.limits
    if found is None:
        return Missing(NO_AMPLIFIER)
    stated = [s for s in (found.slew_rise_v_per_s, found.slew_fall_v_per_s) if s is not None]
    if not stated:
        return Missing("infinite: no slew rate is stated")
    return np.asarray(np.minimum(stated[0], stated[-1]) * 1e-6)


def _full_power_bandwidth(working: Working) -> Worked:
    slew, level = _slew_available(working), _smaller(working)
    if isinstance(slew, Missing):
        return slew
    if isinstance(level, Missing):
        return level
    with np.errstate(divide="ignore"):  # a draw without any swing has no largest sine
        return np.asarray(slew * 1e6 / (2.0 * np.pi * level))


_RAILS = ("supply", "amplifier.swing_loss_high", "amplifier.swing_loss_low")
_SLEW = ("amplifier.slew_rise", "amplifier.slew_fall", "amplifier.output_current")
_SWING = ("source.level", "volume", "amplifier")

HEADROOM = (
    Definition(
        "clip_high_v", "V", "headroom", "highest peak at the amplifier's output",
        "positive rail - swing loss, or output current x load, less direct voltage",
        (*_RAILS, "amplifier.output_current"), _clip_high,
    ),
    Definition(
        "clip_low_v", "V", "headroom", "lowest peak at the amplifier's output",
        "negative rail + swing loss, or output current x load, less direct voltage",
        (*_RAILS, "amplifier.output_current"), _clip_low,
    ),
    Definition(
        "maximum_output_v_rms", "V rms", "headroom", "largest unclipped sine at the load",
        "smaller clip level / sqrt 2 x |output network| at 1 kHz", _RAILS, _maximum_output,
    ),
    Definition(
        "source_headroom_db", "dB", "headroom",
        "what a full-scale source leaves before clipping",
        "20 log(smaller clip level / (sqrt 2 x source level x |H|)) at 1 kHz",
        (*_RAILS, "source.level", "volume"), _source_headroom,
    ),
    Definition(
        "slew_needed_v_per_us", "V/us", "speed", "slope of a full-scale 20 kHz sine",
        "2 pi x 20 kHz x sqrt 2 x source level x |H, 1 kHz|", _SWING, _slew_needed,
    ),
    Definition(
        "slew_available_v_per_us", "V/us", "speed", "slope that the amplifier has",
        "smaller of rise and fall, and output current / load capacitance where no resistor "
        "separates them", _SLEW, _slew_available,
    ),
    Definition(
        "full_power_bandwidth_hz", "Hz", "speed", "highest sine at full swing without slewing",
        "slew / (2 pi x smaller clip level)", (*_SLEW, *_RAILS), _full_power_bandwidth,
    ),
)  # fmt: skip
