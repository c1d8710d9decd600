"""A change of one third octave lights the rows whose range it lies in, and no other.

The ranges are those that the rows' own words name: "worst third octave from 20 to 80 Hz", "from
100 Hz to 8 kHz", "from 8 to 16 kHz".  The third octave about 8 kHz belongs to both of the latter.
"""

from __future__ import annotations

import re

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.difference.decomposition import take_apart
from stagefx.hearing.audibility import AudibilityRow
from stagefx.hearing.grades import Grade
from stagefx.hearing.rows.difference import build_audibility
from stagefx.hearing.rows.on_paper import Spectrum, response_rows
from stagefx.hearing.thresholds import limits
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound

Array = NDArray[np.float64]
RANGES = ("low end", "middle", "high end")
FLAT = sound(2.0, channels=1)


def changed(low_hz: float, high_hz: float, db: float) -> dict[str, AudibilityRow]:
    """The rows of a change between two frequencies, and nowhere else."""
    gain = 10.0 ** (db / 20.0)
    other = sound(2.0, lambda hz: np.where((hz >= low_hz) & (hz < high_hz), gain, 1.0), channels=1)
    held = (HeldAudio(np.ascontiguousarray(each), RATE_HZ) for each in (FLAT, other))
    return {row.name: row for row in build_audibility(take_apart(*held))}


def lit(rows: dict[str, AudibilityRow]) -> set[str]:
    grades = {name: row.grade for name, row in rows.items() if name != "ear model"}
    return {name for name, grade in grades.items() if grade in {Grade.MAY, Grade.WILL}}


@pytest.mark.parametrize("db", [3.0, -3.0])
def test_a_change_between_8_and_10_khz_is_the_high_end_s_and_not_the_middle_s(db: float) -> None:
    """From 8913 Hz, where the third octave about 8 kHz ends (IEC 61260-1), to 10 kHz."""
    rows = changed(8913.0, 10e3, db)
    assert lit(rows) == {"high end"}
    assert rows["high end"].at_hz == pytest.approx(10e3)
    assert rows["high end"].value is not None
    assert 1.0 < rows["high end"].value < 2.0  # half of its third octave is changed by 3 dB
    assert rows["middle"].value == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "rows"),
    [
        (5623.0, 7079.0, {"middle"}),
        (7079.0, 8913.0, {"middle", "high end"}),
        (14125.0, 17783.0, {"high end"}),
        (17.8, 89.1, {"low end"}),
    ],
)
def test_a_third_octave_lights_the_rows_it_belongs_to(
    low_hz: float, high_hz: float, rows: set[str]
) -> None:
    assert lit(changed(low_hz, high_hz, -3.5)) == rows


@pytest.mark.parametrize("number", range(-17, 14))
def test_so_does_one_on_paper(number: int) -> None:
    """Every third octave from 20 Hz to 20 kHz, the last of which is in no row."""
    middle_hz = 1000.0 * 10.0 ** (number / 10.0)

    def response(hz: Array) -> NDArray[np.complex128]:
        near = np.abs(10.0 * np.log10(hz / middle_hz)) < 0.5
        return np.where(near, 2.0, 1.0) + 0j

    found = response_rows(response, Spectrum(RATE_HZ, [FLAT]))
    named = {
        "low end": number <= -11,
        "middle": -10 <= number <= 9,
        "high end": 9 <= number <= 12,
    }
    assert {name: found[name] > 1.0 for name in RANGES} == named


def test_the_rows_say_which_bands_they_are_of() -> None:
    said = {name: re.findall(r"\d+ k?Hz|\d+ to", limits()[name].what)[:2] for name in RANGES}
    assert said == {
        "low end": ["20 to", "80 Hz"],
        "middle": ["100 Hz", "8 kHz"],
        "high end": ["8 to", "16 kHz"],
    }
