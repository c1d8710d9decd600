"""A render's memory does not grow with the music's duration."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.played import song
from tests.resident import COUNTED, peak_mib, write_again_and_again

RATE_HZ = 44100


@pytest.mark.slow
@pytest.mark.skipif(not COUNTED, reason="peak memory is not told here")
@pytest.mark.parametrize(
    ("stage", "kept_mib"),
    [
        pytest.param("slow-early", 0.0, id="read once"),
        pytest.param("line-stage", 64.0, id="read twice, for its knob is set by listening"),
    ],
)
def test_four_minutes_need_no_more_than_a_half(tmp_path: Path, stage: str, kept_mib: float) -> None:
    """Held as samples the rest would be 141 MiB; the whole process stays below 350.

    What is read twice is kept in between, 64 MiB of it at most.
    """
    peaks = []
    for minutes in (0.5, 4.0):
        music = write_again_and_again(
            tmp_path / "in.wav", song(11 * RATE_HZ, 2, seed=0), RATE_HZ, seconds=60.0 * minutes
        )
        peaks.append(peak_mib("render", stage, music, tmp_path / "out.flac", "--force"))
        music.unlink()
    assert peaks[1] - peaks[0] < 8.0 + kept_mib
    assert peaks[1] < 350.0
