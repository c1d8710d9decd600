"""`stagefx answer`."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import numpy as np
import pytest

import stagefx
from stagefx.blind.codes import encode_reply
from stagefx.blind.keys import draw_key, save_key
from stagefx.blind.simulation import SimulatedListener, simulate_reply
from stagefx.samples import samples_folder
from tests.cli.running import complaint, loaded_modules, one_object, run_here
from tests.cli.short_music import short_music

FILES = {"answer.html", "answer.json", "audibility.csv", "response.csv", "figures.csv"}
QUESTION = (
    'ask = "Is the quick board heard?"\nbaseline = "stock.toml"\nchange = "quick.toml"\n'
    'music = "one.wav"\npassage = "0.5-2.5"\n'
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("stock", "quick"):
        shutil.copy(samples_folder() / "stages" / f"{name}.toml", tmp_path)
    short_music(tmp_path / "one.wav")
    (tmp_path / "question.toml").write_text(QUESTION, encoding="utf-8")
    return tmp_path


def test_a_page_its_numbers_and_its_tables_are_written(folder: Path) -> None:
    done = run_here("answer", "question.toml", "out", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert {path.name for path in (folder / "out").iterdir()} == FILES
    order = ["In this set-up, going from", "How we know", "Where it holds", "What would change it"]
    places = [done.stdout.index(text) for text in order]
    assert places == sorted(places)
    found = json.loads((folder / "out" / "answer.json").read_text("utf-8"))
    assert found["grade"] == "should not be heard"
    with (folder / "out" / "audibility.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["name"] for row in rows} >= {"level", "balance", "noise"}
    audibility = {row["name"]: row for row in found["pieces"][0]["comparison"]["audibility"]}
    for row in rows:
        if row["value"] and isinstance(audibility[row["name"]]["value"], float):
            assert float(row["value"]) == audibility[row["name"]]["value"]


def test_python_answers_as_the_command_does(folder: Path) -> None:
    load = "load.capacitance=1 nF"
    run_here("answer", "question.toml", "shell", "--with", load, cwd=folder)
    found = stagefx.answer_into(folder / "question.toml", folder / "python", given=[load])
    assert found.follow_up is not None
    assert found.follow_up.given == (load,)
    assert {path.name for path in (folder / "python").iterdir()} == FILES
    for name in FILES:
        assert (folder / "python" / name).read_bytes() == (folder / "shell" / name).read_bytes()
    with pytest.raises(stagefx.OutputError, match="holds something already"):
        stagefx.answer_into(folder / "question.toml", folder / "python")


def test_the_json_that_is_printed_is_the_file_s(folder: Path) -> None:
    printed = one_object(run_here("answer", "question.toml", "out", "--json", cwd=folder).stdout)
    assert (
        printed["letter"] == json.loads((folder / "out/answer.json").read_text("utf-8"))["letter"]
    )
    assert printed["command"] == "stagefx answer question.toml FOLDER"


def test_a_fault_comes_first(folder: Path) -> None:
    text = (folder / "quick.toml").read_text("utf-8")
    shaky = '[oscillation]\nlevel = "6 V p-p"\nfrequency = "200 kHz"\n\n[listening]'
    (folder / "quick.toml").write_text(text.replace("[listening]", shaky), encoding="utf-8")
    done = run_here("answer", "question.toml", "out", cwd=folder)
    assert done.stdout.lstrip().startswith("First, a fault")
    page = (folder / "out" / "answer.html").read_text("utf-8")
    assert page.index("First, a fault") < page.index('class="answer"')
    assert "unplug the loudspeakers" in page


def test_a_viewer_s_numbers_are_answered(folder: Path) -> None:
    given = ["--with", 'load.capacitance="1 nF"', "--with", "source.resistance=1 kohm"]
    done = run_here("answer", "question.toml", "out", *given, "--json", cwd=folder)
    found = one_object(done.stdout)
    assert found["follow_up"]["moves"] is False
    assert (
        "load.capacitance = 1 nF and source.resistance = 1 kohm" in found["follow_up"]["sentence"]
    )
    assert all(stage["load"]["capacitance"] == "1 nF" for stage in found["stages"])
    assert "--with 'load.capacitance=\"1 nF\"'" in found["command"]


def test_two_audio_files_are_measured_not_calculated(folder: Path) -> None:
    short_music(folder / "softer.wav", gain=10.0 ** (-1.0 / 20.0))
    (folder / "files.toml").write_text(
        'ask = "?"\nbaseline = "one.wav"\nchange = "softer.wav"\npassage = "0.5-2.5"\n'
    )
    done = run_here("answer", "files.toml", "out", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert "Measured between two audio files" in done.stdout
    assert "the level falls by about twice" in " ".join(done.stdout.split())


def test_a_blind_result_is_told_beside_what_was_calculated(folder: Path) -> None:
    rng = np.random.default_rng(5)
    key = draw_key("abx", ("main",), trials=16, control_trials=0)
    save_key(key, folder / "key.json")
    reply = simulate_reply(
        SimulatedListener(1.0), key, rng, trials=16, control_trials=0, name="<b>L"
    )
    (folder / "codes.txt").write_text(encode_reply(reply), encoding="utf-8")
    with (folder / "question.toml").open("a", encoding="utf-8") as file:
        file.write('[blind]\nkey = "key.json"\nreplies = "codes.txt"\n')
    done = run_here("answer", "question.toml", "out", "--json", cwd=folder)
    assert done.returncode == 0, done.stderr
    found = one_object(done.stdout)
    assert found["basis"] == "calculated"
    assert found["blind"]["pooled"]["correct"] == 16
    told = found["letter"]["how_we_know"]["text"]
    assert told.startswith("Calculated")
    assert f"Heard blind: {found['blind']['sentence']}" in told
    assert {one["file"] for one in found["inputs"]} >= {"key.json", "codes.txt"}


def test_what_is_there_is_kept(folder: Path) -> None:
    (folder / "out").mkdir()
    (folder / "out" / "note.txt").write_text("mine")
    told = complaint(run_here("answer", "question.toml", "out", cwd=folder))
    assert "--force" in told
    assert [path.name for path in (folder / "out").iterdir()] == ["note.txt"]


def test_an_input_is_never_overwritten(folder: Path) -> None:
    (folder / "question.toml").rename(folder / "answer.json")
    before = (folder / "answer.json").read_text("utf-8")
    told = complaint(run_here("answer", "answer.json", ".", "--force", cwd=folder))
    assert "is an input too" in told
    assert (folder / "answer.json").read_text("utf-8") == before


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["none.toml", "out"], "none.toml: there is no such file"),
        (["question.toml", "out", "--with", "load"], "TABLE.KEY=VALUE"),
        (["question.toml", "out", "--with", "lod.resistance=1 ohm"], "did you mean 'load'?"),
        (["question.toml", "out", "--with", "load.resistance=1 V"], "load"),
        (["question.toml", "none/out"], "none"),
    ],
)
def test_what_cannot_be_answered_is_said(arguments: list[str], said: str, folder: Path) -> None:
    before = sorted(folder.iterdir())
    assert said in complaint(run_here("answer", *arguments, cwd=folder))
    assert sorted(folder.iterdir()) == before


def test_what_is_missing_is_told_before_anything_heavy_is_loaded(folder: Path) -> None:
    (folder / "one.wav").unlink()
    loaded = loaded_modules("answer", "question.toml", "out", cwd=folder)
    assert not {"numba", "scipy", "matplotlib", "librosa", "jinja2"} & loaded
