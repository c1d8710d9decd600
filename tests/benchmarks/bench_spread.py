"""A spread of 10,000 draws over every figure, against ten seconds and against one at a time."""

from __future__ import annotations

import time

from stagefx.circuit.description.files import load_stage
from stagefx.figures.table import compute_figures
from tests.benchmarks.ratio import Ratio, fastest_s

STAGE = "line-stage"
DRAWS = 10_000
BOUND_S = 10.0


def run() -> list[Ratio]:
    """All figures with ranges; and how many draws cost what one nominal stage costs."""
    stage = load_stage(STAGE)
    alone = compute_figures(stage)
    begin = time.perf_counter()
    ranged = compute_figures(stage, spread=DRAWS)
    spread_s = time.perf_counter() - begin
    for key, figure in alone.figures.items():
        found = ranged.figures[key]
        assert found.value == figure.value, key
        if found.low is not None and found.high is not None and figure.value is not None:
            assert found.low <= figure.value <= found.high, key
    assert ranged == compute_figures(stage, spread=DRAWS)
    nominal_s = fastest_s(lambda: compute_figures(stage))
    one_at_a_time = DRAWS * nominal_s / spread_s
    return [
        Ratio(
            name="spread, 10,000 draws", peer="wall clock", value=spread_s, bound=BOUND_S, unit="s"
        ),
        Ratio(
            name="spread, vectorised",
            peer="one stage at a time",
            value=one_at_a_time,
            bound=20.0,
            sense="at least",
        ),
    ]
