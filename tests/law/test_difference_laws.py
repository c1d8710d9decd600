"""What must hold of any comparison."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.audio.recording import HeldAudio
from stagefx.hearing import compare_recordings
from stagefx.hearing.grades import Grade
from tests.band_limited import RATE_HZ, sound

Array = NDArray[np.float64]
MUSIC = sound(6.0)


def held(samples: Array) -> HeldAudio:
    return HeldAudio(np.ascontiguousarray(samples), RATE_HZ)


def test_the_same_audio_has_no_difference() -> None:
    found = compare_recordings(held(MUSIC), held(MUSIC))
    assert found.verdict.grade is Grade.BELOW
    assert found.difference.alignment.delay_frames == 0.0
    assert found.difference.alignment.gain_db == 0.0
    assert found.difference.null_db.plain == -np.inf
    assert all(not row.value for row in found.ledger if row.grade is not None)


def test_polarity_is_told_and_changes_nothing_else() -> None:
    found = compare_recordings(held(MUSIC), held(-MUSIC))
    assert found.difference.alignment.polarity == -1
    assert found.difference.alignment.gain_db == pytest.approx(0.0, abs=1e-9)
    assert found.difference.null_db.plain == pytest.approx(6.0206, abs=1e-4)
    assert found.difference.null_db.after_gain == -np.inf
    assert found.verdict.grade is Grade.BELOW


@pytest.mark.parametrize("late", [1, 4321])
def test_a_pure_delay_is_no_difference(late: int) -> None:
    lead = np.zeros((late, 2))
    found = compare_recordings(held(MUSIC), held(np.concatenate((lead, MUSIC))))
    assert found.difference.alignment.delay_frames == pytest.approx(late, abs=1e-6)
    assert found.verdict.grade is Grade.BELOW


def test_order_turns_signs_and_nothing_else() -> None:
    other = sound(6.0, lambda hz: 1.1 / (1.0 + 1j * hz / 30e3))
    there = compare_recordings(held(MUSIC), held(other)).difference
    back = compare_recordings(held(other), held(MUSIC)).difference
    assert back.alignment.gain_db == pytest.approx(-there.alignment.gain_db, abs=0.02)
    assert back.alignment.delay_frames == pytest.approx(-there.alignment.delay_frames, abs=1e-3)
    for one, other_way in zip(there.response.bands, back.response.bands, strict=True):
        if one.db is not None and other_way.db is not None:
            assert other_way.db == pytest.approx(-one.db, abs=0.02)


def test_more_treble_loss_is_never_judged_milder() -> None:
    ranks = []
    for corner_hz in (400e3, 100e3, 50e3, 25e3, 12e3, 6e3):
        other = sound(6.0, lambda hz, c=corner_hz: 1.0 / (1.0 + 1j * hz / c))
        ranks.append(compare_recordings(held(MUSIC), held(other)).verdict.grade.rank)
    assert ranks == sorted(ranks)
    assert ranks[0] < ranks[-1]


def test_level_is_judged_by_its_row_and_balance_by_its_own() -> None:
    louder = compare_recordings(held(MUSIC), held(MUSIC * 10 ** (0.3 / 20)))
    rows = {row.name: row for row in louder.ledger}
    assert rows["level"].value == pytest.approx(0.3, abs=1e-3)
    assert rows["level"].grade is Grade.MAY
    assert rows["balance"].grade is Grade.BELOW
    leaning = compare_recordings(held(MUSIC), held(MUSIC * [1.0, 10 ** (-0.8 / 20)]))
    rows = {row.name: row for row in leaning.ledger}
    assert rows["balance"].value == pytest.approx(0.8, abs=1e-3)
    assert rows["balance"].grade is Grade.MAY


def test_a_remainder_over_60_db_under_the_music_is_at_least_may_be_heard() -> None:
    random = np.random.default_rng(4)
    for level_db, least in ((-55.0, Grade.MAY), (-75.0, Grade.BELOW)):
        added = 0.1 * 10 ** (level_db / 20) * random.standard_normal(MUSIC.shape)
        found = compare_recordings(held(MUSIC), held(MUSIC + added))
        assert found.difference.remainder_db == pytest.approx(level_db, abs=1.0)
        assert found.verdict.grade.rank >= least.rank
        said = "distortion" in found.verdict.sentence
        assert said == (level_db > -60.0)


def test_nothing_is_called_inaudible_and_the_top_grade_needs_an_ear_model() -> None:
    other = sound(6.0, lambda hz: 1.0 / (1.0 + 1j * hz / 500.0))
    found = compare_recordings(held(MUSIC), held(other))
    assert found.verdict.grade is Grade.MAY
    assert "inaudible" not in found.verdict.sentence
