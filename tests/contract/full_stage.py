"""One stage that holds every table and key once, and other ways of saying the same things."""

from __future__ import annotations

from typing import Any

KEYS = {
    "source": "level resistance coupling offset",
    "input_cable": "length capacitance_per_metre capacitance",
    "volume": "resistance taper position setting mismatch place",
    "input": "series_resistance shunt_capacitance resistance capacitance coupling",
    "amplifier": "device topology feedback_resistance gain_resistance gain feedback_capacitance "
    "gain_leg_capacitance gain_bandwidth open_loop_gain second_pole open_loop_output_resistance "
    "slew_rise slew_fall voltage_noise voltage_noise_corner current_noise current_noise_corner "
    "bias_current offset_voltage swing_loss_high swing_loss_low output_current supply_rejection "
    "quiescent_current supply_maximum harmonics harmonics_level",
    "supply": "positive negative decoupling decoupling_distance secondary transformer_regulation "
    "transformer_resistance rectifier diodes_in_path diode_drop mains_frequency mains_tolerance "
    "reservoir reservoir_rating load_current regulator_dropout regulator_rejection regulator_noise",
    "output": "resistance coupling",
    "output_cable": "length capacitance_per_metre capacitance",
    "load": "resistance capacitance",
    "crosstalk": "coupling_capacitance shared_ground_resistance",
    "hum": "level frequency",
    "oscillation": "level frequency",
    "listening": "amplifier_gain amplifier_coupling amplifier_bandwidth rated_power "
    "speaker_impedance speaker_sensitivity distance speakers room_noise",
}
"""The tables and keys that people's files rely on."""

EVERYTHING: dict[str, Any] = {
    "name": "everything",
    "notes": "each table and key once",
    "temperature": "30 degC",
    "source": {
        "level": "2 V rms",
        "resistance": "600 ohm 5 %",
        "coupling": "10 uF 20 %",
        "offset": "-2 mV",
    },
    "input_cable": {"length": "3 m", "capacitance_per_metre": "100 pF/m 10 %"},
    "volume": {
        "resistance": "10 kohm 20 %",
        "taper": ["-60 dB", "-40 dB", "-20 dB", "0 dB"],
        "position": 0.5,
        "mismatch": "0.5 dB",
        "place": "after",
    },
    "input": {
        "series_resistance": "1 kohm",
        "shunt_capacitance": "220 pF",
        "resistance": "100 kohm",
        "capacitance": "10 pF",
        "coupling": "2.2 uF",
    },
    "amplifier": {
        "device": "FET-input",
        "topology": "inverting",
        "feedback_resistance": "10 kohm 1 %",
        "gain_resistance": "10 kohm 1 %",
        "feedback_capacitance": "22 pF",
        "gain_leg_capacitance": "47 uF",
        "gain_bandwidth": "10 MHz",
        "open_loop_gain": "100 dB",
        "second_pole": "25 MHz",
        "open_loop_output_resistance": "60 ohm",
        "slew_rise": "9 V/us",
        "slew_fall": "8 V/us",
        "voltage_noise": "5 nV/rtHz",
        "voltage_noise_corner": "60 Hz",
        "current_noise": "0.7 pA/rtHz",
        "current_noise_corner": "200 Hz",
        "bias_current": "-200 nA",
        "offset_voltage": "-0.5 mV",
        "swing_loss_high": "1.5 V",
        "swing_loss_low": "2 V",
        "output_current": "35 mA",
        "supply_rejection": "100 dB",
        "quiescent_current": "4 mA",
        "supply_maximum": "22 V",
        "harmonics": ["-90 dB", "-100 dB"],
        "harmonics_level": "2 V rms",
    },
    "supply": {
        "positive": "15 V",
        "negative": "-15 V",
        "decoupling": "100 nF",
        "decoupling_distance": "5 mm",
        "secondary": "15 V rms",
        "transformer_regulation": "20 %",
        "transformer_resistance": "4.7 ohm",
        "rectifier": "half",
        "diodes_in_path": 2,
        "diode_drop": "0.8 V",
        "mains_frequency": "50 Hz",
        "mains_tolerance": "10 %",
        "reservoir": "1000 uF 20 %",
        "reservoir_rating": "35 V",
        "load_current": "50 mA",
        "regulator_dropout": "2 V",
        "regulator_rejection": "60 dB",
        "regulator_noise": "150 uV rms",
    },
    "output": {"resistance": "47 ohm", "coupling": "22 uF"},
    "output_cable": {"capacitance": "300 pF"},
    "load": {"resistance": "22 kohm", "capacitance": "470 pF"},
    "crosstalk": {"coupling_capacitance": "5 pF", "shared_ground_resistance": "50 mohm"},
    "hum": {"level": "20 uV rms", "frequency": "50 Hz"},
    "oscillation": {"level": "0.6 V p-p", "frequency": "1.8 MHz"},
    "listening": {
        "amplifier_gain": "28.6 dB",
        "amplifier_coupling": "dc",
        "amplifier_bandwidth": "100 kHz",
        "rated_power": "50 W",
        "speaker_impedance": "8 ohm",
        "speaker_sensitivity": "87 dB",
        "distance": "3 m",
        "speakers": 2,
        "room_noise": "28 dBA",
    },
}
OTHER_WAYS: tuple[dict[str, Any], ...] = (
    {"volume": {"resistance": "10 kohm", "setting": "-12 dB", "taper": "audio 15 %"}},
    {"volume": {"resistance": "10 kohm", "setting": "listening", "taper": "exponential 60 dB"}},
    {"amplifier": {"gain": 4.03}},
    {"amplifier": {"gain": "12.1 dB", "topology": "inverting"}},
    {"amplifier": {"topology": "follower"}},
    {"amplifier": {"topology": "follower", "gain": 1, "feedback_resistance": "1 kohm"}},
    {"source": {"resistance": 0}},
    {},
)
