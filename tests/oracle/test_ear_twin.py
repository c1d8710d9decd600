"""The ear model against a literal twin of the standard's equations."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.hearing.ear.background import room_energy
from stagefx.hearing.ear.decision import decision
from stagefx.hearing.ear.detection import EarPair
from stagefx.hearing.ear.listening import Desk, Listener
from stagefx.hearing.ear.masking import MaskMeter
from stagefx.hearing.ear.threshold_of_hearing import room_band_db_spl, threshold_db_spl
from stagefx.kernels.ear import steps
from tests.oracle import ear_twin

Array = NDArray[np.float64]
FRAMES = 24_576
"""Half a second and a little: 23 frames of the ear."""


def piece(seed: int, *, channels: int = 1, peak: float = 0.5) -> Array:
    """A fading chord over noise: bands from very loud to under the ear's own noise."""
    rng = np.random.default_rng(seed)
    n = np.arange(FRAMES)[:, None]
    hz = rng.uniform(60.0, 15e3, (12, channels))
    chord = sum(np.sin(2 * np.pi * f * n / 48000 + 7 * f) for f in hz)
    fading = np.exp(-n / rng.uniform(3000.0, 30000.0, channels))
    noise = rng.standard_normal((FRAMES, channels)) * 10.0 ** rng.uniform(-5.0, -2.0, channels)
    both = chord * fading + noise
    return np.ascontiguousarray(peak * both / np.abs(both).max())


@pytest.mark.parametrize(("seed", "spl_db"), [(1, 92.0), (2, 114.0), (3, 20.0)])
def test_excitation_is_that_of_the_twin(seed: int, spl_db: float) -> None:
    audio = piece(seed)[:8192, 0]
    listener = Listener(spl_db, Desk())
    frames = listener.hear(audio)
    expected = ear_twin.excitations(audio, spl_db)
    assert frames == len(expected) == 7
    assert listener.excitation[:frames] == pytest.approx(expected, rel=1e-9)
    assert listener.level_db[:frames] == pytest.approx(10.0 * np.log10(expected), abs=1e-9)


def test_excitation_of_silence_is_that_of_the_twin() -> None:
    listener = Listener(92.0, Desk())
    frames = listener.hear(np.zeros(4096))
    expected = ear_twin.excitations(np.zeros(4096), 92.0)
    assert listener.excitation[:frames] == pytest.approx(expected, rel=1e-9)


def test_just_noticeable_steps_are_those_of_the_twin() -> None:
    levels = np.array([[-3.0, 0.0, 2.0, 11.0, 40.0, 55.5, 80.0, 120.0]])
    other = levels + np.array([[1.0, 2.0, -0.5, 0.1, -0.1, 3.0, -20.0, 1.0]])
    ratios = np.empty((2, 1, 8))
    steps(levels, other, ratios)
    for order, (reference, tested) in enumerate([(levels, other), (other, levels)]):
        for k in range(8):
            r, t = reference[0, k], tested[0, k]
            level = 0.3 * r + 0.7 * t if r > t else t
            assert ratios[order, 0, k] == pytest.approx(
                (r - t) / ear_twin.step_db(level), rel=1e-12
            )


@pytest.mark.parametrize("change_db", [0.15, -0.25])
def test_standard_s_probability_is_that_of_the_twin(change_db: float) -> None:
    first = piece(4, channels=2)
    hiss = np.random.default_rng(5).standard_normal(first.shape)
    second = first * 10.0 ** (change_db / 20.0) + 1e-5 * hiss
    pair = EarPair(48000, 2, 95.0)
    pair.add(first, second)
    found = pair.account().standard_probability
    expected = ear_twin.detection(first, second, 95.0)
    assert 0.01 < expected < 0.99
    assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("room_dba", [None, 30.0, 45.0])
@pytest.mark.parametrize(("change_db", "spl_db"), [(0.15, 95.0), (-0.6, 40.0)])
def test_calibrated_probability_is_that_of_the_twin(
    change_db: float, spl_db: float, room_dba: float | None
) -> None:
    first = piece(4, channels=2)
    hiss = np.random.default_rng(5).standard_normal(first.shape) * [1.0, 3.0]
    second = first * 10.0 ** (change_db / 20.0) + 1e-4 * hiss
    pair = EarPair(48000, 2, spl_db, room_dba)
    pair.add(first, second)
    found = pair.account().detection_probability
    room = np.zeros(ear_twin.COUNT)
    if room_dba is not None:
        lines_hz = np.maximum(np.arange(1025) * 48000 / 2048, 1.0)
        room = ear_twin.energy_of_noise(room_band_db_spl(room_dba, lines_hz))
        assert room_energy(room_dba) == pytest.approx(room, rel=1e-9)
    centres = np.array(ear_twin.CENTRES)
    threshold = 10.0 ** (threshold_db_spl(centres) / 10.0)
    new = threshold * ear_twin.outer_ear_power(centres / 1000.0) + room
    made = decision()
    ears = [
        [ear_twin.excitations(channel, spl_db, room) for channel in version.T]
        for version in (first, second)
    ]
    expected = ear_twin.calibrated(
        *ears, made.new_noise_weight * new, made.d_prime_per_db, made.integration_s, made.loudness_s
    )
    assert 0.01 < expected < 0.99
    assert found == pytest.approx(expected, rel=1e-9)


def test_a_room_s_noise_is_as_loud_as_the_same_noise_played() -> None:
    """White noise of a second and a half, over the bands, beside a room of the same spectrum."""
    noise = np.random.default_rng(6).standard_normal(72_000)
    third_db = 60.0 + 10.0 * np.log10(np.maximum(np.arange(1025) * 48000 / 2048, 1.0) / 24000.0)
    white = third_db + 10.0 * np.log10(10**0.05 - 10**-0.05)
    expected = ear_twin.energy_of_noise(white)
    played = noise * np.sqrt(0.5 / np.square(noise).mean())
    energy = np.mean([ear_twin.grouped(m**2) for m in ear_twin.spectra(played, 60.0)], axis=0)
    apart_db = 10.0 * np.log10(energy / expected)
    # chance: some 70 frames, half of them new, of one to thirty lines in a band
    assert np.abs(apart_db).max() < 2.5
    assert abs(apart_db.mean()) < 0.2


def test_noise_to_mask_of_a_pair_is_that_of_the_twin() -> None:
    first = piece(6)
    second = first + 1e-4 * np.random.default_rng(7).standard_normal(first.shape)
    pair = EarPair(48000, 1, 92.0)
    pair.add(first, second)
    found = pair.account()
    noises = ear_twin.difference_noise(first[:, 0], second[:, 0], 92.0)
    ratio = ear_twin.noise_to_mask(first[:, 0], noises, 92.0)
    assert found.noise_to_mask_db == pytest.approx(10.0 * np.log10(ratio.mean()), abs=1e-9)
    share = float((ratio.max(axis=1) > 10.0**0.15).mean())
    assert 0.0 < share < 1.0
    assert found.disturbed_frames_share == pytest.approx(share, rel=1e-12)


def test_noise_to_mask_of_a_remainder_is_that_of_the_twin() -> None:
    music = piece(8, channels=2)
    remainder = 1e-3 * np.random.default_rng(9).standard_normal(music.shape) * [1.0, 0.3]
    meter = MaskMeter(48000, 2, 92.0)
    meter.add(music, remainder)
    found = meter.account()
    ratios = [
        ear_twin.noise_to_mask(
            music[:, c], [m**2 for m in ear_twin.spectra(remainder[:, c], 92.0)], 92.0
        )
        for c in range(2)
    ]
    worst_channel = max(ratio.mean() for ratio in ratios)
    assert found.noise_to_mask_db == pytest.approx(10.0 * np.log10(worst_channel), abs=1e-9)
    nearest = np.maximum(*ratios)
    frame, band = np.unravel_index(nearest.argmax(), nearest.shape)
    assert found.worst_db == pytest.approx(10.0 * np.log10(nearest.max()), abs=1e-9)
    assert found.worst_s == pytest.approx((frame + 1) * 1024 / 48000)
    assert found.worst_hz == pytest.approx(ear_twin.CENTRES[int(band)], rel=1e-12)
