"""Where the knob stands: as the stage says, or where the music plays at the listening level.

Judging a stage at a knob position nobody would use is the commonest way to a wrong answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.response import Response
from stagefx.circuit.search import root
from stagefx.errors import StageError

ASSUMED_PROGRAMME_DB = -18.0
"""Level of a programme at -18 LUFS on two channels, re a full-scale sine on both."""

SENSITIVITY_REFERENCE_V = math.sqrt(8.0)
"""A loudspeaker's sensitivity is stated for 2.83 V, 1 W into 8 ohm (common practice)."""

_AS_GOOD_AS_OFF_DB = 60.0
"""A knob is sought between what is so much too quiet and the top."""
_CLOSE_DB = 1e-11


@dataclass(frozen=True)
class Knob:
    """A circuit with its knob set, and what that means at the seat."""

    circuit: Circuit
    position: float | None
    level_at_seat_db: float | None
    remark: str = ""


def set_knob(
    circuit: Circuit,
    *,
    listening_level_db: float = 85.0,
    programme_db: float = ASSUMED_PROGRAMME_DB,
) -> Knob:
    """Set the knob as the stage asks."""
    stage = circuit.stage
    volume = stage.volume
    reachable = stage.listening is not None and stage.source.level is not None
    if volume is None or volume.position is not None or volume.setting not in {None, "listening"}:
        return _as_it_stands(circuit, programme_db)
    if volume.setting is None and not reachable:
        return _as_it_stands(circuit, programme_db)
    if not reachable:
        missing = "[listening]" if stage.listening is None else "[source] level"
        raise StageError(
            f'[volume] setting = "listening" needs {missing}; describe it, or give a position '
            'between 0 and 1 or a setting like "-12 dB"'
        )
    position = _solve(circuit, listening_level_db - programme_db)
    reached = _as_it_stands(circuit.at_position(position), programme_db)
    assert reached.level_at_seat_db is not None
    remark = ""
    if abs(reached.level_at_seat_db - listening_level_db) > 0.05 and not volume.law.steps_db:
        remark = (
            f"the knob at {reached.position:.0%} plays the programme at "
            f"{reached.level_at_seat_db:.1f} dB, not at {listening_level_db:g} dB"
        )
    return replace(reached, remark=remark)


def _as_it_stands(circuit: Circuit, programme_db: float) -> Knob:
    travel = circuit.volume_position
    position = None if travel is None else float(travel[0, 0])
    stage = circuit.stage
    if stage.listening is None or stage.source.level is None:
        return Knob(circuit, position, None)
    level = float(full_scale_spl_db(circuit)[0]) + programme_db
    return Knob(circuit, position, level)


def _solve(circuit: Circuit, wanted_spl_db: float) -> Array:
    """The positions [draws, 1] at which a full-scale sine reaches a level at the seat."""
    assert circuit.stage.volume is not None
    steps = circuit.stage.volume.law.steps_db
    if steps:
        travels = np.linspace(0.0, 1.0, len(steps))
        levels = np.array([full_scale_spl_db(circuit.at_position(t)) for t in travels])
        nearest = np.argmin(np.abs(levels - wanted_spl_db), axis=0)
        return np.asarray(travels[nearest][:, None])

    def missing(position: Array) -> Array:
        level_db = full_scale_spl_db(circuit.at_position(position))[:, None]
        return np.minimum(wanted_spl_db - level_db, _AS_GOOD_AS_OFF_DB)

    low, high = np.zeros((circuit.draws, 1)), np.ones((circuit.draws, 1))
    too_loud, too_quiet = missing(low) <= 0.0, missing(high) >= 0.0
    inside = np.where(too_loud | too_quiet, np.nan, low)
    found = root(missing, inside, high, close=_CLOSE_DB)
    return np.where(too_loud, low, np.where(too_quiet, high, found))


def full_scale_spl_db(circuit: Circuit) -> Array:
    """Sound pressure at the seat of a full-scale 1 kHz sine, all speakers together.

    SPL = 20 log10(V g / sqrt 8) + sensitivity - 20 log10(distance) + 10 log10(speakers)
    """
    assert circuit.source_v_rms is not None
    to_load = np.abs(Response(circuit, np.array([1000.0])).to_load)[:, 0]
    return seat_spl_db(circuit, circuit.source_v_rms[:, 0] * to_load)


def seat_spl_db(circuit: Circuit, load_v_rms: Array, *, at_m: float | None = None) -> Array:
    """Sound pressure that a voltage at the stage's load makes."""
    chain = circuit.stage.listening
    assert chain is not None
    assert circuit.chain is not None
    distance: Array = circuit.chain.distance_m[:, 0] if at_m is None else np.array(at_m)
    speakers = chain.speakers if at_m is None else 1
    with np.errstate(divide="ignore"):
        drive_db = 20.0 * np.log10(load_v_rms * chain.amplifier_gain / SENSITIVITY_REFERENCE_V)
    spread_db = 10.0 * math.log10(speakers) - 20.0 * np.log10(distance)
    return np.asarray(drive_db + chain.speaker_sensitivity.value + spread_db)


def rated_input_v(circuit: Circuit) -> Array | None:
    """Voltage at the power amplifier's input for its rated power."""
    chain, values = circuit.stage.listening, circuit.chain
    if chain is None or values is None:
        return None
    if values.rated_power_w is None or values.speaker_ohm is None:
        return None
    rated_v = np.sqrt(values.rated_power_w * values.speaker_ohm)[:, 0]
    return np.asarray(rated_v / chain.amplifier_gain)
