"""Plucked and bowed strings, and a pad of many soft strings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .score import Note
from .signals import RATE_HZ, Samples, between, faded, filtered, frames_in, smoothed, times_s, white

HIGHEST_HZ = 19_500.0
"""No harmonic is drawn above this, so none folds back."""


def plucked(
    hz: float,
    seconds: float,
    *,
    ring_s: float,
    damping_hz: float,
    finger_hz: float,
    nail: float,
    seed: int,
    pluck_at: float = 0.17,
) -> Samples:
    """A plucked string: a loop of string whose every turn loses treble first.

    The loop (a Karplus-Strong string) is not run but solved: the waveform of turn m is the first
    one with its harmonics scaled by m turns' losses, all turns in one FFT. Pitch is exact, since
    time is read off the turns at any fraction.

    Parameters
    ----------
    hz, seconds : float
        Pitch, and how long the string is left to ring.
    ring_s : float
        Time in which the lowest harmonics fall by 60 dB.
    damping_hz : float
        Harmonics at this frequency die twice as fast as the lowest.
    finger_hz : float
        Above it the softness of the fingertip takes treble away.
    nail : float
        Level of the nail's click.
    seed : int
        Of the click.
    pluck_at : float
        Place of the pluck, as a share of the string's length.
    """
    harmonic = np.arange(1, int(HIGHEST_HZ / hz) + 1)
    strength = np.sin(np.pi * harmonic * pluck_at) / harmonic
    strength /= np.hypot(1.0, harmonic * hz / finger_hz)
    loss_per_turn = np.log(1000.0) / (ring_s * hz) * (1.0 + (harmonic * hz / damping_hz) ** 1.5)

    turns = int(seconds * hz) + 2
    points = 1 << (16 * len(harmonic)).bit_length()
    spectrum = np.zeros((turns, points // 2 + 1), dtype=np.complex128)
    spectrum[:, harmonic] = (
        -0.5j * points * strength * np.exp(-np.outer(np.arange(turns), loss_per_turn))
    )
    waveforms = np.fft.irfft(spectrum, points, axis=1)

    frames = frames_in(seconds)
    turn, along = np.divmod(times_s(frames) * hz, 1.0)
    row = turn.astype(np.intp)
    left, fraction = np.divmod(along * points, 1.0)
    here = left.astype(np.intp)
    after = (here + 1) % points
    now = waveforms[row, here] * (1.0 - fraction) + waveforms[row, after] * fraction
    later = waveforms[row + 1, here] * (1.0 - fraction) + waveforms[row + 1, after] * fraction
    string = now * (1.0 - along) + later * along
    click = white(seed, frames) * np.exp(-times_s(frames) / 1.5e-3)
    return faded(string + nail * click, in_s=0.4e-3, out_s=min(0.08, seconds / 4))


def bowed(notes: Sequence[Note], *, beat_s: float, seconds: float, seed: int) -> Samples:
    """A line on one bowed string: the slipping string's sawtooth, vibrato, and the bow's rustle.

    Pitch glides for some twenty milliseconds between notes; every note is swelled a little and
    gets its vibrato late, as a player's hand does.
    """
    frames = frames_in(seconds)
    time_s = times_s(frames)
    semitones = np.full(frames, 12.0 * np.log2(notes[0].hz / 440.0))
    loudness = np.zeros(frames)
    vibrato = np.zeros(frames)
    for note in notes:
        start, end = frames_in(note.beat * beat_s), frames_in((note.beat + note.beats) * beat_s)
        semitones[start:] = 12.0 * np.log2(note.hz / 440.0)
        place = np.linspace(0.0, 1.0, end - start)
        breath_frames = frames_in(0.03)
        loudness[start : end - breath_frames] = (0.62 + 0.38 * np.sin(np.pi * place**0.7))[
            : end - start - breath_frames
        ]
        vibrato[start:end] = np.clip((time_s[: end - start] - 0.12) / 0.3, 0.0, 1.0)
    loudness = smoothed(loudness, frames_in(0.07))
    wander = smoothed(white(seed, frames // 4410 + 2), 3)
    wander = np.interp(time_s * 10.0, np.arange(len(wander)), wander)
    semitones = smoothed(semitones, frames_in(0.025)) + 0.03 * wander
    semitones += 0.22 * vibrato * np.sin(2.0 * np.pi * 5.6 * time_s + 0.4 * wander)
    hz = 440.0 * 2.0 ** (semitones / 12.0)
    phase = 2.0 * np.pi * np.cumsum(hz) / RATE_HZ

    string = np.zeros(frames)
    for harmonic in range(1, int(HIGHEST_HZ / hz.min()) + 1):
        # A harmonic fades out over the last kilohertz below the limit instead of stopping dead.
        room = np.clip((HIGHEST_HZ - harmonic * hz) / 1000.0, 0.0, 1.0)
        # Soft bowing rounds the corner of the sawtooth: treble grows with loudness.
        rounding = np.exp(-harmonic * hz / 14_000.0 * (1.6 - loudness))
        string += room * rounding / harmonic * np.sin(harmonic * phase)
    slip = 0.4 + 0.6 * (0.5 + 0.5 * np.cos(phase)) ** 2
    rustle = filtered(white(seed + 1, frames), between(1800.0, 16_000.0))[:frames] * slip
    return loudness * (string + 0.035 * rustle)


def pad(chord_hz: Sequence[float], seconds: float, *, swell_s: float, seed: int) -> Samples:
    """A quiet chord of soft strings, stereo: every voice twice a channel, slightly mistuned."""
    frames = frames_in(seconds)
    time_s = times_s(frames)
    points = 2048
    table_place = np.arange(points + 1) * 2.0 * np.pi / points
    sound = np.zeros((frames, 2))
    for voice, hz in enumerate(chord_hz):
        harmonic = np.arange(1, 25)[:, np.newaxis]
        softness = np.exp(-harmonic * hz / 900.0) / harmonic
        table = np.sum(softness * np.sin(harmonic * table_place), axis=0)
        for channel in range(2):
            for player in range(2):
                cents, start = white(seed + 16 * voice + 2 * channel + player, 2)
                turns = time_s * hz * 2.0 ** (4.0 * cents / 1200.0) + start
                place = (turns % 1.0) * points
                sound[:, channel] += np.interp(place, np.arange(points + 1), table)
    return faded(sound, in_s=swell_s, out_s=swell_s)
