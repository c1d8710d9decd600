"""The test signals of EBU Tech 3341 (V4, 2023), Table 1, with the tolerances of that table.

Cases 7 and 8 are recorded programmes and cannot be made; 11 and 14 are 10 and 13 for live meters.
Levels are peaks of each channel; a case "as #1" is a 1 kHz sine in phase on both channels.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import firwin

from stagefx.dsp.loudness import LoudnessMeter
from stagefx.dsp.true_peak import TruePeakMeter

RATE_HZ = 48000
TOLERANCE_LU = 0.1
Audio = NDArray[np.float64]


def tones(*parts: tuple[float, float | None], channels: int = 2) -> Audio:
    """A 1 kHz sine without breaks of phase: seconds and level in dBFS of each part, or silence."""
    gains = [
        np.full(round(seconds * RATE_HZ), 0.0 if dbfs is None else 10.0 ** (dbfs / 20.0))
        for seconds, dbfs in parts
    ]
    gain = np.concatenate(gains)
    sine = np.sin(2.0 * np.pi * 1000.0 * np.arange(len(gain)) / RATE_HZ)
    return np.repeat((gain * sine)[:, None], channels, axis=1)


def metered(audio: Audio, *, rate_hz: int = RATE_HZ) -> LoudnessMeter:
    meter = LoudnessMeter(rate_hz, audio.shape[1])
    for first in range(0, len(audio), 16384):
        meter.add(audio[first : first + 16384])
    return meter


@pytest.mark.parametrize("target_lufs", [-23.0, -33.0], ids=["case 1", "case 2"])
def test_a_steady_tone_reads_its_level_on_all_three_scales(target_lufs: float) -> None:
    meter = metered(tones((20.0, target_lufs)))
    assert meter.integrated_lufs == pytest.approx(target_lufs, abs=TOLERANCE_LU)
    assert meter.momentary_lufs == pytest.approx(target_lufs, abs=TOLERANCE_LU)
    assert meter.short_term_lufs == pytest.approx(target_lufs, abs=TOLERANCE_LU)


@pytest.mark.parametrize(
    "parts",
    [
        pytest.param([(10, -36), (60, -23), (10, -36)], id="case 3"),
        pytest.param([(10, -72), (10, -36), (60, -23), (10, -36), (10, -72)], id="case 4"),
        pytest.param([(20, -26), (20.1, -20), (20, -26)], id="case 5"),
    ],
)
def test_the_gates_leave_the_quiet_parts_out(parts: list[tuple[float, float]]) -> None:
    loudness = metered(tones(*parts)).integrated_lufs
    assert loudness == pytest.approx(-23.0, abs=TOLERANCE_LU)


def test_case_6_surround_channels_count_for_more() -> None:
    sine = np.sin(2.0 * np.pi * 1000.0 * np.arange(20 * RATE_HZ) / RATE_HZ)
    levels_dbfs = np.array([-28.0, -28.0, -24.0, -30.0, -30.0])
    audio = sine[:, None] * 10.0 ** (levels_dbfs / 20.0)
    assert metered(audio).integrated_lufs == pytest.approx(-23.0, abs=TOLERANCE_LU)
    low_effects = 0.5 * sine
    with_low_effects = np.insert(audio, 3, low_effects, axis=1)
    assert metered(with_low_effects).integrated_lufs == pytest.approx(-23.0, abs=TOLERANCE_LU)


def test_case_9_short_term_loudness_is_constant() -> None:
    readings = metered(tones(*[(1.34, -20.0), (1.66, -30.0)] * 5)).short_term_lufs
    assert len(readings) == 121
    assert readings == pytest.approx(-23.0, abs=TOLERANCE_LU)


@pytest.mark.parametrize("step", range(20))
def test_case_10_the_loudest_three_seconds_are_found(step: int) -> None:
    readings = metered(tones((step * 0.15, None), (3.0, -23.0), (1.0, None))).short_term_lufs
    assert readings.max() == pytest.approx(-23.0, abs=TOLERANCE_LU)


def test_case_12_momentary_loudness_is_constant() -> None:
    readings = metered(tones(*[(0.18, -20.0), (0.22, -30.0)] * 25)).momentary_lufs
    settled = readings[7:]  # blocks that end after 1 s
    assert settled == pytest.approx(-23.0, abs=TOLERANCE_LU)


@pytest.mark.parametrize("step", range(20))
def test_case_13_the_loudest_four_tenths_are_found(step: int) -> None:
    meter = metered(tones((step * 0.02, None), (0.4, -23.0), (1.0, None)))
    assert meter.maximum_momentary_lufs == pytest.approx(-23.0, abs=TOLERANCE_LU)


def faded(audio: Audio, *, rate_hz: int) -> Audio:
    """Faded in and out over 10 ms."""
    ramp = np.linspace(0.0, 1.0, rate_hz // 100)
    gain = np.ones(len(audio))
    gain[: len(ramp)], gain[-len(ramp) :] = ramp, ramp[::-1]
    return audio * gain


def sine(period: float, level: float, frames: int, degrees: float = 0.0) -> Audio:
    return level * np.sin(2.0 * np.pi * np.arange(frames) / period + np.deg2rad(degrees))


def true_peak_db(audio: Audio) -> float:
    meter = TruePeakMeter(RATE_HZ, 1)
    meter.add(audio[:, None])
    return float(meter.peak_dbtp[0])


def assert_true_peak(measured_db: float, expected_db: float) -> None:
    assert expected_db - 0.4 <= measured_db <= expected_db + 0.2


@pytest.mark.parametrize(
    ("period", "level", "degrees", "expected_db"),
    [
        pytest.param(4, 0.50, 0.0, -6.0, id="case 15"),
        pytest.param(4, 0.50, 45.0, -6.0, id="case 16"),
        pytest.param(6, 0.50, 60.0, -6.0, id="case 17"),
        pytest.param(8, 0.50, 67.5, -6.0, id="case 18"),
        pytest.param(4, 1.41, 45.0, +3.0, id="case 19"),
    ],
)
def test_a_tone_that_misses_its_crests_reads_its_true_peak(
    period: float, level: float, degrees: float, expected_db: float
) -> None:
    audio = faded(sine(period, level, RATE_HZ, degrees), rate_hz=RATE_HZ)
    assert_true_peak(true_peak_db(audio), expected_db)


@pytest.mark.parametrize("offset", range(4), ids=["case 20", "case 21", "case 22", "case 23"])
def test_a_single_louder_period_reads_its_true_peak(offset: int) -> None:
    quiet, loud = sine(24, 0.50, 24 * 1000), sine(16, 1.00, 16)
    audio = faded(np.concatenate([quiet, loud, quiet]), rate_hz=4 * RATE_HZ)
    low_pass = firwin(401, RATE_HZ / 2, fs=4 * RATE_HZ)
    decimated = np.convolve(audio, low_pass, "same")[offset::4]
    assert_true_peak(true_peak_db(decimated), 0.0)
