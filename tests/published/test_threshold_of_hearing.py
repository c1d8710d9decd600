"""The threshold of hearing of ISO 389-7:2019 (free field, frontal, binaural), and the room."""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.hearing.ear.threshold_of_hearing import room_band_db_spl, threshold_db_spl
from stagefx.hearing.rows.noise import noise_change

ISO_389_7 = {
    20.0: 78.1, 25.0: 68.7, 31.5: 59.5, 40.0: 51.1, 50.0: 44.0, 63.0: 37.5, 80.0: 31.5,
    100.0: 26.5, 125.0: 22.1, 160.0: 17.9, 200.0: 14.4, 250.0: 11.4, 315.0: 8.6, 400.0: 6.2,
    500.0: 4.4, 630.0: 3.0, 750.0: 2.4, 800.0: 2.2, 1000.0: 2.4, 1250.0: 3.5, 1500.0: 2.4,
    1600.0: 1.7, 2000.0: -1.3, 2500.0: -4.2, 3000.0: -5.8, 3150.0: -6.0, 4000.0: -5.4,
    5000.0: -1.5, 6000.0: 4.3, 6300.0: 6.0, 8000.0: 12.6, 9000.0: 13.9, 10000.0: 13.9,
    11200.0: 13.0, 12500.0: 12.3, 14000.0: 18.4, 16000.0: 40.2, 18000.0: 70.4,
}  # fmt: skip


def test_the_table_is_that_of_the_standard() -> None:
    for hz, level_db in ISO_389_7.items():
        # the standard tabulates nominal frequencies; the program may use exact base-ten ones
        assert float(threshold_db_spl(hz)) == pytest.approx(level_db, abs=0.35)


def test_between_the_rows_it_runs_between_them() -> None:
    hz = np.geomspace(20.0, 18e3, 400)
    level = threshold_db_spl(hz)
    assert np.all(np.diff(level[hz < 700.0]) < 0.0)
    assert np.all(np.diff(level[hz > 12.6e3]) > 0.0)


@pytest.mark.parametrize(
    ("hz", "level_db"), [(60.0, 38.9), (120.0, 22.9), (150.0, 19.0)]
)  # log interpolation of the standard's rows
def test_mains_harmonics(hz: float, level_db: float) -> None:
    assert float(threshold_db_spl(hz)) == pytest.approx(level_db, abs=0.15)


A_WEIGHTS_DB = [
    -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9, -8.6, -6.6,
    -4.8, -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3,
    -6.6, -9.3,
]  # fmt: skip
"""IEC 61672-1, table 3, third octaves from 20 Hz to 20 kHz."""
NR_20_DB = {
    63.0: 51.2, 125.0: 39.4, 250.0: 30.6, 500.0: 23.8, 1000.0: 20.0, 2000.0: 16.8, 4000.0: 14.4,
    8000.0: 12.6,
}  # fmt: skip
"""ISO/R 1996:1971, octaves of the curve NR 20, to a tenth, as acoustics manuals tabulate it."""


@pytest.mark.parametrize("room_dba", [15.0, 30.0, 45.0])
def test_a_room_has_its_stated_a_weighted_level(room_dba: float) -> None:
    bands = room_band_db_spl(room_dba)
    total = 10.0 * np.log10((10.0 ** ((bands + A_WEIGHTS_DB) / 10.0)).sum())
    assert total == pytest.approx(room_dba, abs=0.15)


def test_a_room_is_shaped_as_a_noise_rating_curve() -> None:
    """30 dBA is close to NR 20; a third octave has a third of an octave's power."""
    bands = room_band_db_spl(30.0, list(NR_20_DB))
    octaves = bands + 10.0 * np.log10(3.0)
    assert octaves == pytest.approx(np.array(list(NR_20_DB.values())), abs=0.15)
    # a quiet listening room at 4 and 8 kHz: some 8 to 10 dB a third octave (common practice)
    assert 7.5 < bands[-1] < bands[-2] < 10.0


def test_a_room_above_8_khz_goes_on_falling_and_below_63_hz_is_held() -> None:
    bands = room_band_db_spl(30.0, [20.0, 31.5, 63.0, 8000.0, 16000.0])
    assert bands[0] == bands[1] == bands[2]
    assert bands[4] < bands[3]


def test_nothing_above_18_khz_is_judged() -> None:
    """ISO 389-7 ends at 18 kHz."""
    loud = noise_change([1000.0, 20000.0], [-np.inf, -np.inf], [5.0, 120.0])
    assert loud.hz == 1000.0
    assert noise_change([20000.0], [-np.inf], [120.0]).over_db == -np.inf


def test_noise_that_both_have_is_no_change() -> None:
    hz = np.array([1000.0, 4000.0])
    assert noise_change(hz, np.array([20.0, 20.0]), np.array([20.0, 20.0])).over_db == -np.inf


def test_twice_the_noise_adds_as_much_as_there_was() -> None:
    """12 less 8 uV leaves 8.944 uV (textbook worked example: noise powers subtract)."""
    hz = np.array([4000.0])
    first, second = 20.0 * np.log10(8.0), 20.0 * np.log10(12.0)
    change = noise_change(hz, np.array([first]), np.array([second]))
    expected = 20.0 * np.log10(8.944272) - float(threshold_db_spl(4000.0))
    assert change.over_db == pytest.approx(expected, abs=1e-4)
