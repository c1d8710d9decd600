"""`stagefx catalogue`."""

from __future__ import annotations

import json

from click.testing import CliRunner

from stagefx.circuit.description.devices import device_classes
from stagefx.circuit.description.files import load_stage, read_stage, ready_made, stage_text
from stagefx_cli.main import program
from tests.cli.running import one_object


def shown(*arguments: str) -> str:
    done = CliRunner().invoke(program, ["catalogue", *arguments])
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    return done.stdout


def test_every_stage_and_device_class_is_listed_in_80_columns() -> None:
    lines = shown().splitlines()
    names = {line.split("  ")[0] for line in lines}
    assert {*ready_made(), *device_classes(), "wire"} <= names
    assert max(map(len, lines)) <= 80


def test_a_ready_made_stage_is_printed_as_its_file_comments_included() -> None:
    for name in ready_made():
        assert shown(name) == stage_text(name)


def test_the_wire_is_printed_as_a_stage_file() -> None:
    assert read_stage(shown("wire")) == load_stage("wire")


def test_a_device_class_is_printed_with_low_usual_and_high() -> None:
    (row,) = [line for line in shown("fast bipolar").splitlines() if line.startswith("slew rise")]
    assert " ".join(row.split()) == "slew rise 15 V/us 20 V/us 35 V/us"


def test_open_loop_gain_is_printed_in_decibels() -> None:
    text = " ".join(shown("early bipolar").split())
    assert "open loop gain 94 dB 104 dB 110 dB" in text


def test_the_list_as_json() -> None:
    found = one_object(shown("--json"))
    assert {stage["name"] for stage in found["stages"]} == {*ready_made(), "wire"}
    assert {device["name"] for device in found["devices"]} == set(device_classes())


def test_a_stage_as_json_reads_back_to_the_same_stage() -> None:
    found = one_object(shown("line-stage", "--json"))
    from stagefx.circuit.description.files import stage_from

    assert stage_from(found["stage"]) == load_stage("line-stage")


def test_a_device_class_as_json() -> None:
    found = one_object(shown("FET-input", "--json"))
    assert found["device"]["figures"]["gain_bandwidth"] == {
        "low": "4 MHz",
        "usual": "8 MHz",
        "high": "11 MHz",
    }


def test_the_schema_knows_every_table_of_a_stage_file() -> None:
    schema = json.loads(shown("--schema"))
    assert {"source", "volume", "amplifier", "supply", "listening"} <= set(schema["properties"])
