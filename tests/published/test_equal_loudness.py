"""Contours of equal loudness after ISO 226:2023, against values worked out from its formula."""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.errors import ComparisonError
from stagefx.hearing.ear.equal_loudness import contour_db_spl, loudness_level_phon
from stagefx.hearing.ear.threshold_of_hearing import threshold_db_spl

CONTOURS = {
    40.0: {20.0: 99.74, 100.0: 64.24, 1000.0: 40.00, 3150.0: 35.47, 8000.0: 51.60, 12500.0: 51.31},
    80.0: {20.0: 118.86, 100.0: 92.46, 4000.0: 78.45},
}
EDITION_2003 = {
    40.0: {20.0: 99.85, 100.0: 64.37, 1000.0: 40.01, 3150.0: 35.61, 8000.0: 51.80, 12500.0: 51.49},
    80.0: {20.0: 118.99, 100.0: 92.48, 4000.0: 78.31},
}


@pytest.mark.parametrize("phon", CONTOURS)
def test_contours_of_the_2023_edition(phon: float) -> None:
    hz, levels = list(CONTOURS[phon]), list(CONTOURS[phon].values())
    assert contour_db_spl(phon, hz) == pytest.approx(levels, abs=0.006)


@pytest.mark.parametrize("phon", EDITION_2003)
def test_the_2003_edition_lies_a_third_of_a_decibel_off_at_most(phon: float) -> None:
    hz, levels = list(EDITION_2003[phon]), list(EDITION_2003[phon].values())
    apart = np.abs(contour_db_spl(phon, hz) - levels)
    assert 0.0 < apart.max() <= 0.32


@pytest.mark.parametrize("phon", [20.0, 40.0, 60.0, 80.0])
def test_there_and_back(phon: float) -> None:
    hz = np.geomspace(20.0, 12500.0, 60)
    assert loudness_level_phon(contour_db_spl(phon, hz), hz) == pytest.approx(np.full(60, phon))


def test_its_threshold_is_that_of_iso_389_7() -> None:
    """At threshold the law gives 2.4 phon at every frequency of the table."""
    hz = np.array([20.0, 50.0, 100.0, 315.0, 1000.0, 2500.0, 4000.0, 8000.0, 12500.0])
    assert loudness_level_phon(threshold_db_spl(hz), hz) == pytest.approx(np.full(9, 2.4), abs=0.25)


@pytest.mark.parametrize(("phon", "hz"), [(10.0, 1000.0), (95.0, 1000.0), (85.0, 8000.0)])
def test_beyond_the_standard(phon: float, hz: float) -> None:
    with pytest.raises(ComparisonError, match="phon; give 20 to"):
        contour_db_spl(phon, hz)
    with pytest.raises(ComparisonError, match="from 20 to 12500 Hz"):
        contour_db_spl(40.0, 16000.0)
