"""Stage files: every table and key is accepted, as the published schema says."""

from __future__ import annotations

import json
import tomllib
from typing import Any

import jsonschema
import pytest

from stagefx.circuit.description.files import ready_made, stage_from, stage_schema, stage_text
from stagefx.circuit.description.stage import Stage
from stagefx.errors import StageError
from tests.contract.full_stage import EVERYTHING, KEYS, OTHER_WAYS


def test_everything_is_accepted() -> None:
    stage = stage_from(EVERYTHING)
    assert stage.source.offset is not None
    assert stage.source.offset.value == -0.002
    assert stage.oscillation is not None
    assert stage.oscillation.level.value == pytest.approx(0.3)
    assert stage.volume is not None
    assert stage.volume.law.steps_db == (-60.0, -40.0, -20.0, 0.0)


def test_the_tables_and_keys_are_those_that_files_rely_on() -> None:
    schema = json.loads(stage_schema())
    assert set(schema["properties"]) == {"name", "notes", "temperature", *KEYS}
    for table, keys in KEYS.items():
        told = schema["properties"][table]
        place = told["$ref"] if "$ref" in told else told["allOf"][0]["$ref"]
        model = schema["$defs"][place.rpartition("/")[2]]
        assert set(model["properties"]) == set(keys.split()), table


@pytest.mark.parametrize("tables", OTHER_WAYS, ids=str)
def test_other_ways_of_saying_it_are_accepted(tables: dict[str, Any]) -> None:
    assert isinstance(stage_from(tables), Stage)


def test_what_is_left_out_is_absent() -> None:
    stage = stage_from({})
    assert stage.source.resistance.value == 0.0
    for table in set(KEYS) - {"source"}:
        assert getattr(stage, table) is None
    assert stage.temperature.value == 298.15


def test_a_stage_is_never_changed() -> None:
    stage = stage_from(EVERYTHING)
    with pytest.raises(ValueError, match="frozen"):
        stage.name = "other"
    assert stage.load is not None
    with pytest.raises(ValueError, match="frozen"):
        stage.load.resistance = None


@pytest.mark.parametrize("name", ready_made())
def test_every_ready_made_stage_meets_the_schema(name: str) -> None:
    schema = json.loads(stage_schema())
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(tomllib.loads(stage_text(name)), schema)


def test_so_does_everything() -> None:
    for tables in (EVERYTHING, *OTHER_WAYS):
        jsonschema.validate(tables, json.loads(stage_schema()))


@pytest.mark.parametrize(
    "tables",
    [
        {"amplifer": {}},
        {"amplifier": {"gian": 2}},
        {"source": {"resistance": 600}},
        {"hum": {"level": "1 mV rms"}},
        {"volume": {"resistance": "10 kohm", "position": 1.5}},
        {"supply": {"positive": "15 V", "negative": "-15 V", "rectifier": "bridge"}},
    ],
    ids=str,
)
def test_the_schema_refuses_what_the_program_refuses(tables: dict[str, Any]) -> None:
    with pytest.raises(StageError):
        stage_from(tables)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tables, json.loads(stage_schema()))


def test_the_schema_s_defaults_meet_the_schema() -> None:
    """And nothing is null: what is left out of a stage file is simply not there."""
    schema = json.loads(stage_schema())
    for model in (schema, *schema["$defs"].values()):
        for name, wanted in model["properties"].items():
            assert wanted.get("type") != "null", name
            assert {"type": "null"} not in wanted.get("anyOf", []), name
            if "default" in wanted:
                jsonschema.validate(wanted["default"], wanted | {"$defs": schema["$defs"]})
