"""What `make bench` prints and keeps: bounds beside ratios, and a broken one in plain sight."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from rich.console import Console

from tests.benchmarks import __main__ as benchmarks
from tests.benchmarks.ratio import Ratio

HOLDS = Ratio(name="light", peer="a feather", value=0.5, bound=1.0)
LONG = Ratio(name="long", peer="an arm", value=2.0, bound=3.0, sense="at least", state="cold")


def printed(ratios: list[Ratio]) -> str:
    console = Console(width=120)
    with console.capture() as found:
        console.print(benchmarks.table(ratios))
    return found.get()


def test_a_bound_that_is_kept_and_one_that_is_not() -> None:
    text = printed([HOLDS, LONG])
    assert text.count("holds") == text.count("BROKEN") == 1
    assert "at least 3 ×" in text
    assert "cold" in text


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two benchmarks, one whose result is wrong."""
    (tmp_path / "bench_fine.py").write_text(
        "from tests.benchmarks.ratio import Ratio\n"
        "def run(): return [Ratio(name='fine', peer='itself', value=1.0, bound=1.0)]\n"
    )
    (tmp_path / "bench_wrong.py").write_text("def run(): assert 1 + 1 == 3\n")
    package = __import__("tests.benchmarks", fromlist=["benchmarks"])
    monkeypatch.setattr(package, "__path__", [*package.__path__, str(tmp_path)])
    return tmp_path


def test_a_wrong_result_is_a_broken_row_and_the_others_go_on(folder: Path) -> None:
    names = benchmarks.discover([], folder)
    assert names == ["fine", "wrong"]
    ratios = [ratio for name in names for ratio in benchmarks.run(name)]
    assert [ratio.holds for ratio in ratios] == [True, False]
    assert "its result is wrong" in printed(ratios)
    kept = json.loads(benchmarks.keep(ratios, folder / "results").read_text(encoding="utf-8"))
    assert [row["value"] for row in kept["ratios"]] == [1.0, None]
    assert set(kept["versions"]) >= {"numpy", "numba", "soxr"}


def test_a_value_that_is_no_number_holds_nothing() -> None:
    for sense in ("at most", "at least"):
        assert not Ratio(name="x", peer="y", value=math.nan, bound=1.0, sense=sense).holds  # type: ignore[arg-type]


def test_an_unknown_benchmark_is_said(folder: Path) -> None:
    with pytest.raises(SystemExit, match="no benchmark slow; there are: fine, wrong"):
        benchmarks.discover(["slow"], folder)
