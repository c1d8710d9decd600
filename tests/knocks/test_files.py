"""Files that are very long, very wide or very fast, or that change while they are read."""

from __future__ import annotations

import os
import resource
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from stagefx.io.files import open_audio
from stagefx.io.wav_header import wave_header
from tests.knocks.warm import Warm
from tests.played import song

RATE_HZ = 48000
GIB = 2**30


def test_a_file_beyond_4_gib_is_read_at_its_start_middle_and_end(tmp_path: Path) -> None:
    """Made sparse: EBU Tech 3306, RF64, whose chunk sizes are 64 bits wide."""
    place, frames = tmp_path / "long.wav", 5 * GIB // 6
    header = wave_header(rate_hz=RATE_HZ, channels=2, bits="24", frames=frames, rf64=True)
    marks = {0: 1, frames // 2: 2, frames - 1: 3}
    with place.open("wb") as file:
        file.write(header)
        for frame, mark in marks.items():
            file.seek(len(header) + 6 * frame)
            file.write(mark.to_bytes(3, "little") + (-mark).to_bytes(3, "little", signed=True))
    assert place.stat().st_size > 4 * GIB
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with open_audio(place) as reader:
        assert reader.format.frames == frames
        for frame, mark in marks.items():
            stretch = reader.read(max(frame - 5, 0), min(frame + 5, frames))
            step = 2.0**-23
            assert np.unique(stretch[:, 0]).tolist() == [0.0, mark * step]
            assert np.unique(stretch[:, 1]).tolist() == [-mark * step, 0.0]
    grown_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert grown_kib < 64 * 1024


@pytest.mark.parametrize(("rate_hz", "channels"), [(48000, 8), (384000, 2), (8000, 1)])
def test_wide_and_fast_files_go_through_the_whole_job(
    rate_hz: int, channels: int, warm: Warm, tmp_path: Path
) -> None:
    noise = song(2 * rate_hz, channels, seed=channels, rate_hz=rate_hz)
    (tmp_path / "many").mkdir()
    place = tmp_path / "many" / "in.wav"
    soundfile.write(place, 0.5 * noise / np.abs(noise).max(), rate_hz, subtype="PCM_24")
    for line in (
        "render line-stage many/in.wav out.flac",
        "compare line-stage slow-early --music many/in.wav",
        "compare many/in.wav out.flac",
        "survey line-stage many --jobs 1",
        "blind prepare many/in.wav out.flac pack --key key.json --trials 4",
    ):
        done = warm.run(*line.split(), cwd=tmp_path)
        assert "Traceback" not in done.stderr, line
        assert done.returncode in {0, 1} or done.stderr.startswith("stagefx: "), done.stderr
        if not line.startswith("blind"):
            assert done.returncode in {0, 1}, (line, done.stderr)
    written = soundfile.info(tmp_path / "out.flac")
    assert (written.samplerate, written.channels, written.frames) == (
        rate_hz,
        channels,
        2 * rate_hz,
    )


@pytest.fixture(scope="module")
def minutes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Long enough to be changed while it is read."""
    place = tmp_path_factory.mktemp("changing") / "in.wav"
    noise = np.random.default_rng(0).uniform(-0.5, 0.5, (20 * RATE_HZ, 2))
    with soundfile.SoundFile(place, "w", RATE_HZ, 2, "PCM_16") as file:
        for _ in range(6):
            file.write(noise)
    return place


@pytest.mark.parametrize("change", ["cut off", "grown", "replaced", "gone"])
def test_a_file_that_changes_while_it_is_rendered(
    change: str, warm: Warm, minutes: Path, tmp_path: Path
) -> None:
    """An error and nothing, or all of what was there when it was opened."""
    music = tmp_path / "in.wav"
    music.write_bytes(minutes.read_bytes())
    running = warm.begin("render", "bare-rails", music, "out.wav", cwd=tmp_path)
    until = time.monotonic() + 20.0
    while not any(part.stat().st_size for part in tmp_path.glob(".out.wav.*")):
        assert time.monotonic() < until
    if change == "cut off":
        os.truncate(music, 4 * RATE_HZ)
    elif change == "grown":
        with music.open("ab") as file:
            file.write(bytes(4 * RATE_HZ))
    elif change == "replaced":
        (tmp_path / "new.wav").write_bytes(b"RIFF, but not for long")
        (tmp_path / "new.wav").replace(music)
    else:
        music.unlink()
    done = running.wait()
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.glob(".*"))
    if change == "cut off":
        assert done.returncode == 2, done.stderr
        assert "ends early" in done.stderr
        assert not (tmp_path / "out.wav").exists()
        return
    assert done.returncode == 0, done.stderr
    whole = warm.run("render", "bare-rails", minutes, "whole.wav", cwd=tmp_path)
    assert whole.returncode == 0
    assert (tmp_path / "out.wav").read_bytes() == (tmp_path / "whole.wav").read_bytes()
