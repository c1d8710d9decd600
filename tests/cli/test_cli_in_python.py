"""What a command prints, the library's public names give as well."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import stagefx
from stagefx_cli.output import as_text
from tests.cli.running import one_object, run_here


def plain(found: Any) -> dict[str, Any]:
    """As the command line writes it."""
    return one_object(as_text(found.as_json()))


def test_a_plan_with_its_simulation() -> None:
    said = one_object(run_here("blind", "plan", "--trials", "8", "--simulate", "--json").stdout)
    planned = stagefx.plan("abx", able=0.7, trials=8)
    simulated = stagefx.simulate_plan(planned, seed=0)
    assert said == {**plain(planned), "simulation": plain(simulated)}


def test_the_catalogue() -> None:
    said = one_object(run_here("catalogue", "--json").stdout)
    names = [one["name"] for one in said["stages"]]
    assert set(stagefx.ready_made()) == set(names) - {"wire"}
    assert [one["name"] for one in said["devices"]] == [
        device.name for device in stagefx.device_classes().values()
    ]


def test_figures() -> None:
    said = one_object(run_here("figures", "line-stage", "--json").stdout)
    assert plain(stagefx.compute_figures(stagefx.load_stage("line-stage"))) == said


@pytest.mark.parametrize("scale", [1.0, 10.0])
def test_a_scope_s_table(tmp_path: Path, scale: float) -> None:
    times = [n * 1e-7 for n in range(400)]
    rows = [f"{t:.9f},{-1.0 if t < 2e-5 else min(1.0, -1.0 + (t - 2e-5) * 1e6)}" for t in times]
    trace = tmp_path / "edge.csv"
    trace.write_text("\n".join(["s,V", *rows]), encoding="utf-8")
    done = run_here("bench", "scope", trace, "--volts-scale", str(scale), "--json")
    read = stagefx.read_scope(stagefx.load_trace(trace, volts_scale=scale), where=str(trace))
    assert plain(read) == one_object(done.stdout)


def test_signals_are_the_same_files(tmp_path: Path) -> None:
    run_here("bench", "signals", "shell", "--rate", "44100", cwd=tmp_path)
    (tmp_path / "python").mkdir()
    places = stagefx.write_signals(tmp_path / "python", 44100)
    for place in (places[0], places[-1]):
        assert place.read_bytes() == (tmp_path / "shell" / place.name).read_bytes()
