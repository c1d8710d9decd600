"""`stagefx figures`."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from stagefx.circuit.description.files import load_stage, ready_made
from stagefx.figures.table import DEFINITIONS, GROUPS, compute_figures
from stagefx_cli.main import program
from tests.cli.running import complaint, one_object, run_here

REFERENCE = """\
[source]
level = "2 V rms"
resistance = "100 ohm"
[amplifier]
device = "general-purpose bipolar"
feedback_resistance = "10 kohm"
gain_resistance = "3.3 kohm"
[supply]
positive = "15 V"
negative = "-15 V"
[load]
resistance = "22 kohm"
"""


@pytest.fixture
def reference(tmp_path: Path) -> str:
    place = tmp_path / "reference.toml"
    place.write_text(REFERENCE, encoding="utf-8")
    return str(place)


def shown(*arguments: str) -> str:
    done = CliRunner().invoke(program, ["figures", *arguments])
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    return done.stdout


@pytest.mark.parametrize("name", [*ready_made(), "wire"])
def test_every_ready_made_stage_is_printed_in_80_columns(name: str) -> None:
    lines = shown(name).splitlines()
    assert max(map(len, lines)) <= 80
    assert not any(line.endswith(" ") for line in lines)


def test_groups_are_printed_in_their_order() -> None:
    lines = shown("line-stage").splitlines()
    titles = [line for line in lines if line.lower() in {group.lower() for group in GROUPS}]
    present = [group for group in GROUPS if any(d.group == group for d in DEFINITIONS)]
    assert [title.lower() for title in titles] == [group.lower() for group in present]


def test_a_figure_is_printed_with_its_unit_beside_its_yardstick(reference: str) -> None:
    # 2 V rms x 4.0303 at 20 kHz needs 1.4325 V/us (worked by hand), and the class has 9
    text = " ".join(shown(reference).split())
    assert "slew rate needed 1.43 V/us" in text
    assert "slew rate available 9 V/us needs 1.4, has 9: 6.3 times to spare" in text


def test_a_group_that_has_no_number_says_why_once() -> None:
    lines = shown("passive-control").splitlines()
    assert lines[lines.index("Headroom") + 1 :][:2] == ["there is no amplifier", ""]


def test_the_knob_and_the_wanted_level_are_told() -> None:
    quiet = shown("line-stage", "--listening-level", "65")
    loud = shown("line-stage", "--listening-level", "85")
    assert "The knob stands at 52 % of its travel" in loud
    assert quiet != loud


def test_json_is_what_the_library_says() -> None:
    found = one_object(shown("line-stage", "--json"))
    worked = compute_figures(load_stage("line-stage"))
    assert found["figures"]["gain_db"]["value"] == worked.figures["gain_db"].value
    assert found["stage"] == "line stage"
    assert set(found) >= {"stage", "figures", "noise_budget", "response"}


def test_two_stages_side_by_side_name_the_differences_that_matter() -> None:
    lines = shown("samples/stages/stock.toml", "samples/stages/passive-box.toml").splitlines()
    assert any(line.startswith("On paper, ") and "level at 10 kHz" in line for line in lines)
    text = " ".join(" ".join(lines).split())
    assert "Matters: tone, at the high end: may be heard from 1 dB" in text


def test_a_stage_beside_itself_differs_in_nothing() -> None:
    text = shown("line-stage", "line-stage")
    assert "On paper, nothing differs by enough to matter." in text
    found = one_object(shown("line-stage", "line-stage", "--json"))
    assert {row["change"] for row in found["differences"]} == {"same"}


@pytest.mark.parametrize(
    ("ending", "begins"), [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")]
)
def test_a_picture_is_drawn_by_its_ending(ending: str, begins: bytes, tmp_path: Path) -> None:
    place = tmp_path / f"stage.{ending}"
    shown("line-stage", "--plot", str(place))
    assert place.read_bytes().startswith(begins)
    assert [path.name for path in tmp_path.iterdir()] == [place.name]


def test_a_picture_of_two_stages_is_drawn(tmp_path: Path) -> None:
    place = tmp_path / "pair.svg"
    shown("line-stage", "passive-control", "--plot", str(place), "--json")
    assert place.exists()


def test_a_picture_that_is_there_is_kept_unless_forced(tmp_path: Path) -> None:
    place = tmp_path / "stage.svg"
    place.write_text("mine", encoding="utf-8")
    assert "exists already" in complaint(run_here("figures", "wire", "--plot", place))
    assert place.read_text(encoding="utf-8") == "mine"
    assert run_here("figures", "wire", "--plot", place, "--force").returncode == 0
    assert place.read_text(encoding="utf-8").startswith("<?xml")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[source]\nresistance = 600\n", "has no unit; write it in ohm"),
        ('[volum]\nresistance = "10 kohm"\n', "did you mean 'volume'?"),
        ('[supply]\npositive = "-15 V"\nnegative = "15 V"\n', "[supply]"),
        ("[source\n", "TOML"),
    ],
)
def test_a_stage_file_that_cannot_be_used_is_named_with_its_fault(
    text: str, said: str, tmp_path: Path
) -> None:
    place = tmp_path / "mine.toml"
    place.write_text(text, encoding="utf-8")
    message = complaint(run_here("figures", place))
    assert "mine.toml" in message
    assert said in message
