"""The remainder as a signal: nothing of a linear filter, all of a distortion."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

from stagefx.difference.decomposition import Difference, take_apart
from stagefx.difference.linear.transfer_fit import TransferMeter
from stagefx.difference.residual.classification import told_apart
from stagefx.difference.residual.nonlinear_signal import remainder_blocks
from stagefx.difference.residual.spectrogram import remainder_picture
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound
from tests.played import song

Array = NDArray[np.float64]
MUSIC = sound(4.0, channels=1)
NOISE = np.random.default_rng(6).standard_normal((30 * RATE_HZ, 1))
LONG = lfilter([0.01], [1.0, -0.95], NOISE, axis=0)


def held(samples: Array) -> HeldAudio:
    return HeldAudio(np.ascontiguousarray(samples), RATE_HZ)


def left_of(first: Array, second: Array) -> tuple[Difference, Array]:
    found = take_apart(held(first), held(second))
    return found, np.concatenate(
        [left for _, left in remainder_blocks(held(first), held(second), found)]
    )


def level_db(left: Array, music: Array) -> float:
    """20 Hz to 20 kHz, the ends left out: these sounds go round, a recording does not."""
    powers = []
    for samples in (left[RATE_HZ // 4 : -RATE_HZ // 4], music[RATE_HZ // 4 : -RATE_HZ // 4]):
        spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))[:, None], axis=0)) ** 2
        hz = np.fft.rfftfreq(len(samples), 1.0 / RATE_HZ)
        powers.append(spectrum[(hz >= 20.0) & (hz <= 20e3)].sum())
    return float(10.0 * np.log10(powers[0] / powers[1]))


def pole(hz: float) -> Callable[[Array], Array]:
    return lambda f: 1.0 / (1.0 + 1j * f / hz)


def corner(hz: float) -> Callable[[Array], Array]:
    return lambda f: 1j * f / hz / (1.0 + 1j * f / hz)


def peak(hz: float, q: float) -> Callable[[Array], Array]:
    """An equaliser's bell of 4 dB."""
    return lambda f: (
        (1.0 - (f / hz) ** 2 + 1.6j * f / hz / q) / (1.0 - (f / hz) ** 2 + 1j * f / hz / q)
    )


@pytest.mark.parametrize(
    "change",
    [
        pole(57_255.5),
        pole(10e3),
        corner(20.0),
        lambda f: corner(0.5)(f) * corner(8.0)(f) / pole(30e3)(f),
        peak(1000.0, 4.0),
    ],
)
def test_two_linear_versions_leave_less_than_minus_107_db(
    change: Callable[[Array], Array],
) -> None:
    played = np.concatenate([np.zeros((RATE_HZ // 2, 1)), song(4 * RATE_HZ, 1, seed=1) * 0.5])
    pad = 1 << 18
    spectrum = np.fft.rfft(np.pad(played, ((pad, pad), (0, 0))), axis=0)
    hz = np.fft.rfftfreq(len(played) + 2 * pad, 1.0 / RATE_HZ)
    through = np.fft.irfft(spectrum * change(hz)[:, None], len(played) + 2 * pad, axis=0)
    found, left = left_of(played, -0.5 * through[pad:-pad])
    assert len(left) == found.stop - found.start
    assert level_db(left, played) < -107.0


def test_of_a_long_piece_stretches_are_enough() -> None:
    """Half as much again as the fit takes in; a coupling capacitor remembers what lies between."""
    second = lfilter([1.0, -1.0], [1.0, -np.exp(-2.0 * np.pi * 2.0 / RATE_HZ)], LONG, axis=0)
    found, left = left_of(LONG, 0.5 * lfilter([0.8], [1.0, -0.2], second, axis=0))
    assert found.transfer is not None
    assert 0.6 < found.transfer.seen_share < 0.7
    assert level_db(left, LONG) < -107.0


def test_the_filter_does_not_depend_on_the_blocks_it_came_in() -> None:
    more = lfilter([0.1], [1.0, -0.9], LONG, axis=0)
    found = []
    for size in (1 << 16, 200_003):
        meter = TransferMeter(RATE_HZ, 1, len(LONG))
        for start in range(0, len(LONG), size):
            meter.add(LONG[start : start + size], more[start : start + size])
        found.append(meter.model(1.0))
    assert np.array_equal(found[0].taps, found[1].taps)
    assert np.array_equal(found[0].low_passes, found[1].low_passes)
    assert found[0].taps.any()


@pytest.mark.parametrize("peak_at", [0.15, 0.3])
def test_of_a_clipped_version_it_is_the_true_distortion(peak_at: float) -> None:
    """Beside what clipping takes from the gain, which is least-squares response by definition."""
    clipped = np.clip(MUSIC, -peak_at, peak_at)
    found, left = left_of(MUSIC, clipped)
    gain = float((MUSIC * clipped).sum() / (MUSIC**2).sum())
    true = clipped / gain - MUSIC
    true, music = true[found.start : found.stop], MUSIC[found.start : found.stop]
    assert np.corrcoef(left.ravel(), true.ravel())[0, 1] > 0.98
    assert level_db(left, music) == pytest.approx(level_db(true, music), abs=0.3)


def test_the_blocks_of_the_first_are_the_first() -> None:
    second = held(sound(4.0, pole(30e3), channels=1))
    found = take_apart(held(MUSIC), second)
    played = np.concatenate([block for block, _ in remainder_blocks(held(MUSIC), second, found)])
    assert np.array_equal(played, MUSIC[found.start : found.stop])


def test_a_passage_knows_what_was_played_before_it() -> None:
    """A coupling capacitor of 1 Hz still hears the music before the passage."""
    played = np.concatenate([np.zeros((RATE_HZ, 1)), song(5 * RATE_HZ, 1, seed=2) * 0.5])
    charge = np.zeros(len(played))
    p = np.exp(-2.0 * np.pi / RATE_HZ)
    for n in range(1, len(played)):
        charge[n] = p * charge[n - 1] + (1.0 - p) * played[n, 0]
    through = played - charge[:, None]
    start = 3 * RATE_HZ
    found = take_apart(held(played), held(through), start=start)
    blocks = list(remainder_blocks(held(played), held(through), found))
    left, music = blocks[0][1][: RATE_HZ // 10], blocks[0][0]
    assert found.start == start
    assert 20.0 * np.log10(np.abs(left).max() / np.abs(music).max()) < -90.0


def test_the_picture_shows_when_and_where() -> None:
    """A burst of noise around 4 kHz, -40 dBFS rms re a full-scale sine's, from 2.0 to 2.5 s."""
    random = np.random.default_rng(3)
    spectrum = np.fft.rfft(random.standard_normal(RATE_HZ // 2))
    hz = np.fft.rfftfreq(RATE_HZ // 2, 1.0 / RATE_HZ)
    spectrum[(hz < 3.7e3) | (hz > 4.3e3)] = 0.0
    burst = np.fft.irfft(spectrum)
    burst *= 0.01 * np.sqrt(0.5) / np.sqrt(np.mean(burst**2))
    second = MUSIC.copy()
    second[2 * RATE_HZ : 2 * RATE_HZ + RATE_HZ // 2] += burst[:, None]
    found = take_apart(held(MUSIC), held(second))
    picture = remainder_picture(held(MUSIC), held(second), found)
    worst = picture.worst[0]
    assert worst.at_s == pytest.approx(2.0, abs=0.45)
    assert worst.hz == pytest.approx(3981.0, abs=1.0)
    slots = np.abs(picture.start_s - 2.0) < 1.0
    energy = (10.0 ** (picture.remainder_dbfs[23, slots] / 10.0)).sum() * picture.slot_s
    assert 10.0 * np.log10(energy / 0.5) == pytest.approx(-40.0, abs=0.5)
    assert picture.as_json()["worst"][0]["hz"] == worst.hz


def test_the_pictures_levels_are_those_of_tones() -> None:
    n = np.arange(4 * RATE_HZ)
    played = sum(0.1 * np.sin(2.0 * np.pi * hz * n / RATE_HZ) for hz in (100.0, 1000.0, 8000.0))
    assert isinstance(played, np.ndarray)
    both = held(played[:, None])
    picture = remainder_picture(both, both, take_apart(both, both))
    for band in (7, 17, 26):
        assert picture.first_dbfs[band, 2] == pytest.approx(-20.0, abs=0.1)


def test_what_comes_again_is_distortion_and_what_does_not_is_noise() -> None:
    random = np.random.default_rng(4)
    bent = MUSIC + 0.05 * MUSIC**2
    takes = [held(bent + 1e-4 * random.standard_normal(MUSIC.shape)) for _ in range(2)]
    differences = [take_apart(held(MUSIC), take) for take in takes]
    found = told_apart(held(MUSIC), *takes, *differences)
    stretch, alone = left_of(MUSIC, bent)
    music = MUSIC[stretch.start : stretch.stop]
    assert found.distortion_db == pytest.approx(level_db(alone, music), abs=0.3)
    assert found.noise_db == pytest.approx(-60.0 + 10.0 * np.log10(20.0 / 24.0), abs=0.3)
    only_noise = [held(MUSIC + 1e-3 * random.standard_normal(MUSIC.shape)) for _ in range(2)]
    differences = [take_apart(held(MUSIC), take) for take in only_noise]
    found = told_apart(held(MUSIC), *only_noise, *differences)
    assert found.distortion_db < found.noise_db - 15.0
    assert found.distortion_db < found.distortion_floor_db + 3.0
