"""What is done to a piece to make the second file: numpy, scipy, soxr and soundfile alone."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray
from scipy import signal
from scipy.fft import next_fast_len
from scipy.interpolate import CubicSpline

from tests.battery.pieces import Audio

Complex = NDArray[np.complex128]
RUN_S = 0.5
"""Silence laid around audio while it is filtered, so that what rings does not wrap around."""


def gain(level_db: float) -> float:
    return float(10.0 ** (level_db / 20.0))


# --- linear, steady ---------------------------------------------------------------------------


def filtered(audio: Audio, rate_hz: int, response: Callable[[Audio], Complex]) -> Audio:
    """A response given as a function of frequency, exactly, at the same length."""
    run = round(RUN_S * rate_hz)
    padded = np.pad(audio, [(run, run), (0, 0)])
    hz = np.fft.rfftfreq(len(padded), 1.0 / rate_hz)
    spectrum = np.fft.rfft(padded, axis=0) * response(hz)[:, None]
    return np.fft.irfft(spectrum, len(padded), axis=0)[run : run + len(audio)]


def delayed(audio: Audio, frames: float) -> Audio:
    """Later by any part of a frame, band-limited, with room for it at both ends."""
    room = 64
    padded = np.pad(audio, [(room, room + int(np.ceil(max(frames, 0.0)))), (0, 0)])
    length = next_fast_len(len(padded), real=True)
    turns = np.fft.rfftfreq(length) * frames
    spectrum = np.fft.rfft(padded, length, axis=0) * np.exp(-2j * np.pi * turns)[:, None]
    return np.fft.irfft(spectrum, length, axis=0)[: len(padded)]


def one_pole(audio: Audio, rate_hz: int, corner_hz: float) -> Audio:
    return filtered(audio, rate_hz, lambda hz: 1.0 / (1.0 + 1j * hz / corner_hz))


def all_pass(audio: Audio, rate_hz: int, centre_hz: float, q: float) -> Audio:
    """Second order: its group delay at the centre is 2 Q / (pi centre)."""

    def response(hz: Audio) -> Complex:
        s = 1j * hz / centre_hz
        return (s**2 - s / q + 1.0) / (s**2 + s / q + 1.0)

    return filtered(audio, rate_hz, response)


def resonant(audio: Audio, rate_hz: int, centre_hz: float, q: float, height_db: float) -> Audio:
    """A peak, or with a negative height the dip that takes it away."""
    root = gain(height_db) ** 0.5

    def response(hz: Audio) -> Complex:
        s = 1j * hz / centre_hz
        return (s**2 + s * root / q + 1.0) / (s**2 + s / (root * q) + 1.0)

    return filtered(audio, rate_hz, response)


def turned(channel: Audio) -> Audio:
    """Every frequency by 90 degrees."""
    padded = np.pad(channel, 1 << 15)
    return np.imag(signal.hilbert(padded))[1 << 15 : -(1 << 15)]


# --- cut, repeated, added ---------------------------------------------------------------------


def without(audio: Audio, start: int, frames: int) -> Audio:
    return np.concatenate([audio[:start], audio[start + frames :]])


def doubled(audio: Audio, start: int, frames: int) -> Audio:
    """What sounds from `start` sounds twice."""
    return np.concatenate([audio[: start + frames], audio[start:]])


def silence(audio: Audio, frames: int) -> Audio:
    return np.zeros((frames, audio.shape[1]))


def hiss(audio: Audio, frames: int, level: float, random: np.random.Generator) -> Audio:
    """White noise of a standard deviation, unrelated in the channels."""
    return level * random.standard_normal((frames, audio.shape[1]))


# --- at places --------------------------------------------------------------------------------


def zeroed(audio: Audio, start: int, frames: int) -> Audio:
    result = audio.copy()
    result[start : start + frames] = 0.0
    return result


def clicked(audio: Audio, places: Iterable[int], height: float) -> Audio:
    """One frame raised in each place, in both channels."""
    result = audio.copy()
    for place in places:
        result[place] += height
    return result


def clipped(audio: Audio, starts: Iterable[int], frames: int, by_db: float) -> Audio:
    """In each place for some frames, at so much under the greatest peak there."""
    result = audio.copy()
    for start in starts:
        stretch = result[start : start + frames]
        limit = np.abs(stretch).max() / gain(by_db)
        np.clip(stretch, -limit, limit, out=stretch)
    return result


# --- in time ----------------------------------------------------------------------------------


def faster(audio: Audio, rate_hz: int, percent: float) -> Audio:
    """The whole played faster, and so higher."""
    return soxr.resample(audio, rate_hz * (1.0 + percent / 100.0), rate_hz, quality="VHQ")


def wowed(audio: Audio, rate_hz: int, percent: float, at_hz: float) -> Audio:
    """Speed that swings by so much to either side; it ends where it began."""
    length = next_fast_len(len(audio) + 8192, real=True)
    padded = np.pad(audio, [(4096, length - 4096 - len(audio)), (0, 0)])
    fine = signal.resample(padded, 4 * length, axis=0)
    times = np.arange(len(audio)) / rate_hz
    swing = percent / 100.0 / (2.0 * np.pi * at_hz) * (1.0 - np.cos(2.0 * np.pi * at_hz * times))
    places = 4.0 * ((times + swing) * rate_hz + 4096.0)
    return CubicSpline(np.arange(len(fine)), fine, axis=0)(np.minimum(places, len(fine) - 1.0))


# --- through other formats --------------------------------------------------------------------


def dithered(audio: Audio, bits: int, random: np.random.Generator) -> Audio:
    """Rounded after triangular dither of two steps, as the handbooks have it."""
    step = 2.0 ** (1 - bits)
    return step * np.round(audio / step + random.random(audio.shape) - random.random(audio.shape))


def there_and_back(audio: Audio, rate_hz: int, other_hz: int, quality: str = "VHQ") -> Audio:
    there = soxr.resample(audio, rate_hz, other_hz, quality=quality)
    back = soxr.resample(there, other_hz, rate_hz, quality=quality)
    return np.pad(back, [(0, max(0, len(audio) - len(back))), (0, 0)])[: len(audio)]


def coded(audio: Audio, rate_hz: int, kbit_s: int) -> Audio:
    """MP3 at a constant rate and back, with the gain of the first again."""
    place = io.BytesIO()
    with soundfile.SoundFile(
        place, "w", rate_hz, audio.shape[1], format="MP3", subtype="MPEG_LAYER_III",
        bitrate_mode="CONSTANT", compression_level=(320 - kbit_s) / 288.0,
    ) as file:  # fmt: skip
        file.write(0.8 * audio)
    place.seek(0)
    back, _ = soundfile.read(place, always_2d=True)
    back = np.pad(back, [(0, max(0, len(audio) - len(back))), (0, 0)])[: len(audio)]
    return back * (audio * back).sum() / (back * back).sum()


# --- slow -------------------------------------------------------------------------------------


def ramped(frames: int, rate_hz: int, seconds: float) -> Audio:
    """One in the middle, from and to zero in straight lines; a column."""
    at = np.arange(frames) / rate_hz
    return np.clip(np.minimum(at, at[::-1]) / seconds, 0.0, 1.0)[:, None]


def drifting_gain(audio: Audio, by_db: float) -> Audio:
    """The level moves by so much, evenly, from the first frame to the last."""
    return audio * gain(1.0) ** (by_db * np.linspace(0.0, 1.0, len(audio)))[:, None]


def tone(frames: int, rate_hz: int, hz: float, level_dbfs: float) -> Audio:
    """A sine re a full-scale one; a column."""
    return gain(level_dbfs) * np.sin(2.0 * np.pi * hz * np.arange(frames) / rate_hz)[:, None]
