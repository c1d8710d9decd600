"""Stages written back to TOML: nothing lost, nothing else touched."""

from __future__ import annotations

import difflib
from typing import Any

import pytest
from hypothesis import given, strategies as st

from stagefx.circuit.description.files import (
    load_stage,
    read_stage,
    ready_made,
    stage_as_toml,
    stage_from,
    stage_tables,
    stage_text,
)
from stagefx.units import Quantity
from tests.contract.full_stage import EVERYTHING, OTHER_WAYS
from tests.oracle.random_stages import random_stage

EMPTY: tuple[dict[str, Any], ...] = ({"load": {}}, {"input": {}, "output": {}}, {"source": {}})


@pytest.mark.parametrize("tables", [EVERYTHING, *OTHER_WAYS, *EMPTY], ids=str)
def test_a_stage_is_read_back_equal(tables: dict[str, Any]) -> None:
    stage = stage_from(tables)
    assert stage_from(stage_tables(stage)) == stage
    assert read_stage(stage_as_toml(stage)) == stage


@given(seed=st.integers(0, 100_000))
def test_so_is_any_other(seed: int) -> None:
    stage = stage_from(random_stage(seed))
    assert read_stage(stage_as_toml(stage)) == stage


@given(ohm=st.floats(1e-3, 1e12), farad=st.floats(1e-15, 1.0))
def test_a_value_that_was_worked_out_keeps_every_digit(ohm: float, farad: float) -> None:
    stage = load_stage("passive-control")
    assert stage.load is not None
    load = stage.load.model_copy(
        update={"resistance": Quantity(ohm), "capacitance": Quantity(farad)}
    )
    fitted = stage.model_copy(update={"load": load})
    assert read_stage(stage_as_toml(fitted)) == fitted


@pytest.mark.parametrize("name", ready_made())
def test_an_unchanged_stage_is_written_as_it_was(name: str) -> None:
    text = stage_text(name)
    assert stage_as_toml(read_stage(text), like=text) == text


WRITTEN = """\
# My stage.
name = "box"   # the wooden one

[source]
level = "2 V rms"         # a player
resistance = "0.1 kohm"   # guessed

# the usual cable
[output_cable]
length = "3 m"
capacitance_per_metre = "100 pF/m"

[load]
resistance = "22 kohm"  # power amplifier
"""


def changed(**tables: Any) -> tuple[str, list[str]]:
    """The file with some keys set (None takes a key or table out), and the lines that changed."""
    wanted = stage_tables(read_stage(WRITTEN))
    for table, keys in tables.items():
        if keys is None:
            del wanted[table]
            continue
        for key, value in keys.items():
            if value is None:
                del wanted[table][key]
            else:
                wanted.setdefault(table, {})[key] = value
    text = stage_as_toml(stage_from(wanted), like=WRITTEN)
    assert read_stage(text) == stage_from(wanted)
    lines = difflib.ndiff(WRITTEN.splitlines(), text.splitlines())
    return text, [line for line in lines if line[0] in "+-" and line[2:].strip()]


def test_a_changed_value_keeps_its_comment_and_its_neighbours() -> None:
    _, lines = changed(source={"level": "1 V rms"})
    assert lines == [
        '- level = "2 V rms"         # a player',
        '+ level = "1 V"         # a player',
    ]


def test_a_new_key() -> None:
    _, lines = changed(source={"coupling": "10 uF"})
    assert lines == ['+ coupling = "10 uF"']


def test_a_new_table() -> None:
    text, lines = changed(amplifier={"gain": 4.0})
    assert lines == ["+ [amplifier]", "+ gain = 4.0"]
    assert "# power amplifier" in text


def test_a_table_taken_out() -> None:
    _, lines = changed(output_cable=None)
    assert '- length = "3 m"' in lines
    assert not any(line.startswith("+") for line in lines)


def test_a_key_taken_out() -> None:
    _, lines = changed(source={"level": None})
    assert lines == ['- level = "2 V rms"         # a player']


def test_a_written_default_that_changes() -> None:
    text = '[volume]\nresistance = "10 kohm"\nplace = "before"  # as usual\n'
    moved = stage_from({"volume": {"resistance": "10 kohm", "place": "after"}})
    assert stage_as_toml(moved, like=text) == text.replace('"before"', '"after"')


def test_a_list_that_changes() -> None:
    text = '[volume]\nresistance = "10 kohm"\ntaper = ["-60 dB", "0 dB"]  # switched\n'
    volume = {"resistance": "10 kohm", "taper": ["-60 dB", "-20 dB", "0 dB"]}
    found = stage_as_toml(stage_from({"volume": volume}), like=text)
    assert found == text.replace('"0 dB"', '"-20 dB", "0 dB"')


def test_an_inline_table_that_changes() -> None:
    text = 'source = {level = "2 V rms", resistance = "100 ohm"}  # short\n'
    stage = stage_from({"source": {"level": "2 V rms", "resistance": "600 ohm"}})
    assert stage_as_toml(stage, like=text) == text.replace("100 ohm", "600 ohm")
