"""Values with units, as people type them, to SI floats and back.

A text is a number, an SI prefix, the unit, and optionally a tolerance:
``"4.7 kohm"``, ``"100 pF/m"``, ``"2.2 V/us"``, ``"10 kohm 1 %"``.  ``m`` is milli and ``M`` is
mega; a number without its unit is an error that names the unit.  Volts say how they are meant:
``"2 V rms"``, ``"2.83 V peak"``, ``"5.66 V p-p"``, ``"6 dBV"``, ``"+4 dBu"``.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from quantiphy import Quantity as PrefixedNumber

from stagefx.errors import UnitError, nearest

ROOT_TWO = math.sqrt(2.0)
DBU_REFERENCE_V = math.sqrt(0.6)
"""0 dBu: the voltage that puts 1 mW into 600 ohm."""

_TOLERANCE = re.compile(
    r"^(?P<value>.*?\S)(?:\s*(?:±|\+/-)\s*|\s+)(?P<percent>\d+(?:\.\d*)?)\s*%$", re.ASCII
)
_NUMBER = re.compile(r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$", re.ASCII)
_PREFIXED = re.compile(r"^[+-]?(?:\d+\.?\d*|\.\d+)\s*[TGMKkcmuµμnpfa]$", re.ASCII)
"""A plain number with a prefix; ``e`` notation and a prefix together would be two scales."""


@dataclass(frozen=True)
class Unit:
    """A unit and the ways it may be written."""

    symbol: str
    spellings: tuple[tuple[str, float], ...]
    example: str
    prefixed: bool = True


def _plain(symbol: str, example: str, *others: str, prefixed: bool = True) -> Unit:
    return Unit(symbol, tuple((s, 1.0) for s in (symbol, *others)), example, prefixed)


UNITS = MappingProxyType(
    {
        "ohm": _plain("ohm", "4.7 kohm", "ohms", "Ohm", "\u03a9", "\u2126"),
        "F": _plain("F", "100 pF"),
        "F/m": _plain("F/m", "100 pF/m"),
        "H": _plain("H", "10 nH"),
        "m": _plain("m", "1.5 m", "metre", "metres"),
        "A": _plain("A", "20 mA"),
        "VA": _plain("VA", "6 VA"),
        "W": _plain("W", "50 W"),
        "Hz": _plain("Hz", "10 MHz"),
        "s": _plain("s", "1.6 us"),
        "V": _plain("V", "15 V"),
        "V rms": _plain("V", "2 V rms"),
        "V peak": _plain("V", "2.83 V peak"),
        "V/s": Unit(
            "V/us",
            (("V/us", 1e6), ("V/µs", 1e6), ("V/μs", 1e6), ("V/ms", 1e3), ("V/s", 1.0)),
            "9 V/us",
        ),
        "V/rtHz": _plain("V/rtHz", "5 nV/rtHz", "V/√Hz"),
        "A/rtHz": _plain("A/rtHz", "0.7 pA/rtHz", "A/√Hz"),
        "dB": _plain("dB", "-12 dB", prefixed=False),
        "dB at 1 m": _plain("dB", "87 dB", prefixed=False),
        "dBA": _plain("dBA", "30 dBA", "dB(A)", "dB", prefixed=False),
        "%": Unit("%", (("%", 0.01),), "15 %", prefixed=False),
        "K": Unit("degC", (("K", 1.0),), "25 degC", prefixed=False),
    }
)

NEEDS_UNIT_EVEN_AT_ZERO = frozenset({"K", "dB", "dBA", "dB at 1 m"})
"""Units in which nought is not nothing."""

_VOLTS = re.compile(r"^(?P<volts>.*?[Vv])\s*(?P<meant>rms|RMS|peak|pk|p-p|pp|peak-to-peak)?$")
_MEANT = {"rms": "rms", "peak": "peak", "pk": "peak", "p-p": "p-p", "pp": "p-p"}
_MEANT |= {"RMS": "rms", "peak-to-peak": "p-p"}
_PEAK_PER = {"rms": ROOT_TWO, "peak": 1.0, "p-p": 0.5}
_KIND_OF = {"V rms": "rms", "V peak": "peak"}


@dataclass(frozen=True)
class Quantity:
    """A value in SI units, with its tolerance where one was stated."""

    value: float
    tolerance: float | None = None

    def __float__(self) -> float:
        return self.value


def parse(text: str | float, unit: str) -> Quantity:
    """Read a text as a value in a unit."""
    known = UNITS[unit]
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise UnitError(f'it must be a text with its unit, like "{known.example}"')
    if isinstance(text, int | float):
        if text == 0 and unit not in NEEDS_UNIT_EVEN_AT_ZERO:
            return Quantity(0.0)
        raise UnitError(f'{text!r} has no unit; write it in {known.symbol}, like "{known.example}"')
    body, tolerance = text.strip(), None
    if unit != "%" and (match := _TOLERANCE.match(body)):
        body, tolerance = match["value"], float(match["percent"]) / 100.0
        if tolerance > 1.0:
            raise UnitError(f'"{text}": a tolerance of {match["percent"]} % is more than all of it')
    value = _temperature(body) if unit == "K" else None
    if value is None and unit in {"V", "V rms", "V peak"}:
        value = _volts(body, unit)
    if value is None:
        value = _measure(body, known)
    if value is None or not math.isfinite(value):
        raise UnitError(_complaint(text, known))
    return Quantity(value, tolerance)


def _complaint(text: str, known: Unit) -> str:
    if _NUMBER.match(text.strip()):
        return f'"{text}" has no unit; write it in {known.symbol}, like "{known.example}"'
    return f'"{text}" is no value in {known.symbol}; write it like "{known.example}"'


def _measure(body: str, unit: Unit) -> float | None:
    for spelling, size in sorted(unit.spellings, key=lambda item: -len(item[0])):
        if not body.endswith(spelling):
            continue
        number = body[: -len(spelling)].strip()
        if _NUMBER.match(number):
            return float(number) * size
        if unit.prefixed and _PREFIXED.match(number):
            return float(PrefixedNumber(number)) * size
    return None


def _temperature(body: str) -> float | None:
    for spelling in ("degC", "°C"):
        if body.endswith(spelling) and _NUMBER.match(number := body[: -len(spelling)].strip()):
            return float(number) + 273.15
    return None


def _volts(body: str, unit: str) -> float | None:
    """Volts in the sense the unit asks for; None where the text is not in volts."""
    for spelling, reference_v in (("dBV", 1.0), ("dBu", DBU_REFERENCE_V)):
        if body.endswith(spelling) and _NUMBER.match(number := body[: -len(spelling)].strip()):
            meant, value = "rms", float(reference_v * 10.0 ** (float(number) / 20.0))
            break
    else:
        match = _VOLTS.match(body)
        if match is None:
            return None
        found = _measure(match["volts"], UNITS["V"])
        if found is None:
            return None
        meant, value = _MEANT.get(match["meant"] or "", ""), found
    if unit == "V":
        if meant:
            raise UnitError(
                f'"{body}" is a sine voltage where a direct one is needed; write it like "15 V"'
            )
        return value
    wanted = _KIND_OF[unit]
    return value if not meant else value * _PEAK_PER[meant] / _PEAK_PER[wanted]


@cache
def _symbol(unit: str) -> tuple[str, float]:
    return UNITS[unit].symbol, UNITS[unit].spellings[0][1]


def show(value: float, unit: str, *, digits: int = 4) -> str:
    """Print an SI value with an engineering prefix."""
    if unit not in UNITS:
        return f"{value:.{digits}g} {unit}".rstrip()
    symbol, size = _symbol(unit)
    if unit == "K":
        return f"{value - 273.15:.{digits}g} degC"
    if not UNITS[unit].prefixed or symbol == "V/us" or value == 0.0 or not math.isfinite(value):
        return f"{value / size:.{digits}g} {symbol}"
    return str(PrefixedNumber(value, symbol).render(prec=digits - 1))


def known_unit(unit: str) -> Unit:
    """Look up a unit."""
    try:
        return UNITS[unit]
    except KeyError:
        raise UnitError(f"no unit '{unit}'{nearest(unit, UNITS)}") from None


def decibels(ratio: float) -> float:
    """A voltage ratio in decibels."""
    return 20.0 * math.log10(ratio) if ratio > 0.0 else -math.inf


def ratio(level_db: float) -> float:
    """A level difference as a voltage ratio."""
    return float(10.0 ** (level_db / 20.0))
