"""What the battery is made with: textures have what they are for, changes are what they say."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from tests.battery import at_ear, changes, traits
from tests.battery.pieces import TEXTURES, Piece, piece
from tests.battery.textures import RATE_HZ

FRAMES = 1 << 16


def impulse() -> np.ndarray:
    audio = np.zeros((FRAMES, 1))
    audio[FRAMES // 2] = 1.0
    return audio


def response(audio: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies, and the response of what an impulse was made into."""
    spectrum = np.fft.rfft(audio[:, 0]) / np.fft.rfft(impulse()[:, 0])
    return np.fft.rfftfreq(FRAMES, 1.0 / RATE_HZ), spectrum


def at(hz: float, audio: np.ndarray) -> complex:
    grid, spectrum = response(audio)
    return complex(spectrum[np.argmin(np.abs(grid - hz))])


@pytest.mark.parametrize(
    ("name", "pitch", "rhythm", "shares", "silent"),
    [
        ("solo", True, False, True, False),
        ("sparse", False, True, True, True),
        ("wash", False, False, False, False),
        ("shared", True, True, True, False),
    ],
)
def test_a_texture_has_what_it_is_for(
    name: str, pitch: bool, rhythm: bool, shares: bool, silent: bool
) -> None:
    one = piece(name)
    assert (one.frames, one.audio.shape[1]) == (441_000, 2)
    assert np.abs(one.audio[[0, -1]]).max() < 1e-4
    assert traits.has_pitch(one) is pitch
    assert traits.has_rhythm(one) is rhythm
    assert traits.channels_share(one) is shares
    assert (traits.quiet_place(one)[1] < -100.0) is silent


def test_textures_are_the_same_every_time() -> None:
    for make in TEXTURES.values():
        assert np.array_equal(make(2.0), make(2.0))


def test_a_louder_channel_and_a_loud_place_are_found() -> None:
    random = np.random.default_rng(1)
    noise = random.standard_normal((10 * RATE_HZ, 1)) * [[0.02, 0.01]]
    noise[4 * RATE_HZ : 4 * RATE_HZ + 2000] *= 10.0
    noise[7 * RATE_HZ : 7 * RATE_HZ + 20_000] = 0.0
    one = Piece("made", noise, RATE_HZ)
    assert traits.channel_difference_db(one) == pytest.approx(6.02, abs=0.01)
    assert traits.loud_places_s(one)[0] == pytest.approx(4.02, abs=0.04)
    assert 7.1 <= traits.quiet_place(one)[0] <= 7.45
    assert traits.sounds(one, 6.0, 7.0)
    assert not traits.sounds(one, 7.05, 7.4)


def test_the_level_of_a_tone_at_the_ear() -> None:
    """1 kHz has weight one: two channels at -20 dB re a full-scale sine are -17 dB together."""
    tone = changes.tone(5 * RATE_HZ, RATE_HZ, 1000.0, -20.0) @ np.ones((1, 2))
    one = Piece("tone", tone, RATE_HZ)
    assert at_ear.programme_db(one) == pytest.approx(-16.99, abs=0.02)
    assert at_ear.full_scale_db(one, 85.0) == pytest.approx(101.99, abs=0.02)


def test_the_room_has_its_level() -> None:
    """The third-octaves from 25 Hz to 16 kHz, A-weighted and added."""
    hz, level = at_ear.ISO_389_7[:, 0], at_ear.room_third_octaves_db(30.0)
    added = 10.0 * np.log10((10.0 ** ((level + at_ear.a_weighting_db(hz)) / 10.0)).sum())
    assert added == pytest.approx(30.0, abs=0.6)


@pytest.mark.parametrize(("centre_hz", "delay_ms"), [(1000.0, 0.5), (300.0, 1.5), (2000.0, 3.0)])
def test_an_all_pass_delays_by_what_is_said(centre_hz: float, delay_ms: float) -> None:
    q = np.pi * centre_hz * 1e-3 * delay_ms / 2.0
    grid, spectrum = response(changes.all_pass(impulse(), RATE_HZ, centre_hz, q))
    inside = (grid > 20.0) & (grid < 20_000.0)
    assert np.abs(spectrum[inside]) == pytest.approx(1.0, abs=1e-3)
    delay_s = -np.diff(np.unwrap(np.angle(spectrum))) / (2.0 * np.pi * np.diff(grid))
    centre = np.argmin(np.abs(grid - centre_hz))
    assert 1e3 * delay_s[centre] == pytest.approx(delay_ms, rel=0.02)


def test_a_pole_and_a_resonance_are_those_of_the_handbooks() -> None:
    assert abs(at(5000.0, changes.one_pole(impulse(), RATE_HZ, 5000.0))) == pytest.approx(
        0.5**0.5, abs=1e-3
    )
    for height_db in (4.0, -6.0):
        peak = changes.resonant(impulse(), RATE_HZ, 1000.0, 1.0, height_db)
        assert 20.0 * np.log10(abs(at(1000.0, peak))) == pytest.approx(height_db, abs=0.01)
        assert abs(20.0 * np.log10(abs(at(30.0, peak)))) < 0.02


def test_a_delay_and_a_quarter_turn() -> None:
    moved = changes.delayed(impulse(), 10.25)
    assert np.argmax(moved[:, 0]) == FRAMES // 2 + 64 + 10
    tone = np.sin(2.0 * np.pi * 1000.0 * np.arange(FRAMES) / RATE_HZ)
    inner = slice(20_000, 40_000)
    assert changes.turned(tone)[inner] == pytest.approx(
        -np.cos(2.0 * np.pi * 1000.0 * np.arange(FRAMES) / RATE_HZ)[inner], abs=1e-3
    )


def frequency_hz(tone: np.ndarray) -> np.ndarray:
    """From frame to frame, by the phase of the analytic signal."""
    return np.diff(np.unwrap(np.angle(signal.hilbert(tone)))) * RATE_HZ / (2.0 * np.pi)


def test_speed_and_wow_swing_by_what_is_said() -> None:
    tone = np.tile(changes.tone(4 * RATE_HZ, RATE_HZ, 1000.0, -6.0), 2)
    inner = slice(RATE_HZ, -RATE_HZ)
    fast = frequency_hz(changes.faster(tone, RATE_HZ, 0.5)[:, 0])[inner]
    assert fast == pytest.approx(1005.0, abs=0.1)
    wow = frequency_hz(changes.wowed(tone, RATE_HZ, 0.5, 0.7)[:, 0])[inner]
    assert (wow.max(), wow.min()) == pytest.approx((1005.0, 995.0), abs=0.1)


def test_edits_are_as_long_as_they_are_said() -> None:
    ramp = np.arange(1000.0)[:, None]
    assert changes.without(ramp, 100, 7)[:, 0].tolist() == [*range(100), *range(107, 1000)]
    assert changes.doubled(ramp, 100, 3)[98:108, 0].tolist() == [
        98, 99, 100, 101, 102, 100, 101, 102, 103, 104,
    ]  # fmt: skip


def test_dither_has_the_power_of_the_arithmetic() -> None:
    """TPDF and rounding: a quarter of a step squared; -93.3 dB re a full-scale sine at 16 bits."""
    silence = np.zeros((200_000, 1))
    noise = changes.dithered(silence, 16, np.random.default_rng(3))
    assert 10.0 * np.log10(2.0 * (noise**2).mean()) == pytest.approx(-93.32, abs=0.05)


def test_a_coder_of_fewer_bits_leaves_more() -> None:
    one = piece("trio")
    left = [
        ((changes.coded(one.audio, one.rate_hz, rate) - one.audio) ** 2).sum() for rate in (320, 96)
    ]
    power = (one.audio**2).sum()
    assert 10.0 * np.log10(left[0] / power) < -35.0
    assert -30.0 < 10.0 * np.log10(left[1] / power) < -15.0
