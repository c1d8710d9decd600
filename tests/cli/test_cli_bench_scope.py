"""`stagefx bench scope`."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from tests.cli.running import complaint, one_object, run_here


@pytest.fixture
def edge(tmp_path: Path) -> Path:
    """A step of 10 V at 9 V/us, in steps of 50 mV, as a table with a header."""
    t = np.arange(1500) * 2e-8 - 5e-6
    noise = np.random.default_rng(0).normal(0.0, 0.3, t.size)
    volts = np.round(np.clip(t * 9e6, 0.0, 10.0) / 0.05 + noise) * 0.05
    rows = "\n".join(f"{a:.9f};{b:.2f}" for a, b in zip(t, volts, strict=True))
    place = tmp_path / "edge.csv"
    place.write_text("Time (s);Out (V)\n" + rows.replace(".", ","))
    return place


def test_the_table_for_people(edge: Path) -> None:
    done = run_here("bench", "scope", edge.name, cwd=edge.parent)
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0] == "edge.csv: a single step"
    assert lines[1] == "1,500 points, 20 ns apart, vertical steps of 50 mV"
    text = " ".join(done.stdout.split())
    slew = re.search(r"slew rate, rise (\S+) ± \S+ V/us slew limit", text)
    assert slew is not None
    assert float(slew[1]) == pytest.approx(9.0, rel=0.01)
    assert "calibration, commonly 2 to 3 % of a voltage" in text


def test_as_json_with_a_probe(edge: Path) -> None:
    done = run_here("bench", "scope", edge, "--volts-scale", "10", "--json")
    found = one_object(done.stdout)
    assert found["kind"] == "step"
    assert found["figures"]["slew_rise_v_per_us"]["value"] == pytest.approx(90.0, rel=0.01)
    assert found["trace"]["points"] == 1500


def test_a_picture_and_what_is_there_already(edge: Path) -> None:
    picture = edge.with_suffix(".png")
    assert run_here("bench", "scope", edge, "--plot", picture).returncode == 0
    before = picture.read_bytes()
    assert before[:4] == b"\x89PNG"
    assert "exists already" in complaint(run_here("bench", "scope", edge, "--plot", picture))
    assert picture.read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("edge.csv", "--volts-column", "9"), "no column 9; there are 2"),
        (("edge.csv", "--generator", "20"), '"20" has no unit'),
        (("edge.csv", "--generator", "0 s"), "is no rise time"),
        (("none.csv",), "none.csv: there is no such file"),
        (("edge.csv", "--plot", "edge.bmp"), "no name for a picture"),
    ],
)
def test_bad_requests(edge: Path, arguments: tuple[str, ...], said: str) -> None:
    assert said in complaint(run_here("bench", "scope", *arguments, cwd=edge.parent))
