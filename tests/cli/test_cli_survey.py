"""`stagefx survey`: the table, the JSON object, the file that is gone on with, the interruption."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.cli.running import STAGEFX, begun, complaint, loaded_modules, one_object, run_here
from tests.collections_made import RATE_HZ, collection, lines_of, rows_so_far

KEYS = {
    "file", "loudness_lufs", "true_peak_dbtp", "slope_peak_v_per_us", "slew_margin",
    "clipped_share", "headroom_db", "error",
}  # fmt: skip


@pytest.fixture(scope="module")
def music(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five pieces and a file that is none."""
    folder = collection(tmp_path_factory.mktemp("music"), pieces=5)
    (folder / "notes.mp3").write_text("[bold]no[/bold] music \x1b[2J", encoding="utf-8")
    return folder


def test_people_are_told_first_in_how_many_pieces_anything_happens(music: Path) -> None:
    done = run_here("survey", "too-hot", music, "--jobs", "1")
    assert done.returncode == 0, done.stderr
    first, second, *rest = done.stdout.splitlines()
    found = re.fullmatch(
        r"Something happens in (\d) of 5 pieces, each played at 85 dB: (\d) clips?\.", first
    )
    assert found is not None
    assert int(found[1]) == int(found[2]) > 0
    assert second == "0.1 min of music through high gain, hot source."
    text = "\n".join(rest)
    assert re.search(rf"^pieces that clip +{found[1]} of 5 +\d of 5$", text, re.MULTILINE)
    assert re.search(r"^disc \d/piece 0\d\.\w+ .* -?\d+\.\d +[\d.]+ %$", text, re.MULTILINE)
    assert "1 file could not be read" in text
    assert "notes.mp3 is no audio" in text
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_a_healthy_stage_is_said_to_be_one(music: Path) -> None:
    done = run_here("survey", "line-stage", music, "--jobs", "1", "--listening-level", "70")
    assert done.stdout.startswith(
        "Nothing clips and nothing slews in any of 5 pieces, each played at 70 dB.\n"
    )
    plain = run_here("survey", "passive-control", music, "--jobs", "1").stdout
    assert plain.startswith("There is no amplifier, so nothing could clip or slew.\n")
    assert "headroom" not in plain


def test_json_is_one_object_with_the_keys_others_rely_on(music: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.jsonl"
    done = run_here("survey", "too-hot", music, "--jobs", "1", "--json", "--out", out)
    assert done.returncode == 0
    found = one_object(done.stdout)
    assert set(found) == {"files", "summary"}
    for row in found["files"]:
        assert set(row) >= KEYS
    assert found["files"] == lines_of(out)
    errors = [row["error"] for row in found["files"]]
    assert sum(error is not None for error in errors) == found["summary"]["unreadable"] == 1
    clipping = [row["clipped_share"] for row in found["files"] if row["error"] is None]
    assert sum(share > 0.0 for share in clipping) == found["summary"]["asked"]["clipping"]
    worst = min(row["headroom_db"] for row in found["files"] if row["error"] is None)
    assert found["summary"]["asked"]["least_headroom_db"] == worst


def test_the_same_command_goes_on_where_it_stopped(music: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.jsonl"
    command = ("survey", "line-stage", music, "--jobs", "1", "--out", out)
    first = run_here(*command)
    assert f"All rows are in {out.name}"[:15] in first.stdout
    before = out.read_bytes()
    again = run_here(*command)
    assert again.returncode == 0
    assert "5 rows were taken over from an earlier survey." in again.stdout
    assert out.read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["line-stage", "nowhere"], "there is no folder nowhere"),
        (["line-stage", "empty"], "there is no audio in empty"),
        (["line-stag", "empty"], "did you mean 'line-stage'?"),
        (["line-stage", "empty", "--out", "-"], "name one, or use --json"),
        (["line-stage", "empty", "--plot", "p.bmp"], "let it end in .png, .svg or .pdf"),
        (["line-stage", "empty", "--jobs", "0"], "0 is not in the range"),
        (["line-stage", "empty", "--jobs", "2", "--scheduler", "tcp://h:1"], "leave it out"),
        (["s.toml", "music", "--out", "s.toml", "--force"], "s.toml is an input too"),
        (["line-stage", "music", "--out", "notes.txt"], "is no survey; write elsewhere"),
        (["line-stage", "music", "--scheduler", "here"], "give one like tcp://host:8786"),
        (["wire", "music", "--knob", "0.5"], "no volume control to set"),
    ],
)
def test_what_cannot_be_used_is_said_and_nothing_is_written(
    arguments: list[str], said: str, tmp_path: Path
) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "music").mkdir()
    soundfile.write(tmp_path / "music" / "a.wav", np.zeros(RATE_HZ), RATE_HZ)
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    (tmp_path / "s.toml").write_text('[source]\nlevel = "2 V rms"\n', encoding="utf-8")
    before = {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")}
    done = run_here("survey", *arguments, cwd=tmp_path)
    assert said in complaint(done)
    assert before == {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")}


def test_nothing_heavy_is_loaded_for_what_cannot_be_used(tmp_path: Path) -> None:
    heavy = {"numba", "scipy", "matplotlib", "librosa", "joblib", "distributed"}
    for arguments in (["--help"], ["no-such-stage", "."], ["line-stage", ".", "--plot", "a.bmp"]):
        assert not heavy & loaded_modules("survey", *arguments, cwd=tmp_path)


def test_a_picture_is_drawn_beside_the_table(music: Path, tmp_path: Path) -> None:
    place = tmp_path / "survey.svg"
    done = run_here("survey", "line-stage", music, "--jobs", "1", "--plot", place)
    assert done.returncode == 0, done.stderr
    assert place.read_bytes().startswith(b"<?xml")


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="no process groups")
@pytest.mark.parametrize("rows", [0, 1])
def test_an_interrupted_survey_keeps_whole_lines_and_no_workers(rows: int, tmp_path: Path) -> None:
    """Ctrl-C reaches the workers as well; one line is said, and the survey can be gone on with."""
    music = collection(tmp_path / "music", pieces=8, seconds=8.0)
    out = tmp_path / "out.jsonl"
    with begun(
        *(*STAGEFX, "survey", "line-stage", str(music), "--jobs", "2", "--out", str(out)),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        end = time.monotonic() + 60.0
        while not (out.exists() and rows_so_far(out) >= rows) and time.monotonic() < end:
            time.sleep(0.01)
        time.sleep(0.0 if rows else 1.0)  # when workers are just being started
        os.killpg(process.pid, signal.SIGINT)
        printed, said = process.communicate(timeout=60.0)
    assert process.returncode == 130, said
    assert printed == ""
    assert said.strip() == "stagefx: interrupted", said
    assert rows <= len(lines_of(out)) < 8
    end = time.monotonic() + 10.0
    while _group_lives(process.pid) and time.monotonic() < end:
        time.sleep(0.05)
    assert not _group_lives(process.pid)


def _group_lives(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True
