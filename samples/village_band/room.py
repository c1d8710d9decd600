"""Where the players sit, and the hall around them."""

from __future__ import annotations

import math

import numpy as np

from .signals import Samples, bins_hz, convolved, frames_in, ratio, times_s, uniform, white

_MICROPHONE_DELAY_S = 0.25e-3


def lay(
    mix: Samples, sound: Samples, *, at_s: float, gain_db: float = 0.0, pan: float = 0.0
) -> None:
    """Add a sound to a stereo mix at `pan`, -1 (left) to 1 (right); a stereo one leans there.

    The far channel is quieter and up to a quarter of a millisecond later, as between two
    microphones a hand apart. What runs past the end of the mix is dropped.
    """
    width = np.broadcast_to(sound.reshape(len(sound), -1), (len(sound), 2))
    angle = (pan + 1.0) * math.pi / 4.0
    for channel, side_gain in enumerate((math.cos(angle), math.sin(angle))):
        lateness_s = _MICROPHONE_DELAY_S * max(0.0, pan if channel == 0 else -pan)
        start = frames_in(at_s + lateness_s)
        kept = min(len(sound), max(0, len(mix) - start))
        heard = ratio(gain_db) * side_gain * width[:kept, channel]
        mix[start : start + kept, channel] += heard


def banded_decay(
    seed: int, *, seconds: float, centres_hz: Samples, decays_s: Samples, levels: Samples
) -> Samples:
    """Noise whose bands die away each at its own pace (60 dB in `decays_s`).

    Neighbouring bands melt into one another, so that no edge is heard or seen.
    """
    frames = frames_in(seconds)
    spectrum = np.fft.rfft(white(seed, frames))
    hz = bins_hz(frames)
    sound = np.zeros(frames)
    octave = np.log2(np.maximum(hz, 1.0))
    for only_this, decay_s, level in zip(np.eye(len(levels)), decays_s, levels, strict=True):
        share = np.interp(octave, np.log2(centres_hz), only_this)
        band = np.fft.irfft(level * share * spectrum, frames)
        sound += band * np.exp(-np.log(1000.0) * times_s(frames) / decay_s)
    return sound


def hall(seed: int, *, decay_s: float, size_s: float) -> Samples:
    """Stereo impulse response of an invented hall, direct sound excluded, energy 1 a channel.

    A few early reflections within `size_s`, then noise that dies away faster the higher it is,
    different in the two channels.
    """
    centres_hz = np.array([30.0, 125.0, 500.0, 1600.0, 4000.0, 8000.0, 16_000.0])
    decays_s = decay_s * np.array([1.1, 1.1, 1.0, 0.9, 0.7, 0.5, 0.35])
    levels = np.array([0.0, 0.8, 1.0, 1.0, 0.9, 0.7, 0.5])
    channels = []
    for channel_seed in (seed, seed + 1):
        tail = banded_decay(
            channel_seed, seconds=decay_s, centres_hz=centres_hz, decays_s=decays_s, levels=levels
        )
        tail *= np.minimum(1.0, times_s(len(tail)) / size_s) ** 2
        strengths = uniform(channel_seed + 50, 8)
        arrivals_s = size_s * (0.2 + 0.8 * uniform(channel_seed + 60, 8))
        early = np.zeros(len(tail))
        for arrival_s, strength in zip(arrivals_s, strengths, strict=True):
            early[frames_in(float(arrival_s))] += strength - 0.3
        tail /= np.sqrt(np.sum(tail**2))
        early /= np.sqrt(np.sum(early**2))
        channels.append(np.sqrt(0.7) * tail + np.sqrt(0.3) * early)
    return np.stack(channels, axis=1)


def in_hall(dry: Samples, impulse: Samples, *, wet_db: float) -> Samples:
    """The mix as heard from a seat: direct sound and the hall's answer."""
    heard = ratio(wet_db) * convolved(dry, impulse)
    heard[: len(dry)] += dry
    return heard
