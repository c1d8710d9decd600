"""Rows worked out from a response alone, with the music's spectrum for the level."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.bands import third_octaves_hz
from stagefx.dsp.weighting import k_weighting
from stagefx.hearing.audibility import RANGES_HZ, REFERENCE_HZ
from stagefx.hearing.grades import Grade, grade_of
from stagefx.hearing.thresholds import limits

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_SEGMENT = 8192
_DELAY_HZ = np.geomspace(500.0, 16e3, 161)
_JUDGED_TO_HZ = 8000.0


class Spectrum:
    """Mean power of a piece along frequency, K-weighted, all channels."""

    def __init__(self, rate_hz: int, blocks: Iterable[Array]) -> None:
        self.hz: Array = np.asarray(np.fft.rfftfreq(_SEGMENT, 1.0 / rate_hz), dtype=np.float64)
        self.power: Array = np.zeros((self.hz.size, 1))
        window: Array = np.asarray(np.hanning(_SEGMENT), dtype=np.float64)[:, None]
        for block in blocks:
            for start in range(0, len(block) - _SEGMENT + 1, _SEGMENT):
                lines = np.fft.rfft(window * block[start : start + _SEGMENT], axis=0)
                self.power = self.power + np.square(np.abs(lines))
        z = np.exp(-2j * np.pi * self.hz / rate_hz)
        for b0, b1, b2, a1, a2 in k_weighting(rate_hz):
            weight = np.abs((b0 + z * (b1 + z * b2)) / (1.0 + z * (a1 + z * a2))) ** 2
            self.power = self.power * weight[:, None]

    def level_change_db(self, ratio: Complex) -> float:
        """How much louder a response makes the piece."""
        before = float(self.power.sum())
        if before == 0.0:
            return 0.0
        gains = np.abs(ratio) ** 2
        after = float((self.power * (gains if gains.ndim > 1 else gains[:, None])).sum())
        return 10.0 * float(np.log10(after / before))


def response_rows(response: Callable[[Array], Complex], spectrum: Spectrum) -> dict[str, float]:
    """What a response, re its gain at 1 kHz, comes to in the rows that are about responses.

    The size of each deviation, in the row's unit; the spectrum is the music's, for the level.
    """
    hz = third_octaves_hz()
    deviation = 20.0 * np.log10(np.maximum(np.abs(response(hz)), 1e-30))
    middle = (hz >= 0.98 * REFERENCE_HZ[0]) & (hz <= 1.02 * REFERENCE_HZ[1])
    deviation = deviation - np.median(deviation[middle])
    rows = {}
    for name, (low_hz, high_hz) in RANGES_HZ.items():
        inside = (hz >= 0.98 * low_hz) & (hz <= 1.02 * high_hz)
        rows[name] = float(np.abs(deviation[inside]).max())
    inside = spectrum.hz > 0.0
    ratio = np.ones(spectrum.hz.size, dtype=np.complex128)
    ratio[inside] = response(np.asarray(spectrum.hz[inside], dtype=np.float64))
    rows["level"] = abs(spectrum.level_change_db(ratio))
    rows["group delay"] = 1e3 * _group_delay_s(response)
    return rows


def _group_delay_s(response: Callable[[Array], Complex]) -> float:
    """Largest group delay up to 8 kHz less the pure delay that fits best."""
    omega = 2.0 * np.pi * _DELAY_HZ
    phase = np.unwrap(np.angle(response(_DELAY_HZ)))
    phase = phase - 2.0 * np.pi * np.round(phase[0] / (2.0 * np.pi))
    pure = float((phase * omega).sum() / np.square(omega).sum())
    delay = -np.gradient(phase - pure * omega, omega)
    return float(np.abs(delay[_DELAY_HZ <= _JUDGED_TO_HZ]).max())


def may_be_heard(rows: Mapping[str, float]) -> str:
    """The row that may be heard and is farthest beyond its limit."""
    over = {}
    for name, value in rows.items():
        limit = limits()[name]
        if value >= limit.may:
            over[name] = value - limit.may if limit.scale == "level" else value / limit.may
    return max(over, key=lambda name: over[name], default="")


def grades_of(rows: Mapping[str, float]) -> dict[str, Grade]:
    """The grade of each row, without a floor."""
    return {name: grade_of(value, limits()[name]) for name, value in rows.items()}
