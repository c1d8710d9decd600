"""A measured round, and what was measured in it that a stage's figures on paper can answer."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from stagefx.bench.errors import MeasuringError
from stagefx.bench.expectation import MADE_BY, loads_of
from stagefx.bench.measure.measurement import Measurement
from stagefx.bench.measure.rows import Harmonics
from stagefx.bench.measure.saved import load_measurement
from stagefx.bench.signals.plan import QUIET_DB
from stagefx.io.texts import from_json
from stagefx.units import ROOT_TWO, ratio

LEAST_HZ, MOST_SHARE = 25.0, 0.44
"""Between these the response is fitted; beyond them converters have filters of their own."""
_GAIN_DB = 0.02
_RESPONSE_DB, _RESPONSE_ALONE_DB = 0.005, 0.02
"""How far a response is to be trusted: with the instrument's own taken out, and without."""
_INDEPENDENT = 12.0
_CLEAR_OF_SLEWING = 0.4
"""Slope over slew limit up to which the response still tells the loop's pole."""
_CLIP_SHARE, _SLEW_SHARE, _NOISE_SHARE = 0.005, 0.02, 0.02
_HARMONIC_DB, _CROSSTALK_DB, _BALANCE_DB = 0.3, 0.3, 0.01
_OVER_FLOOR_DB = 10.0
_LIMIT_ROOM_DB = 1.0
_HIGHEST_HARMONIC = 5


@dataclass(frozen=True)
class Seen:
    """One measured number."""

    kind: str
    value: float
    doubt: float
    unit: str
    hz: float | None = None
    at_least: bool = False


@dataclass(frozen=True)
class Round:
    """One measurement of a stage, with the load it drove."""

    measurement: Measurement
    load_ohm: float | None = None
    knob: float | None = None


def load_round(
    place: str | Path, *, load_ohm: float | None = None, knob: float | None = None
) -> Round:
    """Read a measurement file as a round of measuring.

    Parameters
    ----------
    place : str or Path
        A JSON file of ``bench measure`` or ``bench expect``.
    load_ohm : float, ohm
        What the stage drove; left out, what the file says, else the stage's own load.
    knob : float, 0 to 1
        Where the knob stood; left out, what the file says.

    Returns
    -------
    Round
        The measurement and its conditions.

    Raises
    ------
    MeasuringError
        The file cannot be read, or is no measurement.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     place = Path(folder, "m.json")
    ...     _ = place.write_text('{"made_by": "bench measure", "rate_hz": 48000}')
    ...     load_round(place, load_ohm=600.0).load_ohm
    600.0
    """
    measurement = load_measurement(place)
    stated: Mapping[str, object] = from_json(Path(place).read_text(encoding="utf-8"))
    stood = stated.get("knob_position")
    if knob is None and isinstance(stood, float):
        knob = stood
    return Round(measurement, loads_of(stated) if load_ohm is None else load_ohm, knob)


def seen_in(one: Round, *, gain_sign: float = 1.0) -> tuple[Seen, ...]:
    """What of a round a stage's figures on paper can answer."""
    found = one.measurement
    loopback = found.floor.get("loopback")
    seen = (
        *_gains(found),
        *_responses(found, loopback),
        *_limits(found, inverted=gain_sign < 0.0),
        *_noises(found, loopback),
        *_harmonics(found),
        *_between_channels(found),
    )
    if not seen:
        raise MeasuringError(
            "the measurement holds nothing to fit to; measure at least the level and the sweep, "
            "with --played-full-scale and --captured-full-scale for what is in volts"
        )
    return seen


def _gains(found: Measurement) -> Iterator[Seen]:
    rows = [row for row in found.levels if abs(row.hz - 1000.0) < 10.0 and row.gain_db is not None]
    best = sorted(rows, key=lambda row: row.signal != "01-level-1khz")
    if best:
        assert best[0].gain_db is not None
        yield Seen("gain", best[0].gain_db, _GAIN_DB, "dB", best[0].hz)


def _responses(found: Measurement, loopback: Measurement | None) -> Iterator[Seen]:
    own = {} if loopback is None else {row.hz: row.db for row in loopback.response}
    bare = loopback is None and found.made_by != MADE_BY
    least = _RESPONSE_ALONE_DB if bare else _RESPONSE_DB
    highest = min(MOST_SHARE * found.rate_hz, slewless_hz(found))
    rows = [row for row in found.response if LEAST_HZ <= row.hz <= highest]
    # neighbours are wrong alike: a hundred points know no more than some dozen
    least *= max(math.sqrt(len(rows) / _INDEPENDENT), 1.0)
    for row in rows:
        doubt = math.hypot(least, row.floor_db or 0.0)
        yield Seen("response", row.db - own.get(row.hz, 0.0), doubt, "dB", row.hz)


def sweep_emf_v(found: Measurement) -> float | None:
    """How hot the sweep that tells the response was played."""
    gain_db = _gain_db(found)
    rows = [row for row in found.harmonics if row.by == "swept" and row.output_v_rms is not None]
    if gain_db is None or not rows:
        return None
    loud = min(rows, key=lambda row: abs(math.log(row.hz / 1000.0)))
    assert loud.output_v_rms is not None
    return ROOT_TWO * loud.output_v_rms * ratio(QUIET_DB - loud.played_dbfs - gain_db)


def _gain_db(found: Measurement) -> float | None:
    return next((row.gain_db for row in found.levels if row.gain_db is not None), None)


def slewless_hz(found: Measurement) -> float:
    """Up to where the sweep is clear of a slew limit that was seen."""
    emf_v, slew, gain = sweep_emf_v(found), found.slew, _gain_db(found)
    if emf_v is None or gain is None or slew is None or not slew.visible:
        return math.inf
    if slew.rise_v_per_us is None or slew.fall_v_per_us is None:
        return math.inf
    slowest = 1e6 * min(slew.rise_v_per_us, slew.fall_v_per_us)
    return _CLEAR_OF_SLEWING * slowest / (2.0 * math.pi * emf_v * ratio(gain))


def _limits(found: Measurement, *, inverted: bool) -> Iterator[Seen]:
    clip, slew = found.clip, found.slew
    names = ("low", "high") if inverted else ("high", "low")
    if clip is not None and clip.high_v is not None and clip.low_v is not None:
        ends = ((clip.high_v, clip.reached_high), (clip.low_v, clip.reached_low))
        for name, (volts, reached) in zip(names, ends, strict=True):
            size = abs(volts)
            yield Seen(f"clip {name}", size, _CLIP_SHARE * size, "V", at_least=not reached)
    if slew is not None and slew.rise_v_per_us is not None and slew.fall_v_per_us is not None:
        rates = (slew.rise_v_per_us, slew.fall_v_per_us)
        words = ("fall", "rise") if inverted else ("rise", "fall")
        for word, rate in zip(words, rates, strict=True):
            yield Seen(f"slew {word}", rate, _SLEW_SHARE * rate, "V/us", at_least=not slew.visible)


def _noises(found: Measurement, loopback: Measurement | None) -> Iterator[Seen]:
    noise = found.noise
    if noise is None or noise.unweighted_v_rms is None:
        return
    without_hum = ratio(noise.without_hum_dbfs - noise.unweighted_dbfs)
    power = (noise.unweighted_v_rms * without_hum) ** 2
    own = 0.0
    if loopback is not None and loopback.noise is not None:
        bare = loopback.noise
        own = (bare.unweighted_v_rms or 0.0) ** 2
        own *= ratio(bare.without_hum_dbfs - bare.unweighted_dbfs) ** 2
    if power > 1.05 * own:
        left = math.sqrt(power - own)
        # what is left of a small difference is known the less, the smaller it is
        yield Seen("noise", left, _NOISE_SHARE * left * power / (power - own), "V rms")


def _harmonics(found: Measurement) -> Iterator[Seen]:
    row = harmonics_row(found)
    if row is None or row.floor_db is None:
        return
    for order, level in enumerate(row.harmonics_db[: _HIGHEST_HARMONIC - 1], start=2):
        over = level - row.floor_db
        if over > _OVER_FLOOR_DB:
            doubt = math.hypot(_HARMONIC_DB, 8.7 * 10.0 ** (-over / 20.0))
            yield Seen(f"harmonic {order}", level, doubt, "dB", row.hz)


def harmonics_row(found: Measurement) -> Harmonics | None:
    """The loudest tone near 1 kHz that is not clipped yet."""
    clip = found.clip
    most = math.inf
    if clip is not None and clip.played_dbfs is not None:
        most = clip.played_dbfs - _LIMIT_ROOM_DB
    rows = [
        row
        for row in found.harmonics
        if row.by != "swept"
        and 900.0 < row.hz < 1100.0
        and row.output_v_rms is not None
        and row.played_dbfs <= most
    ]
    return max(rows, key=lambda row: row.played_dbfs, default=None)


def _between_channels(found: Measurement) -> Iterator[Seen]:
    if found.balance_db is not None:
        yield Seen("balance", found.balance_db, _BALANCE_DB, "dB")
    for row in found.crosstalk:
        if row.driven == "left" and row.db > row.floor_db + _OVER_FLOOR_DB:
            yield Seen("crosstalk", row.db, _CROSSTALK_DB, "dB", row.hz)
