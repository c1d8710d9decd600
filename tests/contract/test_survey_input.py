"""What a survey makes of folders, files and outputs that cannot be used."""

from __future__ import annotations

import json
import os
import re
import threading
from pathlib import Path

import numpy as np
import pytest
import soundfile

from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.errors import AudioError, OutputError, StageError, StagefxError
from stagefx.survey.asked import Asked
from stagefx.survey.collection import find_pieces
from stagefx.survey.journal import Journal, heading_of
from stagefx.survey.piece import survey_piece
from stagefx.survey.survey import survey_folder
from stagefx.survey.workers import connected
from tests.collections_made import RATE_HZ, collection, lines_of

STAGE = load_stage("line-stage")


def tone(place: Path, *, seconds: float = 0.5) -> Path:
    place.parent.mkdir(parents=True, exist_ok=True)
    samples = 0.3 * np.sin(0.1 * np.arange(round(seconds * RATE_HZ)))
    soundfile.write(place, samples, RATE_HZ, subtype="PCM_16", format="WAV")
    return place


def names(folder: Path) -> list[str]:
    return [piece.name for piece in find_pieces(folder).pieces]


def test_no_folder_no_music(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match=r"there is no folder .*gone"):
        find_pieces(tmp_path / "gone")
    with pytest.raises(AudioError, match=r"tone\.wav is no folder; give the folder"):
        find_pieces(tone(tmp_path / "tone.wav"))
    (tmp_path / "empty" / "deeper").mkdir(parents=True)
    (tmp_path / "empty" / "cover.jpg").write_bytes(b"\xff\xd8")
    with pytest.raises(AudioError, match=r"there is no audio in .*empty.*by their ending"):
        find_pieces(tmp_path / "empty")


def test_files_count_by_their_ending_whatever_their_case(tmp_path: Path) -> None:
    for name in ("a.WAV", "b.Flac", "deep/er/c.mp3", "d.m4a", "e.txt", "f", ".hidden.wav"):
        tone(tmp_path / name)
    tone(tmp_path / ".trash" / "g.wav")
    (tmp_path / "folder.wav").mkdir()
    assert names(tmp_path) == ["a.WAV", "b.Flac", "d.m4a", "deep/er/c.mp3"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes")
def test_what_is_no_file_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.wav")
    tone(tmp_path / "tone.wav")
    assert names(tmp_path) == ["tone.wav"]


def test_links_are_not_followed_and_are_counted(tmp_path: Path) -> None:
    """Out of the folder, round in a circle, to nowhere, and to a file that is met anyway."""
    music, outside = tmp_path / "music", tone(tmp_path / "outside" / "secret.wav")
    tone(music / "tone.wav")
    (music / "out").symlink_to(outside.parent)
    (music / "circle").symlink_to(music)
    (music / "nowhere.wav").symlink_to(music / "nothing.wav")
    (music / "again.wav").symlink_to(music / "tone.wav")
    found = find_pieces(music)
    assert [piece.name for piece in found.pieces] == ["tone.wav"]
    assert found.links_passed_by == 4
    (tmp_path / "link").symlink_to(music)  # the folder itself may be named by a link
    assert find_pieces(tmp_path / "link") == found


def test_names_of_all_sorts_are_kept_apart(tmp_path: Path) -> None:
    strange = ["two\nlines.wav", 'quo"te.wav', "עברית.wav", "a b.wav", f"{'x' * 240}.wav"]
    for name in strange:
        tone(tmp_path / "music" / name)
    place = os.fsencode(tmp_path / "music") + b"/bytes \xff.wav"
    with open(place, "wb") as file:  # noqa: PTH123 - a name that is no text
        file.write((tmp_path / "music" / strange[0]).read_bytes())
    out = tmp_path / "out.jsonl"
    found = survey_folder(STAGE, tmp_path / "music", jobs=1, out=out)
    assert {row.file for row in found.rows} == {*strange, "bytes \\xff.wav"}
    assert all(row.error is None for row in found.rows)
    assert survey_folder(STAGE, tmp_path / "music", jobs=1, out=out).taken_over == 6


def test_a_file_that_cannot_be_read_is_a_row_and_the_rest_goes_on(tmp_path: Path) -> None:
    music = tmp_path / "music"
    whole = tone(music / "z whole.wav")
    (music / "cut.wav").write_bytes(whole.read_bytes()[:-2000])
    (music / "empty.flac").touch()
    (music / "lyrics.mp3").write_text("la la la", encoding="utf-8")
    (music / "noise.m4a").write_bytes(bytes(range(256)) * 20)
    soundfile.write(music / "nan.wav", np.full((RATE_HZ, 1), np.nan), RATE_HZ, subtype="FLOAT")
    soundfile.write(music / "slow.wav", np.zeros((RATE_HZ, 1)), 4000, subtype="PCM_16")
    found = survey_folder(STAGE, music, jobs=1)
    said = {row.file: row.error for row in found.rows}
    for file, expected in {
        "cut.wav": "cut.wav is cut off",
        "empty.flac": "empty.flac is empty",
        "lyrics.mp3": "lyrics.mp3 is no audio: it holds text",
        "noise.m4a": "noise.m4a is no audio that can be read",
        "nan.wav": "nan.wav holds NaN at 0.000000 s",
        "slow.wav": "slow.wav has 4000 Hz",
    }.items():
        assert (said[file] or "").startswith(expected)
        assert str(tmp_path) not in (said[file] or "")
    assert said["z whole.wav"] is None
    assert (found.summary.files, found.summary.unreadable) == (7, 6)
    broken = found.as_json()["files"][0]
    assert broken["headroom_db"] == {"value": None, "reason": "the file could not be read"}


def test_a_mislabelled_file_is_read_for_what_it_is(tmp_path: Path) -> None:
    samples = (1e4 * np.sin(0.1 * np.arange(RATE_HZ))).astype(np.int16)
    soundfile.write(tmp_path / "really flac.wav", samples, RATE_HZ, format="FLAC")
    soundfile.write(tmp_path / "really wav.mp3", samples, RATE_HZ, format="WAV")
    one, other = survey_folder(STAGE, tmp_path, jobs=1).rows
    assert one.error is other.error is None
    assert one.asked == other.asked


def test_a_folder_that_cannot_be_looked_into_is_a_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the system says it of a locked folder; root sees none."""
    tone(tmp_path / "a.wav")
    (tmp_path / "locked").mkdir()
    scan = os.scandir

    def refusing(place: Path) -> object:
        if place.name == "locked":
            raise PermissionError(13, "Permission denied")
        return scan(place)

    monkeypatch.setattr("stagefx.survey.collection.os.scandir", refusing)
    assert names(tmp_path) == ["a.wav", "locked"]
    found = survey_folder(STAGE, tmp_path, jobs=1)
    assert found.rows[1].error == "locked cannot be looked into (Permission denied)"


def test_a_file_that_changes_while_it_is_read_is_no_result(tmp_path: Path) -> None:
    place = tone(tmp_path / "a.wav")
    (piece,) = find_pieces(tmp_path).pieces
    os.utime(place, (1, 1))
    assert "changed while it was read" in (survey_piece(piece, Asked(STAGE)).error or "")
    place.unlink()
    assert "there is no file a.wav" in (survey_piece(piece, Asked(STAGE)).error or "")


def test_a_stage_that_cannot_be_played_is_refused_before_any_file(tmp_path: Path) -> None:
    tone(tmp_path / "a.wav")
    silent = stage_from({"name": "silent", "amplifier": {"topology": "follower"}})
    with pytest.raises(StageError, match=r"'silent' does not say how hot its source is"):
        survey_folder(silent, tmp_path, out=tmp_path / "out.jsonl")
    with pytest.raises(StageError, match="no volume control to set; leave --knob out"):
        survey_folder(load_stage("wire"), tmp_path, knob=0.5, out=tmp_path / "out.jsonl")
    with pytest.raises(StageError, match="passes nothing at 1 kHz"):
        survey_folder(STAGE, tmp_path, knob=0.0, out=tmp_path / "out.jsonl")
    assert not (tmp_path / "out.jsonl").exists()


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"stage": load_stage("slow-early")}, r"is the survey of another stage \('line stage'\)"),
        ({"stage": STAGE.model_copy(update={"output": None})}, "this stage with other values"),
        ({"knob": 0.5}, "another position of the knob"),
        ({"listening_level_db": 80.0}, "another listening level"),
        ({"full": True}, "of the other kind"),
        ({"folder": "other"}, "another folder"),
    ],
)
def test_a_survey_that_asked_something_else_is_not_gone_on_with(
    changed: dict[str, object], said: str, tmp_path: Path
) -> None:
    for folder in ("music", "other"):
        tone(tmp_path / folder / "a.wav")
    out = tmp_path / "out.jsonl"
    survey_folder(STAGE, tmp_path / "music", jobs=1, out=out)
    before = out.read_bytes()
    settings = {"stage": STAGE, "jobs": 1, **changed}
    folder = tmp_path / str(settings.pop("folder", "music"))
    with pytest.raises(OutputError, match=f"{said}.*use --force to begin anew"):
        survey_folder(folder=folder, out=out, **settings)  # type: ignore[arg-type]
    assert out.read_bytes() == before
    if "full" not in changed:
        survey_folder(folder=folder, out=out, force=True, **settings)  # type: ignore[arg-type]
        assert out.read_bytes() != before


def test_another_version_s_survey_is_not_gone_on_with(tmp_path: Path) -> None:
    out, heading = tmp_path / "out.jsonl", heading_of(Asked(STAGE), "/music")
    Journal(out, heading | {"made_by": "stagefx survey 0.0.0"}).close()
    with pytest.raises(OutputError, match="was made by another version of stagefx"):
        Journal(out, heading)


@pytest.mark.parametrize("text", ["notes\n", "{}\n", "[1]\n", '{"survey": 3}\n', "a\nb\n", "x"])
def test_what_is_no_survey_is_not_written_over(text: str, tmp_path: Path) -> None:
    tone(tmp_path / "music" / "a.wav")
    out = tmp_path / "out.jsonl"
    out.write_text(text, encoding="utf-8")
    with pytest.raises(OutputError, match="exists already and is no survey"):
        survey_folder(STAGE, tmp_path / "music", jobs=1, out=out)
    assert out.read_text(encoding="utf-8") == text


def test_the_output_is_no_input_and_no_folder(tmp_path: Path) -> None:
    music = tone(tmp_path / "a.wav")
    before = music.read_bytes()
    with pytest.raises(OutputError, match=r"a\.wav is an input too"):
        survey_folder(STAGE, tmp_path, jobs=1, out=music, force=True)
    assert music.read_bytes() == before
    with pytest.raises(OutputError, match="is a folder; name a file in it"):
        survey_folder(STAGE, tmp_path, jobs=1, out=tmp_path)
    with pytest.raises(OutputError, match="there is no folder"):
        survey_folder(STAGE, tmp_path, jobs=1, out=tmp_path / "gone" / "out.jsonl")


def test_lines_that_are_no_rows_are_surveyed_again(tmp_path: Path) -> None:
    music, out = collection(tmp_path / "music", pieces=3, seconds=0.5), tmp_path / "out.jsonl"
    survey_folder(STAGE, music, jobs=1, out=out)
    text = out.read_bytes()
    heading, first, second, third = text.splitlines(keepends=True)
    for wrong in (
        b"\0" * 40 + b"\n",
        b"[]\n",
        b'{"file": "disc 0/piece 00.wav"}\n',
        first[:90] + b"\n",
    ):
        out.write_bytes(heading + wrong + second + third)
        assert survey_folder(STAGE, music, jobs=1, out=out).taken_over == 2
        assert out.read_bytes() == text


def test_each_line_is_on_the_disk_before_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    music, out = collection(tmp_path / "music", pieces=3, seconds=0.5), tmp_path / "out.jsonl"
    lengths: list[int] = []
    sync = os.fsync

    def told(file: int) -> None:
        sync(file)
        lengths.append(out.read_bytes().count(b"\n"))

    monkeypatch.setattr("stagefx.survey.journal.os.fsync", told)
    survey_folder(STAGE, music, jobs=1, out=out)
    assert lengths[:4] == [1, 2, 3, 4]


def test_a_full_disk_leaves_whole_lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    music, out = collection(tmp_path / "music", pieces=3, seconds=0.5), tmp_path / "out.jsonl"
    write, room = os.pwrite, [3000]

    def filling(file: int, data: bytes, place: int) -> int:
        if room[0] == 0:
            raise OSError(28, "No space left on device")
        part = data[: room[0]]  # what still fits is written
        room[0] -= len(part)
        return write(file, part, place)

    monkeypatch.setattr("stagefx.survey.journal.os.pwrite", filling)
    with pytest.raises(OutputError, match="the disk is full"):
        survey_folder(STAGE, music, jobs=1, out=out)
    kept = len(lines_of(out))
    assert 1 <= kept < 3
    monkeypatch.undo()
    assert survey_folder(STAGE, music, jobs=1, out=out).taken_over == kept


def test_a_torn_line_is_gone_before_the_next_is_written(tmp_path: Path) -> None:
    """So that a survey that is interrupted again leaves whole lines again."""
    music, out = collection(tmp_path / "music", pieces=2, seconds=0.5), tmp_path / "out.jsonl"
    first, second = survey_folder(STAGE, music, jobs=1, out=out).rows
    text = out.read_bytes()
    out.write_bytes(text[:-40])
    with Journal(out, heading_of(Asked(STAGE), str(music.resolve()))) as journal:
        assert list(journal.rows) == [first.file]
        journal.add(second)
    assert out.read_bytes() == text


@pytest.mark.skipif(os.name != "posix", reason="no locks")
def test_two_surveys_do_not_write_one_file(tmp_path: Path) -> None:
    out, heading = tmp_path / "out.jsonl", heading_of(Asked(STAGE), "/music")
    with Journal(out, heading):
        for force in (False, True):
            with pytest.raises(OutputError, match="another survey is writing"):
                Journal(out, heading, force=force)
    Journal(out, heading).close()
    assert json.loads(out.read_text(encoding="utf-8"))["survey"] == heading


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("localhost:8786", "no scheduler's address; give one like tcp://host:8786"),
        ("file:///etc/passwd", "no scheduler's address"),
        ("tcp://127.0.0.1:1", "no scheduler answers at tcp://127.0.0.1:1"),
    ],
)
def test_where_no_scheduler_answers_is_said(
    address: str, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("stagefx.survey.workers.CONNECT_S", 0.5)
    tone(tmp_path / "a.wav")
    out = tmp_path / "out.jsonl"
    threads = threading.active_count()
    with pytest.raises(StagefxError, match=re.escape(said)):
        survey_folder(STAGE, tmp_path, scheduler=address, out=out)
    assert not out.exists()
    if not address.startswith("tcp"):
        assert threading.active_count() == threads


def test_without_the_extra_it_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "distributed", None)
    with pytest.raises(StagefxError, match=re.escape("pip install 'stagefx[dask]'")):
        connected("tcp://127.0.0.1:8786")
