"""A drum kit: skins, wires and bright cymbals, one stroke at a time."""

from __future__ import annotations

import numpy as np

from .room import banded_decay
from .signals import (
    RATE_HZ,
    Samples,
    between,
    faded,
    filtered,
    frames_in,
    times_s,
    uniform,
    white,
)


def _falling_tone(high_hz: float, low_hz: float, *, fall_s: float, frames: int) -> Samples:
    """A sine that drops from one pitch towards another, as a struck skin does."""
    hz = low_hz + (high_hz - low_hz) * np.exp(-times_s(frames) / fall_s)
    return np.sin(2.0 * np.pi * np.cumsum(hz) / RATE_HZ)


def kick(seed: int) -> Samples:
    """The big drum: a low drop and the beater's knock."""
    frames = frames_in(0.5)
    time_s = times_s(frames)
    skin = _falling_tone(170.0, 47.0, fall_s=0.028, frames=frames) * np.exp(-time_s / 0.11)
    knock = filtered(white(seed, frames) * np.exp(-time_s / 3e-3), between(900.0, 7000.0))[:frames]
    return faded(skin + 0.25 * knock, in_s=0.5e-3, out_s=0.1)


def tom(hz: float, seed: int) -> Samples:
    """A hanging drum: a rounder drop and a stick."""
    frames = frames_in(0.7)
    time_s = times_s(frames)
    skin = _falling_tone(1.5 * hz, hz, fall_s=0.05, frames=frames) * np.exp(-time_s / 0.16)
    stick = filtered(white(seed, frames) * np.exp(-time_s / 4e-3), between(800.0, 9000.0))[:frames]
    return faded(skin + 0.3 * stick, in_s=0.5e-3, out_s=0.15)


def snare(seed: int) -> Samples:
    """The small drum: two modes of its skin and the rattle of the wires below."""
    frames = frames_in(0.4)
    time_s = times_s(frames)
    skin = _falling_tone(240.0, 187.0, fall_s=0.02, frames=frames) * np.exp(-time_s / 0.055)
    skin += 0.5 * np.sin(2.0 * np.pi * 331.0 * time_s) * np.exp(-time_s / 0.04)
    wires = white(seed, frames) * (np.exp(-time_s / 0.012) + 0.45 * np.exp(-time_s / 0.075))
    wires = filtered(wires, between(1200.0, 10_000.0, order=3))[:frames]
    return faded(0.8 * skin + 0.75 * wires, in_s=0.3e-3, out_s=0.1)


def _brightness(hz: Samples) -> Samples:
    """Strength of struck metal by frequency: most of it between 3 and 9 kHz."""
    return np.sqrt(hz / 4000.0) / (1.0 + (hz / 10_000.0) ** 3)


def _metal(seed: int, *, seconds: float, decay_s: float, low_hz: float, modes: int) -> Samples:
    """Struck metal, stereo: a crowd of unrelated modes under a wash that is past telling apart.

    Both the modes and the wash die away sooner the higher they are.
    """
    frames = frames_in(seconds)
    time_s = times_s(frames)
    centres_hz = np.geomspace(low_hz, 20_000.0, 12)
    decays_s = decay_s * (centres_hz / 3000.0) ** -0.45
    levels = _brightness(centres_hz)
    levels[0] = 0.0
    modes_hz = low_hz * (12_000.0 / low_hz) ** uniform(seed, modes)
    mode_decays_s = 1.2 * decay_s * (modes_hz / 3000.0) ** -0.45
    strengths = 2.0 / np.sqrt(modes) * _brightness(modes_hz)
    channels = []
    for channel in range(2):
        sound = banded_decay(
            seed + 10 + channel,
            seconds=seconds,
            centres_hz=centres_hz,
            decays_s=decays_s,
            levels=levels,
        )
        phases = uniform(seed + 20 + channel, modes)
        for mode_hz, mode_decay_s, strength, phase in zip(
            modes_hz, mode_decays_s, strengths, phases, strict=True
        ):
            ringing = strength * np.exp(-np.log(1000.0) * time_s / mode_decay_s)
            sound += ringing * np.sin(2.0 * np.pi * (mode_hz * time_s + phase))
        channels.append(sound)
    return np.stack(channels, axis=1)


def hat(seed: int, *, is_open: bool) -> Samples:
    """The pedal cymbals, tapped shut or left open."""
    seconds, decay_s = (0.6, 1.3) if is_open else (0.16, 0.22)
    metal = _metal(seed, seconds=seconds, decay_s=decay_s, low_hz=2600.0, modes=48)
    return faded(0.5 * metal, in_s=0.2e-3, out_s=seconds / 3)


def ride(seed: int) -> Samples:
    """The riding cymbal: a clear stick over a long quiet wash."""
    metal = _metal(seed, seconds=1.6, decay_s=3.0, low_hz=420.0, modes=60)
    time_s = times_s(len(metal))
    ping = np.exp(-time_s / 0.02) + 0.22 * np.exp(-time_s / 0.6)
    return faded(0.6 * metal * ping[:, np.newaxis], in_s=0.2e-3, out_s=0.5)


def crash(seed: int) -> Samples:
    """The crash cymbal: opens within some milliseconds and rings for seconds."""
    metal = _metal(seed, seconds=3.2, decay_s=3.6, low_hz=400.0, modes=70)
    return faded(metal, in_s=4e-3, out_s=1.2)
