"""What cannot be compared is refused in one clear line; what can has all its keys."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from stagefx.audition.shortcuts import compare_files, compare_recordings, compare_stages
from stagefx.circuit.description.files import load_stage
from stagefx.errors import AudioError, ComparisonError, OutputError
from stagefx.hearing.grades import Grade
from stagefx.hearing.rows.difference import build_audibility
from stagefx.hearing.thresholds import limits
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound

MUSIC = sound(2.0)
SAMPLES = Path(__file__).parents[2] / "samples"


def held(samples: np.ndarray, rate_hz: int = RATE_HZ) -> HeldAudio:
    return HeldAudio(np.ascontiguousarray(samples), rate_hz)


@pytest.mark.parametrize(
    ("second", "said"),
    [
        (held(MUSIC, 44100), "rate|44100|44,100|44.1"),
        (held(MUSIC[:, :1]), "channel"),
        (held(sound(2.0, seed=9)), "same music|not the same|in common"),
        (held(np.zeros_like(MUSIC)), "silen"),
        (held(MUSIC[:1000]), "short"),
    ],
)
def test_what_cannot_be_compared(second: HeldAudio, said: str) -> None:
    with pytest.raises(ComparisonError, match=f"(?i){said}") as caught:
        compare_recordings(held(MUSIC), second)
    assert "\n" not in str(caught.value).strip()


@pytest.mark.parametrize("level_db", [121.0, float("nan"), -5.0])
def test_listening_levels_out_of_reason(level_db: float) -> None:
    with pytest.raises(ComparisonError):
        compare_recordings(held(MUSIC), held(MUSIC), listening_level_db=level_db)


def test_a_loud_listening_level_is_remarked_on() -> None:
    found = compare_recordings(held(MUSIC), held(MUSIC), listening_level_db=105.0)
    assert any("105" in remark for remark in found.remarks)


def test_a_missing_file_and_a_residual_that_is_there(tmp_path: Path) -> None:
    trio = SAMPLES / "music" / "trio.flac"
    with pytest.raises(AudioError, match=r"no such file|there is no"):
        compare_files(trio, tmp_path / "missing.wav")
    there = tmp_path / "residual.wav"
    there.write_bytes(b"mine")
    with pytest.raises(OutputError, match="--force"):
        compare_files(trio, trio, passage=(1.0, 3.0), residual=there)
    assert there.read_bytes() == b"mine"


def test_a_residual_is_what_is_left_at_the_firsts_gain(tmp_path: Path) -> None:
    first, second, out = (tmp_path / name for name in ("a.wav", "b.wav", "r.wav"))
    random = np.random.default_rng(2)
    added = 1e-3 * random.standard_normal(MUSIC.shape)
    soundfile.write(first, MUSIC, RATE_HZ, "DOUBLE")
    soundfile.write(second, 0.5 * (MUSIC + added), RATE_HZ, "DOUBLE")
    compare_files(first, second, residual=out)
    left, _ = soundfile.read(out)
    assert np.sqrt(np.mean(left**2)) == pytest.approx(1e-3, rel=0.02)


def test_the_keys_of_the_result() -> None:
    stage = load_stage("line-stage")
    quick = load_stage("line-stage-quick")
    trio = SAMPLES / "music" / "trio.flac"
    found = compare_stages(stage, quick, trio, passage=(2.0, 6.0)).as_json()
    assert set(found["alignment"]) == {"delay_frames", "gain_db", "polarity", "drift_ppm"}
    assert found["alignment"]["drift_ppm"] == 0.0  # one clock made both
    short = compare_recordings(held(MUSIC), held(MUSIC)).as_json()
    assert short["alignment"]["drift_ppm"]["reason"] == "not measured"
    assert set(found["null_db"]) == {"plain", "after_gain", "after_delay", "after_response"}
    assert set(found["loudness"]) == {"first_lufs", "second_lufs", "difference_db"}
    assert {"deviation_db", "at_hz", "bands"} <= set(found["response"])
    assert {
        "detection_probability", "noise_to_mask_db", "residual_noise_to_mask_db",
        "disturbed_frames_share", "standard_probability",
    } <= set(found["hearing"])  # fmt: skip
    assert 0.0 <= found["hearing"]["detection_probability"] < 0.2
    wanted = {"name", "value", "unit", "may", "will", "margin_db", "grade", "source"}
    assert all(wanted <= set(row) for row in found["audibility"])
    assert {"grade", "sentence", "basis", "flips_at"} <= set(found["verdict"])
    assert found["verdict"]["basis"] == "calculated"
    names = [row["name"] for row in found["audibility"]]
    assert names[:2] == ["edits", "exchange"]
    assert found["edits"] == []
    assert set(found["events"]) == {"count", "worst_db", "at_s"}
    assert found["events"]["count"] == 0
    assert {"near_limit", "named"} <= set(found["verdict"])
    assert {"low end", "middle", "high end", "noise"} <= set(names)


def test_a_stage_that_clips_on_its_source_is_heard_and_says_why() -> None:
    hot, stock = load_stage("too-hot"), load_stage("line-stage")
    drums = SAMPLES / "music" / "drums.flac"
    found = compare_stages(stock, hot, drums, passage=(10.0, 16.0)).as_json()
    assert found["verdict"]["grade"] in {"may be heard", "will be heard"}
    assert "stage clips in" in found["verdict"]["sentence"]
    assert any("Fault" in remark for remark in found["remarks"])


# The table of limits, as it was decided on; sources stand in thresholds.toml.
LIMITS = {
    "edits": (6.0, 100.0),
    "exchange": (0.5, 2.0),
    "speed": (0.2, 1.0),
    "wow": (0.1, 0.3),
    "events": (6.0, 12.0),
    "level": (0.2, 0.5),
    "balance": (0.5, 1.0),
    "low end": (0.5, 3.0),
    "middle": (0.5, 1.5),
    "high end": (1.0, 3.0),
    "resonance": (0.5, 1.5),
    "group delay": (0.5, 2.0),
    "inter-channel delay": (10.0, 30.0),
    "inter-channel phase": (10.0, 45.0),
    "remainder": (-10.0, 3.0),
    "harmonics": (-80.0, -40.0),
    "noise": (0.0, 10.0),
    "hum": (0.0, 10.0),
    "crosstalk": (-40.0, -20.0),
    "ear model": (0.20, 0.95),
}


def test_every_limit_is_there_with_its_source() -> None:
    found = limits()
    assert {name: (limit.may, limit.will) for name, limit in found.items()} == LIMITS
    assert all(limit.source for limit in found.values())


def test_rows_that_are_not_judged_do_not_look_judged() -> None:
    difference = compare_recordings(held(MUSIC), held(MUSIC)).difference
    rows = {row.name: row for row in build_audibility(difference, matched_db=0.0)}
    for name in ("ear model", "harmonics", "remainder"):
        assert rows[name].value is None
        assert rows[name].grade is None
        assert rows[name].remark


def test_a_second_is_enough_and_a_third_of_one_says_what_it_cannot_tell() -> None:
    for frames in (48000, 16000):
        brief = MUSIC[:frames]
        found = compare_recordings(held(brief), held(0.9 * brief))
        rows = {row.name: row for row in found.audibility}
        assert rows["level"].grade is not None
        assert rows["level"].value == pytest.approx(0.915, abs=0.01)
        assert (rows["ear model"].value is None) == (frames < 24000)
        if frames < 24000:
            assert "half a second" in rows["ear model"].remark
            assert found.as_json()["hearing"]["detection_probability"]["value"] is None


def test_one_channel_has_no_balance_and_all_the_rest() -> None:
    found = compare_recordings(held(MUSIC[:, :1]), held(0.9 * MUSIC[:, :1]))
    rows = {row.name: row for row in found.audibility}
    for name in ("balance", "inter-channel delay"):
        assert rows[name].grade is None
        assert "one channel" in rows[name].remark
    assert rows["ear model"].value > 0.85  # 0.92 dB, twice the published step


def test_what_only_one_of_two_lengths_has_is_missing_and_the_rest_is_compared() -> None:
    found = compare_recordings(held(MUSIC), held(0.99 * MUSIC[: 3 * len(MUSIC) // 4]))
    assert found.difference.stop <= 3 * len(MUSIC) // 4
    assert found.verdict.grade is Grade.WILL
    assert "The last 500 ms of sound are missing from the second" in found.verdict.sentence
    (edit,) = found.as_json()["edits"]
    assert (edit["kind"], edit["at_s"]) == ("missing at the end", pytest.approx(1.5, abs=0.01))
    rows = {row.name: row.grade for row in found.audibility}
    assert rows["level"] is Grade.SHOULD_NOT


def test_silence_is_refused_in_words() -> None:
    silent = held(np.zeros_like(MUSIC))
    with pytest.raises(ComparisonError, match="silent"):
        compare_recordings(silent, silent)


def test_a_stage_against_wire_is_told_whether_it_is_one() -> None:
    music = SAMPLES / "music" / "drums.flac"

    def claim(first: str, second: str) -> str:
        stages = load_stage(first), load_stage(second)
        return " ".join(compare_stages(*stages, music, passage=(2.0, 4.0)).remarks)

    assert "A piece of wire with gain? As far as hearing goes, yes" in claim("wire", "line-stage")
    # the ear model begins at 80 Hz, so it cannot be the second witness of what lies below
    assert "gain? Perhaps not. The low end: about" in claim("wire", "thin-coupling")
    assert "gain? Perhaps not." in claim("wire", "passive-control")
    assert "piece of wire" not in claim("line-stage", "line-stage-quick")
