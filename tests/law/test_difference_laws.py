"""What must hold of any comparison."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.audition.shortcuts import compare_recordings
from stagefx.hearing.grades import Grade
from stagefx.io.files import open_audio
from stagefx.io.recording import HeldAudio
from stagefx.samples import samples_folder
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
    assert found.heard.pair.detection_probability == 0.0
    judged = {row.name: row.value for row in found.audibility if row.grade is not None}
    assert judged.pop("remainder") == judged.pop("events") == -np.inf
    assert not any(judged.values())


def test_polarity_is_told_and_changes_nothing_else() -> None:
    found = compare_recordings(held(MUSIC), held(-MUSIC))
    assert found.difference.alignment.polarity == -1
    assert found.difference.alignment.gain_db == pytest.approx(0.0, abs=1e-9)
    assert found.difference.null_db.plain == pytest.approx(6.0206, abs=1e-4)
    assert found.difference.null_db.after_gain == -np.inf
    assert found.verdict.grade is Grade.BELOW
    assert found.heard.pair.detection_probability == 0.0


@pytest.mark.parametrize("late", [1, 4321])
def test_a_pure_delay_is_no_difference(late: int) -> None:
    lead = np.zeros((late, 2))
    found = compare_recordings(held(MUSIC), held(np.concatenate((lead, MUSIC))))
    assert found.difference.alignment.delay_frames == pytest.approx(late, abs=1e-6)
    assert found.verdict.grade is Grade.BELOW
    assert found.heard.pair.detection_probability == 0.0


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
    rows = {row.name: row for row in louder.audibility}
    assert rows["level"].value == pytest.approx(0.3, abs=1e-3)
    assert rows["level"].grade is Grade.MAY
    assert rows["balance"].grade is Grade.BELOW
    leaning = compare_recordings(held(MUSIC), held(MUSIC * [1.0, 10 ** (-0.8 / 20)]))
    rows = {row.name: row for row in leaning.audibility}
    assert rows["balance"].value == pytest.approx(0.8, abs=1e-3)
    assert rows["balance"].grade is Grade.MAY


def test_white_noise_under_music_is_judged_by_its_masking() -> None:
    # common practice: noise 40 dB under full scale is plain under acoustic music at 85 dB, and
    # noise 110 dB under it is not heard there
    with open_audio(samples_folder() / "music" / "trio.flac") as opened:
        rate_hz = opened.format.rate_hz
        music = opened.read(3 * rate_hz, 9 * rate_hz)
    random = np.random.default_rng(4)
    grades = []
    for level_db in (-40.0, -70.0, -110.0):
        added = np.sqrt(0.5) * 10 ** (level_db / 20) * random.standard_normal(music.shape)
        found = compare_recordings(HeldAudio(music, rate_hz), HeldAudio(music + added, rate_hz))
        rows = {row.name: row for row in found.audibility}
        assert rows["remainder"].value == found.heard.remainder.noise_to_mask_db
        grades.append(found.verdict.grade)
    assert grades[0] is Grade.WILL
    assert grades[2] in {Grade.SHOULD_NOT, Grade.BELOW}
    assert [grade.rank for grade in grades] == sorted((g.rank for g in grades), reverse=True)


def test_noise_like_music_hides_white_noise_as_the_rule_of_thumb_has_it() -> None:
    # Zwicker: noise masks a narrow band of like noise down to a few dB under it; with 20 dB less
    # in the music's own bands the noise-to-mask ratio stays under -10 dB (Neubauer, Herre)
    random = np.random.default_rng(4)
    for level_db in (-20.0, -40.0, -110.0):
        added = 0.1 * 10 ** (level_db / 20) * random.standard_normal(MUSIC.shape)
        found = compare_recordings(held(MUSIC), held(MUSIC + added))
        assert found.difference.remainder_db == pytest.approx(level_db, abs=1.0)
        assert found.heard.remainder.noise_to_mask_db == pytest.approx(level_db + 2.0, abs=2.0)


def test_nothing_is_called_inaudible() -> None:
    other = sound(6.0, lambda hz: 1.0 / (1.0 + 1j * hz / 500.0))
    found = compare_recordings(held(MUSIC), held(other))
    assert found.verdict.grade is Grade.WILL
    assert "inaudible" not in found.verdict.sentence
