"""Under what an answer holds: source, knob, cables, load, loudspeakers and room, in words."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from stagefx.circuit.description.files import stage_tables
from stagefx.circuit.description.stage import Stage
from stagefx.report.text.sentences import as_sentence
from stagefx.report.text.traced_numbers import Telling
from stagefx.units import decibels

Say = Callable[[str, str], str]
"""A value of a stage, by table and key, noted and with words round it."""


def tell_circumstances(telling: Telling, stages: tuple[Stage, ...]) -> list[str]:
    """Sentences on what stands round the two stages."""
    tables = [stage_tables(stage) for stage in stages]
    alike: list[str] = []
    apart: list[list[str]] = [[], []]
    for clause in _CLAUSES:
        seen = [clause(_sayer(Telling(), one, n)) for n, one in enumerate(tables)]
        if seen[0] == seen[1]:
            if seen[0]:
                alike.append(clause(_sayer(telling, tables[0], 0)))
            continue
        for n, one in enumerate(tables):
            apart[n].append(clause(_sayer(telling, one, n)) or _NONE[clause])
    sentences = [f"{as_sentence('; '.join(alike))}."] if alike else []
    for who, clauses in zip(("Before the change", "After it"), apart, strict=True):
        if clauses:
            sentences.append(f"{who}, {'; '.join(clauses)}.")
    return sentences


_TOLERANCE = re.compile(r" ([0-9.]+) %$")
"""As a stage file has it after a value."""


def _sayer(telling: Telling, tables: Mapping[str, Any], place: int) -> Say:
    def say(table: str, key: str) -> str:
        value = tables.get(table, {}).get(key)
        if value is None:
            return ""
        if key == "amplifier_coupling":
            return f"{str(value).upper()}-coupled"
        if key == "amplifier_gain":
            said = f"{decibels(float(value)):.1f} dB"
            return telling.tell(said, value, "ratio", f"/stages/{place}/{table}/{key}")
        said = _TOLERANCE.sub(r" ± \1 %", str(value))
        return telling.tell(said, value, "", f"/stages/{place}/{table}/{key}")

    return say


def _joined(parts: Iterator[str] | list[str]) -> str:
    return " and ".join(part for part in parts if part)


def _source(say: Say) -> str:
    level, through = say("source", "level"), say("source", "resistance")
    if not level:
        return ""
    return f"the source gives {level} rms at full scale{f' through {through}' if through else ''}"


def _volume(say: Say) -> str:
    resistance, position, setting = (
        say("volume", key) for key in ("resistance", "position", "setting")
    )
    if not resistance:
        return ""
    knob = {"": "at full", "listening": "where the music plays at the listening level"}
    where = f"at {position} of its travel" if position else knob.get(setting, f"at {setting}")
    return f"the volume control is {resistance}, its knob {where}"


def _cable(say: Say, table: str, name: str) -> str:
    length, per_metre = say(table, "length"), say(table, "capacitance_per_metre")
    total = say(table, "capacitance")
    if length:
        return f"the {name} cable is {length} of {per_metre}"
    return f"the {name} cable has {total}" if total else ""


def _input_cable(say: Say) -> str:
    return _cable(say, "input_cable", "input")


def _output_cable(say: Say) -> str:
    return _cable(say, "output_cable", "output")


def _load(say: Say) -> str:
    values = _joined([say("load", "resistance"), say("load", "capacitance")])
    return f"the load is {values}" if values else ""


def _rails(say: Say) -> str:
    positive, negative = say("supply", "positive"), say("supply", "negative")
    return f"the rails are {positive} and {negative}" if positive else ""


def _listening(say: Say) -> str:
    gain, distance = say("listening", "amplifier_gain"), say("listening", "distance")
    if not gain:
        return ""
    sensitivity, room = say("listening", "speaker_sensitivity"), say("listening", "room_noise")
    quiet = f", in a room of {room}" if room else ""
    coupled = say("listening", "amplifier_coupling") or "its coupling not stated"
    return (
        f"the power amplifier's gain is {gain}, {coupled}, the loudspeakers give {sensitivity} at "
        f"a metre and are heard from {distance}{quiet}"
    )


_NONE = {
    _source: "the source has no level",
    _volume: "there is no volume control",
    _input_cable: "there is no input cable",
    _rails: "there are no rails",
    _output_cable: "there is no output cable",
    _load: "there is no load",
    _listening: "nothing is said of loudspeakers and room",
}
_CLAUSES = tuple(_NONE)
