"""Figures of many draws at once are the figures of each draw alone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from stagefx.circuit.circuit import Circuit, build
from stagefx.circuit.description.files import load_stage, ready_made, stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import set_knob
from stagefx.circuit.noise import noise_density
from stagefx.figures.definition import Missing, Working
from stagefx.figures.table import DEFINITIONS
from tests.contract.full_stage import EVERYTHING
from tests.oracle.random_stages import random_stage

DRAWS = 5


def drawn(stage: Stage, rows: slice) -> Circuit:
    """Every part within 5 % of its value, always the same five times."""
    chance = np.random.default_rng(7)

    def pick(key: str, spread: Any) -> np.ndarray:
        if key == "supply.mains_frequency":  # one mains for all
            return np.full((DRAWS, 1), float(spread[1]))[rows]
        return float(spread[1]) * chance.uniform(0.95, 1.05, (DRAWS, 1))[rows]

    return build(stage, pick)


STAGES: dict[str, Callable[[], Stage]] = {
    **{name: lambda name=name: load_stage(name) for name in ready_made()},  # type: ignore[misc]
    "everything": lambda: stage_from(EVERYTHING),
    "random": lambda: stage_from(random_stage(3)),
}


@pytest.mark.parametrize("name", STAGES)
def test_many_at_once_are_as_each_alone(name: str) -> None:
    stage = STAGES[name]()
    together = Working(set_knob(drawn(stage, slice(None))).circuit)
    alone = [Working(set_knob(drawn(stage, slice(k, k + 1))).circuit) for k in range(DRAWS)]
    for definition in DEFINITIONS:
        found = definition.work(together)
        wanted = [definition.work(one) for one in alone]
        if isinstance(found, Missing):
            assert all(isinstance(one, Missing) for one in wanted), definition.key
            continue
        assert found.shape == (DRAWS,), definition.key
        single = np.array([one[0] for one in wanted if not isinstance(one, Missing)])
        np.testing.assert_allclose(found, single, rtol=1e-9, atol=1e-12, err_msg=definition.key)


def test_a_listener_sets_each_draw_s_own_knob() -> None:
    """Units with unlike gains play equally loud once the knob is set."""
    circuit = set_knob(drawn(load_stage("line-stage"), slice(None))).circuit
    assert circuit.volume_position is not None
    assert np.unique(circuit.volume_position).size == DRAWS
    assert np.ptp(circuit.volume_position) < 0.1


def test_a_draw_that_never_loses_does_not_silence_the_others() -> None:
    """Two units without a cable's capacitance have no treble corner; the third has."""
    stage = stage_from({"source": {"resistance": "1 kohm"}, "load": {"capacitance": "1 nF"}})

    def pick(key: str, spread: Any) -> np.ndarray:
        wanted = [[0.0], [1e-9], [0.0]] if key == "load.capacitance" else [[float(spread[1])]] * 3
        return np.array(wanted)

    working = Working(build(stage, pick))
    (corner,) = [d for d in DEFINITIONS if d.key == "high_corner_hz"]
    found = corner.work(working)
    assert not isinstance(found, Missing)
    assert list(np.isposinf(found)) == [True, False, True]
    assert found[1] == pytest.approx(159_154.9, rel=1e-4)


def test_noise_of_many_draws() -> None:
    stage = load_stage("line-stage")
    hz = np.array([100.0, 1e4])
    together = noise_density(drawn(stage, slice(None)), hz).white
    for k in range(DRAWS):
        one = noise_density(drawn(stage, slice(k, k + 1)), hz).white
        assert one.keys() == together.keys()
        for name, psd in one.items():
            np.testing.assert_allclose(
                np.broadcast_to(together[name], (DRAWS, hz.size))[k], psd[0], rtol=1e-10
            )
