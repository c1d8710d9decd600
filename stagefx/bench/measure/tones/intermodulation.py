"""What two tones make together: by the definitions of IEC 60268-3, 14.12.7 to 14.12.10."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.measure.decibels import root_sum
from stagefx.bench.measure.rows import Product
from stagefx.bench.measure.sines import Stretch
from stagefx.bench.measure.synchronised import Synchronised
from stagefx.bench.measure.tones.steady import steady
from stagefx.bench.signals.passages import Tones

DIM_PRODUCTS_HZ = (750.0, 2400.0, 3900.0, 5550.0, 7050.0, 8700.0, 10200.0, 11850.0, 13350.0)
"""``|n · 3.15 kHz - 15 kHz|`` below 15 kHz."""
_DIM_SINE_HZ = 15e3


def modulation_of(part: Stretch, hz: tuple[float, float]) -> Mapping[str, Product]:
    """Modulation of a treble tone by a bass tone.

    ``d2 = (a(f2 + f1) + a(f2 - f1)) / a(f2)``, ``d3 = (a(f2 + 2 f1) + a(f2 - 2 f1)) / a(f2)``
    """
    low, high = hz
    sides = [high + low, high - low, high + 2.0 * low, high - 2.0 * low]
    carrier, *found = _peaks(part, [high, *sides])
    noise = [part.noise_peak(one, apart_hz=low) for one in sides]
    return {
        "modulation_d2": _percent(sum(found[:2]), sum(noise[:2]), carrier),
        "modulation_d3": _percent(sum(found[2:]), sum(noise[2:]), carrier),
        "modulation_rms": _percent(root_sum(found), root_sum(noise), carrier),
    }


def difference_of(part: Stretch, hz: tuple[float, float]) -> Mapping[str, Product]:
    """Difference tones of two close tones of equal strength.

    ``d2 = a(f2 - f1) / (a(f1) + a(f2))``, ``d3 = (a(2 f1 - f2) + a(2 f2 - f1)) / (a(f1) + a(f2))``
    """
    low, high = hz
    products = [high - low, 2.0 * low - high, 2.0 * high - low]
    *tones, second, under, over = _peaks(part, [low, high, *products])
    noise = [part.noise_peak(one, apart_hz=high - low) for one in products]
    return {
        "difference_d2": _percent(second, noise[0], sum(tones)),
        "difference_d3": _percent(under + over, noise[1] + noise[2], sum(tones)),
    }


def total_difference_of(part: Stretch, hz: tuple[float, float]) -> Mapping[str, Product]:
    """Total difference-frequency distortion.

    ``d = √(a(f2 - f1)² + a(2 f1 - f2)²) / (a(f1) + a(f2))``
    """
    low, high = hz
    products = [high - low, 2.0 * low - high]
    *tones, second, third = _peaks(part, [low, high, *products])
    noise = [part.noise_peak(one, apart_hz=abs(products[0] - products[1])) for one in products]
    return {
        "total_difference": _percent(root_sum([second, third]), root_sum(noise), sum(tones)),
    }


def dim_of(part: Stretch) -> Mapping[str, Product]:
    """Dynamic intermodulation of a square wave and a sine.

    ``√(Σ a_n²) / a(15 kHz)`` over the nine products below 15 kHz
    """
    sine, *found = _peaks(part, [_DIM_SINE_HZ, *DIM_PRODUCTS_HZ])
    noise = [part.noise_peak(one, apart_hz=600.0) for one in DIM_PRODUCTS_HZ]
    return {"dim_30": _percent(root_sum(found), root_sum(noise), sine)}


def products_of(recording: Synchronised, channel: int) -> Mapping[str, Product]:
    """The intermodulation that a recording's signal is made for."""
    loudest = recording.signal.tones()[-1]
    part = on_its_own_clock(steady(recording, loudest, channel), loudest)
    if _DIM_SINE_HZ in loudest.hz:
        return dim_of(part)
    if len(loudest.hz) != 2:
        return {}
    low, high = loudest.hz
    if high > 20.0 * low:
        return modulation_of(part, (low, high))
    if 2.0 * high - low > high + 2e3:
        return total_difference_of(part, (low, high))
    return difference_of(part, (low, high))


def on_its_own_clock(part: Stretch, tones: Tones) -> Stretch:
    """A stretch with its times put right by the tones themselves."""
    return Stretch(part.samples, part.times_s * part.faster(max(tones.hz)))


def _peaks(part: Stretch, hz: list[float]) -> list[float]:
    found: NDArray[np.float64] = np.abs(part.amplitudes(hz))
    return [float(one) for one in found]


def _percent(found: float, noise: float, reference: float) -> Product:
    if reference <= 0.0:
        return Product(float("nan"), float("nan"))
    return Product(100.0 * found / reference, 100.0 * noise / reference)
