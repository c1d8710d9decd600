"""The constants of ITU-R BS.1387's ear, to the digits its public copies and closed forms give.

Values worked out from the standard's formulas with numpy, apart from this program; the closed form
of the calibration after P. Kabal, "An examination and interpretation of ITU-R BS.1387", McGill
University, 2003.  Printed tables of band edges and centres have misprints, so the formula counts.
"""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.hearing.ear.listening import Desk, Listener
from stagefx.hearing.ear.scale import (
    band_centres_hz,
    band_edges_hz,
    ear_weight_db,
    internal_noise_db,
    off_line_loss,
    spectrum_scale,
)
from stagefx.hearing.ear.spreading import (
    band_table,
    line_weights,
    mask_offset_db,
    smearing,
    spreading_normal,
)
from stagefx.kernels.ear import FIRST_LINE, FIRST_SHARE, LAST_LINE, LAST_SHARE, steps


def test_a_full_scale_sine_has_its_level() -> None:
    """Equations of 2.1.3: 0.84972, 91.552, and 92.000 dB in the highest line."""
    assert off_line_loss() == pytest.approx(0.84972, abs=5e-6)
    assert spectrum_scale(92.0) == pytest.approx(91.552, abs=5e-4)
    tone = np.sin(2.0 * np.pi * 1019.5 / 48000.0 * np.arange(2048))
    ear = Listener(92.0, Desk())
    ear.look(tone)
    assert 20.0 * np.log10((ear.magnitudes[0] / line_weights()[0]).max()) == pytest.approx(
        92.0, abs=5e-4
    )


@pytest.mark.parametrize(
    ("hz", "db", "digits"),
    [
        (50.0, -23.98, 2),
        (100.0, -13.77, 2),
        (500.0, -3.74, 2),
        (1000.0, -1.913, 3),
        (2000.0, 1.091, 3),
        (3300.0, 5.586, 3),
        (4000.0, 3.977, 3),
        (8000.0, -2.197, 3),
        (10000.0, -4.327, 3),
        (16000.0, -21.86, 2),
        (18000.0, -33.25, 2),
    ],
)
def test_outer_and_middle_ear(hz: float, db: float, digits: int) -> None:
    assert float(ear_weight_db(hz).round(digits)) == db


@pytest.mark.parametrize(
    ("hz", "db"), [(100.0, 9.187), (1000.0, 1.456), (4000.0, 0.480), (10000.0, 0.231)]
)
def test_internal_noise(hz: float, db: float) -> None:
    assert float(internal_noise_db(hz).round(3)) == db


def test_bands() -> None:
    edges = band_edges_hz()
    assert band_centres_hz().size == 109
    first = (edges[0], band_centres_hz()[0], edges[1])
    assert [round(float(hz), 3) for hz in first] == [80.0, 91.708, 103.445]
    last = (edges[-2], band_centres_hz()[-1], edges[-1])
    # Half the last digit, and 2 mHz by which copies differ from the formula above 14 kHz.
    assert np.array(last) == pytest.approx(np.array([17385.42, 17690.05, 18000.0]), abs=7e-3)


@pytest.mark.parametrize(
    ("what", "band", "hz"),
    [
        ("lower edge", 66, 3853.347),
        ("centre", 100, 13296.848),
        ("upper edge", 28, 933.119),
        ("upper edge", 70, 4616.481),
    ],
)
def test_bands_that_are_misprinted_follow_the_formula(what: str, band: int, hz: float) -> None:
    table = {
        "lower edge": band_edges_hz()[:-1],
        "centre": band_centres_hz(),
        "upper edge": band_edges_hz()[1:],
    }
    # Copies round their edges above 14 kHz by 2 mHz.
    assert table[what][band] == pytest.approx(hz, abs=2e-3)


def test_every_line_is_shared_out_whole() -> None:
    """2.1.5: a line inside the range goes to bands whole, half a line at 18 kHz."""
    bands = band_table()
    given = np.zeros(line_weights().shape[1])
    for band in bands.T:
        first, last = int(band[FIRST_LINE]), int(band[LAST_LINE])
        given[first] += band[FIRST_SHARE]
        given[first + 1 : last] += 1.0
        if last > first:
            given[last] += band[LAST_SHARE]
    assert given[1:-1] == pytest.approx(1.0, abs=1e-12)
    assert given[-1] == pytest.approx(0.5, abs=1e-12)
    assert given[0] == pytest.approx(3.5 - 80.0 / 23.4375, abs=1e-12)


def test_what_spreading_adds_up_to() -> None:
    found = spreading_normal()[[0, 1, 54, 107, 108]].round(3).tolist()
    assert found == [4.874, 8.137, 14.393, 9.478, 5.964]


def test_smearing() -> None:
    assert smearing([100.0, 1000.0, 10000.0]).round(4).tolist() == [0.4911, 0.1235, 0.0746]


def test_mask_offset() -> None:
    """3 dB up to 12 Bark above the first band, a quarter of a decibel a band beyond."""
    offsets = mask_offset_db()
    assert offsets[:49].tolist() == [3.0] * 49
    assert offsets[49:].tolist() == [0.0625 * k for k in range(49, 109)]


@pytest.mark.parametrize(
    ("level_db", "step_db"),
    [
        (10.0, 3.0202),
        (20.0, 1.3759),
        (40.0, 0.9441),
        (60.0, 0.6364),
        (80.0, 0.3178),
        (100.0, 0.1782),
    ],
)
def test_just_noticeable_step(level_db: float, step_db: float) -> None:
    """The tested excitation is the louder, so that the step is that at its own level."""
    ratios = np.empty((2, 1, 1))
    steps(np.array([[level_db - 0.5]]), np.array([[level_db]]), ratios)
    assert float((-0.5 / ratios[0, 0, 0]).round(4)) == step_db
