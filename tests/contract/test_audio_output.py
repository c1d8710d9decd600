"""Audio is written whole or not at all, never over anything, and always with the same bytes."""

from __future__ import annotations

import errno
import io
import os
import resource
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from stagefx.errors import AudioError, OutputError
from stagefx.io import encoders, wav_header
from stagefx.io.atomic_file import refuse_same_file
from stagefx.io.files import open_audio
from stagefx.io.writing import AudioWriter
from tests.cli.running import begun

EXACT = [".wav", ".rf64", ".w64", ".flac", ".aif", ".aiff"]
LOSSY = [".ogg", ".opus", ".mp3"]
ALL = [*EXACT, *LOSSY]


def music(frames: int = 48000, *, channels: int = 2) -> NDArray[np.float64]:
    rng = np.random.default_rng(0)
    tone = 0.3 * np.sin(2.0 * np.pi * 0.01 * np.arange(frames))
    return tone[:, None] + 0.02 * rng.standard_normal((frames, channels))


def write(place: Path | str, audio: NDArray[np.float64], **options: Any) -> AudioWriter:
    settings = {"rate_hz": 48000, "channels": audio.shape[1], "bits": "24"} | options
    with AudioWriter(place, **settings) as writer:
        for first in range(0, len(audio), 5000):
            writer.write(audio[first : first + 5000])
    return writer


def read(place: Path) -> NDArray[np.float64]:
    with open_audio(place) as reader:
        return np.concatenate(list(reader.blocks()))


def left_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


# --- what is written is what is read ---


@pytest.mark.parametrize(
    ("ending", "bits"),
    [
        (ending, bits)
        for ending in EXACT
        for bits in ("16", "24", "float")
        if (ending, bits) != (".flac", "float")
    ],
)
@pytest.mark.parametrize("frames", [1, 48000, 16383])
def test_exact_containers_keep_every_sample(
    tmp_path: Path, ending: str, bits: str, frames: int
) -> None:
    place = tmp_path / f"piece{ending}"
    if bits == "float":
        audio = music(frames).astype(np.float32).astype(float)
    else:
        step = 2.0 ** (int(bits) - 1)
        audio = np.round(music(frames) * step) / step
    writer = write(place, audio, bits=bits, dither=False)
    assert (writer.frames, writer.overs) == (frames, 0)
    assert np.array_equal(read(place), audio)
    with open_audio(place) as reader:
        assert reader.format.bits == (None if bits == "float" else int(bits))


@pytest.mark.parametrize("ending", LOSSY)
def test_lossy_containers_keep_the_sound(tmp_path: Path, ending: str) -> None:
    place = tmp_path / f"piece{ending}"
    frame = np.arange(96000)
    tone = 0.4 * np.sin(2.0 * np.pi * 0.01 * frame)[:, None] * np.ones((1, 2))
    write(place, tone)
    decoded = read(place)
    assert decoded.shape == tone.shape
    middle = slice(20000, 70000)
    assert np.corrcoef(decoded[middle, 0], tone[middle, 0])[0, 1] > 0.99


@pytest.mark.parametrize("ending", EXACT)
@pytest.mark.parametrize("rate_hz", [8000, 11025, 44100, 48000, 88200, 192000, 384000])
def test_exact_containers_hold_every_rate(tmp_path: Path, ending: str, rate_hz: int) -> None:
    place = tmp_path / f"piece{ending}"
    write(place, music(500), rate_hz=rate_hz)
    with open_audio(place) as reader:
        assert (reader.format.rate_hz, reader.format.frames) == (rate_hz, 500)


@pytest.mark.parametrize("ending", [*EXACT, ".ogg"])
@pytest.mark.parametrize("channels", range(1, 9))
def test_one_to_eight_channels_are_held_in_order(
    tmp_path: Path, ending: str, channels: int
) -> None:
    place = tmp_path / f"piece{ending}"
    # Below 100 Hz, for a lossy codec gives the low-effects channel of 5.1 nothing above.
    hz = 12.0 * np.arange(1, channels + 1)
    audio = 0.3 * np.sin(2.0 * np.pi * hz * np.arange(48_000)[:, None] / 48000)
    write(place, audio)
    decoded = read(place)
    assert decoded.shape == audio.shape
    for channel in range(channels):
        assert np.corrcoef(decoded[:, channel], audio[:, channel])[0, 1] > 0.98


@pytest.mark.parametrize("rate_hz", [8000, 16000, 44100, 48000, 96000, 192000])
def test_vorbis_holds_rates_to_200_khz(tmp_path: Path, rate_hz: int) -> None:
    place = tmp_path / "piece.ogg"
    write(place, music(20_000), rate_hz=rate_hz)
    with open_audio(place) as reader:
        assert (reader.format.rate_hz, reader.format.frames) == (rate_hz, 20_000)


@pytest.mark.parametrize("ending", [".wav", ".w64", ".flac", ".aiff"])
def test_nothing_makes_a_file_without_sound(tmp_path: Path, ending: str) -> None:
    place = tmp_path / f"piece{ending}"
    write(place, np.zeros((0, 2)))
    assert place.is_file()
    with pytest.raises(AudioError, match=r"0 frames|0 bytes"):
        open_audio(place)


@pytest.mark.parametrize(("channels", "bits"), [(1, "24"), (2, "16"), (6, "24"), (8, "float")])
def test_wave_files_are_read_by_libsndfile(tmp_path: Path, channels: int, bits: str) -> None:
    place = tmp_path / "piece.wav"
    write(place, music(777, channels=channels), bits=bits)
    found = soundfile.info(place)
    assert (found.frames, found.channels) == (777, channels)
    assert found.format == ("WAV" if channels <= 2 else "WAVEX")
    assert place.stat().st_size % 2 == 0


def test_a_wave_file_beyond_4_gib_becomes_rf64(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(wav_header, "LARGEST_RIFF_BYTES", 100_000)
    audio = np.round(music(40_000) * 2.0**23) / 2.0**23
    short, long = tmp_path / "short.wav", tmp_path / "long.wav"
    write(short, audio[:10_000], dither=False)
    write(long, audio, dither=False)
    assert short.read_bytes()[:4] == b"RIFF"
    assert long.read_bytes()[:4] == b"RF64"
    assert soundfile.info(long).frames == 40_000
    assert np.array_equal(read(long), audio)


def test_the_header_of_5_gib_counts_in_64_bits() -> None:
    frames = 5 * 2**30 // 8
    header = wav_header.wave_header(rate_hz=48000, channels=2, bits="float", frames=frames)
    assert header[:4] == b"RF64"
    riff_bytes, data_bytes, counted = struct.unpack("<QQQ", header[20:44])
    assert (data_bytes, counted) == (frames * 8, frames)
    assert riff_bytes == len(header) - 8 + data_bytes
    assert header[-8:] == b"data\xff\xff\xff\xff"


# --- rounding ---


@pytest.mark.parametrize("ending", ALL)
def test_a_file_does_not_depend_on_the_blocks(tmp_path: Path, ending: str) -> None:
    audio = music()
    places = [tmp_path / f"{frames}{ending}" for frames in (777, 16384, 48000)]
    for place, frames in zip(places, (777, 16384, 48000), strict=True):
        with AudioWriter(place, rate_hz=48000, channels=2, bits="16", seed=5) as writer:
            for first in range(0, len(audio), frames):
                writer.write(audio[first : first + frames])
    assert places[0].read_bytes() == places[1].read_bytes() == places[2].read_bytes()
    assert not np.array_equal(read(places[0]), np.round(audio * 2.0**15) / 2.0**15)


@pytest.mark.parametrize("option", ["seed", "stream"])
def test_seed_and_stream_choose_the_dither(tmp_path: Path, option: str) -> None:
    for number in (0, 1):
        write(tmp_path / f"{number}.wav", music(), bits="16", **{option: number})
    assert not np.array_equal(read(tmp_path / "0.wav"), read(tmp_path / "1.wav"))


def test_clipped_samples_are_counted(tmp_path: Path) -> None:
    audio = np.array([[0.5, 1.5], [-2.0, -1.0]])
    assert write(tmp_path / "a.flac", audio).overs == 2
    assert write(tmp_path / "b.wav", audio, bits="float").overs == 0
    assert read(tmp_path / "b.wav").tolist() == audio.tolist()


# --- the same bytes in every run ---


def test_the_same_samples_give_the_same_bytes(tmp_path: Path) -> None:
    runs = []
    for run in (0, 1):
        folder = tmp_path / str(run)
        folder.mkdir()
        for ending in ALL:
            for bits in ("24",) if ending in {".flac", *LOSSY} else ("24", "float"):
                write(folder / f"{bits}{ending}", music(), bits=bits)
        runs.append({path.name: path.read_bytes() for path in folder.iterdir()})
        time.sleep(1.1 * (1 - run))  # headers hold whole seconds, if any
    assert len(runs[0]) == 14
    for name in runs[0]:
        assert runs[0][name] == runs[1][name], name


@pytest.mark.parametrize("ending", [".ogg", ".opus"])
def test_renumbered_ogg_streams_keep_their_checksums(tmp_path: Path, ending: str) -> None:
    place = tmp_path / f"piece{ending}"
    write(place, music())
    content = place.read_bytes()
    assert content[14:18] == b"\x01\0\0\0"
    ogg_crc = [0] * 256
    for byte in range(256):
        register = byte << 24
        for _ in range(8):
            register = (register << 1) ^ (0x04C11DB7 if register & 0x80000000 else 0)
        ogg_crc[byte] = register & 0xFFFFFFFF
    at, pages = 0, 0
    while at < len(content):
        table = content[at + 27 : at + 27 + content[at + 26]]
        page = bytearray(content[at : at + 27 + len(table) + sum(table)])
        (stored,) = struct.unpack_from("<I", page, 22)
        page[22:26] = bytes(4)
        checksum = 0
        for byte in page:
            checksum = ((checksum << 8) & 0xFFFFFFFF) ^ ogg_crc[(checksum >> 24) ^ byte]
        assert checksum == stored
        at, pages = at + len(page), pages + 1
    assert pages > 2


# --- what cannot be ---


@pytest.mark.parametrize(
    ("name", "options", "message"),
    [
        ("a.flac", {"bits": "float"}, "FLAC cannot hold float samples; use 24 bits"),
        ("a.mp3", {"channels": 8}, "MP3 holds 1 to 2 channels, not 8; write .wav or .flac"),
        ("a.wav", {"channels": 9}, "WAV holds 1 to 8 channels, not 9"),
        ("a.wav", {"channels": 0}, "WAV holds 1 to 8 channels, not 0"),
        ("a.mp3", {"rate_hz": 96000}, "MP3 cannot hold 96000 Hz; it knows 8000, .*; write .wav"),
        ("a.opus", {"rate_hz": 44100}, "Ogg Opus cannot hold 44100 Hz; it knows 8000, 12000"),
        ("a.ogg", {"rate_hz": 352800}, "Ogg Vorbis holds rates from 8 to 200 kHz, not 352800"),
        ("a.wav", {"rate_hz": 4000}, "WAV holds rates from 8 to 384 kHz, not 4000 Hz"),
        ("a.wav", {"bits": "20"}, "the word length is 16, 24 or float, not '20'"),
        ("a.wv", {}, r"a\.wv ends in '\.wv', .*did you mean '\.wav'"),
        ("a", {}, r"a has no ending, so its container is not known.*\.flac"),
    ],
)
def test_an_impossible_file_is_refused_before_anything_is_written(
    tmp_path: Path, name: str, options: dict[str, Any], message: str
) -> None:
    settings = {"rate_hz": 48000, "channels": 2, "bits": "24"} | options
    with pytest.raises(AudioError, match=message):
        AudioWriter(tmp_path / name, **settings)
    assert left_in(tmp_path) == []


def test_aiff_does_not_grow_beyond_what_its_header_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dataclasses import replace

    from stagefx.io import containers

    small = replace(containers.CONTAINERS[".aif"], most_bytes=60_000)
    monkeypatch.setattr(containers, "CONTAINERS", {".aif": small})
    with pytest.raises(AudioError, match=r"AIFF cannot hold more than 4 GiB; write \.wav"):
        write(tmp_path / "a.aif", music())
    assert left_in(tmp_path) == []


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_what_is_no_number_is_not_written(tmp_path: Path, value: float) -> None:
    audio = music()
    audio[6000, 1] = value
    with pytest.raises(AudioError, match=r"no number at frame 6000"):
        write(tmp_path / "a.wav", audio)
    assert left_in(tmp_path) == []


def test_a_block_of_another_shape_is_refused(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="has 3 channels where 2 are needed"):
        write(tmp_path / "a.wav", music(channels=3), channels=2)
    with (
        pytest.raises(AudioError, match=r"shape \(frames, channels\), not \(5,\)"),
        AudioWriter(tmp_path / "b.wav", rate_hz=8000, channels=1, bits="16") as writer,
    ):
        writer.write(np.zeros(5))
    assert left_in(tmp_path) == []


# --- whole or not at all ---


@pytest.mark.parametrize("ending", ALL)
@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError])
def test_nothing_is_left_after_an_interruption(
    tmp_path: Path, ending: str, error: type[BaseException]
) -> None:
    def interrupted() -> None:
        with AudioWriter(tmp_path / f"a{ending}", rate_hz=48000, channels=2, bits="24") as writer:
            writer.write(music())
            assert any(
                name.startswith(".a") and name.endswith(".part") for name in left_in(tmp_path)
            )
            raise error

    with pytest.raises(error):
        interrupted()
    assert left_in(tmp_path) == []


def test_nothing_is_to_be_seen_before_the_end(tmp_path: Path) -> None:
    place = tmp_path / "a.wav"
    with AudioWriter(place, rate_hz=48000, channels=2, bits="24") as writer:
        writer.write(music())
        assert not place.exists()
    assert left_in(tmp_path) == ["a.wav"]


def test_a_real_interruption_leaves_nothing(tmp_path: Path) -> None:
    program = (
        "import sys, numpy as np; from stagefx.io.writing import AudioWriter\n"
        "with AudioWriter(sys.argv[1], rate_hz=48000, channels=2, bits='24') as writer:\n"
        "    writer.write(np.zeros((48000, 2))); print('writing', flush=True)\n"
        "    while True: writer.write(np.zeros((4800, 2)))\n"
    )
    with begun(
        *(sys.executable, "-c", program, tmp_path / "a.flac"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as started:
        assert started.stdout is not None
        assert started.stdout.readline() == b"writing\n"
        started.send_signal(signal.SIGINT)
        _, errors = started.communicate(timeout=30)
    assert started.returncode == -signal.SIGINT or b"KeyboardInterrupt" in errors
    assert left_in(tmp_path) == []


def test_existing_files_are_kept_unless_forced(tmp_path: Path) -> None:
    place = tmp_path / "a.wav"
    place.write_text("precious")
    with pytest.raises(OutputError, match=r"a\.wav exists already; .* use --force"):
        write(place, music())
    assert place.read_text() == "precious"
    write(place, music(), force=True)
    assert len(read(place)) == 48000
    assert left_in(tmp_path) == ["a.wav"]


def test_a_forced_output_keeps_the_old_file_until_the_new_is_whole(tmp_path: Path) -> None:
    place = tmp_path / "a.wav"
    place.write_text("precious")
    audio = music()
    audio[30_000] = np.nan
    with pytest.raises(AudioError):
        write(place, audio, force=True)
    assert place.read_text() == "precious"
    assert left_in(tmp_path) == ["a.wav"]


@pytest.mark.parametrize("links", [True, False])
def test_a_file_that_comes_up_meanwhile_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    def no_links(*args: object) -> None:
        raise OSError(errno.EPERM, "no links here")

    if not links:
        monkeypatch.setattr(Path, "hardlink_to", no_links)
    place = tmp_path / "a.wav"

    def overtaken() -> None:
        with AudioWriter(place, rate_hz=48000, channels=2, bits="24") as writer:
            writer.write(music())
            place.write_text("precious")

    with pytest.raises(OutputError, match=r"meanwhile|exists already"):
        overtaken()
    assert place.read_text() == "precious"
    assert left_in(tmp_path) == ["a.wav"]


def test_a_file_system_without_links_will_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(*args: object) -> None:
        raise OSError(errno.EPERM, "no links here")

    monkeypatch.setattr(Path, "hardlink_to", no_links)
    write(tmp_path / "a.wav", music())
    assert left_in(tmp_path) == ["a.wav"]


def test_places_that_cannot_be_files_are_refused(tmp_path: Path) -> None:
    (tmp_path / "folder.wav").mkdir()
    with pytest.raises(OutputError, match="is a folder; name a file in it"):
        write(tmp_path / "folder.wav", music())
    with pytest.raises(OutputError, match=r"there is no folder '.*attic'; make it first"):
        write(tmp_path / "attic" / "a.wav", music())
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(OutputError, match="is no ordinary file"):
        write(tmp_path / "pipe.wav", music(), force=True)
    (tmp_path / "circle.wav").symlink_to("circle.wav")
    with pytest.raises(OutputError, match="cannot be written"):
        write(tmp_path / "circle.wav", music())
    with pytest.raises(OutputError, match="cannot be written"):
        write(tmp_path / f"{'a' * 300}.wav", music())


def test_an_unwritable_folder_is_refused(
    tmp_path: Path, as_an_ordinary_user: Callable[[Path], Any]
) -> None:
    folder = tmp_path / "closed"
    folder.mkdir()
    folder.chmod(0o555)
    with (
        as_an_ordinary_user(tmp_path),
        pytest.raises(OutputError, match=r"a\.wav may not be written .*folder of your own"),
    ):
        write(folder / "a.wav", music())
    assert left_in(folder) == []


def test_permissions_follow_the_user_s_mask(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write(tmp_path / "a.wav", music())
    finally:
        os.umask(before)
    assert (tmp_path / "a.wav").stat().st_mode & 0o777 == 0o640


# --- a full disk ---


@contextmanager
def no_file_larger_than(size: int) -> Iterator[None]:
    """What a full disk does, too: the system takes a part of what is written, then nothing."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.parametrize("ending", ALL)
@pytest.mark.parametrize("share", [0.0, 0.05, 0.3, 0.95, 1.0])
def test_a_full_disk_is_one_clear_error(tmp_path: Path, ending: str, share: float) -> None:
    """Even where no more than the very last byte finds no room."""
    whole, short = tmp_path / f"whole{ending}", tmp_path / f"short{ending}"
    write(whole, music(96000))
    room = min(int(share * whole.stat().st_size), whole.stat().st_size - 1)
    message = "the disk is full; make room, or write to another"
    with no_file_larger_than(room), pytest.raises(OutputError, match=message):
        write(short, music(96000))
    assert left_in(tmp_path) == [whole.name]


def test_a_flac_file_is_what_the_library_makes_of_the_same_samples(tmp_path: Path) -> None:
    ours, plain = tmp_path / "ours.flac", tmp_path / "plain.flac"
    write(ours, music())
    samples, rate_hz = soundfile.read(ours, dtype="int32")
    soundfile.write(plain, samples, rate_hz, subtype="PCM_24")
    assert ours.read_bytes() == plain.read_bytes()


@pytest.mark.parametrize("ending", [".wav", ".flac", ".ogg"])
def test_a_small_disk_that_really_is_full(tmp_path: Path, ending: str) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", disk], capture_output=True, check=False
    )
    if mounted.returncode != 0:
        pytest.skip("a small disk can be made by the superuser only")
    try:
        with pytest.raises(OutputError, match="the disk is full"):
            write(disk / f"a{ending}", np.random.default_rng(0).uniform(-1, 1, (480_000, 2)))
        assert left_in(disk) == []
    finally:
        subprocess.run(["umount", disk], check=True)


# --- standard output ---


@pytest.mark.parametrize("bits", ["16", "24", "float"])
def test_standard_output_is_a_wave_stream(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, bits: str
) -> None:
    stream = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", SimpleNamespace(buffer=stream))
    write("-", music(), bits=bits, seed=3)
    write(tmp_path / "a.wav", music(), bits=bits, seed=3)
    (tmp_path / "stream.wav").write_bytes(stream.getvalue())
    assert np.array_equal(read(tmp_path / "stream.wav"), read(tmp_path / "a.wav"))
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(stream.getvalue())))
    with open_audio("-") as reader:
        assert reader.format.frames == 48000


def test_a_closed_standard_output_is_one_clear_error(monkeypatch: pytest.MonkeyPatch) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb", buffering=0) as stream:
        monkeypatch.setattr(sys, "stdout", SimpleNamespace(buffer=stream))
        with pytest.raises(OutputError, match="standard output cannot be written"):
            write("-", music())


# --- inputs are never written to ---


def test_an_output_that_is_an_input_is_refused(tmp_path: Path) -> None:
    piece, other = tmp_path / "piece.wav", tmp_path / "other.wav"
    piece.touch()
    other.touch()
    (tmp_path / "link.wav").symlink_to(piece)
    (tmp_path / "twin.wav").hardlink_to(piece)
    for output in (
        piece,
        tmp_path / "link.wav",
        tmp_path / "twin.wav",
        tmp_path / "." / "piece.wav",
    ):
        with pytest.raises(OutputError, match=r"is an input too.*; write elsewhere"):
            refuse_same_file(output, other, piece)
    refuse_same_file(tmp_path / "new.wav", piece, other)
    refuse_same_file("-", "-", piece)


def test_libsndfile_s_own_failures_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(*args: object, **options: object) -> None:
        raise soundfile.LibsndfileError(1)

    monkeypatch.setattr(encoders.soundfile.SoundFile, "write", failing)
    with pytest.raises(
        AudioError, match=r"FLAC cannot be encoded \(Format not recognised\); write"
    ):
        write(tmp_path / "a.flac", music())
    assert left_in(tmp_path) == []
