"""`stagefx render`."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import time
from pathlib import Path

import pytest
import soundfile

from tests.cli.running import STAGEFX, begun, complaint, one_object, run_here
from tests.cli.short_music import short_music

KEYS = {
    "frames", "rate", "channels", "gain_db", "knob_position", "output_peak_v", "headroom_db",
    "clipped_frames", "clipped_share", "slewing_frames", "slewing_share", "slope_peak_v_per_us",
    "slew_margin", "nonlinear_share", "loudness_lufs", "true_peak_dbtp", "seed",
}  # fmt: skip


@pytest.fixture(scope="module")
def music(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return short_music(tmp_path_factory.mktemp("music") / "drums.wav")


def test_a_render_says_whether_anything_clipped_and_where_it_is(
    music: Path, tmp_path: Path
) -> None:
    done = run_here("render", "line-stage", music, "out.flac", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert done.stdout.startswith("Nothing clipped and nothing slewed.\n")
    assert "3.0 s of music through line stage, two channels at 44.1 kHz, in out.flac" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80
    info = soundfile.info(tmp_path / "out.flac")
    assert (info.frames, info.subtype) == (soundfile.info(music).frames, "PCM_24")


def test_a_render_that_clips_says_so_first(music: Path, tmp_path: Path) -> None:
    done = run_here("render", "too-hot", music, tmp_path / "out.flac")
    assert done.stdout.startswith("The amplifier clipped in ")


def test_json_has_the_keys_of_the_contract(music: Path, tmp_path: Path) -> None:
    done = run_here("render", "line-stage", music, tmp_path / "out.flac", "--json")
    assert done.stderr == ""
    found = one_object(done.stdout)
    assert set(found) >= KEYS
    assert (found["frames"], found["rate"], found["channels"]) == (132_300, 44_100, 2)


def test_a_stage_without_amplifier_tells_why_there_is_no_peak(music: Path, tmp_path: Path) -> None:
    done = run_here("render", "passive-control", music, tmp_path / "out.flac", "--json")
    assert one_object(done.stdout)["output_peak_v"] == {
        "value": None,
        "reason": "there is no amplifier",
    }


def test_music_goes_from_standard_input_to_standard_output(music: Path, tmp_path: Path) -> None:
    with music.open("rb") as file:
        done = subprocess.run(
            [*STAGEFX, "render", "line-stage", "-", "-"],
            stdin=file,
            capture_output=True,
            check=True,
        )
    assert done.stdout.startswith(b"RIFF")
    assert done.stderr == b""
    (tmp_path / "out.wav").write_bytes(done.stdout)
    assert run_here("render", "line-stage", music, tmp_path / "same.wav").returncode == 0
    piped, written = (soundfile.read(tmp_path / name)[0] for name in ("out.wav", "same.wav"))
    assert (piped == written).all()


def test_effects_are_chosen_left_out_and_multiplied(music: Path, tmp_path: Path) -> None:
    options = ["--only", "slew", "--only", "clip", "--times", "slew=4", "--without", "clip"]
    done = run_here("render", "line-stage", music, tmp_path / "out.flac", *options)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["line-stag", "MUSIC", "out.flac"], "did you mean 'line-stage'?"),
        (["line-stage", "nothing.wav", "out.flac"], "nothing.wav"),
        (["line-stage", ".", "out.flac"], "folder"),
        (["line-stage", "MUSIC", "MUSIC"], "is an input too"),
        (["line-stage", "MUSIC", "out.flac", "--only", "slwe"], "did you mean 'slew'?"),
        (["line-stage", "MUSIC", "out.flac", "--times", "slew"], "like slew=8"),
        (["line-stage", "MUSIC", "out.flac", "--times", "slew=many"], "like slew=8"),
        (["line-stage", "MUSIC", "out.flac", "--bits", "20"], "'16', '24', 'float'"),
        (["line-stage", "MUSIC", "out.xyz"], "'.xyz'"),
        (["line-stage", "MUSIC", "no/out.flac"], "there is no folder 'no'"),
        (["line-stage", "MUSIC", "-", "--json"], "both want standard output"),
    ],
)
def test_what_cannot_be_rendered_is_said_and_nothing_is_written(
    arguments: list[str], said: str, music: Path, tmp_path: Path
) -> None:
    places = [str(music) if argument == "MUSIC" else argument for argument in arguments]
    assert said in complaint(run_here("render", *places, cwd=tmp_path))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("content", [b"", b"these are words, not music\n" * 40])
def test_what_is_no_audio_is_said(content: bytes, tmp_path: Path) -> None:
    place = tmp_path / "music.wav"
    place.write_bytes(content)
    assert "music.wav" in complaint(run_here("render", "line-stage", place, tmp_path / "out.flac"))
    assert [path.name for path in tmp_path.iterdir()] == ["music.wav"]


def test_a_file_that_is_there_is_kept_unless_forced(music: Path, tmp_path: Path) -> None:
    place = tmp_path / "out.flac"
    place.write_text("mine", encoding="utf-8")
    assert "--force" in complaint(run_here("render", "line-stage", music, place))
    assert place.read_text(encoding="utf-8") == "mine"
    assert run_here("render", "line-stage", music, place, "--force").returncode == 0
    assert soundfile.info(place).format == "FLAC"


def test_progress_is_shown_on_a_terminal_s_standard_error_only(music: Path, tmp_path: Path) -> None:
    ours, theirs = pty.openpty()
    command = [*STAGEFX, "render", "line-stage", str(music), str(tmp_path / "out.flac"), "--json"]
    with begun(*command, stdout=subprocess.PIPE, stderr=theirs) as process:
        os.close(theirs)
        said = b""
        try:
            while chunk := os.read(ours, 4096):
                said += chunk
        except OSError:  # the other end is closed
            pass
        assert process.stdout is not None
        printed = process.stdout.read().decode()
    os.close(ours)
    assert process.returncode == 0
    assert b"rendering" in said
    one_object(printed)


def test_an_interrupted_render_leaves_nothing(tmp_path: Path) -> None:
    music = short_music(tmp_path / "long.wav", seconds=24.0)
    out = tmp_path / "out"
    out.mkdir()
    command = [*STAGEFX, "render", "line-stage", str(music), str(out / "out.flac")]
    with begun(*command, stderr=subprocess.PIPE, text=True) as process:
        deadline = time.monotonic() + 60.0
        while not list(out.iterdir()) and time.monotonic() < deadline:
            time.sleep(0.005)
        process.send_signal(signal.SIGINT)
        assert process.stderr is not None
        said = process.stderr.read()
    assert process.returncode == 130, said
    assert said.strip() == "stagefx: interrupted"
    assert list(out.iterdir()) == []
