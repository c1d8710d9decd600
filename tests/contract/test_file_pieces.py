"""What a file's own header says, and how trouble with a file is told."""

from __future__ import annotations

import errno
import io
import struct
from pathlib import Path

import pytest
import soundfile

from stagefx.errors import AudioError, EffectError, OutputError
from stagefx.io.atomic_file import check_free, not_writable
from stagefx.io.containers import CONTAINERS, check_holds, container_for
from stagefx.io.decoding import library_reason
from stagefx.io.reproducible import steady_aiff, steady_ogg
from stagefx.io.texts import from_toml
from stagefx.io.truncation import missing_bytes
from stagefx.render.plan import check_known
from stagefx.report.page.bundle import page_part
from stagefx.report.plots.saving import check_place
from stagefx.survey.row import Row
from stagefx.survey.summary import sum_up

WAVE = b"RIFF" + struct.pack("<I", 136) + b"WAVE" + b"data" + struct.pack("<I", 100)


AIFF = b"FORM" + struct.pack(">I", 112) + b"AIFF" + b"SSND" + struct.pack(">I", 100)
WAVE_64 = (
    b"riff" + bytes(12) + struct.pack("<Q", 164) + b"wave" + bytes(12)
    + b"data" + bytes(12) + struct.pack("<Q", 124)
)  # fmt: skip
RF64 = (
    b"RF64\xff\xff\xff\xffWAVE" + b"ds64" + struct.pack("<IQQQI", 28, 172, 100, 0, 0)
    + b"data\xff\xff\xff\xff"
)  # fmt: skip
"""Headers of a hundred bytes of audio; that of Wave64 counts its own 24 among them."""


@pytest.mark.parametrize("header", [WAVE, AIFF, WAVE_64, RF64], ids=["WAV", "AIFF", "W64", "RF64"])
@pytest.mark.parametrize(("there", "missing"), [(100, 0), (60, 40), (0, 100), (108, 0)])
def test_a_file_s_header_tells_what_is_missing(header: bytes, there: int, missing: int) -> None:
    assert missing_bytes(io.BytesIO(header + bytes(there))) == missing


def test_a_stream_whose_length_was_never_filled_in_is_taken_as_whole() -> None:
    endless = WAVE[:-4] + struct.pack("<I", 0xFFFFFFFF)
    assert missing_bytes(io.BytesIO(endless + bytes(60))) == 0


@pytest.mark.parametrize(("ends", "missing"), [(True, 0), (False, 1)])
def test_an_ogg_stream_is_whole_when_its_last_page_says_so(ends: bool, missing: int) -> None:
    page = b"OggS\0" + (b"\4" if ends else b"\0") + bytes(20) + b"\1\3abc"
    assert missing_bytes(io.BytesIO(page)) == missing
    assert missing_bytes(io.BytesIO(page[:-2])) == 2


def test_a_file_of_no_known_kind_misses_nothing() -> None:
    assert missing_bytes(io.BytesIO(b"")) == 0
    assert missing_bytes(io.BytesIO(b"anything else at all")) == 0


@pytest.mark.parametrize("before", [b"", b"NAME" + struct.pack(">I", 3) + b"abc\0"])
def test_an_aiff_peak_note_loses_its_time_of_day_and_nothing_else(before: bytes) -> None:
    note = b"PEAK" + struct.pack(">III", 8, 1, 1234)
    head = b"FORM" + struct.pack(">I", 20 + len(before)) + b"AIFC"
    file = io.BytesIO(head + before + note)
    steady_aiff(file)
    assert file.getvalue() == head + before + note[:-4] + bytes(4)


def test_every_page_of_an_ogg_stream_gets_the_number_one() -> None:
    page = b"OggS\0\4" + bytes(8) + b"\x4d\0\0\0" + bytes(8) + b"\1\3abc"
    file = io.BytesIO(page + page)
    steady_ogg(file)
    first, second = file.getvalue()[: len(page)], file.getvalue()[len(page) :]
    assert first == second
    assert first[14:18] == b"\1\0\0\0"
    assert first[-3:] == b"abc"


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (errno.ENOSPC, "the disk is full; make room, or write to another disk"),
        (errno.EACCES, "may not be written .*; write to a folder of your own"),
        (errno.EROFS, "may not be written .*; write to a folder of your own"),
        (errno.EIO, "cannot be written .*; write elsewhere"),
    ],
)
def test_what_cannot_be_written_says_why_and_what_to_do(number: int, said: str) -> None:
    with pytest.raises(OutputError, match=rf"a\.wav .*{said}"):
        raise not_writable("a.wav", OSError(number, "a reason"))


def test_a_place_for_a_file_is_free_or_says_what_stands_there(tmp_path: Path) -> None:
    there = tmp_path / "there.wav"
    there.write_bytes(b"something")
    assert check_free(tmp_path / "new.wav") == (tmp_path / "new.wav").resolve()
    assert check_free(there, force=True) == there.resolve()
    with pytest.raises(OutputError, match="exists already; write elsewhere, or use --force"):
        check_free(there)
    with pytest.raises(OutputError, match="is a folder; name a file in it"):
        check_free(tmp_path)
    with pytest.raises(OutputError, match=r"there is no folder .*no such folder.*; make it first"):
        check_free(tmp_path / "no such folder" / "piece.wav")


def test_a_picture_s_name_ends_as_pictures_do(tmp_path: Path) -> None:
    check_place(tmp_path / "stage.PNG")
    with pytest.raises(OutputError, match=r"stage\.bmp is no name for a picture.*\.png, \.svg or"):
        check_place(tmp_path / "stage.bmp")


@pytest.mark.parametrize(
    ("name", "container"), [("a.flac", "FLAC"), ("a.WAV", "WAV"), ("hall.take.ogg", "Ogg Vorbis")]
)
def test_a_container_is_known_by_the_file_s_ending(name: str, container: str) -> None:
    found = container_for(Path(name), rate_hz=44100, channels=2, bits="24")
    assert found.name == container


@pytest.mark.parametrize(
    ("name", "said"),
    [("hall", "has no ending, so its container is not known"), ("a.flc", r"ends in '\.flc'.*flac")],
)
def test_an_ending_that_names_no_container_is_refused(name: str, said: str) -> None:
    with pytest.raises(AudioError, match=said):
        container_for(Path(name), rate_hz=44100, channels=2, bits="24")


def test_what_a_container_cannot_hold_is_refused_with_one_that_can() -> None:
    with pytest.raises(AudioError, match=r"holds 1 to 2 channels, not 8; write \.wav or \.flac"):
        check_holds(CONTAINERS[".mp3"], rate_hz=44100, channels=8, bits="24")


def test_the_library_s_reason_fits_into_a_sentence() -> None:
    said = library_reason(soundfile.LibsndfileError(1))
    assert said == "Format not recognised"


def test_a_text_nested_too_deep_is_one_plain_error() -> None:
    assert from_toml("knob = 0.5") == {"knob": 0.5}
    with pytest.raises(ValueError, match="deep"):
        from_toml("a = " + "[" * 100_000)


def test_an_effect_that_is_not_there_is_refused_with_the_nearest() -> None:
    check_known(["slew", "clip"])
    with pytest.raises(EffectError, match=r"no effect 'slwe'.*slew"):
        check_known(["clip", "slwe"])


def test_a_file_that_could_not_be_read_is_counted_and_lends_no_length() -> None:
    rows = [Row("a.wav", 0, 0, error="a.wav is empty")]
    found = sum_up(rows, links_passed_by=3)
    assert (found.files, found.unreadable, found.links_passed_by) == (1, 1, 3)
    assert found.duration_s == 0.0
    assert found.listening is None


def test_the_page_s_own_files_are_there() -> None:
    assert page_part("page/shell.html").startswith("<!doctype html>")
