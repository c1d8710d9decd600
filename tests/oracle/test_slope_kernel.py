"""The kernel of slopes against a plain twin, and what it passes by."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.kernels.slope import MOST_BETWEEN, crest, raise_slopes
from stagefx.survey.slope import PAIRS, SlopeMeter, slope_gains

Audio = NDArray[np.float64]


def metered(audio: Audio, *sizes: int) -> Audio:
    """Slopes of a piece that is handed over in blocks of some sizes, the rest in one."""
    meter = SlopeMeter(audio.shape[1])
    for end in np.split(audio, np.cumsum(sizes)):
        meter.add(end)
    return meter.slopes


def twin_slopes(samples: Audio) -> tuple[float, float]:
    """The same law, written out plainly: every instant of every frame, no stretch passed by."""
    gains, _ = slope_gains()
    steps = np.diff(np.concatenate((np.zeros(2 * PAIRS + 2), samples, np.zeros(2 * PAIRS + 2))))
    values = [
        float(np.dot(gains[q], steps[i : i + 2 * PAIRS]))
        for i in range(steps.size - 2 * PAIRS + 1)
        for q in range(4)
    ]
    rise = fall = 0.0
    for before, here, after in zip(values, values[1:], values[2:], strict=False):
        if here > 0.0 and before <= here >= after:
            rise = max(rise, plain_crest(before, here, after))
        if here < 0.0 and before >= here <= after:
            fall = min(fall, -plain_crest(-before, -here, -after))
    return rise, fall


def plain_crest(before: float, here: float, after: float) -> float:
    """A sine through three equally spaced values: b + a = 2 h cos(d), a - b = 2 A sin(d) sin(p)."""
    turn = np.arccos(np.clip((before + after) / (2.0 * here), -1.0, 1.0))
    if np.sin(turn) ** 2 <= 1e-12:
        return here
    across = (after - before) / (2.0 * np.sin(turn))
    return float(min(np.hypot(here, across), here / np.cos(np.pi / 8.0)))


def test_the_kernel_does_what_its_twin_does() -> None:
    rng = np.random.default_rng(5)
    samples = rng.standard_normal(700) * np.exp(-np.arange(700) / 150.0)  # loud, then passed by
    assert metered(samples[:, None])[0] == pytest.approx(twin_slopes(samples), rel=1e-12)
    steps = -samples[::-1]
    assert metered(steps[:, None])[0] == pytest.approx(twin_slopes(steps), rel=1e-12)


def test_the_reading_does_not_depend_on_the_blocks() -> None:
    audio = np.random.default_rng(6).standard_normal((500, 2)) * [1.0, 1e-3]
    whole = metered(audio)
    steepest = int(np.abs(np.diff(audio[:, 0])).argmax())
    for sizes in ((1, 1, 1), (127, 128, 129), (0, 400, 0)):
        assert np.array_equal(metered(audio, *sizes), whole)
    for away in (-64, -33, -1, 0, 1, 2, 31, 32, 33, 65):  # cut where it matters
        assert np.array_equal(metered(audio, steepest + away), whole)


def test_quiet_stretches_are_passed_by() -> None:
    gains, largest = slope_gains()
    audio = np.concatenate((np.sin(np.arange(256.0)), 1e-3 * np.sin(np.arange(2048.0))))
    found, work = np.zeros(2), np.empty((4, 130))
    looked_at = raise_slopes(np.diff(audio), gains, largest, work, found)
    assert 1 <= looked_at <= 4


def test_the_bound_that_passes_stretches_by_holds() -> None:
    """The worst steps there are: each of the sign of its gain."""
    gains, largest = slope_gains()
    for row in gains:
        assert MOST_BETWEEN * float(np.dot(row, np.sign(row))) <= largest


def test_a_crest_is_no_lower_than_what_is_known_of_it() -> None:
    assert crest(1.0, 1.0, 1.0) == 1.0
    assert crest(0.0, 1.0, 0.0) == 1.0
    assert crest(-1.0, 1.0, 1.0) == pytest.approx(MOST_BETWEEN)
    assert crest(np.cos(0.5), np.cos(0.1), np.cos(0.3)) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize("frames", [0, 1, 2])
def test_next_to_nothing_is_measured_as_well(frames: int) -> None:
    found = metered(np.ones((frames, 1)))
    assert (found[0, 0] > 0.0) == (found[0, 1] < 0.0) == (frames > 0)
