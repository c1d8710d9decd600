"""Places that are no place to write, names that are hard to say, and two writers of one output."""

from __future__ import annotations

import json
import os
import subprocess
import unicodedata
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.short_music import short_music
from tests.knocks.test_killed import digests
from tests.knocks.warm import Warm
from tests.knocks.written import WRITING, make_inputs

LONG = "l" * 251
TURNING = "\u202a\u202b\u202d\u202e"
NAMES = {
    "spaces": "a  b c",
    "quotes": 'it\'s "so" `far` $HOME',
    "a newline": "one\ntwo",
    "a tab and a bell": "one\ttwo\a",
    "an escape sequence": "\x1b[31mred\x1b[0m",
    "right to left": "\u202emusic\u202c שיר",
    "beyond the first plane": "🎼 𝄞",
    "an accent of its own": unicodedata.normalize("NFD", "café"),
    "a leading dash": "-x--force",
    "markup": "<b onclick=alert(1)>&amp;",
    "braces and percents": "{{ name }} %s {0} %(x)s",
    "the longest": LONG,
}


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_inputs(tmp_path_factory.mktemp("places") / "in")


def fit_for_a_terminal(text: str) -> bool:
    """No control character that a terminal would obey, and nothing that turns text round."""
    told = text.replace("\n", "")
    return not any(unicodedata.category(sign) in {"Cc", "Cs"} or sign in TURNING for sign in told)


@pytest.mark.parametrize("kind", NAMES)
def test_hard_names_of_inputs_and_outputs(kind: str, warm: Warm, tmp_path: Path) -> None:
    """All that reads a folder, a question, a stage and music, and tells of them."""
    name = NAMES[kind]
    folder = tmp_path / (name if kind != "the longest" else "long")
    folder.mkdir()
    music = short_music(
        folder / f"{name[: 251 - 5] if kind == 'the longest' else name}.flac", seconds=1.5
    )
    many = folder / "many"
    many.mkdir()
    os.link(music, many / music.name)
    stage = folder / ("s" if kind == "the longest" else name)
    stage = stage.with_name(f"{stage.name}.toml")
    stock = warm.run("catalogue", "line-stage", cwd=tmp_path)
    stage.write_text(stock.stdout, encoding="utf-8")
    out = folder / name[:200]
    commands: list[list[str | Path]] = [
        ["figures", stage],
        ["render", stage, music, f"{out}.wav"],
        ["survey", stage, many, "--out", f"{out}.jsonl", "--jobs", "1"],
        ["compare", stage, "wire", "--music", music, "--plot", f"{out}.svg"],
        [
            "blind",
            "prepare",
            stage,
            "wire",
            music,
            folder / f"{name[:200]} pack",
            "--key",
            folder / f"{name[:200]}.key",
        ],
    ]
    for command in commands:
        done = warm.run(*command, cwd=tmp_path)
        assert done.returncode in {0, 1}, done.stderr
        assert "Traceback" not in done.stderr
        assert fit_for_a_terminal(done.stdout), command
        assert fit_for_a_terminal(done.stderr), command
        again = warm.run(*command, cwd=tmp_path)  # now something is in the way, and is told of
        assert fit_for_a_terminal(again.stderr)
        assert "Traceback" not in again.stderr
    missing = warm.run("figures", f"{out} none", cwd=tmp_path)
    assert missing.returncode == 2
    assert fit_for_a_terminal(missing.stderr)


@pytest.fixture(scope="module")
def read_only(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder that not even root may write to."""
    place = tmp_path_factory.mktemp("readonly")
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "ro,size=1m", "tmpfs", str(place)],
        capture_output=True,
        check=False,
    )
    if mounted.returncode:
        pytest.skip("READ-ONLY FOLDER NOT TRIED: only root may mount one here")
    yield place
    subprocess.run(["umount", "--lazy", str(place)], check=True)


@pytest.mark.parametrize("name", WRITING)
def test_a_folder_that_may_not_be_written(
    name: str, warm: Warm, inputs: Path, read_only: Path
) -> None:
    writing = WRITING[name]
    done = warm.run(*writing.arguments(inputs, read_only / writing.out), cwd=inputs)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert (
        "may not be written (Read-only file system); write to a folder of your own" in done.stderr
    )


@pytest.mark.parametrize("name", WRITING)
def test_a_folder_that_is_not_there_or_no_folder(
    name: str, warm: Warm, inputs: Path, tmp_path: Path
) -> None:
    writing = WRITING[name]
    (tmp_path / "file").write_text("mine")
    for parent in ("missing", "file"):
        done = warm.run(*writing.arguments(inputs, tmp_path / parent / writing.out), cwd=inputs)
        assert done.returncode == 2, done.stderr
        assert done.stderr.startswith("stagefx: ")
        assert "Traceback" not in done.stderr
    assert digests(tmp_path).keys() == {"file"}


AT_ONCE = [(name, False) for name in WRITING] + [("render wav", True), ("answer", True)]


@pytest.mark.parametrize(("name", "forced"), AT_ONCE)
def test_two_at_once_leave_one_whole_output(
    name: str, forced: bool, warm: Warm, inputs: Path, tmp_path: Path
) -> None:
    writing = WRITING[name]
    out = tmp_path / writing.out
    line = [*writing.arguments(inputs, out), *(["--force"] if forced else [])]
    both = [warm.begin(*line, cwd=inputs) for _ in range(2)]
    ends = [running.wait() for running in both]
    assert 2 not in {end.returncode for end in ends} or not forced, [end.stderr for end in ends]
    assert any(end.returncode in {0, 1} for end in ends), [end.stderr for end in ends]
    for end in ends:
        assert "Traceback" not in end.stderr
    assert {path.name for path in tmp_path.iterdir()} == {writing.out, *writing.beside}
    if not writing.beside:  # the other one is made of chance
        alone = tmp_path / "alone" / writing.out
        alone.parent.mkdir()
        warm.run(*writing.arguments(inputs, alone), cwd=inputs)
        assert contents(out) == contents(alone)


def contents(place: Path) -> dict[str, str] | bytes:
    return digests(place) if place.is_dir() else place.read_bytes()


def test_two_surveys_do_not_write_one_file(warm: Warm, inputs: Path, tmp_path: Path) -> None:
    line = ["survey", "line-stage", inputs / "many", "--out", tmp_path / "s.jsonl", "--jobs", "1"]
    ends = [running.wait() for running in [warm.begin(*line, cwd=inputs) for _ in range(3)]]
    assert any(end.returncode == 0 for end in ends)
    for end in ends:
        assert end.returncode == 0 or "another survey is writing" in end.stderr, end.stderr
    whole = (tmp_path / "s.jsonl").read_bytes()
    (tmp_path / "s.jsonl").unlink()
    warm.run(*line, cwd=inputs)
    assert (tmp_path / "s.jsonl").read_bytes() == whole


@pytest.mark.parametrize("name", ["render flac", "plot"])
def test_output_through_a_link_goes_where_it_leads(
    name: str, warm: Warm, inputs: Path, tmp_path: Path
) -> None:
    """As everywhere: the link stays, and its target is overwritten by --force alone."""
    writing = WRITING[name]
    (tmp_path / "far").mkdir()
    target = tmp_path / "far" / writing.out
    target.write_bytes(b"mine")
    out = tmp_path / writing.out
    out.symlink_to(target)
    line = writing.arguments(inputs, out)
    refused = warm.run(*line, cwd=inputs)
    assert refused.returncode == 2
    assert target.read_bytes() == b"mine"
    assert warm.run(*line, "--force", cwd=inputs).returncode in {0, 1}
    assert out.is_symlink()
    assert target.read_bytes() != b"mine"
    assert [path.name for path in target.parent.iterdir()] == [writing.out]


def test_a_link_to_an_input_is_no_output(warm: Warm, inputs: Path, tmp_path: Path) -> None:
    before = digests(inputs)
    (tmp_path / "out.flac").symlink_to(inputs / "piece.flac")
    line = ["render", "line-stage", inputs / "piece.flac", tmp_path / "out.flac", "--force"]
    done = warm.run(*line, cwd=inputs)
    assert done.returncode == 2
    assert "is an input too" in done.stderr
    assert digests(inputs) == before


def test_a_survey_does_not_go_round_in_circles(warm: Warm, tmp_path: Path) -> None:
    many = tmp_path / "many"
    many.mkdir()
    short_music(many / "a.flac", seconds=1.0)
    (many / "again").symlink_to(many)
    (many / "up").symlink_to(tmp_path)
    (many / "b.flac").symlink_to("b.flac")
    done = warm.run("survey", "line-stage", many, "--jobs", "1", "--json", cwd=tmp_path)
    assert done.returncode in {0, 1}, done.stderr
    assert [row["file"] for row in json.loads(done.stdout)["files"]] == ["a.flac"]
