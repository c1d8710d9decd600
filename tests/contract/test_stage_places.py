"""Where stages come from: files, ready-made names, ``wire``; and what is no place for one."""

from __future__ import annotations

import errno
import os
import re
from pathlib import Path

import pytest

from stagefx.circuit.description.files import load_stage, read_stage, ready_made, stage_text
from stagefx.errors import StageError
from stagefx.figures.table import compute_figures

READY_MADE = (
    "line-stage",
    "line-stage-quick",
    "unity-buffer",
    "passive-control",
    "too-hot",
    "slow-early",
    "thin-coupling",
    "bare-rails",
)


def complaint(place: str | Path) -> str:
    with pytest.raises(StageError) as caught:
        load_stage(place)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_the_ready_made_stages() -> None:
    assert set(READY_MADE) <= set(ready_made())
    assert list(ready_made()) == sorted(ready_made())


@pytest.mark.parametrize("name", [*ready_made(), "wire"])
def test_each_can_be_read_printed_and_worked_out(name: str) -> None:
    stage = load_stage(name)
    assert read_stage(stage_text(name)) == stage
    assert compute_figures(stage).figures["noise_20k_v_rms"].value is not None


def test_wire_is_gain_and_nothing_else() -> None:
    figures = compute_figures(load_stage("wire")).figures
    for key in ("gain_db", "gain_maximum_db", "response_20_hz_db", "response_20_khz_db"):
        assert figures[key].value == 0.0
    assert figures["noise_20k_v_rms"].value == 0.0
    assert figures["low_corner_hz"].value == 0.0
    assert figures["high_corner_hz"].reason == "infinite"


def test_a_path_may_be_text_or_path(tmp_path: Path) -> None:
    file = tmp_path / "box.toml"
    file.write_text('name = "böx"\n', "utf-8")
    assert load_stage(file).name == load_stage(str(file)).name == "böx"


def test_a_byte_order_mark_is_no_part_of_the_name(tmp_path: Path) -> None:
    file = tmp_path / "box.toml"
    file.write_text('name = "box"\r\n', "utf-8-sig")
    assert load_stage(file).name == "box"


def test_an_unknown_name_suggests_the_nearest() -> None:
    assert complaint("line-stag") == (
        "no stage 'line-stag': neither a .toml file nor a ready-made stage; "
        "did you mean 'line-stage'?"
    )


def test_wire_is_suggested_too() -> None:
    assert complaint("wir").endswith("did you mean 'wire'?")


def test_a_missing_file(tmp_path: Path) -> None:
    file = tmp_path / "none.toml"
    assert complaint(file) == f"{file}: there is no such file"


def test_a_folder_that_is_named_like_a_file(tmp_path: Path) -> None:
    folder = tmp_path / "box.toml"
    folder.mkdir()
    assert re.match(re.escape(f"{folder}: cannot be read: ") + "Is a directory", complaint(folder))


def test_what_is_not_text(tmp_path: Path) -> None:
    file = tmp_path / "box.toml"
    file.write_bytes(b'name = "b\xf6x"\n')
    assert complaint(file) == f"{file}: not text; a stage file is TOML in UTF-8"


def test_an_empty_file_is_a_stage_of_nothing(tmp_path: Path) -> None:
    file = tmp_path / "box.toml"
    file.touch()
    assert load_stage(file) == read_stage("")


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> str:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(Path, "read_text", refused)
    file = tmp_path / "box.toml"
    assert complaint(file) == f"{file}: cannot be read: Permission denied"
