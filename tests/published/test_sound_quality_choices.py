"""Paired preferences of a real listening test: eight ways of playing four pieces, forty people.

S. Choisel, F. Wickelmaier, J. Acoust. Soc. Am. 121 (1), 2007; the choices are the data set
``SoundQuality`` of Debian's r-cran-psychotools.  Log worths there taken as independent choices.
"""

from __future__ import annotations

import os
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.blind.statistics.preference import log_worths

DATA = Path("/usr/lib/R/site-library/psychotools/data/SoundQuality.rda")
MISSING = "not run: the listening-test data of Debian's r-cran-psychotools is not installed"
WINS = (680, 1172, 3640, 3218, 3469, 3303, 2978, 3464)
LOG_WORTHS = (0.0, 0.582862, 2.611420, 2.289692, 2.479567, 2.353652, 2.109901, 2.475749)


@pytest.fixture(scope="module")
def choices() -> tuple[list[str], NDArray[np.int64]]:
    if not DATA.exists():
        if os.environ.get("CI"):
            pytest.fail(MISSING)
        warnings.warn(MISSING, stacklevel=1)
        pytest.skip(MISSING)
    import rdata

    kept: dict[str, Any] = {}

    def pairs(obj: Any, attributes: Any) -> Any:
        kept.update(attributes, choices=np.asarray(obj))
        return obj

    makers = {
        **rdata.conversion.DEFAULT_CLASS_MAP,
        "paircomp": pairs,
        "data.frame": lambda obj, _: obj,
    }
    rdata.conversion.convert(rdata.parser.parse_file(DATA), constructor_dict=makers)
    names = [str(name) for name in kept["labels"]]
    wins = np.zeros((len(names), len(names)), dtype=np.int64)
    column = 0
    for second in range(1, len(names)):
        for first in range(second):
            made = kept["choices"].reshape(783, -1)[:, column]
            wins[first, second] += int((made == 1).sum())
            wins[second, first] += int((made == -1).sum())
            column += 1
    return names, wins


def test_how_often_each_was_chosen(choices: tuple[list[str], NDArray[np.int64]]) -> None:
    names, wins = choices
    assert names[0] == "Mono"
    assert names[-1] == "Original"
    assert tuple(wins.sum(axis=1)) == WINS
    assert wins.sum() == 21_924


def test_log_worths(choices: tuple[list[str], NDArray[np.int64]]) -> None:
    found = log_worths(*choices)
    assert [worth.log_worth for worth in found] == pytest.approx(LOG_WORTHS, abs=1e-6)
    errors = [(worth.high - worth.log_worth) / 1.959964 for worth in found[1:]]
    assert min(errors) > 0.0495
    assert max(errors) < 0.0525
