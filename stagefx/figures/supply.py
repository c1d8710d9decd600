"""Figures of the supply: ripple, what the regulators have left, what the parts must stand."""

from __future__ import annotations

from collections.abc import Callable

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.supply import ratings, reservoirs
from stagefx.circuit.supply.psrr import ripple_at_load_v_rms
from stagefx.figures.definition import (
    NO_AMPLIFIER,
    NO_SUPPLY,
    Definition,
    Missing,
    Worked,
    Working,
    decibels_of,
)

_STATED_AS = {
    "secondary": "secondary_v_rms",
    "reservoir": "reservoir_f",
    "load_current": "load_current_a",
    "mains_frequency": "mains_frequency_hz",
    "transformer_resistance": "transformer_ohm",
}


def _needs(*keys: str, regulated: bool = False) -> Callable[[Working], Missing | None]:
    """What a figure needs to be stated, and the reason if it is not."""

    def missing(working: Working) -> Missing | None:
        values = working.circuit.supply
        if values is None:
            return Missing(NO_SUPPLY)
        lacking = [key for key in keys if getattr(values, _STATED_AS[key]) is None]
        if lacking:
            are = "is" if len(lacking) == 1 else "are"
            return Missing(f"[supply] {', '.join(lacking)} {are} not stated")
        if regulated and not reservoirs.regulated(working.circuit):
            return Missing("no regulator is described")
        return None

    return missing


def _work(
    function: Callable[[Circuit], Array], missing: Callable[[Working], Missing | None]
) -> Callable[[Working], Worked]:
    return lambda working: missing(working) or function(working.circuit)


_RIPPLE = ("reservoir", "load_current", "mains_frequency")


def _ripple_at_load(working: Working) -> Worked:
    if working.circuit.stage.amplifier is None:
        return Missing(NO_AMPLIFIER)
    lacking = _needs(*_RIPPLE)(working)
    if lacking is not None:
        return lacking
    found = ripple_at_load_v_rms(working.circuit)
    return Missing("the device's supply_rejection is not stated") if found is None else found


def _ripple_re_2v(working: Working) -> Worked:
    found = _ripple_at_load(working)
    return found if isinstance(found, Missing) else decibels_of(found / 2.0)


def _keys(*names: str) -> tuple[str, ...]:
    return tuple(f"supply.{name}" for name in names)


_VALLEY = (*_RIPPLE, "secondary")
_CHARGING = (*_VALLEY, "transformer_resistance")
_REJECTIONS = (*_keys(*_RIPPLE, "regulator_rejection"), "amplifier.supply_rejection")

SUPPLY = (
    Definition(
        "ripple_v_pp", "V p-p", "supply", "ripple on a reservoir, by the rule",
        "load current / (reservoir x how often it is filled)", _keys(*_RIPPLE),
        _work(reservoirs.ripple_v_pp, _needs(*_RIPPLE)),
    ),
    Definition(
        "ripple_exact_v_pp", "V p-p", "supply", "the same, exactly",
        "constant-current discharge from the crest to the next half-wave; with "
        "transformer_resistance, charged through it", _keys(*_VALLEY, "transformer_resistance"),
        _work(reservoirs.ripple_exact_v_pp, _needs(*_VALLEY)),
    ),
    Definition(
        "valley_v", "V", "supply", "lowest voltage of a reservoir at nominal mains",
        "sqrt 2 x secondary - diode drops - ripple by the rule; with transformer_resistance "
        "exactly, charged through it from the stated secondary",
        _keys(*_VALLEY, "diode_drop", "transformer_resistance"),
        _work(reservoirs.valley_v, _needs(*_VALLEY)),
    ),
    Definition(
        "regulator_margin_v", "V", "supply", "what a regulator has left at low mains",
        "valley at low mains - (rail + dropout)",
        _keys(
            *_VALLEY, "diode_drop", "mains_tolerance", "regulator_dropout", "transformer_resistance"
        ),
        _work(ratings.regulator_margin_v, _needs(*_VALLEY, regulated=True)),
    ),
    Definition(
        "reservoir_peak_v", "V", "supply", "what a reservoir must stand at high mains",
        "sqrt 2 x secondary x (1 + regulation) x (1 + mains tolerance) - diode drops",
        _keys("secondary", "transformer_regulation", "mains_tolerance", "diode_drop"),
        _work(ratings.reservoir_peak_v, _needs("secondary")),
    ),
    Definition(
        "transformer_va", "VA", "supply", "what the transformer must be rated for",
        "1.8 x load current x secondary x rails", _keys("load_current", "secondary"),
        _work(ratings.transformer_va, _needs("load_current", "secondary")),
    ),
    Definition(
        "regulator_heat_w", "W", "supply", "heat of one regulator at nominal mains",
        "(crest - half the ripple - rail) x load current; with transformer_resistance, (mean of "
        "highest and lowest voltage - rail) x load current",
        _keys(*_VALLEY, "positive", "transformer_resistance"),
        _work(ratings.regulator_heat_w, _needs(*_VALLEY, regulated=True)),
    ),
    Definition(
        "charging_current_peak_a", "A", "supply", "highest current that charges a reservoir",
        "of the steady state: sqrt 2 x secondary - diode drops through transformer_resistance",
        _keys(*_CHARGING), _work(ratings.charging_current_peak_a, _needs(*_CHARGING)),
    ),
    Definition(
        "charging_current_rms_a", "A rms", "supply", "the same, rms",
        "root of the mean of the steady state's current squared",
        _keys(*_CHARGING), _work(ratings.charging_current_rms_a, _needs(*_CHARGING)),
    ),
    Definition(
        "ripple_at_load_v_rms", "V rms", "supply", "what of the ripple reaches the load",
        "ripple / sqrt 12 x regulator's and device's rejection x noise gain x output network",
        _REJECTIONS, _ripple_at_load,
    ),
    Definition(
        "ripple_at_load_2v_db", "dB", "supply", "the same re 2 V", "20 log(V / 2 V)",
        _REJECTIONS, _ripple_re_2v,
    ),
)  # fmt: skip
