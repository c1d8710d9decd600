"""What a figure is called in a table: a few words of the trade."""

from __future__ import annotations

from stagefx.figures.table import DEFINITIONS

_MEANINGS = {definition.key: definition.meaning for definition in DEFINITIONS}

NAMES = {
    "gain_db": "gain, source to load",
    "gain_maximum_db": "gain, knob at maximum",
    "sensitivity_v_rms": "source for rated power",
    "source_over_sensitivity_db": "the source over that",
    "knob_at_rated_power": "knob at rated power",
    "listening_spl_db": "full scale at the seat",
    "programme_spl_db": "programme at the seat",
    "programme_v_rms": "programme at the load",
    "input_impedance_ohm": "input impedance",
    "output_impedance_ohm": "output impedance",
    "source_loss_db": "lost at the input",
    "load_loss_db": "lost at the load",
    "wiper_resistance_ohm": "wiper resistance",
    "low_corner_hz": "bass 3 dB down at",
    "high_corner_hz": "treble 3 dB down at",
    "high_half_db_hz": "treble 0.5 dB down at",
    "response_20_hz_db": "level at 20 Hz",
    "response_10_khz_db": "level at 10 kHz",
    "response_20_khz_db": "level at 20 kHz",
    "phase_20_hz_deg": "phase at 20 Hz",
    "closed_loop_bandwidth_hz": "amplifier's own bandwidth",
    "slew_needed_v_per_us": "slew rate needed",
    "slew_available_v_per_us": "slew rate available",
    "full_power_bandwidth_hz": "full-power bandwidth",
    "phase_margin_deg": "phase margin",
    "overshoot_percent": "overshoot",
    "peaking_db": "peaking",
    "ringing_hz": "rings at",
    "ultrasonic_v_rms": "oscillation at the speaker",
    "ultrasonic_w": "its power in the speaker",
    "clip_high_v": "clips at, upward",
    "clip_low_v": "clips at, downward",
    "maximum_output_v_rms": "largest clean sine at load",
    "source_headroom_db": "headroom over the source",
    "noise_20k_v_rms": "noise, 20 kHz wide",
    "noise_a_v_rms": "noise, A-weighted",
    "noise_worst_knob_20k_v_rms": "noise at the worst knob",
    "signal_to_noise_db": "signal to noise",
    "signal_to_noise_2v_db": "signal to noise, 2 V",
    "noise_spl_1m_db": "hiss at 1 m, one speaker",
    "noise_spl_seat_db": "hiss at the seat",
    "noise_spl_seat_a_db": "hiss at seat, A-weighted",
    "ripple_v_pp": "ripple, by rule",
    "ripple_exact_v_pp": "ripple, exactly",
    "valley_v": "valley",
    "regulator_margin_v": "regulator's margin",
    "reservoir_peak_v": "reservoir at high mains",
    "transformer_va": "transformer",
    "regulator_heat_w": "heat of one regulator",
    "charging_current_peak_a": "charging current, peak",
    "charging_current_rms_a": "charging current, rms",
    "ripple_at_load_v_rms": "ripple left at the load",
    "ripple_at_load_2v_db": "the same re 2 V",
    "output_dc_v": "direct voltage at output",
    "speaker_dc_v": "direct voltage at speaker",
}


def name_of(key: str) -> str:
    """What a figure is called in a table."""
    return NAMES.get(key) or _MEANINGS.get(key, key)
