"""Reading between frames: the kernel against a plain twin, and against tones as formulas."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from stagefx.align.time_path import Jump, TimePath
from stagefx.align.warp import WARP_REACH_FRAMES, read_along, warp_table
from stagefx.io.recording import ForwardWindow, HeldAudio
from stagefx.kernels.warp import read_at

RATE_HZ = 48000


@pytest.mark.kernel
@pytest.mark.parametrize("length", [2, 12, 112])
def test_the_kernel_is_its_twin(length: int) -> None:
    random = np.random.default_rng(4)
    samples = random.standard_normal((2, 300))
    table = random.standard_normal((9, length))
    positions = np.array([60.0, 60.999999999, 61.125, 75.3, 200.0, 77.77])
    read = np.empty((2, len(positions)))
    assert read_at(samples, positions, table, np.empty((2, length)), read) == len(positions)
    for n, position in enumerate(positions):
        whole, fraction = int(position // 1.0), position % 1.0
        weights = [np.interp(fraction, np.arange(9) / 8.0, column) for column in table.T]
        around = samples[:, whole - length // 2 + 1 :][:, :length]
        assert read[:, n] == pytest.approx(around @ weights, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("hz", "error_db"), [(100.0, -120.0), (1e3, -120.0), (10e3, -120.0), (20e3, -112.0)]
)
def test_a_tone_read_by_another_clock_is_what_its_formula_says(hz: float, error_db: float) -> None:
    turn = 2.0 * np.pi * hz / RATE_HZ
    tone = HeldAudio(np.sin(turn * np.arange(6000.0))[:, None], RATE_HZ)
    heard = read_along(ForwardWindow(tone), TimePath(3.3, 4e-4), 1000, 4000)[:, 0]
    frames = np.arange(1000.0, 4000.0)
    error = heard - np.sin(turn * (frames + 3.3 + 4e-4 * frames))
    assert 20.0 * np.log10(np.abs(error).max()) < error_db


def test_whole_frames_change_no_sample() -> None:
    noise = np.random.default_rng(2).standard_normal((3000, 2))
    path = TimePath(7.0, 0.0, jumps=(Jump(1000, -2.0),))
    heard = read_along(ForwardWindow(HeldAudio(noise, RATE_HZ)), path, 500, 1500)
    assert heard[:500] == pytest.approx(noise[507:1007], abs=1e-14)
    assert heard[500:] == pytest.approx(noise[1005:1505], abs=1e-14)


def test_blocks_of_any_size_give_the_same_bits() -> None:
    noise = HeldAudio(np.random.default_rng(2).standard_normal((9000, 2)), RATE_HZ)
    wander = tuple(np.random.default_rng(3).standard_normal(7).tolist())
    path = TimePath(2.2, 1e-5, 0.0, 2000.0, wander, (Jump(5000, -1.0),))
    whole = read_along(ForwardWindow(noise), path, 4000, 6000)
    window = ForwardWindow(noise)
    edges = [4000, 4001, 4777, 4999, 5000, 5003, 6000]
    parts = [read_along(window, path, *pair) for pair in pairwise(edges)]
    assert np.array_equal(np.concatenate(parts), whole)


def test_a_constant_stays_a_constant() -> None:
    assert warp_table().sum(axis=1) == pytest.approx(1.0, abs=1e-6)
    assert warp_table().shape[1] == 2 * WARP_REACH_FRAMES
