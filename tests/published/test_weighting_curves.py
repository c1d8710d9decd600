"""The A weighting of IEC 61672-1 and the K weighting of ITU-R BS.1770."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.dsp.levels import a_weighted_level_db
from stagefx.dsp.loudness import integrated_loudness
from stagefx.dsp.weighting import (
    K_HIGH_PASS,
    K_SHELF,
    a_weighting_db,
    k_weighting,
    noise_weighting_db,
)

# IEC 61672-1:2013, Table 3; its rows belong to 1000 * 10**(n / 10) Hz, n from -20 to 13.
A_TABLE_DB = [
    -70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1,
    -13.4, -10.9, -8.6, -6.6, -4.8, -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5,
    -0.1, -1.1, -2.5, -4.3, -6.6, -9.3,
]  # fmt: skip
A_TABLE_HZ = 1000.0 * 10.0 ** (np.arange(-20, 14) / 10.0)

# Worked out from the tables of BS.1770-4 for 48 kHz; 0.6910 at 997 Hz is its own -0.691.
K_AT_48_KHZ_DB = {
    20: -13.275, 31.5: -7.790, 38: -6.003, 50: -3.934, 63: -2.664, 100: -1.134, 200: -0.265,
    500: 0.0425, 997: 0.6910, 1000: 0.6977, 1500: 2.036, 2000: 3.071, 4000: 3.968, 8000: 4.039,
    10000: 4.042, 20000: 4.043,
}  # fmt: skip


def k_response_db(frequency_hz: NDArray[np.float64], rate_hz: int) -> NDArray[np.float64]:
    z = np.exp(-2j * np.pi * frequency_hz / rate_hz)
    total = np.zeros(len(frequency_hz))
    for b0, b1, b2, a1, a2 in k_weighting(rate_hz):
        total += 20.0 * np.log10(np.abs((b0 + b1 * z + b2 * z**2) / (1.0 + a1 * z + a2 * z**2)))
    return total


def test_a_weighting_is_that_of_the_table() -> None:
    # The table is rounded to 0.1 dB.
    assert a_weighting_db(A_TABLE_HZ) == pytest.approx(A_TABLE_DB, abs=0.05)


def test_a_weighting_is_zero_at_1_khz_and_shuts_out_0_hz() -> None:
    assert a_weighting_db([1000.0])[0] == 0.0
    assert a_weighting_db(0.0) == -np.inf


@pytest.mark.parametrize("row", range(8, 34), ids=lambda row: f"{A_TABLE_HZ[row]:.1f} Hz")
def test_the_meter_weighs_tones_by_the_table(row: int) -> None:
    rate_hz = 48000
    tone = np.sin(2.0 * np.pi * A_TABLE_HZ[row] * np.arange(rate_hz) / rate_hz)[:, None]
    level_db = a_weighted_level_db(tone, rate_hz=rate_hz)
    assert level_db == pytest.approx(A_TABLE_DB[row], abs=0.1)


@pytest.mark.parametrize("rate_hz", [8000, 22050, 32000, 44100, 96000, 384000])
def test_the_meter_weighs_tones_by_the_curve_at_any_rate(rate_hz: int) -> None:
    # IEC 61672-1, equation (E.1); its table is rounded, so here the curve itself.
    for hz in (50.0, 100.0, 1000.0, 3500.0, 8000.0, 15000.0):
        if hz > 0.45 * rate_hz:
            continue
        tone = np.sin(2.0 * np.pi * hz * np.arange(2 * rate_hz) / rate_hz)[:, None]
        level_db = a_weighted_level_db(tone, rate_hz=rate_hz)
        assert level_db == pytest.approx(float(a_weighting_db(hz)), abs=0.06)


def test_white_noise_is_2_db_softer_when_a_weighted() -> None:
    # -2.05 dB for 20 Hz to 20 kHz: the integral of the table's curve.
    rate_hz = 48000
    rng = np.random.default_rng(1)
    spectrum = np.fft.rfft(rng.standard_normal(20 * rate_hz))
    hz = np.fft.rfftfreq(20 * rate_hz, 1 / rate_hz)
    noise = np.fft.irfft(np.where((hz >= 20) & (hz <= 20000), spectrum, 0.0))
    noise *= np.sqrt(0.005 / np.square(noise).mean())  # -20 dB re a full-scale sine
    assert a_weighted_level_db(noise[:, None], rate_hz=rate_hz) == pytest.approx(-22.05, abs=0.05)


def test_k_weighting_at_48_khz_is_that_of_the_tables() -> None:
    shelf, high_pass = k_weighting(48000)
    assert shelf == (*K_SHELF[0], *K_SHELF[1][1:])
    assert high_pass == (*K_HIGH_PASS[0], *K_HIGH_PASS[1][1:])
    frequency_hz = np.array(list(K_AT_48_KHZ_DB), dtype=float)
    expected_db = list(K_AT_48_KHZ_DB.values())
    assert k_response_db(frequency_hz, 48000) == pytest.approx(expected_db, abs=5.1e-4)


@pytest.mark.parametrize(
    ("rate_hz", "tolerance_db"),
    [
        (8000, 0.012), (11025, 0.005), (16000, 0.0015), (22050, 0.0005),
        (32000, 5e-5), (44100, 5e-5), (64000, 5e-5), (88200, 5e-5), (96000, 5e-5),
        (176400, 5e-5), (192000, 5e-5), (352800, 5e-5), (384000, 5e-5),
    ],
)  # fmt: skip
def test_k_weighting_has_the_same_response_at_other_rates(
    rate_hz: int, tolerance_db: float
) -> None:
    # BS.1770: "chosen to provide the same frequency response"; no tolerance is given there.
    frequency_hz = np.geomspace(10.0, min(20000.0, 0.45 * rate_hz), 300)
    expected_db = k_response_db(frequency_hz, 48000)
    assert k_response_db(frequency_hz, rate_hz) == pytest.approx(expected_db, abs=tolerance_db)


@pytest.mark.parametrize("rate_hz", [8000, 11025, 22050, 44100, 48000, 96000, 192000, 384000])
def test_a_full_scale_sine_in_one_channel_reads_3_below_full_scale(rate_hz: int) -> None:
    # BS.1770: a 0 dBFS 997 Hz sine in the left, centre or right channel reads -3.01 LKFS.
    sine = np.sin(2.0 * np.pi * 997.0 * np.arange(4 * rate_hz) / rate_hz)
    audio = np.stack([sine, np.zeros_like(sine)], axis=1)
    assert integrated_loudness(audio, rate_hz=rate_hz) == pytest.approx(-3.01, abs=0.01)


# ITU-R BS.468-4, Table 1: response and tolerance of the weighting network.
BS_468 = [
    (31.5, -29.9, 2.0), (63.0, -23.9, 1.4), (100.0, -19.8, 1.0), (200.0, -13.8, 0.85),
    (400.0, -7.8, 0.7), (800.0, -1.9, 0.55), (1000.0, 0.0, 0.5), (2000.0, 5.6, 0.5),
    (3150.0, 9.0, 0.5), (4000.0, 10.5, 0.5), (5000.0, 11.7, 0.5), (6300.0, 12.2, 1e-9),
    (7100.0, 12.0, 0.2), (8000.0, 11.4, 0.4), (9000.0, 10.1, 0.6), (10000.0, 8.1, 0.8),
    (12500.0, 0.0, 1.2), (14000.0, -5.3, 1.4), (16000.0, -11.7, 1.6), (20000.0, -22.2, 2.0),
]  # fmt: skip


@pytest.mark.parametrize(("hz", "level_db", "tolerance_db"), BS_468)
def test_the_noise_curve_is_that_of_its_table(
    hz: float, level_db: float, tolerance_db: float
) -> None:
    found = float(noise_weighting_db(hz))
    assert found == pytest.approx(level_db, abs=tolerance_db)
    assert found == pytest.approx(level_db, abs=0.1)  # the network meets its table far closer


def test_white_noise_through_the_noise_curve() -> None:
    """20 Hz to 20 kHz, rms: 7.28 dB louder than unweighted (worked out from the curve)."""
    hz = np.linspace(20.0, 20e3, 200_001)
    weighted = np.mean(10.0 ** (noise_weighting_db(hz) / 10.0))
    assert 10.0 * np.log10(weighted) == pytest.approx(7.28, abs=0.005)
