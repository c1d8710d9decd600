"""Two channels: balance and crosstalk."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.closed_forms.crosstalk import coupling_capacitance_f, two_paths
from stagefx.bench.readings.conditions import on_bench
from stagefx.bench.readings.kinds import Balance, Crosstalk
from stagefx.bench.uncertainty import Measured, carry
from stagefx.circuit.network.ladder import laplace, solve
from stagefx.circuit.network.placement import socket_parts, source_parts
from stagefx.units import decibels

_FLAT = 0.1
"""Share of a path in crosstalk's power below which it is not told from nothing."""


def find_balance(draft: Draft) -> Draft:
    """What the balance readings tell."""
    readings = draft.sheet.of(Balance)
    if not readings:
        return draft
    estimates = []
    for number, _ in readings:
        sides = draft.sheet.value(number, "right"), draft.sheet.value(number, "left")
        estimates.append(carry(lambda right, left: decibels(right / left), *sides))
    balance = draft.sheet.agreed(estimates, "a balance", "dB")
    if draft.stage.volume is not None:
        draft = draft.having("volume", mismatch=f"{balance.value:.4f} dB")
        return draft.reporting("balance_db", balance, "dB", part="volume.mismatch")
    draft = draft.reporting("balance_db", balance, "dB", note="right over left")
    return draft.remarking(
        "no-control-for-balance",
        "there is no volume control described that could hold the difference between channels; "
        "the stage is one channel, and both are taken alike",
        *balance.readings,
    )


def find_crosstalk(draft: Draft) -> Draft:
    """What the crosstalk readings tell."""
    readings = draft.sheet.of(Crosstalk)
    shares = []
    for number, _ in readings:
        volts = draft.sheet.value(number, "undriven"), draft.sheet.value(number, "driven")
        if volts[0].value >= volts[1].value:
            raise ReadingsError(
                f"{draft.sheet.named(number)}: the undriven channel is as loud as the driven one; "
                "are the two exchanged?"
            )
        shares.append(carry(lambda undriven, driven: undriven / driven, *volts))
        key = f"crosstalk_{readings[len(shares) - 1][1].frequency.value:g}_hz_db"
        draft = draft.reporting(key, carry(decibels, shares[-1]), "dB")
    if not readings:
        return draft
    rising, flat = _reaches(draft, readings)
    steepness = [c / r for c, r in zip(rising, flat, strict=True)]
    if max(steepness) < 2.0 * min(steepness) or max(steepness) == 0.0:
        return _one_path(draft, readings, shares)
    return _both_paths(draft, readings, shares)


def ended_impedance_ohm(draft: Draft, reading: Crosstalk) -> complex:
    """What the undriven channel's input is ended by, where the capacitance hangs."""
    ended = 0.0 if reading.source_resistance is None else reading.source_resistance.value
    circuit = on_bench(draft.stage, knob=draft.knob, ended_by_ohm=ended)
    s = laplace(np.array([reading.frequency.value]))
    parts = [*source_parts(circuit), *socket_parts(circuit)]
    return complex(solve(parts, s).impedance_ohm[0, 0])


def _load_ohm(draft: Draft, reading: Crosstalk) -> float | None:
    load = draft.stage.load
    own = None if load is None or load.resistance is None else load.resistance.value
    return own if reading.load is None else reading.load.value


def _reaches(
    draft: Draft, readings: Sequence[tuple[int, Crosstalk]]
) -> tuple[list[float], list[float]]:
    """What a farad between channels and an ohm of shared ground make in each reading.

    Up to a factor where the undriven input's end, or the load, is not known.
    """
    hz = [reading.frequency.value for _, reading in readings]
    rising = [2.0 * math.pi * f for f in hz]
    if all(reading.source_resistance is not None for _, reading in readings):
        ends = [abs(ended_impedance_ohm(draft, reading)) for _, reading in readings]
        rising = [r * end for r, end in zip(rising, ends, strict=True)]
    loads = [_load_ohm(draft, reading) for _, reading in readings]
    known = [ohm for ohm in loads if ohm is not None]
    flat = [1.0 / ohm for ohm in known] if len(known) == len(loads) else [1.0] * len(loads)
    return rising, flat


def _one_path(
    draft: Draft, readings: Sequence[tuple[int, Crosstalk]], shares: list[Measured]
) -> Draft:
    numbers = tuple(number for number, _ in readings)
    draft = draft.remarking(
        "one-frequency",
        "one frequency does not tell a capacitance, which rises with it, from a shared ground, "
        "which does not; all is put down to a capacitance. Read 100 Hz, 1 kHz and 10 kHz",
        *numbers,
    )
    if not _end_is_known(readings):
        return _end_missing(draft, readings)
    ends = [ended_impedance_ohm(draft, reading) for _, reading in readings]
    if not any(ends):
        return draft.remarking(
            "input-shorted",
            "with the undriven input shorted a coupling capacitance cannot be heard; end it by "
            "the source's resistance",
            *numbers,
        )
    estimates = [
        carry(lambda x, hz=r.frequency.value, end=end: coupling_capacitance_f(x, hz, end), share)
        for (_, r), share, end in zip(readings, shares, ends, strict=True)
    ]
    found = draft.sheet.agreed(estimates, "a coupling capacitance", "F")
    return draft.placing("crosstalk.coupling_capacitance", found, "coupling_capacitance_f", "F")


def _end_is_known(readings: Sequence[tuple[int, Crosstalk]]) -> bool:
    return all(reading.source_resistance is not None for _, reading in readings)


def _end_missing(draft: Draft, readings: Sequence[tuple[int, Crosstalk]]) -> Draft:
    numbers = tuple(n for n, reading in readings if reading.source_resistance is None)
    return draft.remarking(
        "source-resistance-missing",
        "the coupling capacitance needs source_resistance, what the undriven input was ended by: "
        "it is missing",
        *numbers,
    )


def _both_paths(
    draft: Draft, readings: Sequence[tuple[int, Crosstalk]], shares: list[Measured]
) -> Draft:
    rising, flat = _reaches(draft, readings)
    paths = [
        carry(lambda *v, which=which: two_paths(v, rising, flat)[which], *shares)
        for which in (0, 1)
    ]
    through, ground = (
        max(p.value * reach / s.value for reach, s in zip(reaches, shares, strict=True))
        for p, reaches in zip(paths, (rising, flat), strict=True)
    )
    if through**2 > _FLAT:
        if not _end_is_known(readings):
            draft = _end_missing(draft, readings)
        else:
            draft = draft.placing(
                "crosstalk.coupling_capacitance", paths[0], "coupling_capacitance_f", "F"
            )
    if ground**2 <= _FLAT:
        return draft
    if any(_load_ohm(draft, reading) is None for _, reading in readings):
        return draft.remarking(
            "load-missing",
            "the shared ground resistance needs the load of the driven channel: load is missing",
            *paths[1].readings,
        )
    return draft.placing(
        "crosstalk.shared_ground_resistance", paths[1], "shared_ground_resistance_ohm", "ohm"
    )
