"""`stagefx bench stage`."""

from __future__ import annotations

import io
from pathlib import Path

from stagefx.bench.measured import stated
from stagefx.bench.report import BenchStage, Checked, Found, Remark
from stagefx.stage import load_stage
from stagefx_cli.output import paper
from stagefx_cli.printing.bench import print_bench_stage
from tests.cli.running import complaint, run_here


def printed(found: BenchStage) -> str:
    file = io.StringIO()
    print_bench_stage(paper(file), found, out="mine.toml")
    return file.getvalue()


FOUND = BenchStage(
    load_stage("line-stage"),
    (
        Found("gain_db", stated(12.1, 0.05, reading=1), "dB", "amplifier.gain", "by volts"),
        Found("slew_v_per_s", stated(8.9e6, 3e5, reading=3), "V/s", "amplifier.slew_rise"),
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
    assert "gain 12.1 dB ± 0.05 dB by volts" in text
    assert "slew 8.9 V/us ± 0.3 V/us" in text


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
