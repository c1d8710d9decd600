"""Rows of the audibility table that only two stages can fill: harmonics, hum, crosstalk."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.circuit import Circuit
from stagefx.circuit.knob import seat_spl_db
from stagefx.circuit.response import Response
from stagefx.circuit.supply.psrr import ripple_at_load_v_rms, ripple_lines
from stagefx.dsp.dither import dither_floor_dbfs
from stagefx.effects.crosstalk import crosstalk
from stagefx.effects.kind import Setup
from stagefx.hearing.audibility import AudibilityRow, judged_row, unjudged_row
from stagefx.hearing.rows.noise import dither_over_db, hiding_db
from stagefx.render.chain import Chain
from stagefx.render.plan import stage_effects
from stagefx.render.report import RenderReport

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

HIGHEST_ORDER = 20
"""Harmonics of 1 kHz up to the end of hearing."""
LIMITED_BY_REMAINDER = "below the clip levels; clipping is judged by the remainder"
NOT_COUPLED = "neither stage says how its channels are coupled: [crosstalk] is left out"
NO_HUM = "neither stage states a hum, or a supply whose ripple reaches the load"
NO_AMPLIFIER = "neither stage has an amplifier"

_RATE_HZ, _PERIOD, _SETTLE, _PERIODS = 48_000, 48, 4096, 200
CROSSTALK_HZ = np.geomspace(100.0, 10e3, 41)
_BENT_BY = frozenset({"slew", "distortion"})
_HIGHEST_LINE_HZ = 20e3
_ROUNDING = 1e-12
"""A change no larger than this, re the tone, is what the arithmetic itself rounds off."""


def stage_rows(
    first: Circuit,
    second: Circuit,
    renders: Sequence[RenderReport],
    *,
    full_scale_spl_db: float,
    room_dba: float | None = None,
) -> tuple[AudibilityRow, ...]:
    """Harmonics, hum and crosstalk that one stage has and the other has not.

    Knobs are set and each stage has a source level; the renders say how high the music drives
    each amplifier.  `full_scale_spl_db`, of a full-scale sine at the ear, is used where no
    listening chain is described.
    """
    return (
        harmonics_row(first, second, [_peak_v(report) for report in renders]),
        hum_row(
            first,
            second,
            full_scale_spl_db=full_scale_spl_db,
            room_dba=room_dba,
            floor_db=dither_over_db(
                full_scale_spl_db, rate_hz=renders[0].rate, room_noise_dba=room_dba
            ),
        ),
        crosstalk_row(first, second),
    )


def _peak_v(report: RenderReport) -> float:
    return max(report.output_peak_v or (0.0,))


def harmonics_row(first: Circuit, second: Circuit, peaks_v: Sequence[float]) -> AudibilityRow:
    """The strongest harmonic that one stage's amplifier makes and the other's does not."""
    if first.stage.amplifier is None and second.stage.amplifier is None:
        return unjudged_row("harmonics", NO_AMPLIFIER)
    one, other = (
        harmonics_at(circuit, peak_v)
        for circuit, peak_v in zip((first, second), peaks_v, strict=True)
    )
    change = np.abs(other - one)
    strongest = int(np.argmax(change))
    value = 20.0 * math.log10(change[strongest]) if change[strongest] > _ROUNDING else -math.inf
    return judged_row(
        "harmonics",
        value,
        floor=dither_floor_dbfs(24),
        at_hz=None if value == -math.inf else 1000.0 * (2 + strongest),
        remark=LIMITED_BY_REMAINDER,
    )


def harmonics_at(circuit: Circuit, peak_v: float) -> Complex:
    """Harmonics of a 1 kHz sine at an amplifier's output, from distortion and slew."""
    found = np.zeros(HIGHEST_ORDER - 1, dtype=np.complex128)
    if circuit.stage.amplifier is None:
        return found
    effects = stage_effects(Setup(circuit, _RATE_HZ))
    for effect in effects:
        limits = getattr(effect, "limits", None)
        if effect.name == "clip" and limits is not None:
            peak_v = min(peak_v, limits.high_v, -limits.low_v)
    bending = [effect for effect in effects if effect.name in _BENT_BY]
    if peak_v <= 0.0 or not bending:
        return found
    sine = np.sin(2.0 * np.pi * np.arange(_SETTLE + _PERIODS * _PERIOD) / _PERIOD)[:, None]
    with Chain(bending, _RATE_HZ, 1, full_scale_v=peak_v, threads=1) as chain:
        made = np.concatenate(list(chain.process([sine])))[:, 0]
    whole = made[_SETTLE // 2 : _SETTLE // 2 + (_PERIODS - 1) * _PERIOD].reshape(-1, _PERIOD)
    lines = np.fft.rfft(whole.mean(axis=0))
    turned = lines * np.exp(-1j * np.arange(lines.size) * (np.angle(lines[1])))
    return np.asarray(turned[2 : HIGHEST_ORDER + 1] / np.abs(lines[1]))


def hum_row(
    first: Circuit,
    second: Circuit,
    *,
    full_scale_spl_db: float,
    room_dba: float | None = None,
    floor_db: float | None = None,
) -> AudibilityRow:
    """The line of hum in which a change comes nearest to being heard at the seat.

    ``L = 10 log10 |10^(L2/10) - 10^(L1/10)|`` over the higher of the threshold of hearing (ISO
    389-7) and the room, line by line; stated hum, and the ripple of the supply.
    """
    both = [hum_lines(circuit) for circuit in (first, second)]
    if not any(both):
        return unjudged_row("hum", NO_HUM)
    described = all(circuit.stage.listening is not None for circuit in (first, second))
    hz = np.array(sorted({line for lines in both for line in lines}))
    levels = [
        _at_seat(circuit, np.array([lines.get(one, 0.0) for one in hz]), described=described)
        + (0.0 if described else full_scale_spl_db)
        for circuit, lines in zip((first, second), both, strict=True)
    ]
    power = np.abs(10.0 ** (levels[1] / 10.0) - 10.0 ** (levels[0] / 10.0))
    with np.errstate(divide="ignore"):
        over = 10.0 * np.log10(power) - hiding_db(hz, room_noise_dba=room_dba)
    worst = int(np.argmax(over))
    value = float(over[worst])
    at_hz = float(hz[worst]) if math.isfinite(value) else None
    return judged_row("hum", value, floor=floor_db, at_hz=at_hz)


def hum_lines(circuit: Circuit) -> dict[float, float]:
    """The lines of hum at a stage's load."""
    lines: dict[float, float] = {}
    ripple = ripple_at_load_v_rms(circuit)
    if ripple is not None:
        hz, share = ripple_lines(circuit, _HIGHEST_LINE_HZ)
        lines = dict(zip(hz.tolist(), (float(ripple[0]) * np.sqrt(share)).tolist(), strict=True))
    stated = circuit.stage.hum
    if stated is not None:
        at = stated.frequency.value
        response = Response(circuit, np.array([at]))
        passed = response.output
        if response.amplifier is not None:
            passed = passed * response.amplifier.closed_loop_gain
        added = stated.level.value * float(abs(passed[0, 0]))
        lines[at] = math.hypot(lines.get(at, 0.0), added)
    return lines


def _at_seat(circuit: Circuit, volts: Array, *, described: bool) -> Array:
    """Level at the seat, or re a full-scale sine where no listening chain is described."""
    if described:
        return seat_spl_db(circuit, volts)
    level = circuit.stage.source.level
    assert level is not None
    to_load = np.abs(Response(circuit, np.array([1000.0])).to_load)[0, 0]
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(volts / (level.value * to_load)))


def crosstalk_row(first: Circuit, second: Circuit) -> AudibilityRow:
    """The change of what one channel leaves in the other, where it is worst."""
    if first.stage.crosstalk is None and second.stage.crosstalk is None:
        return unjudged_row("crosstalk", NOT_COUPLED)
    change = np.abs(crosstalk(second, CROSSTALK_HZ) - crosstalk(first, CROSSTALK_HZ)).ravel()
    worst = int(np.argmax(change))
    value = 20.0 * math.log10(change[worst]) if change[worst] > _ROUNDING else -math.inf
    at_hz = float(CROSSTALK_HZ[worst]) if math.isfinite(value) else None
    return judged_row("crosstalk", value, floor=dither_floor_dbfs(24), at_hz=at_hz)
