"""Events against what listeners were found to just hear: an excess of 0 dB and some more."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.hearing.events.account import MAY_DB
from stagefx.hearing.events.meter import excess_of

Array = NDArray[np.float64]
RATE_HZ, SPL_DB = 48000, 100.0
NEAR_DB = 9.5
"""Just heard comes to 0 dB, give or take what studies and listeners differ by: below 9.5 dB."""


def peak(spl_db: float) -> float:
    """Peak of a sample at a peak sound pressure level, a full-scale sine being at 100 dB."""
    return float(10.0 ** ((spl_db - SPL_DB) / 20.0) / np.sqrt(2.0))


def excess_db(expected: Array, heard: Array) -> float:
    found = excess_of(expected[:, None], heard[:, None], RATE_HZ, SPL_DB).worst_db
    assert found is not None
    return found


def click_train(rate_hz: float, peak_db: float) -> Array:
    """Square clicks of 0.1 ms (0.104 ms here), for 0.4 s."""
    sound = np.zeros(RATE_HZ // 2)
    for start in np.arange(0.05, 0.45, 1.0 / rate_hz):
        sound[round(start * RATE_HZ) :][:5] = peak(peak_db)
    return sound


def threshold_db(expected: Array, added: Array) -> float:
    """By how much the added sound has to be raised to reach the limit."""
    low, high = -60.0, 80.0
    for _ in range(24):
        middle = 0.5 * (low + high)
        heard = excess_db(expected, expected + added * 10.0 ** (middle / 20.0)) >= MAY_DB
        low, high = (low, middle) if heard else (middle, high)
    return high


def pip(hz: float, length_s: float) -> Array:
    """A tone of 0 dB SPL under a raised cosine."""
    frames = round(length_s * RATE_HZ)
    tone = np.sin(2.0 * np.pi * hz * np.arange(frames) / RATE_HZ) * np.hanning(frames)
    return np.asarray(tone * 10.0 ** (-SPL_DB / 20.0))


def test_clicks_in_quiet() -> None:
    """D. R. Stapells, T. W. Picton, A. D. Smith, "Normal hearing thresholds for clicks", J. Acoust.
    Soc. Am. 72, 1982, 74: 0.1 ms clicks, 10 a second, are just heard at 36.4 dB peak."""
    silence = np.zeros(RATE_HZ // 2)
    at_threshold = excess_db(silence, click_train(10.0, 36.4))
    assert 0.0 <= at_threshold < MAY_DB
    assert excess_db(silence, click_train(10.0, 36.4 - 10.0)) < 0.0
    assert excess_db(silence, click_train(10.0, 36.4 + 10.0)) > MAY_DB


def test_clicks_come_nearer_to_threshold_as_more_come_in_a_second() -> None:
    """The same: 4.5 dB for ten times as many, 5 to 80 a second; here within a decibel."""
    silence = np.zeros(RATE_HZ // 2)
    few, many = (threshold_db(silence, click_train(rate, 30.0)) for rate in (8.0, 80.0))
    assert abs((few - many) - 4.5) < 1.0


def test_two_looks_are_better_than_one() -> None:
    """N. F. Viemeister, G. H. Wakefield, J. Acoust. Soc. Am. 90, 1991, 858 (from memory): two
    pulses that lie further than 5 to 10 ms apart are heard at levels 1.5 dB lower than one."""
    silence = np.zeros(RATE_HZ // 2)
    one = silence.copy()
    one[10_000] = peak(30.0)
    for apart_ms in (20, 50, 100):
        two = one + np.roll(one, apart_ms * RATE_HZ // 1000)
        assert abs(threshold_db(silence, one) - threshold_db(silence, two) - 1.5) < 0.3


@pytest.mark.parametrize("place", [0.3, 0.5])
def test_gaps_in_noise(place: float) -> None:
    """K. B. Snell, H. L. Hu, "The effect of temporal placement on gap detectability", J. Acoust.
    Soc. Am. 97, 1995, 3409 (abstract): in bursts of 150 ms of noise up to 6 kHz at 75 dB SPL, with
    edges of 1 ms, a gap of 2.0 ms is just heard away from the onset."""
    found = {}
    for gap_ms in (0.5, 2.0, 4.0):
        found[gap_ms] = np.median([gap_db(gap_ms, place, seed) for seed in range(12)])
    assert found[0.5] < MAY_DB
    assert MAY_DB <= found[2.0] < NEAR_DB
    assert found[4.0] > 12.0


def gap_db(gap_ms: float, place: float, seed: int) -> float:
    """A burst with a gap, against the burst."""
    frames, margin = RATE_HZ * 150 // 1000, 4800
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(frames))
    spectrum[np.fft.rfftfreq(frames, 1.0 / RATE_HZ) > 6000.0] = 0.0
    burst = np.fft.irfft(spectrum, frames)
    burst *= peak(75.0) / burst.std()
    ends = np.minimum(np.arange(frames), np.arange(frames)[::-1]) / (0.01 * RATE_HZ)
    burst *= np.sin(0.5 * np.pi * np.minimum(ends, 1.0)) ** 2
    open_ = np.ones(frames)
    start = round(place * frames)
    open_[start : start + round(gap_ms * RATE_HZ / 1000.0)] = 0.0
    edge = np.hanning(RATE_HZ // 1000 + 2)
    gated = burst * np.convolve(open_, edge / edge.sum(), "same")
    gated[: margin // 8], gated[-margin // 8 :] = burst[: margin // 8], burst[-margin // 8 :]
    silence = np.zeros(margin)
    expected, heard = (np.concatenate([silence, one, silence]) for one in (burst, gated))
    return excess_db(expected, heard)


def after_noise(masker_db: float, delay_ms: float) -> float:
    """Level at which a tone of 4 kHz, 10 ms, reaches the limit after 0.2 s of noise."""
    noise = np.zeros(RATE_HZ)
    chance = np.random.default_rng(1)
    noise[4800:14400] = peak(masker_db) * chance.standard_normal(9600)
    added, tone = np.zeros(RATE_HZ), pip(4000.0, 0.01)
    start = 14400 + round(delay_ms * RATE_HZ / 1000.0)
    added[start : start + len(tone)] = tone
    return threshold_db(noise, added)


def test_forward_masking_is_over_after_a_fifth_of_a_second() -> None:
    """R. Plomp, "Rate of decay of auditory sensation", J. Acoust. Soc. Am. 36, 1964, 277 (from
    memory): whatever the level, it has fallen to the threshold in quiet after 200 to 300 ms."""
    quiet = after_noise(-40.0, 200.0)
    for masker_db in (50.0, 70.0, 90.0):
        assert abs(after_noise(masker_db, 200.0) - quiet) < 1.0
        assert after_noise(masker_db, 2.0) > quiet + 6.0


def test_forward_masking_goes_with_level_and_the_logarithm_of_delay() -> None:
    """W. Jesteadt, S. P. Bacon, J. R. Lehman, "Forward masking as a function of frequency, masker
    level, and signal delay", J. Acoust. Soc. Am. 71, 1982, 950: proportional to both in decibels,
    so that 20 dB of masker do less than 20 dB, and the less the later."""
    grown = [
        after_noise(90.0, delay) - after_noise(70.0, delay) for delay in (5.0, 10.0, 20.0, 40.0)
    ]
    assert grown[0] < 20.0
    assert np.all(np.diff(grown) < 0.0)
    masked = [after_noise(90.0, delay) for delay in (5.0, 10.0, 20.0, 40.0)]
    steps = -np.diff(masked)
    assert np.all(steps > 4.0)
    assert np.ptp(steps) < 5.0


def test_backward_masking_is_short() -> None:
    """L. L. Elliott, "Backward and forward masking of probe tones of different frequencies",
    J. Acoust. Soc. Am. 34, 1962, 1116 (from memory): strong at 1 ms, small at 10, over by 25."""
    noise, length = np.zeros(RATE_HZ), RATE_HZ // 200
    noise[24_000:33_600] = peak(80.0) * np.random.default_rng(2).standard_normal(9600)

    def before(delay_ms: float) -> float:
        added, stop = np.zeros(RATE_HZ), 24_000 - round(delay_ms * RATE_HZ / 1000.0)
        added[stop - length : stop] = pip(2000.0, 0.005)
        return threshold_db(noise, added)

    quiet = before(100.0)
    assert before(1.0) > quiet + 10.0
    assert quiet - 1.0 < before(10.0) < quiet + 10.0
    assert abs(before(25.0) - quiet) < 1.0
