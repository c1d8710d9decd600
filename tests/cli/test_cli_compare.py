"""`stagefx compare`."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from stagefx.samples import samples_folder
from tests.band_limited import RATE_HZ, sound
from tests.cli.running import complaint, loaded_modules, one_object, run_here
from tests.cli.short_music import short_music

STAGES = samples_folder() / "stages"
KEYS = {
    "alignment", "null_db", "loudness", "response", "edits", "events", "hearing", "audibility",
    "floor", "verdict",
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("music")
    short_music(place / "one.wav")
    short_music(place / "softer.wav", gain=10.0 ** (-2.0 / 20.0))
    return place


def test_two_files_are_compared_verdict_first(folder: Path) -> None:
    done = run_here("compare", "one.wav", "softer.wav", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert lines[0] == "In this set-up the difference will be heard."
    assert max(map(len, lines)) <= 80
    order = ["What changed, by cause", "Against what is known of hearing"]
    places = [next(i for i, line in enumerate(lines) if line.startswith(o)) for o in order]
    assert places == sorted(places)
    assert "level        -2.00 dB in volts, -2.00 dB in loudness" in lines
    (row,) = [line for line in lines if re.match(r" +level ", line)]
    # a change of 2 dB, which may be heard from 0.2 dB
    assert row.endswith("10.0 times the limit")


def test_a_level_match_takes_the_level_away(folder: Path) -> None:
    done = run_here("compare", "one.wav", "softer.wav", "--level-by", "gain", cwd=folder)
    assert done.stdout.splitlines()[0] != "In this set-up the difference will be heard."


def test_json_has_the_keys_of_the_contract(folder: Path) -> None:
    found = one_object(run_here("compare", "one.wav", "softer.wav", "--json", cwd=folder).stdout)
    assert set(found) >= KEYS
    assert found["alignment"]["gain_db"] == pytest.approx(-2.0, abs=1e-3)


def test_two_stages_are_compared_with_music(folder: Path) -> None:
    stages = STAGES / "stock.toml", STAGES / "passive-box.toml"
    found = one_object(run_here("compare", *stages, "--music", folder / "one.wav", "--json").stdout)
    assert found["verdict"]["grade"] in {"may be heard", "will be heard"}
    assert found["verdict"]["flips_at"]["row"] == "high end"


def test_a_passage_alone_is_compared(folder: Path) -> None:
    arguments = ["compare", "one.wav", "softer.wav", "--passage", "1-2.5"]
    assert run_here(*arguments, cwd=folder).returncode == 0


def test_residual_and_picture_are_written(folder: Path, tmp_path: Path) -> None:
    residual, picture = tmp_path / "rest.wav", tmp_path / "picture.svg"
    options = ["--residual", residual, "--plot", picture]
    done = run_here("compare", folder / "one.wav", folder / "softer.wav", *options)
    assert done.returncode == 0, done.stderr
    assert soundfile.info(residual).frames == soundfile.info(folder / "one.wav").frames
    assert picture.read_text(encoding="utf-8").startswith("<?xml")
    assert "Turn the level down before a difference is turned up" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["one.wav", "none.wav"], "none.wav"),
        (["line-stage", "wire"], "--music"),
        (["one.wav", "softer.wav", "--passage", "soon"], "like 12.0-22.0"),
        (["one.wav", "softer.wav", "--passage", "2-1"], "passage"),
        (["one.wav", "softer.wav", "--residual", "one.wav"], "is an input too"),
        (["one.wav", "softer.wav", "--residual", "-"], "standard output"),
        (["one.wav", "softer.wav", "--plot", "picture.gif"], "picture.gif"),
        (["line-stage", "wir", "--music", "one.wav"], "did you mean 'wire'?"),
        (["line-stage", "wire", "--music", "none.wav"], "none.wav"),
        (["one.wav", "softer.wav", "--listening-level", "200"], "0.0<=x<=120.0"),
    ],
)
def test_what_cannot_be_compared_is_said(arguments: list[str], said: str, folder: Path) -> None:
    before = sorted(folder.iterdir())
    assert said in complaint(run_here("compare", *arguments, cwd=folder))
    assert sorted(folder.iterdir()) == before


def test_missing_music_is_told_before_anything_is_compiled(tmp_path: Path) -> None:
    for arguments in (["line-stage", "wire", "--music", "none.wav"], ["one.wav", "two.wav"]):
        loaded = loaded_modules("compare", *arguments, cwd=tmp_path)
        assert not {"numba", "scipy", "matplotlib"} & loaded


def test_recordings_are_measured_over_what_the_recorder_does(folder: Path) -> None:
    short_music(folder / "again.wav", gain=10.0 ** (-0.02 / 20.0))
    arguments = ["compare", "one.wav", "softer.wav", "--repeat", "again.wav"]
    arguments += ["--level-by", "nothing"]
    lines = run_here(*arguments, cwd=folder).stdout.splitlines()
    assert lines[0] == "In this set-up the difference will be heard."
    assert lines[1].startswith("Measured, at a listening level of 85 dB")
    assert "Floors: what the recorder does by itself, A against a repeat of A." in lines
    found = one_object(run_here(*arguments, "--json", cwd=folder).stdout)
    assert found["verdict"]["basis"] == "measured"
    assert found["faults"] == []
    assert found["floor"]["level_db"] == pytest.approx(0.02, abs=1e-3)
    rows = {row["name"]: row for row in found["audibility"]}
    assert rows["level"]["floor"] == pytest.approx(0.02, abs=1e-3)


def test_a_recorder_s_level_is_corrected_unless_it_shall_be_kept(folder: Path) -> None:
    done = run_here("compare", "one.wav", "softer.wav", "--captured", cwd=folder)
    said = " ".join(done.stdout.split())
    assert "the difference will be heard" not in said
    assert "dB softer than the first; that was corrected as the recorder's own level" in said


def test_without_a_floor_recordings_say_so(folder: Path) -> None:
    done = run_here("compare", "one.wav", "softer.wav", "--captured", cwd=folder)
    assert "neither a repeat nor a loopback was given" in " ".join(done.stdout.split())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["wire", "wire", "--music", "one.wav", "--captured"], "leave one out"),
        (["one.wav", "-", "--captured"], "give files"),
        (["one.wav", "softer.wav", "--repeat", "nowhere.wav"], "nowhere.wav"),
        (["one.wav", "softer.wav", "--loopback", "again.wav", "--residual", "again.wav"], "again"),
    ],
)
def test_what_cannot_be_captured_is_refused(folder: Path, arguments: list[str], said: str) -> None:
    short_music(folder / "again.wav")
    assert said in complaint(run_here("compare", *arguments, cwd=folder))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda x: np.delete(x, slice(48000, 52800), axis=0), "100 ms of sound are cut out at 1."),
        (lambda x: x[:, ::-1], "Left and right are exchanged; they differ by"),
        (
            lambda x: x + 0.5 * (np.arange(len(x)) == 40000)[:, None],
            "A click, gap or burst at 0.83",
        ),
    ],
    ids=["cut", "exchanged", "click"],
)
def test_a_fault_is_said_in_one_plain_sentence_with_its_time(
    tmp_path: Path, change: Callable[[np.ndarray], np.ndarray], said: str
) -> None:
    music = sound(8.0) * [0.5, 0.2]
    soundfile.write(tmp_path / "first.wav", music, RATE_HZ, "PCM_24")
    soundfile.write(tmp_path / "second.wav", change(music), RATE_HZ, "PCM_24")
    done = run_here("compare", "first.wav", "second.wav", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("In this set-up the difference will be heard.")
    assert said in " ".join(done.stdout.split())


def test_another_room_is_said_and_nonsense_refused(folder: Path) -> None:
    for room, words in (("40", "in a 40 dBA room"), ("none", "without room noise")):
        done = run_here("compare", "one.wav", "softer.wav", "--room", room, cwd=folder)
        assert words in " ".join(done.stdout.split())
    for room in ("loud", "-5", "nan", "200"):
        done = run_here("compare", "one.wav", "softer.wav", "--room", room, cwd=folder)
        assert done.returncode == 2
        assert "from 0 to 80, or none" in " ".join(done.stderr.split())
