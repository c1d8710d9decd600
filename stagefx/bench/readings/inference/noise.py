"""Noise: back from what a meter showed to the device's own density."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.closed_forms.noise_bands import Band, noise_powers
from stagefx.bench.readings.conditions import on_bench
from stagefx.bench.readings.kinds import Noise
from stagefx.bench.readings.unit_mistakes import slip
from stagefx.bench.uncertainty import Measured, carry, combined, exactly
from stagefx.circuit.circuit import Circuit
from stagefx.circuit.description.devices import device_figure
from stagefx.units import show

FRAGILE = 0.75
"""Share of the rest in a reading's power from which what is left is a small difference."""
_VOLTAGE = "voltage noise"
_CURRENT = ("current noise, input", "current noise, feedback")


def find_noise(draft: Draft) -> Draft:
    """What the noise readings tell.

    What the source's end, the control and the feedback parts make is worked out and taken away,
    as powers; 1/f corners stay those of the device's class.
    """
    readings = draft.sheet.of(Noise)
    if not readings:
        return draft
    for number, _ in readings:
        draft.amplifier_for(number)
    rows = [_row(draft, reading) for _, reading in readings]
    levels = [draft.sheet.value(number, "level") for number, _ in readings]
    for (number, _), row, level in zip(readings, rows, levels, strict=True):
        _possible(draft, number, level, row)
    apart = {row.current / row.voltage for row in rows}
    if len(apart) > 1:
        draft = _two_densities(draft, rows, levels)
    else:
        draft = _one_density(draft, rows, levels)
    for number, reading in readings:
        draft = _remarked(draft, number, reading)
    return _over_audio_band(draft, readings[0])


@dataclass(frozen=True)
class _Row:
    """How a reading's power comes about, in V²: rest + voltage e² + current i²."""

    rest: float
    voltage: float
    current: float
    own: float
    """Power of the current noise that the stage has so far."""


def noise_bench(draft: Draft, reading: Noise) -> tuple[Circuit, Band]:
    """The circuit that a noise reading was taken on, and what the meter counts."""
    ended = 0.0 if reading.source_resistance is None else reading.source_resistance.value
    circuit = on_bench(draft.stage, knob=draft.knob, ended_by_ohm=ended)
    if reading.bandwidth is None:
        return circuit, Band(weighted=reading.weighting == "A")
    return circuit, Band(reading.bandwidth.value, one_pole=reading.filter == "one pole")


def _row(draft: Draft, reading: Noise) -> _Row:
    circuit, band = noise_bench(draft, reading)
    one = np.ones((1, 1))
    device = replace(circuit.device, voltage_noise_v_rthz=one, current_noise_a_rthz=one)
    powers = noise_powers(replace(circuit, device=device), band)
    voltage = powers.pop(_VOLTAGE)
    current = sum(powers.pop(name, 0.0) for name in _CURRENT)
    density = circuit.device.current_noise_a_rthz
    own = 0.0 if density is None else float(density[0, 0]) ** 2 * current
    return _Row(sum(powers.values()), voltage, current, own)


def _possible(draft: Draft, number: int, level: Measured, row: _Row) -> None:
    if level.high**2 >= row.rest:
        return
    floor = math.sqrt(row.rest)
    guess = slip(level.value / floor)
    raise ReadingsError(
        f"{draft.sheet.named(number)}: {show(level.value, 'V rms', digits=3)} is less than the "
        f"{show(floor, 'V rms', digits=3)} of thermal noise that the resistances alone make in "
        f"this bandwidth; {guess or 'check the gain, the bandwidth and source_resistance'}"
    )


def _one_density(draft: Draft, rows: Sequence[_Row], levels: Sequence[Measured]) -> Draft:
    estimates = []
    for row, level in zip(rows, levels, strict=True):
        taken = row.rest + row.own
        if level.high**2 < taken:  # the class's usual current noise is more than there is
            draft = draft.having("amplifier", current_noise="0 A/rtHz")
            taken = row.rest
        density = (
            carry(
                lambda v, taken=taken, w=row.voltage: math.sqrt(max(v * v - taken, 0.0) / w),
                level,
            )
            if level.value**2 > taken
            else exactly(0.0, level)
        )
        estimates.append(density)
        if taken > FRAGILE * level.value**2:
            draft = draft.remarking(
                "noise-difference-fragile",
                f"{100.0 * min(taken / level.value**2, 1.0):.0f} % of the power read is that of "
                "the resistances and the like: what is left for the device is a small difference, "
                "and unsure",
                *level.readings,
            )
    density = draft.sheet.agreed(estimates, "a noise density", "V/rtHz")
    draft = _placed_voltage(draft, density)
    amplifier = draft.stage.amplifier
    if amplifier is not None and device_figure(amplifier, "current_noise") is None:
        draft = draft.remarking(
            "current-noise-unknown",
            "nothing tells the device's current noise, and none is counted; a second noise "
            "reading with a source_resistance of some 10 kohm would",
            *density.readings,
        )
    return draft


def _placed_voltage(draft: Draft, density: Measured) -> Draft:
    return draft.placing("amplifier.voltage_noise", density, "voltage_noise_v_rthz", "V/rtHz")


def _two_densities(draft: Draft, rows: Sequence[_Row], levels: Sequence[Measured]) -> Draft:
    """Least squares for both densities' squares, each reading weighed by its uncertainty."""
    weights = np.array([1.0 / (2.0 * v.value * (v.uncertainty or 1e-9 * v.value)) for v in levels])
    matrix = np.array([[row.voltage, row.current] for row in rows]) * weights[:, None]
    scale = np.abs(matrix).max(axis=0)
    inverse = np.linalg.pinv(matrix / scale) / scale[:, None]
    rest = np.array([row.rest for row in rows])

    def square(index: int, values: tuple[float, ...]) -> float:
        told = (np.square(values) - rest) * weights
        return float(inverse[index] @ told)

    read = tuple(level.value for level in levels)
    if square(1, read) <= 0.0:
        quiet = draft.having("amplifier", current_noise="0 A/rtHz")
        return _one_density(quiet, [_Row(r.rest, r.voltage, r.current, 0.0) for r in rows], levels)
    found = [
        carry(lambda *v, index=index: math.sqrt(max(square(index, v), 0.0)), *levels)
        for index in (0, 1)
    ]
    if square(0, read) <= 0.0:
        found = [exactly(0.0, found[0]), _current_alone(rows, levels)]
    for row, level in zip(rows, levels, strict=True):
        given = row.rest + row.voltage * found[0].value ** 2 + row.current * found[1].value ** 2
        if not level.low**2 * (1.0 - 1e-9) <= given <= level.high**2 * (1.0 + 1e-9):
            others = [other for other in levels if other is not level]
            names = " and ".join(draft.sheet.named(n) for o in others for n in o.readings)
            raise ReadingsError(
                f"{draft.sheet.named(level.readings[0])} and {names} contradict each other: no "
                "noise voltage and noise current give all of them; read them again, with the "
                "source_resistance that was there"
            )
    draft = draft.placing("amplifier.current_noise", found[1], "current_noise_a_rthz", "A/rtHz")
    return _placed_voltage(draft, found[0])


def _current_alone(rows: Sequence[_Row], levels: Sequence[Measured]) -> Measured:
    """The noise current where nothing is left for a noise voltage."""
    return combined(
        [
            carry(lambda v, r=row: math.sqrt(max(v * v - r.rest, 0.0) / r.current), level)
            for row, level in zip(rows, levels, strict=True)
            if row.current > 0.0
        ]
    )


def _remarked(draft: Draft, number: int, reading: Noise) -> Draft:
    if reading.source_resistance is None:
        draft = draft.remarking(
            "input-taken-as-shorted",
            "source_resistance is not stated, so the input is taken as shorted; an open input "
            "reads far more",
            number,
        )
    if reading.bandwidth is not None and reading.filter is None:
        draft = draft.remarking(
            "brick-wall-assumed",
            "the bandwidth is taken as ending at once; a meter that falls off like one pole lets "
            'through 1.96 dB more: then say filter = "one pole"',
            number,
        )
    if reading.responds is None:
        draft = draft.remarking(
            "average-reading-meter",
            "a meter that responds to the average and is marked in rms of a sine reads noise "
            '1.05 dB low: if yours does, say responds = "average" and it is taken into account',
            number,
        )
    return draft


def _over_audio_band(draft: Draft, first: tuple[int, Noise]) -> Draft:
    """The noise over 20 kHz that the first reading comes to."""
    number, reading = first
    level = draft.sheet.value(number, "level")
    circuit, band = noise_bench(draft, reading)
    there, audio = (math.sqrt(sum(noise_powers(circuit, b).values())) for b in (band, Band()))
    if there <= 0.0:
        return draft
    noise = carry(lambda v: v * audio / there, level)
    note = "as read" if band == Band() else f"{20.0 * math.log10(there / audio):+.2f} dB as read"
    return draft.reporting("noise_20k_v_rms", noise, "V rms", note=note)
