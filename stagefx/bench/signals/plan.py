"""Which test signals there are: each answers one question, and its name says which."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from stagefx.bench.errors import MeasuringError
from stagefx.bench.signals.passages import Passage, Ramp, Silence, Sweep, Tones
from stagefx.bench.signals.signal import GAP_S, LEAD_S, MARKER_S, TestSignal
from stagefx.errors import nearest

RATES_HZ = (44100, 48000, 88200, 96000, 176400, 192000)
USUAL_RATE_HZ = 48000

LEVEL_DB = -12.0
QUIET_DB = -20.0
LOUD_DB = -3.0
"""Sweeps and stepped tones: loud enough for distortion, below a converter's own clipping."""
TWO_TONE_PEAK_DB = -1.0
QUIET_TWO_TONE_DB = -21.0
"""The same tones where nothing limits: what the loud ones are held against."""
LEVELS_DB = (-60.0, -50.0, -40.0, -30.0, -20.0, -10.0, -6.0, -3.0, -1.0, 0.0)
CODE_WALKING_HZ = 997.0
"""AES17: a prime, which visits most codes of a converter at 44.1 and 48 kHz."""

QUIET_SQUARE_DB, SQUARE_DB = -23.0, -3.0
SLOW_SQUARE_HZ, QUICK_SQUARE_HZ = 50.0, 1000.0
RAMP_HZ = 300.0
HIGHEST_SHARE = 0.45
"""Share of the rate up to which converters pass everything."""
SWEEP_LOW_HZ = 2.0
SWEEP_HIGHEST_SHARE = 0.49
_HIGHEST_PEAK = 1.0 - 2.0**-21
"""Room for the dither of 24 bits."""
OCTAVES_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)

DIM_SQUARE_HZ, DIM_SINE_HZ, DIM_POLE_HZ = 3150.0, 15000.0, 30e3
"""IEC 60268-3, 14.12.9: a square wave of 3.15 kHz and a sine of 15 kHz, 4 to 1 peak to peak; the
square through one pole at 30 kHz."""
DIM_SLOPE_PER_S = 2.0 * math.pi * (8.0 * DIM_POLE_HZ + DIM_SINE_HZ) / 5.0
"""The steepest slope of the whole signal per volt of its peak: 0.320 V/µs."""


def test_signals(rate_hz: int) -> tuple[TestSignal, ...]:
    """All test signals for one sampling rate.

    Parameters
    ----------
    rate_hz : int, Hz
        One of `RATES_HZ`.

    Returns
    -------
    tuple of TestSignal
        In the order in which they are best played.

    Raises
    ------
    MeasuringError
        Another rate.

    Examples
    --------
    >>> signals = test_signals(48000)
    >>> len(signals), signals[1].name, round(sum(s.frames for s in signals) / 48000)
    (14, '02-sweep', 159)
    """
    if rate_hz not in RATES_HZ:
        known = ", ".join(map(str, RATES_HZ))
        raise MeasuringError(f"test signals are not made for {rate_hz} Hz; choose one of {known}")
    return tuple(
        TestSignal(name, purpose, rate_hz, tuple(_in_row(make(rate_hz))), note(rate_hz))
        for name, (purpose, make, note) in _PLAN.items()
    )


test_signals.__test__ = False  # type: ignore[attr-defined]  # its name looks like a test's


def signal_named(name: str, rate_hz: int = USUAL_RATE_HZ) -> TestSignal:
    """One test signal by its name."""
    named = {signal.name: signal for signal in test_signals(rate_hz)}
    if name not in named:
        raise MeasuringError(f"no test signal '{name}'{nearest(name, named)}")
    return named[name]


Make = Callable[[int], Iterator[Passage]]


def _in_row(passages: Iterator[Passage]) -> Iterator[Passage]:
    """Passages one after another, all gaps being within them."""
    at = LEAD_S + MARKER_S + GAP_S
    for passage in passages:
        yield replace(passage, start_s=at + passage.start_s)  # type: ignore[type-var]
        at += passage.start_s + passage.duration_s


def peak(level_db: float) -> float:
    """The peak of a sine of a level."""
    return float(min(10.0 ** (level_db / 20.0), _HIGHEST_PEAK))


def _tone(
    hz: float,
    level_db: float,
    duration_s: float,
    *,
    gains: tuple[float, float] = (1.0, 1.0),
    gap_s: float = 0.0,
) -> Tones:
    return Tones(gap_s, duration_s, (hz,), (peak(level_db),), gains)


def _level(_: int) -> Iterator[Passage]:
    yield _tone(1000.0, LEVEL_DB, 5.0)


def _sweep(rate_hz: int) -> Iterator[Passage]:
    high_hz = SWEEP_HIGHEST_SHARE * rate_hz
    yield Sweep(0.0, 8.0, SWEEP_LOW_HZ, high_hz, peak(QUIET_DB))
    yield Sweep(1.0, 12.0, SWEEP_LOW_HZ, high_hz, peak(LOUD_DB))
    yield Silence(0.0, 0.5)


def third_octaves_hz(highest_hz: float) -> tuple[float, ...]:
    """Exact third octaves from 20 Hz on, in base ten."""
    series = (1000.0 * 10.0 ** (n / 10.0) for n in range(-17, 14))
    return tuple(hz for hz in series if hz <= highest_hz)


def _stepped(rate_hz: int) -> Iterator[Passage]:
    for hz in third_octaves_hz(HIGHEST_SHARE * rate_hz + 200.0):
        yield _tone(hz, LOUD_DB, 1.4 if hz < 90.0 else 0.6)


def _levels(_: int) -> Iterator[Passage]:
    for level_db in LEVELS_DB:
        lasts_s = 3.5 if level_db <= -60.0 else 2.0 if level_db < -20.0 else 1.0
        yield _tone(CODE_WALKING_HZ, level_db, lasts_s)


def _two(hz: tuple[float, float], shares: tuple[float, float], level_db: float) -> Tones:
    whole = peak(level_db)
    return Tones(0.0, 2.5, hz, (whole * shares[0], whole * shares[1]))


def _modulation(_: int) -> Iterator[Passage]:
    yield _two((60.0, 7000.0), (0.8, 0.2), TWO_TONE_PEAK_DB)


def _close_tones(_: int) -> Iterator[Passage]:
    for level_db in (QUIET_TWO_TONE_DB, TWO_TONE_PEAK_DB):
        yield _two((19e3, 20e3), (0.5, 0.5), level_db)


def _total_difference(_: int) -> Iterator[Passage]:
    yield _two((8e3, 11.95e3), (0.5, 0.5), TWO_TONE_PEAK_DB)


def _dim(rate_hz: int) -> Iterator[Passage]:
    hz, amplitudes = dim_partials(rate_hz)
    for level_db in (QUIET_TWO_TONE_DB, TWO_TONE_PEAK_DB):
        whole = peak(level_db) / _crest(hz, amplitudes)
        yield Tones(0.0, 2.5, hz, tuple(whole * one for one in amplitudes))


def dim_partials(rate_hz: float) -> tuple[tuple[float, ...], tuple[complex, ...]]:
    """The partials of the DIM-30 signal that a sampling rate can carry.

    IEC 60268-3, 14.12.9; the pole of 30 kHz from memory.
    """
    orders = range(1, int(HIGHEST_SHARE * rate_hz / DIM_SQUARE_HZ) + 1, 2)
    hz = tuple(DIM_SQUARE_HZ * n for n in orders)
    square = tuple(
        16.0 / math.pi / n / (1.0 + 1j * DIM_SQUARE_HZ * n / DIM_POLE_HZ) for n in orders
    )
    return (*hz, DIM_SINE_HZ), (*square, 1.0 + 0.0j)


def _squares(rate_hz: int) -> Iterator[Passage]:
    highest_hz = HIGHEST_SHARE * rate_hz
    yield square(SLOW_SQUARE_HZ, peak(SQUARE_DB), 2.0, highest_hz=highest_hz)
    for level_db in (QUIET_SQUARE_DB, SQUARE_DB):
        yield square(QUICK_SQUARE_HZ, peak(level_db), 1.5, highest_hz=highest_hz)


def square(hz: float, height: float, duration_s: float, *, highest_hz: float) -> Tones:
    """A square wave without partials above a limit, its ripple smoothed away."""
    last = int(min(highest_hz, 20e3) / hz)
    orders = range(1, last + 1, 2)
    beyond = last + 1 + last % 2

    def amplitude(n: int) -> float:
        x = math.pi * n / beyond
        return height * 4.0 / (math.pi * n) * math.sin(x) / x

    return Tones(
        0.0, duration_s, tuple(hz * n for n in orders), tuple(amplitude(n) for n in orders)
    )


def _ramp(_: int) -> Iterator[Passage]:
    yield Ramp(0.0, 7.0, RAMP_HZ, peak(0.0), 1.0)


def _silence(_: int) -> Iterator[Passage]:
    yield Silence(0.0, 10.0)


def _octaves(gains: tuple[float, float]) -> Make:
    def make(_: int) -> Iterator[Passage]:
        for hz in OCTAVES_HZ:
            yield _tone(hz, LOUD_DB, 0.8 if hz < 200.0 else 0.6, gains=gains)

    return make


def _nothing(_: int) -> str:
    return ""


def _dim_note(rate_hz: int) -> str:
    hz, amplitudes = dim_partials(rate_hz)
    slopes = tuple(2.0 * math.pi * one * a for one, a in zip(hz, amplitudes, strict=True))
    share = _crest(hz, slopes) / _crest(hz, amplitudes) / DIM_SLOPE_PER_S
    return (
        f"At {rate_hz / 1e3:g} kHz the square keeps its partials up to {hz[-2] / 1e3:g} kHz: its "
        f"steepest slope is {100.0 * share:.0f} % of the full DIM-30 signal's, so it is the "
        "gentler test"
    )


def _crest(hz: tuple[float, ...], amplitudes: tuple[complex, ...]) -> float:
    """The highest point of a sum of sines of multiples of 150 Hz."""
    spectrum = np.zeros(1 << 14, dtype=np.complex128)
    for one, amplitude in zip(hz, amplitudes, strict=True):
        spectrum[round(one / 150.0)] += amplitude
    waves = np.fft.ifft(spectrum) * len(spectrum)
    return float(np.abs(waves.imag).max())


_PLAN: dict[str, tuple[str, Make, Callable[[int], str]]] = {
    "01-level-1khz": ("Sets levels, and gives gain and balance.", _level, _nothing),
    "02-sweep": (
        "Gives the response, quietly, and then harmonics at every frequency, loudly.",
        _sweep,
        _nothing,
    ),
    "03-stepped": ("Gives distortion tone by tone, in third octaves.", _stepped, _nothing),
    "04-levels-997hz": (
        "Gives distortion against level, and the dynamic range.",
        _levels,
        _nothing,
    ),
    "05-two-tone-60hz-7khz": (
        "Gives modulation of a treble tone by a bass tone.",
        _modulation,
        _nothing,
    ),
    "06-two-tone-19-20khz": (
        "Gives difference tones of treble, and shows slewing.",
        _close_tones,
        _nothing,
    ),
    "07-two-tone-8-11950hz": ("Gives the total difference-frequency distortion.",
                              _total_difference, _nothing),
    "08-dim-30": ("Gives dynamic intermodulation.", _dim, _dim_note),
    "09-square": ("Shows tilt, and what edges become.", _squares, _nothing),
    "10-clipping-ramp": ("Shows where the output stops growing.", _ramp, _nothing),
    "11-silence": ("Gives noise and hum.", _silence, _nothing),
    "12-left-only": ("Gives crosstalk from left to right.", _octaves((1.0, 0.0)), _nothing),
    "13-right-only": ("Gives crosstalk from right to left.", _octaves((0.0, 1.0)), _nothing),
    "14-both": ("Gives the balance at every octave.", _octaves((1.0, 1.0)), _nothing),
}  # fmt: skip
"""By name: what for, what is played, and what a rate cannot do."""
