"""What holds for every spread: seeded, about the nominal figure, and widened by wider parts."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage, ready_made, stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.errors import StageError
from stagefx.figures import ranges as ranges_module
from stagefx.figures.definition import Working
from stagefx.figures.ranges import ranges
from stagefx.figures.spread import DRAWS_A_CHUNK, Spread, draw
from stagefx.figures.table import DEFINITIONS, Figures, compute_figures

DIVIDER = {"source": {"resistance": "1 kohm 5 %"}, "load": {"resistance": "1 kohm 1 %"}}


def worked(tables: dict[str, Any], draws: int = 2000, seed: int = 0) -> Figures:
    return compute_figures(stage_from(tables), spread=draws, seed=seed)


def width(figures: Figures, key: str) -> float:
    figure = figures.figures[key]
    assert figure.low is not None
    assert figure.high is not None
    return figure.high - figure.low


@pytest.mark.parametrize("name", ready_made())
def test_a_range_holds_the_nominal_figure(name: str) -> None:
    found = compute_figures(load_stage(name), spread=1000)
    ranged = [f for f in found.figures.values() if f.low is not None and f.high is not None]
    assert len(ranged) > 20
    for key, figure in found.figures.items():
        if figure.value is not None and figure.low is not None and figure.high is not None:
            assert figure.low <= figure.value <= figure.high, key


@pytest.mark.parametrize("name", ready_made())
def test_a_range_does_not_move_the_figure(name: str) -> None:
    stage = load_stage(name)
    alone, ranged = compute_figures(stage), compute_figures(stage, spread=100)
    for key, figure in alone.figures.items():
        assert figure.value == ranged.figures[key].value, key
        assert figure.low is None
        assert figure.widest == ""


def test_same_seed_same_bits() -> None:
    stage = load_stage("line-stage")
    first, second = (compute_figures(stage, spread=700, seed=3) for _ in range(2))
    assert first == second
    assert first.figures["gain_db"] != compute_figures(stage, spread=700, seed=4).figures["gain_db"]


def test_bits_do_not_depend_on_the_threads(monkeypatch: pytest.MonkeyPatch) -> None:
    stage = load_stage("line-stage")
    working = Working(nominal(stage).at_position(0.5))
    spread = draw(stage, 3 * DRAWS_A_CHUNK - 1)
    found = []
    for threads in (1, 5):
        monkeypatch.setattr(ranges_module.os, "cpu_count", lambda threads=threads: threads)
        found.append(ranges(spread, DEFINITIONS, working))
    assert found[0] == found[1]


def test_a_part_s_luck_is_its_own() -> None:
    """Two stages that share a part meet the same draws of it."""
    one = draw(stage_from(DIVIDER), 100).parts["source.resistance"]
    more = draw(stage_from(DIVIDER | {"output": {"resistance": "47 ohm"}}), 100).parts
    assert np.array_equal(one, more["source.resistance"])
    assert not np.array_equal(one / 1e3, more["load.resistance"] / 1e3)


def test_ends_of_a_uniform_part() -> None:
    """A resistance within 5 %: its 5 and 95 % ends lie at 4.5 %, to the chance of 20,000 draws."""
    figure = worked({"source": {"resistance": "1 kohm 5 %"}}, 20_000).figures[
        "output_impedance_ohm"
    ]
    assert figure.low == pytest.approx(955.0, abs=1.0)
    assert figure.high == pytest.approx(1045.0, abs=1.0)
    assert figure.widest == "source.resistance"
    assert figure.widest_share == pytest.approx(1.0, abs=1e-12)


def test_ends_of_a_device_class() -> None:
    """Half of the draws below the usual value; a half triangle ends where 5 % are left.

    Of 8, 10 and 12 MHz: 10 -+ 2 (1 - sqrt(2 x 0.05)) MHz (the triangle's distribution function).
    """
    found = draw(load_stage("line-stage"), 40_000).parts["amplifier.gain_bandwidth"]
    assert found.min() >= 8e6
    assert found.max() <= 12e6
    assert np.median(found) == pytest.approx(10e6, rel=3e-3)
    low, high = np.percentile(found, [5.0, 95.0])
    assert low == pytest.approx(10e6 - 2e6 * (1.0 - math.sqrt(0.1)), rel=3e-3)
    assert high == pytest.approx(10e6 + 2e6 * (1.0 - math.sqrt(0.1)), rel=3e-3)


def test_shares_of_two_resistors() -> None:
    """Of a divider's level the wider part explains all but its square's complement: 25 of 26."""
    figure = worked(DIVIDER, 20_000).figures["gain_db"]
    assert figure.widest == "source.resistance"
    assert figure.widest_share == pytest.approx(25.0 / 26.0, abs=0.01)


def test_usual_tolerances() -> None:
    stage = stage_from(
        {
            "source": {"resistance": "1 kohm"},
            "input_cable": {"capacitance": "100 pF"},
            "volume": {"resistance": "10 kohm"},
            "input": {"coupling": "1 uF", "resistance": "100 kohm 5 %"},
            "amplifier": {"topology": "follower", "gain_bandwidth": "10 MHz"},
        }
    )
    spans = {
        key: np.ptp(values) / np.mean(values) / 2.0
        for key, values in draw(stage, 5000).parts.items()
    }
    assert spans["source.resistance"] == pytest.approx(0.01, rel=0.01)
    assert spans["volume.resistance"] == pytest.approx(0.20, rel=0.01)
    assert spans["input.coupling"] == pytest.approx(0.20, rel=0.01)
    assert spans["input.resistance"] == pytest.approx(0.05, rel=0.01)
    assert spans["input_cable"] == 0.0
    assert spans["amplifier.gain_bandwidth"] == 0.0  # the stage states it


@pytest.mark.parametrize("percent", [1, 2, 5, 10, 20])
def test_a_wider_part_widens_the_range(percent: int) -> None:
    def at(tolerance: float) -> float:
        tables = {"source": {"resistance": f"1 kohm {tolerance} %"}, "load": DIVIDER["load"]}
        return width(worked(tables), "gain_db")

    assert at(percent) < at(1.5 * percent)


def test_exact_parts_have_no_range() -> None:
    tables = {"source": {"resistance": "1 kohm 0 %"}, "load": {"resistance": "1 kohm 0 %"}}
    figure = worked(tables).figures["gain_db"]
    assert figure.low == figure.value == figure.high
    assert figure.widest == ""
    assert figure.widest_share is None


def test_the_knob_stands_where_the_nominal_stage_puts_it() -> None:
    """So the level at the seat varies with the parts instead of being trimmed away."""
    found = compute_figures(load_stage("line-stage"), spread=500)
    assert width(found, "programme_spl_db") > 0.1
    assert width(found, "gain_db") == pytest.approx(width(found, "programme_spl_db"), rel=1e-6)


def test_the_band_holds_the_response() -> None:
    found = compute_figures(load_stage("line-stage"), spread=500)
    assert len(found.response_band) == len(found.response)
    for (hz, level_db, _), (at, low, high) in zip(found.response, found.response_band, strict=True):
        assert hz == at
        assert low - 1e-9 <= level_db <= high + 1e-9


def test_a_spread_says_how_it_was_drawn() -> None:
    plain = worked(DIVIDER, 200, seed=7).as_json()
    assert plain["spread"] == {"draws": 200, "seed": 7}
    assert plain["figures"]["gain_db"]["widest"] == "source.resistance"
    alone = compute_figures(stage_from(DIVIDER)).as_json()
    assert "spread" not in alone
    assert alone["figures"]["gain_db"]["low"] is None


def test_every_draw_is_worked_out() -> None:
    spread = draw(stage_from(DIVIDER), 2 * DRAWS_A_CHUNK + 7)
    sizes = [circuit.draws for circuit in spread.circuits()]
    assert sizes == [DRAWS_A_CHUNK, DRAWS_A_CHUNK, 7]
    joined = np.concatenate([circuit.source_ohm for circuit in spread.circuits()])
    assert np.array_equal(joined, spread.parts["source.resistance"])


def unlucky(stage: Stage, key: str, values: np.ndarray) -> Spread:
    """A spread in which one part's draws are as given."""
    spread = draw(stage, values.size)
    return Spread(stage, spread.parts | {key: values[:, None]}, values.size, 0)


def test_draws_that_oscillate_have_no_finite_end() -> None:
    stage = stage_from(
        {
            "amplifier": {
                "topology": "follower",
                "gain_bandwidth": "10 MHz",
                "second_pole": "5 MHz",
                "open_loop_output_resistance": "100 ohm",
            },
            "load": {"capacitance": "100 pF"},
        }
    )
    loads = np.full(100, 100e-12)
    loads[::3] = 10e-9
    found = ranges(unlucky(stage, "load.capacitance", loads), DEFINITIONS, Working(nominal(stage)))
    assert found["overshoot_percent"].low is not None
    assert found["overshoot_percent"].high is None
    assert found["phase_margin_deg"].low is not None
    assert found["phase_margin_deg"].low < 0.0


def test_draws_without_swing_clip_at_once() -> None:
    stage = stage_from(
        {
            "source": {"level": "2 V rms"},
            "amplifier": {"topology": "follower", "swing_loss_high": "1 V"},
            "supply": {"positive": "2.5 V", "negative": "-2.5 V"},
        }
    )
    losses = np.where(np.arange(100) % 5 == 0, 3.0, 1.0)
    found = ranges(
        unlucky(stage, "amplifier.swing_loss_high", losses), DEFINITIONS, Working(nominal(stage))
    )
    assert found["clip_high_v"].low == 0.0
    assert found["clip_high_v"].high == 1.5
    assert found["source_headroom_db"].low is None


@pytest.mark.parametrize(
    ("draws", "seed", "says"),
    [(19, 0, "19 draws is too few.*at least 20"), (100, -1, "seed -1 is negative")],
)
def test_a_spread_that_cannot_be(draws: int, seed: int, says: str) -> None:
    with pytest.raises(StageError, match=says):
        worked(DIVIDER, draws, seed)
