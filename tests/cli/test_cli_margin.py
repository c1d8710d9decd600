"""`stagefx margin`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from stagefx.samples import samples_folder
from tests.cli.running import complaint, loaded_modules, one_object, run_here
from tests.cli.short_music import short_music

STOCK = samples_folder() / "stages" / "stock.toml"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("music")
    short_music(place / "one.wav")
    silent = np.zeros((44100, 2))
    soundfile.write(place / "silent.wav", silent, 44100)
    soundfile.write(place / "brief.wav", silent[:4410], 44100)
    return place


def test_the_nearest_cause_is_told_first_in_a_sentence(folder: Path) -> None:
    done = run_here("margin", STOCK, "one.wav", cwd=folder)
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert " would have to be " in lines[0]
    assert " times " in lines[0]
    assert max(map(len, lines)) <= 80
    assert any(line.startswith("Calculated, at a listening level of 85 dB") for line in lines)


def test_json_has_the_keys_of_the_contract(folder: Path) -> None:
    found = one_object(run_here("margin", STOCK, "one.wav", "--json", cwd=folder).stdout)
    names = [row["effect"] for row in found["effects"]]
    assert names == ["loading", "bandwidth", "slew", "clip", "noise"]
    for row in found["effects"]:
        assert set(row) >= {"effect", "factor", "grade_now", "sentence"}
        sizes = [one["factor"] for one in row["causes"] if isinstance(one["factor"], float)]
        assert row["factor"] == min(sizes) > 1.0


def test_more_than_ten_thousand_times_is_no_number(folder: Path) -> None:
    stage = folder / "fast.toml"
    stage.write_text(
        '[source]\nlevel = "1 mV rms"\n[amplifier]\ntopology = "follower"\n'
        'slew_rise = "1000 V/us"\nslew_fall = "1000 V/us"\n',
        encoding="utf-8",
    )
    found = one_object(run_here("margin", stage, "one.wav", "--json", cwd=folder).stdout)
    slew = {row["effect"]: row for row in found["effects"]}["slew"]
    assert slew["factor"] == {"value": None, "reason": "more than 10,000 times"}
    assert slew["grade_now"] == "below what can be measured"
    assert slew["sentence"] == "The amplifier would have to be more than 10,000 times slower."


def test_what_is_heard_already_has_the_factor_one(folder: Path) -> None:
    stage = folder / "dull.toml"
    stage.write_text(
        '[source]\nlevel = "2 V rms"\nresistance = "10 kohm"\noffset = "10 mV"\n'
        '[input]\ncapacitance = "3 nF"\n',
        encoding="utf-8",
    )
    found = one_object(run_here("margin", stage, "one.wav", "--json", cwd=folder).stdout)
    rows = {row["effect"]: row for row in found["effects"]}
    assert rows["loading"]["factor"] == 1.0
    assert rows["loading"]["grade_now"] == "will be heard"
    assert "as it is" in rows["loading"]["sentence"]
    assert "fault" in rows["offset"]["factor"]["reason"]


def test_a_fault_is_told_before_any_talk_of_sound(folder: Path) -> None:
    arguments = [["margin", "too-hot", "one.wav"], ["compare", "wire", "too-hot", "--music"]]
    for command in (arguments[0], [*arguments[1], "one.wav"]):
        lines = run_here(*command, cwd=folder).stdout.splitlines()
        assert lines[0].startswith("First, a fault: ")
        assert not any(line.startswith("Fault") for line in lines)


def test_the_picture_is_written(folder: Path, tmp_path: Path) -> None:
    picture = tmp_path / "margin.svg"
    done = run_here("margin", "passive-control", folder / "one.wav", "--plot", picture)
    assert done.returncode == 0, done.stderr
    assert picture.read_text(encoding="utf-8").startswith("<?xml")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["stock", "one.wav"], "stock"),
        (["wire", "nowhere.wav"], "nowhere.wav"),
        (["wire", "-"], "give a file"),
        (["wire", "one.wav", "--passage", "1-2", "--whole"], "leave one of them out"),
        (["wire", "one.wav", "--passage", "8-99"], "no passage"),
        (["wire", "one.wav", "--listening-level", "121"], "120"),
        (["unity-buffer", "one.wav", "--plot", "one.wav"], "one.wav"),
    ],
)
def test_bad_input_gets_one_clear_error(folder: Path, arguments: list[str], said: str) -> None:
    assert said in complaint(run_here("margin", *arguments, cwd=folder))


@pytest.mark.parametrize("music", ["silent.wav", "brief.wav"])
def test_silence_and_a_tenth_of_a_second_have_margins_on_paper(folder: Path, music: str) -> None:
    found = one_object(run_here("margin", STOCK, music, "--json", cwd=folder).stdout)
    rows = {row["effect"]: row for row in found["effects"]}
    assert rows["loading"]["factor"] > 1.0
    assert rows["loading"]["decided_by"] in {"low end", "high end", "middle"}
    why = {"silent.wav": "more than 10,000 times", "brief.wav": "the music is too short to tell"}
    assert rows["clip"]["factor"]["reason"] == why[music]
    assert any("too quiet or too short" in remark for remark in found["remarks"])


def test_a_loud_level_is_warned_of(folder: Path) -> None:
    done = run_here("margin", "wire", "one.wav", "--listening-level", "105", cwd=folder)
    assert "dangerous to hearing" in done.stdout


def test_input_errors_need_no_numba(folder: Path) -> None:
    loaded = loaded_modules("margin", "nowhere", "one.wav", cwd=folder)
    assert not loaded & {"numba", "matplotlib", "scipy.signal"}
