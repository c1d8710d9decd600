"""A stage's values as arrays, one row a draw: its device, its supply, its listening chain.

Every array has shape (draws, 1), so that it broadcasts against frequencies; None is absent, or of
a device ideal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.description.devices import device_figure
from stagefx.circuit.description.stage import Stage

Array = NDArray[np.float64]
Pick = Callable[[str, Any], Array]
"""Chooses the draws of one figure: from its key and its (low, usual, high) to shape (draws, 1)."""


@dataclass(frozen=True)
class Device:
    """An amplifying device's figures; None is ideal."""

    gain_bandwidth_hz: Array | None = None
    open_loop_gain: Array | None = None
    second_pole_hz: Array | None = None
    open_loop_output_ohm: Array | None = None
    slew_rise_v_per_s: Array | None = None
    slew_fall_v_per_s: Array | None = None
    voltage_noise_v_rthz: Array | None = None
    voltage_noise_corner_hz: Array | None = None
    current_noise_a_rthz: Array | None = None
    current_noise_corner_hz: Array | None = None
    bias_current_a: Array | None = None
    offset_voltage_v: Array | None = None
    swing_loss_high_v: Array | None = None
    swing_loss_low_v: Array | None = None
    output_current_a: Array | None = None
    supply_rejection_db: Array | None = None
    quiescent_current_a: Array | None = None
    supply_maximum_v: Array | None = None


_DEVICE_KEYS = {
    "gain_bandwidth": "gain_bandwidth_hz",
    "open_loop_gain": "open_loop_gain",
    "second_pole": "second_pole_hz",
    "open_loop_output_resistance": "open_loop_output_ohm",
    "slew_rise": "slew_rise_v_per_s",
    "slew_fall": "slew_fall_v_per_s",
    "voltage_noise": "voltage_noise_v_rthz",
    "voltage_noise_corner": "voltage_noise_corner_hz",
    "current_noise": "current_noise_a_rthz",
    "current_noise_corner": "current_noise_corner_hz",
    "bias_current": "bias_current_a",
    "offset_voltage": "offset_voltage_v",
    "swing_loss_high": "swing_loss_high_v",
    "swing_loss_low": "swing_loss_low_v",
    "output_current": "output_current_a",
    "supply_rejection": "supply_rejection_db",
    "quiescent_current": "quiescent_current_a",
    "supply_maximum": "supply_maximum_v",
}


@dataclass(frozen=True)
class SupplyValues:
    """The supply's parts; None is not stated."""

    positive_v: Array
    negative_v: Array
    secondary_v_rms: Array | None = None
    transformer_regulation: Array | None = None
    transformer_ohm: Array | None = None
    diode_drop_v: Array | None = None
    mains_frequency_hz: Array | None = None
    reservoir_f: Array | None = None
    load_current_a: Array | None = None
    regulator_dropout_v: Array | None = None
    regulator_rejection_db: Array | None = None
    regulator_noise_v_rms: Array | None = None


_SUPPLY_KEYS = {
    "positive": "positive_v",
    "negative": "negative_v",
    "secondary": "secondary_v_rms",
    "transformer_regulation": "transformer_regulation",
    "transformer_resistance": "transformer_ohm",
    "diode_drop": "diode_drop_v",
    "mains_frequency": "mains_frequency_hz",
    "reservoir": "reservoir_f",
    "load_current": "load_current_a",
    "regulator_dropout": "regulator_dropout_v",
    "regulator_rejection": "regulator_rejection_db",
    "regulator_noise": "regulator_noise_v_rms",
}


@dataclass(frozen=True)
class ChainValues:
    """The listening chain's figures that may have a tolerance; None is not stated."""

    distance_m: Array
    rated_power_w: Array | None = None
    speaker_ohm: Array | None = None
    amplifier_bandwidth_hz: Array | None = None


_CHAIN_KEYS = {
    "distance": "distance_m",
    "rated_power": "rated_power_w",
    "speaker_impedance": "speaker_ohm",
    "amplifier_bandwidth": "amplifier_bandwidth_hz",
}


def device_values(stage: Stage, pick: Pick) -> Device:
    """Draw a stage's device figures."""
    if stage.amplifier is None:
        return Device()
    spreads = {key: device_figure(stage.amplifier, key) for key in _DEVICE_KEYS}
    return Device(
        **{
            _DEVICE_KEYS[key]: pick(f"amplifier.{key}", spread)
            for key, spread in spreads.items()
            if spread is not None
        }
    )


def supply_values(stage: Stage, pick: Pick) -> SupplyValues | None:
    """Draw a stage's supply."""
    if stage.supply is None:
        return None
    return SupplyValues(**_drawn(stage, "supply", _SUPPLY_KEYS, pick))


def chain_values(stage: Stage, pick: Pick) -> ChainValues | None:
    """Draw a stage's listening chain."""
    if stage.listening is None:
        return None
    return ChainValues(**_drawn(stage, "listening", _CHAIN_KEYS, pick))


def _drawn(stage: Stage, table: str, keys: dict[str, str], pick: Pick) -> dict[str, Array]:
    stated = {key: getattr(getattr(stage, table), key) for key in keys}
    return {
        keys[key]: pick(f"{table}.{key}", (value, value, value))
        for key, value in stated.items()
        if value is not None
    }
