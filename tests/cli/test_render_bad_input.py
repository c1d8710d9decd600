"""`stagefx render` of what cannot be used: one clear error, exit code 2, and nothing written."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.cli.running import STAGEFX, begun, complaint, run_here

RATE_HZ = 44100
STAGE = """name = "trial"
[source]
level = "2 V rms"
resistance = "100 ohm"
[amplifier]
topology = "non-inverting"
feedback_resistance = "10 kohm"
gain_resistance = "3.3 kohm"
[supply]
positive = "15 V"
negative = "-15 V"
"""


def write(place: Path, audio: np.ndarray, subtype: str = "PCM_16") -> None:
    soundfile.write(place, audio, RATE_HZ, subtype=subtype)


def tone(seconds: float = 0.5) -> np.ndarray:
    sine = 0.5 * np.sin(2.0 * np.pi * 440.0 * np.arange(int(seconds * RATE_HZ)) / RATE_HZ)
    return np.stack((sine, sine), axis=1)


def cut_off(place: Path) -> None:
    write(place, tone())
    os.truncate(place, place.stat().st_size // 2)


def cut_off_flac(place: Path) -> None:
    whole = place.with_suffix(".flac")
    noise = 0.1 * np.random.default_rng(0).standard_normal((RATE_HZ, 2))
    write(whole, noise)
    os.truncate(whole, whole.stat().st_size // 2)
    whole.rename(place)


def spoilt(value: float) -> Callable[[Path], None]:
    def make(place: Path) -> None:
        audio = tone()
        audio[11025, 1] = value
        write(place, audio, "FLOAT")

    return make


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (cut_off, "is cut off"),
        (cut_off_flac, "cut off or damaged"),
        (lambda place: write(place, np.zeros((0, 2))), "holds no sound"),
        (spoilt(np.nan), "holds NaN at 0.250000 s, channel 2"),
        (spoilt(np.inf), "holds infinity at 0.250000 s, channel 2"),
        (lambda place: place.write_bytes(b"RIFF\0\0\0\0WAVEfmt "), "in.wav"),
        (lambda place: place.write_text("a: line, of, text\n"), "it holds text"),
        (lambda place: place.write_bytes(os.urandom(4096)), "is no audio"),
        (lambda place: place.mkdir(), "is a folder"),
        (lambda place: place.symlink_to(place), "in.wav"),
    ],
)
@pytest.mark.parametrize("level_by", ["gain", "loudness"])
def test_music_that_cannot_be_read(
    make: Callable[[Path], object], said: str, level_by: str, tmp_path: Path
) -> None:
    make(tmp_path / "in.wav")
    told = complaint(
        run_here("render", "line-stage", "in.wav", "out.flac", "--level-by", level_by, cwd=tmp_path)
    )
    assert said in told
    assert "in.wav" in told
    assert [path.name for path in tmp_path.iterdir()] == ["in.wav"]


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ('"10 kohm"', '"-10 kohm"', "feedback_resistance"),
        ('"10 kohm"', '"10 kHz"', "feedback_resistance"),
        ('"10 kohm"', "10000", "ohm"),
        ("feedback_resistance", "feedback_resistence", "did you mean 'feedback_resistance'?"),
        ("[supply]", "[suply]", "did you mean 'supply'?"),
        ('positive = "15 V"', 'positive = "-15 V"', "[supply] positive"),
        ('gain_resistance = "3.3 kohm"', "gain = 0.5", "gain"),
        ('level = "2 V rms"\n', "", "[source] level"),
        ('name = "trial"', 'name = "trial', "stage.toml"),
    ],
)
def test_stage_files_that_cannot_be_used(
    before: str, after: str, said: str, tmp_path: Path
) -> None:
    write(tmp_path / "in.wav", tone())
    assert before in STAGE
    (tmp_path / "stage.toml").write_text(STAGE.replace(before, after), encoding="utf-8")
    told = complaint(run_here("render", "stage.toml", "in.wav", "out.flac", cwd=tmp_path))
    assert said in told
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in.wav", "stage.toml"]


def test_the_same_stage_file_unspoilt_is_rendered(tmp_path: Path) -> None:
    write(tmp_path / "in.wav", tone())
    (tmp_path / "stage.toml").write_text(STAGE, encoding="utf-8")
    done = run_here("render", "stage.toml", "in.wav", "out.flac", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--times", "slew=-1"], "out of range"),
        (["--times", "slew=nan"], "out of range"),
        (["--times", "slew=1e12"], "out of range"),
        (["--times", "distortion=2"], "distortion is not rendered here"),
        (["--without", "bandwith"], "did you mean 'bandwidth'?"),
        (["--level-by", "volume"], "'gain', 'loudness', 'nothing'"),
        (["--seed", "-1"], "--seed"),
        (["--listening-level", "400"], "--listening-level"),
    ],
)
def test_options_out_of_range(options: list[str], said: str, tmp_path: Path) -> None:
    write(tmp_path / "in.wav", tone())
    told = complaint(run_here("render", "line-stage", "in.wav", "out.flac", *options, cwd=tmp_path))
    assert said in told
    assert [path.name for path in tmp_path.iterdir()] == ["in.wav"]


@pytest.mark.parametrize("ending", ["wav", "flac"])
def test_a_disk_that_fills_up(ending: str, tmp_path: Path) -> None:
    """The system's limit on a file's size stands in for a full disk."""
    write(tmp_path / "in.wav", np.random.default_rng(0).uniform(-0.5, 0.5, (10 * RATE_HZ, 2)))
    command = f"ulimit -f 500; exec {shutil.which('env')} PYTHONDONTWRITEBYTECODE=1 "
    command += " ".join([*STAGEFX, "render", "line-stage", "in.wav", f"out.{ending}"])
    done = subprocess.run(
        ["sh", "-c", command], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert "the disk is full" in complaint(done)
    assert [path.name for path in tmp_path.iterdir()] == ["in.wav"]


def test_a_full_disk_behind_a_pipe(tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full")
    write(tmp_path / "in.wav", tone())
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [*STAGEFX, "render", "line-stage", "in.wav", "-"],
            cwd=tmp_path,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 2
    assert "the disk is full" in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_a_pipe_into_a_pipe_is_the_same_as_files(tmp_path: Path) -> None:
    """Two stages in a row, as general tools are put in a row."""
    write(tmp_path / "in.wav", tone())
    stagefx = " ".join(STAGEFX)
    line = (
        f"cat in.wav | {stagefx} render line-stage - - --bits float | "
        f"{stagefx} render slow-early - out.wav"
    )
    done = subprocess.run(
        ["bash", "-o", "pipefail", "-c", line],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    run_here("render", "line-stage", "in.wav", "between.wav", "--bits", "float", cwd=tmp_path)
    run_here("render", "slow-early", "between.wav", "same.wav", cwd=tmp_path)
    piped, filed = (soundfile.read(tmp_path / name)[0] for name in ("out.wav", "same.wav"))
    assert (piped == filed).all()


def test_a_reader_that_goes_away_is_said_in_one_line(tmp_path: Path) -> None:
    write(tmp_path / "in.wav", np.random.default_rng(0).uniform(-0.5, 0.5, (20 * RATE_HZ, 2)))
    command = [*STAGEFX, "render", "line-stage", "in.wav", "-"]
    with begun(*command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.read(4) == b"RIFF"
        process.stdout.close()
        said = process.stderr.read()
    assert said.startswith(b"stagefx: standard output cannot be written")
    assert len(said.splitlines()) == 1
    assert process.returncode == 2


@pytest.mark.parametrize("given", [b"", b"no audio at all", b"RIFF"])
def test_standard_input_that_is_no_audio(given: bytes, tmp_path: Path) -> None:
    done = subprocess.run(
        [*STAGEFX, "render", "line-stage", "-", "out.wav"],
        input=given,
        cwd=tmp_path,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stderr.startswith(b"stagefx: standard input ")
    assert len(done.stderr.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []
