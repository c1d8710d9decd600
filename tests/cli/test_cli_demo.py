"""`stagefx demo`."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import soundfile

from stagefx.report.answer.demonstration import CHANGES, PICTURE, PIECES, STAGES
from tests.cli.running import complaint, run

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    home = tmp_path_factory.mktemp("home")
    done = run("demo", cwd=home)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return home / "demo", done.stdout


def test_the_folder_holds_what_was_promised(demo: tuple[Path, str]) -> None:
    folder, _ = demo
    held = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
    assert {"answer/answer.html", "answer/answer.json", "blind/listen.html"} <= held
    assert "blind-key.json" in held
    held = {name for name in held if not name.startswith(("answer/", "blind"))}
    assert held == {
        "figures.txt",
        "figures.json",
        "comparison.txt",
        "comparison.json",
        PICTURE,
        *(f"music/{piece}-{stage}.flac" for piece in PIECES for stage in STAGES),
        *(f"difference/{PIECES[0]}-stock-{change}.wav" for change in CHANGES),
    }
    assert [path.name for path in folder.parent.iterdir()] == ["demo"]


def test_it_ends_by_saying_where_to_look(demo: tuple[Path, str]) -> None:
    folder, printed = demo
    lines = printed.splitlines()
    assert max(map(len, lines)) <= 80
    listed = lines[lines.index("Where to look, in demo/") + 1 :]
    for name in (path.name for path in folder.iterdir()):
        assert any(line.startswith(name) for line in listed)


def test_the_quick_board_should_not_be_heard_and_the_passive_box_may_be(
    demo: tuple[Path, str],
) -> None:
    folder, _ = demo
    found = json.loads((folder / "comparison.json").read_text(encoding="utf-8"))
    for piece in PIECES:
        assert found["quick"][piece]["verdict"]["grade"] in {
            "should not be heard",
            "below what can be measured",
        }
        passive = found["passive-box"][piece]["verdict"]
        assert passive["grade"] in {"may be heard", "will be heard"}
        assert passive["flips_at"]["row"] == "high end"


def test_the_music_is_as_long_as_it_was(demo: tuple[Path, str]) -> None:
    from stagefx.samples import samples_folder

    folder, _ = demo
    for piece in PIECES:
        original = soundfile.info(samples_folder() / "music" / f"{piece}.flac")
        for stage in STAGES:
            rendered = soundfile.info(folder / "music" / f"{piece}-{stage}.flac")
            assert rendered.frames == original.frames


def test_tables_are_text_of_80_columns(demo: tuple[Path, str]) -> None:
    folder, _ = demo
    for name in ("figures.txt", "comparison.txt"):
        lines = (folder / name).read_text(encoding="utf-8").splitlines()
        assert len(lines) > 100
        assert max(map(len, lines)) <= 80
        assert "\x1b" not in "".join(lines)


def test_a_folder_that_holds_something_is_left_alone(demo: tuple[Path, str]) -> None:
    folder, _ = demo
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}
    assert "holds something already" in complaint(run("demo", folder))
    assert {path: path.stat().st_mtime_ns for path in folder.rglob("*")} == before
