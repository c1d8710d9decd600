"""`stagefx bench stage`."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from stagefx.bench.readings.report import BenchStage, Checked, Found, Remark
from stagefx.bench.uncertainty import stated
from stagefx.circuit.description.files import load_stage
from stagefx.figures.table import compute_figures
from stagefx.samples import samples_folder
from stagefx_cli.output import paper
from stagefx_cli.printing.bench.stage import print_bench_stage
from tests.cli.running import complaint, one_object, run_here

SHEET = samples_folder() / "readings" / "stock-board.toml"


def printed(found: BenchStage) -> str:
    file = io.StringIO()
    print_bench_stage(paper(file), found, out="mine.toml")
    return file.getvalue()


FOUND = BenchStage(
    load_stage("line-stage"),
    (
        Found("gain_db", stated(12.1, 0.05, reading=1), "dB", "amplifier.gain", "by volts"),
        Found("slew_rise_v_per_us", stated(8.9, 0.3, reading=3), "V/us", "amplifier.slew_rise"),
    ),
    (
        Checked(1, "gain", stated(4.03, 0.01, reading=1), 4.031, ""),
        Checked(2, "clip, high", stated(13.4, 0.1, reading=2), 13.9, "V"),
    ),
    (Remark("probe", "Ten times what the rails allow: is the probe set to x10?", (2,)),),
)


def test_remarks_come_before_what_was_found() -> None:
    lines = printed(FOUND).splitlines()
    assert lines[0] == "line stage, written to mine.toml"
    remark = "Reading 2: Ten times what the rails allow: is the probe set to x10?"
    assert lines.index(remark) < lines.index("What the readings tell")


def test_what_was_found_has_its_uncertainty_in_its_own_unit() -> None:
    text = " ".join(printed(FOUND).split())
    assert "gain 12.100 ± 0.050 dB by volts" in text
    assert "slew rise 8.90 ± 0.30 V/us" in text


def test_every_reading_stands_beside_what_the_stage_gives() -> None:
    text = " ".join(printed(FOUND).split())
    assert "1 gain 4.03 4.03 agrees" in text
    assert "2 clip, high 13.4 V 13.9 V differs by more than its uncertainty" in text


def test_nothing_to_remark_is_not_remarked_on() -> None:
    silent = BenchStage(FOUND.stage, FOUND.figures, FOUND.checks, ())
    assert "look at these readings again" not in printed(silent)


def test_a_stage_file_is_named_as_one(tmp_path: Path) -> None:
    said = complaint(run_here("bench", "stage", "readings.toml", "mine.txt", cwd=tmp_path))
    assert "let it end in .toml" in said
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_bench_command_is_told_the_nearest() -> None:
    assert "did you mean 'stage'?" in complaint(run_here("bench", "stag"))


def test_the_sample_sheet_becomes_a_stage_file_that_gives_its_readings(tmp_path: Path) -> None:
    out = tmp_path / "board.toml"
    done = run_here("bench", "stage", str(SHEET), str(out), cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "agrees" in done.stdout
    assert "differs" not in done.stdout
    figures = compute_figures(load_stage(out)).figures
    # as read from the sheet: peaks where the scope saw them flatten, the steepest fall
    assert figures["clip_high_v"].value == pytest.approx(13.3, rel=0.03)
    assert figures["clip_low_v"].value == pytest.approx(-13.4, rel=0.03)
    assert figures["slew_available_v_per_us"].value == pytest.approx(8.8, rel=0.05)
    assert figures["gain_maximum_db"].value == pytest.approx(12.09, abs=0.06)
    taken = run_here("bench", "stage", str(SHEET), str(out), cwd=tmp_path)
    assert "--force" in complaint(taken)


def test_json_is_one_object(tmp_path: Path) -> None:
    done = run_here("bench", "stage", str(SHEET), "board.toml", "--json", cwd=tmp_path)
    assert one_object(done.stdout)
