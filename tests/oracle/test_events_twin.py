"""The event meter, which passes by what cannot be heard, against its plain twin, which does not."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.hearing.events.meter import EventMeter
from stagefx.hearing.events.scale import band_centres_hz, band_table, curves, fades, line_weights
from stagefx.kernels import events
from tests.oracle.event_twin import EventTwin, worst_db

Array = NDArray[np.float64]
RANDOM = np.random.default_rng(1)
SPL_DB = 95.0


def piece(rate_hz: int) -> Array:
    """Bursts that ring out into silence, two seconds, two channels."""
    late = np.arange(2 * rate_hz)
    music = np.zeros((len(late), 2))
    for start in (0.2, 0.9, 1.5):
        since = late / rate_hz - start
        sounding = np.where(since >= 0.0, np.exp(-np.maximum(since, 0.0) / 0.1), 0.0)
        music += 0.1 * sounding[:, None] * RANDOM.standard_normal(music.shape)
    return music


def spoiled(music: Array, rate_hz: int) -> dict[str, Array]:
    """The same with one fault each."""
    late = np.arange(len(music))
    clicked, holed, clipped = music.copy(), music.copy(), music.copy()
    clicked[[round(0.7 * rate_hz), round(1.2 * rate_hz)], 0] += 0.05
    holed[round(0.92 * rate_hz) : round(0.93 * rate_hz)] = 0.0
    burst = slice(round(1.5 * rate_hz), round(1.7 * rate_hz))
    clipped[burst] = np.clip(music[burst], -0.03, 0.03)
    hissing = music + 1e-3 * RANDOM.standard_normal(music.shape)
    humming = clicked + 1e-3 * np.sin(2.0 * np.pi * 100.0 * late / rate_hz)[:, None]
    return {
        "clicks": clicked, "hole": holed, "clipping": clipped, "hiss": hissing, "hum": humming,
    }  # fmt: skip


@pytest.mark.parametrize("rate_hz", [44100, 48000])
@pytest.mark.parametrize("fault", ["clicks", "hole", "clipping", "hiss", "hum"])
def test_the_meter_finds_what_its_twin_finds(rate_hz: int, fault: str) -> None:
    """To 0.2 dB: means of what is steady are not worked out closely where nothing is near."""
    music = piece(rate_hz)
    second = spoiled(music, rate_hz)[fault]
    twin = EventTwin(rate_hz, SPL_DB)
    excess = np.max(
        [
            twin.channel(one, other, other - one)
            for one, other in zip(music.T, second.T, strict=True)
        ],
        axis=0,
    )
    meter = EventMeter(rate_hz, 2, SPL_DB)
    meter.add(music, second, second - music)
    found = meter.account()
    assert found.worst_db is not None
    assert abs(found.worst_db - worst_db(excess)) < 0.2
    hot = np.flatnonzero(excess >= 10.0**0.6)
    begins = hot[np.diff(hot, prepend=-1000) >= 20] * twin.hop_s
    for at_s in begins:
        assert min(abs(at_s - one) for one in found.at_s) < 0.01


def test_frames_and_bands_of_the_kernels_are_the_twin_s() -> None:
    """Sine, noise and a steep ramp: each frame's energy in each band."""
    twin, late = EventTwin(44100, SPL_DB), np.arange(8820)
    sound = 0.1 * np.sin(0.3 * late) + 1e-4 * late + 1e-3 * RANDOM.standard_normal(len(late))
    expected = twin.energies(twin.spectra(sound))
    padded = np.concatenate([np.zeros(twin.hop), sound, np.zeros(twin.width)])
    frames = np.zeros((len(expected), twin.transform))
    assert events.cut_frames(padded, twin.hop, curves(44100), frames) == len(expected)
    seen = np.fft.rfft(frames).view(np.float64)
    lines, bands = line_weights(44100, SPL_DB), band_table(44100, None)
    powers, found = np.empty((2, lines.shape[1])), np.empty(expected.shape)
    events.band_energies(seen, lines, bands, powers, found, 0)
    assert np.allclose(found, expected, rtol=1e-6)
    assert np.allclose(band_centres_hz(44100), twin.centres)
    least = np.where(np.arange(len(found))[:, None] % 2, 0.5, 2.0) * expected
    events.band_energies(seen, lines, bands, powers, least, 1)
    assert np.allclose(least, np.minimum(least, expected), rtol=1e-6)
    assert np.allclose(least[::2], expected[::2], rtol=1e-6)


def test_spreading_and_masking_of_the_kernels_are_the_twin_s() -> None:
    """Loud and soft frames in turn, so that slopes differ and masking reaches both ways."""
    twin, bands = EventTwin(48000, SPL_DB), band_table(48000, None)
    energies = 10.0 ** RANDOM.uniform(-2.0, 9.0, (120, bands.shape[1]))
    energies[:, ::3] = 1e-12
    levels, work = np.empty(energies.shape), np.empty((3, bands.shape[1]))
    wanted = np.ones(len(energies))
    lower = 10.0 ** (-2.7 * 0.5)
    assert events.spread_levels(energies, wanted, bands, lower, work, levels) == len(energies)
    assert events.spread_levels(energies, wanted, bands, lower, work, levels) == 0
    expected = twin.levels_db(energies)
    assert np.allclose(levels * 10.0 / np.log(10.0), expected, atol=1e-9)
    after, before = fades(48000)
    count = len(energies) - (len(after) - 1) - (len(before) - 1)
    masked = np.zeros((count, bands.shape[1]))
    wanted = np.arange(count) % 4
    events.hide(levels, wanted.astype(np.float64), after, before, bands, masked)
    inside = twin.masked(expected)[len(after) - 1 :][:count]
    assert np.allclose(masked[wanted > 0], inside[wanted > 0], rtol=1e-9)
    assert not masked[wanted == 0].any()
    assert np.all(masked_at_least(energies, bands) < twin.masked(expected) * (1.0 + 1e-3))


def masked_at_least(energies: Array, bands: Array) -> Array:
    found = np.empty(energies.shape)
    assert events.hide_at_least(energies, bands, 10.0 ** (-2.7 * 0.5), found) == len(energies)
    return found


def test_what_is_hidden_at_least_is_what_the_nearest_hide() -> None:
    """The frame itself or the one before; the band itself, and a little of both beside it."""
    twin, bands = EventTwin(48000, SPL_DB), band_table(48000, None)
    energies = 10.0 ** RANDOM.uniform(1.0, 9.0, (9, bands.shape[1]))
    slope_db = -24.0 - 230.0 / twin.centres
    around = energies.copy()
    around[:, 1:] += energies[:, :-1] * 10.0 ** (0.05 * slope_db[:-1])
    around[:, :-1] += energies[:, 1:] * 10.0 ** (-2.7 * 0.5)
    around[1:] = np.maximum(around[1:], around[:-1])
    expected = around / 10.0 ** (twin.offset_db / 10.0) + twin.quiet
    assert np.allclose(masked_at_least(energies, bands), expected, rtol=1e-9)


def test_excess_and_medians_of_the_kernels_are_the_twin_s() -> None:
    twin, bands = EventTwin(48000, SPL_DB), band_table(48000, None).shape[1]
    energies, masked = RANDOM.uniform(0.1, 10.0, (2, 80, bands))
    steady = RANDOM.uniform(0.0, 2.0, (2, bands))
    excess = np.empty((2, 80))
    events.exceed(energies, masked, steady, 0.5, np.empty(bands), excess)
    expected = twin.excess(energies, masked, np.repeat(steady[None], 80, axis=0))
    assert np.allclose(excess[0], expected, rtol=1e-12)
    usually = np.empty((2, bands))
    assert events.usual(energies, masked, np.empty(8), usually) == 10
    for found, values in zip(usually, (energies, energies / masked), strict=True):
        means = np.sort(values.reshape(8, 10, bands).mean(axis=1), axis=0)
        assert np.allclose(found, means[4])
    for count in (1, 4, 7):
        middle = np.empty(bands)
        events.medians(energies[:count], np.empty(count), middle)
        assert np.array_equal(middle, np.sort(energies[:count], axis=0)[count // 2])


def test_the_short_filter_and_the_difference_are_the_plain_ones() -> None:
    taps, samples = RANDOM.standard_normal(9), RANDOM.standard_normal(100)
    taps[3] = 0.0
    made = np.empty(92)
    events.filter_short(samples, taps, made)
    assert np.allclose(made, np.convolve(samples, taps, "valid"))
    one, other, apart = RANDOM.standard_normal((3, 5, 8))
    events.difference_of(one, other, 0.7, apart)
    assert np.allclose(apart, other - 0.7 * one)
