"""A recording of a test signal on the signal's own clock: the markers at both ends tell it.

Nothing is resampled.  A test signal is a formula of time, so that what was played is written
again on the recording's clock instead, at its delay and its speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.errors import MeasuringError
from stagefx.bench.measure.sines import transform_length
from stagefx.bench.signals.plan import test_signals
from stagefx.bench.signals.signal import LEAD_S, MARKER_S, TestSignal, marker_wave
from stagefx.io.recording import Recording

Array = NDArray[np.float64]

MOST_DRIFT = 1e-3
"""Beyond a thousandth, the recording was not made at the signal's rate."""
LEAST_LIKENESS = 0.4
"""Correlation with the marker below which something else was recorded."""
_ROUNDS = 3
_LEAST_BAND_HZ, _MOST_BAND_HZ = 600.0, 8000.0
"""Where the marker's phase tells its delay: well inside its own band."""


@dataclass(frozen=True)
class Synchronised:
    """A recording whose every frame has its time in the test signal."""

    signal: TestSignal
    place: str
    samples: Array
    delay_s: float
    speed: float
    polarity: int

    @property
    def rate_hz(self) -> float:
        """Frames of the recording in a second of the signal's clock."""
        return self.signal.rate_hz * self.speed

    @property
    def drift_ppm(self) -> float:
        """By how much the recorder's clock runs fast."""
        return 1e6 * (self.speed - 1.0)

    @property
    def delay_frames(self) -> float:
        """The delay in frames of the recording."""
        return self.delay_s * self.signal.rate_hz

    def stretch(self, start_s: float, stop_s: float, channel: int) -> tuple[Array, Array]:
        """Part of the recording, with the signal's time at each frame."""
        first = math.ceil(self.delay_frames + start_s * self.rate_hz)
        last = math.floor(self.delay_frames + stop_s * self.rate_hz)
        first, last = max(first, 0), min(last, len(self.samples))
        times = (np.arange(first, last, dtype=np.float64) - self.delay_frames) / self.rate_hz
        return times, self.samples[first:last, channel]


def synchronise(signal: TestSignal, captured: Recording) -> Synchronised:
    """Find a test signal in a recording by its two markers."""
    _check_format(signal, captured)
    samples = captured.read(0, captured.format.frames)
    if not np.abs(samples).max(initial=0.0) > 0.0:
        raise MeasuringError(
            f"{captured.place} is silent; check the input that was recorded, and its level"
        )
    likeness = _likeness(signal, samples)
    channel, first, second = _markers(signal, captured, likeness)
    polarity = 1 if likeness[channel][first] > 0.0 else -1
    row = polarity * samples[:, channel]
    apart_frames = (signal.markers_s[1] - signal.markers_s[0]) * signal.rate_hz
    speed = 1.0
    for _ in range(2):  # a chirp played faster seems to come at another time
        begin = _exact_start(signal, row, first, speed)
        end = _exact_start(signal, row, second, speed)
        speed = (end - begin) / apart_frames
    delay_s = begin / signal.rate_hz - LEAD_S * speed
    return Synchronised(signal, captured.place, polarity * samples, delay_s, speed, polarity)


def _check_format(signal: TestSignal, captured: Recording) -> None:
    rate_hz, channels = captured.format.rate_hz, captured.format.channels
    if rate_hz != signal.rate_hz:
        raise MeasuringError(
            f"{captured.place} has {rate_hz} Hz and {signal.name} was made for {signal.rate_hz} Hz;"
            f" record at {signal.rate_hz} Hz, or make signals with --rate {rate_hz}"
        )
    if channels > 2:
        raise MeasuringError(
            f"{captured.place} has {channels} channels; record the left and the right one only"
        )


def _likeness(signal: TestSignal, samples: Array) -> list[Array]:
    """Correlation with the marker, -1 to 1, for a marker that begins at each frame."""
    marker = marker_wave(
        np.arange(round(MARKER_S * signal.rate_hz)) / signal.rate_hz, signal.rate_hz
    )
    found = []
    length = transform_length(len(samples) + len(marker))
    of_marker = np.fft.rfft(marker, length).conj()
    for row in samples.T:
        level = row - row.mean()
        across = np.fft.irfft(np.fft.rfft(level, length) * of_marker, length)
        across = across[: max(len(row) - len(marker) + 1, 0)]
        total = np.concatenate([[0.0], np.cumsum(np.square(level))])
        power = total[len(marker) :] - total[: -len(marker)]
        least = 1e-9 * float(total[-1]) * len(marker) / len(row)
        found.append(
            across / np.sqrt(np.maximum(power[: len(across)], least) * np.square(marker).sum())
        )
    return found


def _markers(
    signal: TestSignal, captured: Recording, likeness: list[Array]
) -> tuple[int, int, int]:
    """The channel in which the markers are clearest, and the frames at which they begin."""
    if not len(likeness[0]):
        raise _too_short(signal, captured)
    places = [_peaks(np.abs(row)) for row in likeness]
    found = _pair(signal, likeness, places)
    if found is not None:
        return found
    if not any(places):
        raise MeasuringError(
            f"{captured.place} holds no marker of {signal.name}; record while {signal.name}.wav "
            "plays, from before its beginning to after its end, without effects or noise reduction"
        )
    for other in test_signals(signal.rate_hz):
        if other.name != signal.name and _pair(other, likeness, places) is not None:
            raise MeasuringError(
                f"{captured.place} is a recording of {other.name}, not of {signal.name}; give the "
                "recording that belongs to what was played"
            )
    apart_s = signal.markers_s[1] - signal.markers_s[0]
    if captured.format.duration_s < 0.999 * apart_s:
        raise _too_short(signal, captured)
    raise MeasuringError(
        f"{captured.place} holds only one marker of {signal.name} where there should be two, "
        f"{apart_s:.3f} s apart; record the whole signal, at the speed it is played"
    )


def _pair(
    signal: TestSignal, likeness: list[Array], places: list[list[int]]
) -> tuple[int, int, int] | None:
    """The clearest two markers that are as far apart as a signal's: channel, and their frames."""
    apart = (signal.markers_s[1] - signal.markers_s[0]) * signal.rate_hz
    slack = math.ceil(MOST_DRIFT * apart)
    best, clearest = None, LEAST_LIKENESS
    for channel, row in enumerate(likeness):
        for first in places[channel]:
            begin = first + round(apart) - slack
            after = row[max(begin, 0) : begin + 2 * slack + 1] * np.sign(row[first])
            if not len(after):
                continue
            second = max(begin, 0) + int(np.argmax(after))
            worse = min(abs(float(row[first])), float(after.max()))
            if worse > clearest:
                best, clearest = (channel, first, second), worse
    return best


def _too_short(signal: TestSignal, captured: Recording) -> MeasuringError:
    return MeasuringError(
        f"{captured.place} is {captured.format.duration_s:.3g} s long, too short for {signal.name},"
        f" which lasts {signal.frames / signal.rate_hz:.3g} s; record all of it"
    )


def _peaks(height: Array, most: int = 24) -> list[int]:
    """The highest places, a marker's length apart from each other at least."""
    left = height.copy()
    reach = max(len(height) // 2000, 64)
    found = []
    for _ in range(most):
        place = int(np.argmax(left))
        if left[place] < LEAST_LIKENESS:
            break
        found.append(place)
        left[max(place - reach, 0) : place + reach + 1] = 0.0
    return found


def _exact_start(signal: TestSignal, row: Array, start: int, speed: float) -> float:
    """Where a marker begins, to a small part of a frame, by the slope of its phase."""
    rate_hz = signal.rate_hz
    reach = round(0.01 * rate_hz)
    begin = max(start - reach, 0)
    heard = row[begin : start + round(MARKER_S * rate_hz) + reach]
    length = transform_length(len(heard))
    spectrum = np.fft.rfft(heard, length)
    hz = np.fft.rfftfreq(length, 1.0 / rate_hz)
    inside = (hz >= _LEAST_BAND_HZ) & (hz <= min(_MOST_BAND_HZ, 0.3 * rate_hz))
    at = float(start)
    for _ in range(_ROUNDS):
        times = (np.arange(begin, begin + len(heard), dtype=np.float64) - at) / (rate_hz * speed)
        expected = marker_wave(times, rate_hz)
        across = (spectrum * np.fft.rfft(expected, length).conj())[inside]
        # The slope of a line with an offset: the stage may turn all phases alike.
        phase, weight = np.unwrap(np.angle(across)), np.abs(across)
        omega = 2.0 * np.pi * hz[inside] / rate_hz
        middle = (weight * omega).sum() / weight.sum()
        spread = (weight * (omega - middle) ** 2).sum()
        at -= float((weight * (omega - middle) * phase).sum() / spread)
    return at
