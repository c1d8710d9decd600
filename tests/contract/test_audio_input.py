"""Every audio file that cannot be used is one clear error: what, where, what would do."""

from __future__ import annotations

import io
import os
import shutil
import struct
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from stagefx.errors import AudioError
from stagefx.io.decoding import Decoder
from stagefx.io.files import AudioFormat, open_audio

FORMATS = {
    "wav": ("WAV", "PCM_24"),
    "wavex": ("WAVEX", "PCM_16"),
    "float.wav": ("WAV", "FLOAT"),
    "rf64": ("RF64", "PCM_24"),
    "w64": ("W64", "PCM_24"),
    "aiff": ("AIFF", "PCM_24"),
    "flac": ("FLAC", "PCM_24"),
    "ogg": ("OGG", "VORBIS"),
    "opus": ("OGG", "OPUS"),
    "mp3": ("MP3", "MPEG_LAYER_III"),
    "caf": ("CAF", "PCM_24"),
}


def music(seconds: float = 2.0, *, rate_hz: int = 48000, channels: int = 2) -> NDArray[np.float64]:
    rng = np.random.default_rng(0)
    frames = int(seconds * rate_hz)
    tone = 0.3 * np.sin(2.0 * np.pi * 440.0 * np.arange(frames) / rate_hz)
    return tone[:, None] + 0.02 * rng.standard_normal((frames, channels))


def make(folder: Path, ending: str, *, seconds: float = 2.0) -> Path:
    container, encoding = FORMATS[ending]
    path = folder / f"piece.{ending}"
    soundfile.write(path, music(seconds), 48000, format=container, subtype=encoding)
    return path


def read_all(path: Path) -> NDArray[np.float64]:
    with open_audio(path) as reader:
        return np.concatenate(list(reader.blocks()))


def test_a_missing_file_is_named_with_its_nearest_neighbour(tmp_path: Path) -> None:
    make(tmp_path, "wav")
    with pytest.raises(
        AudioError, match=r"there is no file .*peice\.wav; did you mean 'piece\.wav'"
    ):
        open_audio(tmp_path / "peice.wav")
    with pytest.raises(AudioError, match=r"no file .*zzz; check its name and folder"):
        open_audio(tmp_path / "zzz")
    with pytest.raises(AudioError, match=r"no file .*; there is no folder .*attic either"):
        open_audio(tmp_path / "attic" / "piece.wav")


def test_a_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="is a folder; give one audio file"):
        open_audio(tmp_path)


@pytest.mark.parametrize("name", ["", "."])
def test_an_empty_name_is_not_taken_for_a_folder(name: str) -> None:
    with pytest.raises(AudioError, match="no name, or this folder's own, was given for music"):
        open_audio(name)


def test_an_empty_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "empty.wav").touch()
    with pytest.raises(AudioError, match=r"empty\.wav is empty \(0 bytes\); give a WAV"):
        open_audio(tmp_path / "empty.wav")


@pytest.mark.parametrize("ending", ["wav", "flac", "mp3", "txt", "raw"])
def test_a_text_file_is_refused_whatever_its_name(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"notes.{ending}"
    path.write_text("the left channel is the one with the blue tape\n" * 20)
    with pytest.raises(AudioError, match="no audio: it holds text; give a WAV"):
        open_audio(path)


@pytest.mark.parametrize(
    "head", [b"", b"RIFF\x10\0\0\0WAVE", b"OggS\0", b"ID3\4\0\0\0\0\0\0", b"fLaC"]
)
def test_noise_is_refused_whatever_it_begins_with(tmp_path: Path, head: bytes) -> None:
    path = tmp_path / "noise.wav"
    noise = np.random.default_rng(1).integers(0, 256, 3000, dtype=np.uint8)
    path.write_bytes(head + noise.tobytes())
    with pytest.raises(AudioError, match=r"is no audio that can be read|is cut off"):
        read_all(path)


@pytest.mark.parametrize("ending", ["wav", "aiff", "w64", "caf"])
def test_no_frames_are_refused(tmp_path: Path, ending: str) -> None:
    with pytest.raises(AudioError, match=r"holds no sound \(0 frames\)"):
        open_audio(make(tmp_path, ending, seconds=0.0))


def test_an_unreadable_file_is_refused(
    tmp_path: Path, as_an_ordinary_user: Callable[[Path], AbstractContextManager[None]]
) -> None:
    path = make(tmp_path, "wav")
    path.chmod(0)
    with (
        as_an_ordinary_user(tmp_path),
        pytest.raises(AudioError, match="may not be read; change its permissions"),
    ):
        open_audio(path)


def test_a_file_in_a_closed_folder_is_refused(
    tmp_path: Path, as_an_ordinary_user: Callable[[Path], AbstractContextManager[None]]
) -> None:
    folder = tmp_path / "closed"
    folder.mkdir()
    path = make(folder, "wav")
    folder.chmod(0)
    try:
        with as_an_ordinary_user(tmp_path), pytest.raises(AudioError, match="may not be read"):
            open_audio(path)
    finally:
        folder.chmod(0o700)


@pytest.mark.parametrize("ending", FORMATS)
@pytest.mark.parametrize("share", [0.03, 0.5, 0.97])
def test_a_file_that_was_cut_off_is_refused(
    tmp_path: Path, ending: str, share: float, capfd: pytest.CaptureFixture[str]
) -> None:
    path = make(tmp_path, ending)
    content = path.read_bytes()
    path.write_bytes(content[: int(share * len(content))])
    with pytest.raises(AudioError, match=r"cut off|no audio that can be read \(.*malformed"):
        read_all(path)
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize("ending", [name for name in FORMATS if name != "caf"])
def test_one_lost_byte_is_noticed(tmp_path: Path, ending: str) -> None:
    path = make(tmp_path, ending)
    path.write_bytes(path.read_bytes()[:-1])
    with pytest.raises(AudioError, match=r"cut off|no audio that can be read \(.*malformed"):
        read_all(path)


@pytest.mark.parametrize("ending", FORMATS)
def test_whole_files_are_taken_for_whole(tmp_path: Path, ending: str) -> None:
    assert len(read_all(make(tmp_path, ending))) == 96000


def test_a_flac_that_was_cut_off_says_when(tmp_path: Path) -> None:
    path = make(tmp_path, "flac")
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    with pytest.raises(AudioError, match=r"cannot be decoded past 0\.\d+ s of 2\.000 s .*copy it"):
        read_all(path)


@pytest.mark.parametrize("ending", ["flac", "ogg"])
def test_damage_in_the_middle_is_told_with_its_time(tmp_path: Path, ending: str) -> None:
    path = make(tmp_path, ending)
    content = bytearray(path.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 300] = np.random.default_rng(2).bytes(300)
    path.write_bytes(content)
    with pytest.raises(
        AudioError, match=r"[01]\.\d+ s of 2\.000 s.*cut off or damaged, so copy it"
    ):
        read_all(path)


@pytest.mark.parametrize(
    ("value", "name"), [(np.nan, "NaN"), (np.inf, "infinity"), (-np.inf, "infinity")]
)
@pytest.mark.parametrize("encoding", ["FLOAT", "DOUBLE"])
def test_what_is_no_number_is_told_with_time_and_channel(
    tmp_path: Path, value: float, name: str, encoding: str
) -> None:
    audio = music()
    audio[36000, 1] = value
    path = tmp_path / "broken.wav"
    soundfile.write(path, audio, 48000, subtype=encoding)
    with (
        open_audio(path) as reader,
        pytest.raises(AudioError, match=rf"holds {name} at 0\.750000 s, channel 2"),
    ):
        list(reader.blocks())


def test_large_numbers_are_numbers(tmp_path: Path) -> None:
    path = tmp_path / "large.wav"
    soundfile.write(path, np.full((100, 2), 1.5e308), 48000, subtype="DOUBLE")
    assert (read_all(path) == 1.5e308).all()


@pytest.mark.parametrize("rate_hz", [7999, 384001])
def test_rates_outside_the_range_are_refused(tmp_path: Path, rate_hz: int) -> None:
    path = tmp_path / "piece.wav"
    soundfile.write(path, music(0.1), rate_hz)
    with pytest.raises(AudioError, match=rf"has {rate_hz} Hz, outside 8 to 384 kHz; convert"):
        open_audio(path)


def test_more_than_eight_channels_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "piece.wav"
    soundfile.write(path, music(0.1, channels=9), 48000)
    with pytest.raises(AudioError, match="has 9 channels, more than 8"):
        open_audio(path)


@pytest.mark.parametrize(
    ("ending", "bits", "kind"),
    [
        ("wav", 24, "WAV"), ("wavex", 16, "WAV"), ("float.wav", None, "WAV"), ("rf64", 24, "RF64"),
        ("w64", 24, "W64"), ("aiff", 24, "AIFF"), ("flac", 24, "FLAC"),
        ("ogg", None, "Ogg Vorbis"), ("opus", None, "Ogg Opus"), ("mp3", None, "MP3"),
    ],
)  # fmt: skip
def test_the_format_is_told(tmp_path: Path, ending: str, bits: int | None, kind: str) -> None:
    with open_audio(make(tmp_path, ending)) as reader:
        assert reader.format == AudioFormat(48000, 2, 96000, bits, kind)
        assert reader.format.duration_s == 2.0


@pytest.mark.parametrize("ending", FORMATS)
def test_blocks_and_stretches_are_parts_of_the_whole(tmp_path: Path, ending: str) -> None:
    path = make(tmp_path, ending)
    whole = read_all(path)
    with open_audio(path) as reader:
        blocks = list(reader.blocks(1000, start=500, stop=40_700))
        assert [len(block) for block in blocks] == [1000] * 40 + [200]
        assert np.array_equal(np.concatenate(blocks), whole[500:40_700])
        for first in (70_000, 3, 95_999, 20_000, 20_001, 0):
            last = min(first + 300, 96_000)
            assert np.array_equal(reader.read(first, last), whole[first:last])


def test_blocks_are_new_contiguous_float64(tmp_path: Path) -> None:
    with open_audio(make(tmp_path, "wav")) as reader:
        first, second = list(reader.blocks())[:2]
    assert first.dtype == np.float64
    assert first.flags.c_contiguous
    assert first.shape == (16384, 2)
    assert not np.shares_memory(first, second)


@pytest.mark.parametrize("ending", ["ogg", "opus", "mp3"])
@pytest.mark.parametrize("frames", [1000, 777, 16384])
def test_lossy_audio_does_not_depend_on_the_blocks(
    tmp_path: Path, ending: str, frames: int
) -> None:
    container, encoding = FORMATS[ending]
    path = tmp_path / f"tone.{ending}"
    tone = 0.4 * np.sin(2.0 * np.pi * 0.01 * np.arange(96_000))[:, None] * np.ones((1, 2))
    soundfile.write(path, tone, 48000, format=container, subtype=encoding)
    whole = soundfile.read(path)[0]  # in one read, which needs no seeking
    with open_audio(path) as reader:
        assert np.array_equal(np.concatenate(list(reader.blocks(frames))), whole)


@pytest.mark.parametrize(("start", "stop"), [(-1, 5), (5, 4), (0, 96001)])
def test_a_stretch_outside_the_file_is_refused(tmp_path: Path, start: int, stop: int) -> None:
    with open_audio(make(tmp_path, "wav")) as reader:
        with pytest.raises(AudioError, match="has no stretch from"):
            reader.read(start, stop)
        with pytest.raises(AudioError, match="it is 2 s long"):
            list(reader.blocks(start=start, stop=stop))


def test_a_single_frame_is_audio(tmp_path: Path) -> None:
    path = tmp_path / "click.wav"
    soundfile.write(path, [[0.5, -0.5]], 8000, subtype="FLOAT")
    assert read_all(path).tolist() == [[0.5, -0.5]]


def standard_input(monkeypatch: pytest.MonkeyPatch, content: bytes) -> None:
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(content)))


@pytest.mark.parametrize("ending", ["wav", "float.wav", "flac"])
def test_standard_input_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    path = make(tmp_path, ending)
    standard_input(monkeypatch, path.read_bytes())
    with open_audio("-") as reader:
        assert reader.place == "standard input"
        assert np.array_equal(np.concatenate(list(reader.blocks())), read_all(path))


@pytest.mark.parametrize("length", [0xFFFFFFFF, 0x7FFFFFFF, 0xFFFFFFFF - 44, 0x7FFFF000])
def test_a_header_that_leaves_its_length_open_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, length: int
) -> None:
    content = make(tmp_path, "wav").read_bytes()
    place = content.index(b"data")
    content = content[: place + 4] + struct.pack("<I", length) + content[place + 8 :]
    standard_input(monkeypatch, content)
    with open_audio("-") as reader:
        assert reader.format.frames == 96000


@pytest.mark.parametrize(
    ("content", "message"), [(b"", "is empty"), (b"just words\n" * 9, "holds text")]
)
def test_standard_input_without_audio_is_refused(
    monkeypatch: pytest.MonkeyPatch, content: bytes, message: str
) -> None:
    standard_input(monkeypatch, content)
    with pytest.raises(AudioError, match=f"standard input .*{message}"):
        open_audio("-")


def test_a_named_pipe_is_read(tmp_path: Path) -> None:
    content = make(tmp_path, "wav").read_bytes()
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_bytes, args=(content,))
    writer.start()
    with open_audio(pipe) as reader:
        assert reader.format.frames == 96000
    writer.join()


def test_readers_of_other_threads_do_not_disturb_each_other(tmp_path: Path) -> None:
    path = make(tmp_path, "flac", seconds=10.0)
    whole = read_all(path)
    results: list[NDArray[np.float64]] = []
    threads = [threading.Thread(target=lambda: results.append(read_all(path))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(results) == 4
    assert all(np.array_equal(result, whole) for result in results)


def test_files_are_let_go_of(tmp_path: Path) -> None:
    numbers = Path("/proc/self/fd")
    if not numbers.is_dir():
        pytest.skip("no list of open files here")
    (tmp_path / "text.wav").write_text("words")
    path = make(tmp_path, "ogg")
    before = len(list(numbers.iterdir()))
    for _ in range(5):
        with open_audio(path) as reader:
            reader.read(5000, 6000)
            reader.read(0, 10)
        with pytest.raises(AudioError):
            open_audio(tmp_path / "text.wav")
    assert len(list(numbers.iterdir())) == before


def test_memory_does_not_grow_with_duration(tmp_path: Path) -> None:
    if shutil.which("true") is None or not sys.platform.startswith("linux"):
        pytest.skip("peak memory is counted in other units here")
    program = (
        "import sys, resource; from stagefx.io.files import open_audio\n"
        "with open_audio(sys.argv[1]) as reader:\n"
        "    for block in reader.blocks(): pass\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    peaks_kib = []
    for seconds in (1, 600):
        path = tmp_path / f"{seconds}.wav"
        soundfile.write(path, np.zeros((seconds * 44100, 2)), 44100, subtype="PCM_16")
        done = subprocess.run(
            [sys.executable, "-c", program, path], capture_output=True, text=True, check=True
        )
        peaks_kib.append(int(done.stdout))
    assert peaks_kib[1] - peaks_kib[0] < 20_000  # the piece itself would be 420 MB


# --- kept for a second reading ---


@pytest.mark.parametrize("ending", FORMATS)
def test_what_is_kept_is_what_was_decoded(tmp_path: Path, ending: str) -> None:
    path = make(tmp_path, ending)
    expected = read_all(path)
    with open_audio(path) as reader:
        reader.keep()
        for frames in (16384, 1000):
            assert np.array_equal(np.concatenate(list(reader.blocks(frames))), expected)
        assert np.array_equal(reader.read(500, 60000), expected[500:60000])


@pytest.mark.parametrize("encoding", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32"])
def test_every_step_of_every_word_length_is_kept(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "noise.wav"
    noise = np.random.default_rng(1).uniform(-1.0, 1.0, (5000, 3))
    noise[0], noise[1] = -1.0, 1.0
    soundfile.write(path, noise, 48000, subtype=encoding)
    with open_audio(path) as reader:
        reader.keep()
        first, again = reader.read(0, 5000), reader.read(0, 5000)
    assert np.array_equal(again, first)
    assert np.array_equal(first, soundfile.read(path)[0])


def test_a_second_reading_of_what_is_kept_decodes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_audio(make(tmp_path, "flac")) as reader:
        reader.keep()
        expected = reader.read(0, reader.format.frames)
        monkeypatch.setattr(Decoder, "read", None)
        assert np.array_equal(reader.read(0, reader.format.frames), expected)


def test_what_is_too_long_to_keep_is_decoded_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("stagefx.io.files._MOST_KEPT_BYTES", 8 * 50000)
    path = make(tmp_path, "flac")
    expected = read_all(path)
    with open_audio(path) as reader:
        reader.keep()
        for frames in (16384, 1000):
            assert np.array_equal(np.concatenate(list(reader.blocks(frames))), expected)
        assert np.array_equal(reader.read(49000, 51000), expected[49000:51000])
