"""How loud the music is taken to be, and what is said of it."""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.audition.shortcuts import compare_recordings
from stagefx.errors import ComparisonError
from stagefx.hearing.level_at_ear import level_at_ear, level_of
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound, tone


def test_a_sine_at_a_tenth_of_full_scale_played_at_85_db() -> None:
    found = level_of(HeldAudio(tone(1000.0, 2.0, level=0.1), RATE_HZ))
    assert found.full_scale_spl_db == pytest.approx(105.0, abs=0.01)
    assert found.remarks == ()


def test_channel_powers_are_summed() -> None:
    both = np.repeat(tone(1000.0, 2.0, level=0.1), 2, axis=1)
    found = level_of(HeldAudio(both, RATE_HZ))
    assert found.full_scale_spl_db == pytest.approx(105.0 - 10.0 * np.log10(2.0), abs=0.01)


def test_full_scale_is_never_taken_above_120_db() -> None:
    found = level_at_ear(-60.0)
    assert found.full_scale_spl_db == 120.0
    assert "145 dB SPL; 120 dB is taken" in found.remarks[0]


@pytest.mark.parametrize("seconds", [0.3, 3.0])
def test_where_nothing_passes_the_gates_92_db_is_taken_and_said(seconds: float) -> None:
    """ITU-R BS.1387's level for an unknown playback; 0.3 s is shorter than a block."""
    music = sound(seconds, level=0.1 if seconds < 0.4 else 1e-5)
    found = compare_recordings(HeldAudio(music, RATE_HZ), HeldAudio(0.5 * music, RATE_HZ))
    assert found.level_at_ear.full_scale_spl_db == 92.0
    assert found.level_at_ear.programme_db is None
    assert any("92 dB SPL" in remark for remark in found.remarks)
    level = next(row for row in found.audibility if row.name == "level")
    assert level.value == pytest.approx(6.0206, abs=1e-4)


def test_above_100_db_there_is_a_warning_and_above_120_a_refusal() -> None:
    assert level_at_ear(-20.0, listening_level_db=100.0).remarks == ()
    (warning,) = level_at_ear(-20.0, listening_level_db=110.0).remarks[:1]
    assert "dangerous to hearing" in warning
    for level_db in (120.1, -0.1, float("nan"), float("inf")):
        with pytest.raises(ComparisonError, match="give 0 to 120 dB"):
            level_at_ear(-20.0, listening_level_db=level_db)
