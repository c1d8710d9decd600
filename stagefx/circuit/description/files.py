"""Stage files: TOML in, a stage out, and back with the writer's comments kept."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from importlib import resources
from pathlib import Path
from typing import Any

import tomlkit
from pydantic import ValidationError
from pydantic.json_schema import GenerateJsonSchema
from pydantic_core import core_schema

from stagefx.circuit.description.devices import device_class
from stagefx.circuit.description.stage import Stage
from stagefx.errors import StageError, nearest
from stagefx.io.texts import from_toml

WIRE = Stage.model_validate({"name": "wire", "source": {"level": "2 V rms"}})
"""The ideal stage: gain and nothing else."""


def read_stage(text: str, *, where: str = "the stage") -> Stage:
    r"""Read a stage from the text of a stage file.

    Parameters
    ----------
    text : str
        TOML.
    where : str
        What error messages call the file.

    Returns
    -------
    Stage
        The stage, checked.

    Raises
    ------
    StageError
        Not TOML, an unknown table or key (the nearest is suggested), a value that cannot be.

    Examples
    --------
    >>> read_stage('[volume]\nresistance = "10 kohm"').volume.resistance.value
    10000.0
    """
    try:
        document = from_toml(text)
    except ValueError as error:
        raise StageError(f"{where}: not TOML: {_in_plain_words(str(error))}") from None
    return stage_from(document, where=where)


def _in_plain_words(complaint: str) -> str:
    """What the TOML reader says, its tuples of keys as tables."""

    def as_table(keys: re.Match[str]) -> str:
        return "[" + ".".join(re.findall("'([^']*)'", keys[0])) + "]"

    plain = re.sub(r"\('[^)]*\)", as_table, complaint)
    return plain[:1].lower() + plain[1:]


def stage_from(tables: Mapping[str, Any], *, where: str = "the stage") -> Stage:
    """Build a stage from nested tables."""
    try:
        stage = Stage.model_validate(tables)
        if stage.amplifier is not None and stage.amplifier.device is not None:
            device_class(stage.amplifier.device)
    except ValidationError as error:
        raise StageError(f"{where}: {_complaint(error)}") from None
    except StageError as error:
        raise StageError(f"{where}: [amplifier] device: {error}") from None
    return stage


def _complaint(error: ValidationError) -> str:
    """The first fault of a stage file, in words: unknown names before bad values."""
    faults = sorted(error.errors(), key=lambda fault: fault["type"] != "extra_forbidden")
    fault = faults[0]
    path = [str(part) for part in fault["loc"]]
    if fault["type"] == "extra_forbidden":
        known = _known_keys(path[:-1])
        kind = "table or key" if len(path) == 1 else "key"
        return f"{_place(path[:-1])}unknown {kind} '{path[-1]}'{nearest(path[-1], known)}"
    if fault["type"] == "missing":
        return f"{_place(path[:-1])}{path[-1]} is missing"
    if fault["type"] == "model_type":
        return f"'{path[0]}' is a table; write [{path[0]}], and its keys below it"
    message = fault["msg"].removeprefix("Value error, ")
    if fault["type"] != "value_error":
        for technical, plain in _PLAIN_WORDS.items():
            message = message.replace(technical, plain)
        message = f"{fault['input']!r}: {message}"
    if len(path) == 1 and isinstance(fault["input"], Mapping):
        return f"{_place(path)}{message}"
    numbered = [f"{int(p) + 1}" if p.isdigit() else p for p in path[1:]]
    return f"{_place(path[:-1][:1])}{', item '.join(numbered or path)}: {message}"


def _place(path: Sequence[str]) -> str:
    return f"[{'.'.join(path)}] " if path else ""


_PLAIN_WORDS = {
    "Input should be": "it must be",
    "a valid string": "a text in quotes",
    "a valid tuple": "a list",
    "a valid number": "a number",
    "a valid integer, got a number with a fractional part": "a whole number",
    "a valid integer": "a whole number",
    "greater than or equal to": "at least",
    "less than or equal to": "at most",
}


def _known_keys(path: list[str]) -> list[str]:
    schema = Stage.model_json_schema()
    if not path:
        return list(schema["properties"])
    wanted = path[0].replace("_", "").lower()
    definitions = schema["$defs"]
    name = {"inputcable": "Cable", "outputcable": "Cable"}.get(wanted, wanted.capitalize())
    return list(definitions[name]["properties"])


def load_stage(place: str | Path) -> Stage:
    """A stage from a stage file, a ready-made name, or ``wire``.

    Parameters
    ----------
    place : str or Path
        A path that ends in ``.toml``, a name from `ready_made`, or ``"wire"``.

    Returns
    -------
    Stage
        The stage, checked.

    Raises
    ------
    StageError
        No such file or name, not readable, or not a stage.

    Examples
    --------
    >>> load_stage("wire").name
    'wire'
    """
    return read_stage(stage_text(place), where=str(place))


def stage_text(place: str | Path) -> str:
    """The text of a stage file or of a ready-made stage."""
    name = str(place)
    if name == WIRE.name:
        return stage_as_toml(WIRE)
    if not name.endswith(".toml"):
        known = ready_made()
        if name not in known:
            raise StageError(
                f"no stage '{name}': neither a .toml file nor a ready-made stage"
                f"{nearest(name, [*known, 'wire'])}"
            )
        return str(_catalogue_file(name).read_text("utf-8"))
    path = Path(place)
    try:
        return path.read_text("utf-8-sig")
    except FileNotFoundError:
        ready = Path(name).stem in {*ready_made(), "wire"}
        hint = f"; the ready-made stage is called '{Path(name).stem}'" if ready else ""
        raise StageError(f"{name}: there is no such file{hint}") from None
    except UnicodeDecodeError:
        raise StageError(f"{name}: not text; a stage file is TOML in UTF-8") from None
    except OSError as error:
        raise StageError(f"{name}: cannot be read: {error.strerror}") from None


def _catalogue_file(name: str) -> Any:
    return resources.files("stagefx.circuit.catalogue").joinpath("stages", f"{name}.toml")


def ready_made() -> tuple[str, ...]:
    """Names of the ready-made stages.

    Returns
    -------
    tuple of str
        In alphabetical order; ``wire`` is not among them.

    Examples
    --------
    >>> "line-stage" in ready_made()
    True
    """
    folder = resources.files("stagefx.circuit.catalogue").joinpath("stages")
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def stage_tables(stage: Stage) -> dict[str, Any]:
    """A stage as nested tables of texts and numbers."""
    tables: dict[str, Any] = stage.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    return tables


def with_values(
    stage: Stage, values: Mapping[str, Mapping[str, Any]], *, where: str = "the values"
) -> Stage:
    """A stage with some values changed."""
    tables = stage_tables(stage)
    for table, keys in values.items():
        given = dict(tables.get(table, {}))
        for key in keys:
            for other in _INSTEAD.get(key, ()):
                given.pop(other, None)
        tables[table] = given | dict(keys)
    return stage_from(tables, where=where)


_INSTEAD = {
    "capacitance": ("length", "capacitance_per_metre"),
    "position": ("setting",),
    "setting": ("position",),
}


def stage_as_toml(stage: Stage, *, like: str = "") -> str:
    """Write a stage as the text of a stage file.

    Parameters
    ----------
    stage : Stage
        Any stage.
    like : str
        The text it came from: comments, order and every value that has not changed stay as
        they are written there.

    Returns
    -------
    str
        TOML that `read_stage` reads back to an equal stage.

    Examples
    --------
    >>> print(stage_as_toml(stage_from({"name": "buffer"})))
    name = "buffer"
    <BLANKLINE>
    """
    document = tomlkit.parse(like)
    before = stage_tables(read_stage(like)) if like else {}
    _merge(document, before, stage_tables(stage))
    return tomlkit.dumps(document)


def _merge(document: Any, before: Mapping[str, Any], after: Mapping[str, Any]) -> None:
    for key in [key for key in document if key in before and key not in after]:
        del document[key]
    for key, value in after.items():
        if isinstance(value, dict):
            if key not in document:
                document[key] = tomlkit.table()
            _merge(document[key], before.get(key, {}), value)
        elif key not in before or before[key] != value:
            document[key] = value


class _Schema(GenerateJsonSchema):
    """The schema of what is written: in TOML nothing is null, and what is left out is absent."""

    def nullable_schema(self, schema: core_schema.NullableSchema) -> dict[str, Any]:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> dict[str, Any]:
        made = super().default_schema(schema)
        if not isinstance(made.get("default"), str | int | float):
            made.pop("default", None)
        return made


def stage_schema() -> str:
    """The JSON schema of a stage file.

    Returns
    -------
    str
        JSON, indented, for editors that check TOML against a schema.

    Examples
    --------
    >>> '"title": "Stage"' in stage_schema()
    True
    """
    schema = {"$schema": _Schema.schema_dialect} | Stage.model_json_schema(schema_generator=_Schema)
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"
