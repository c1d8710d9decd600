"""Stage files: TOML in, a stage out, and back with the writer's comments kept."""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any

import tomlkit
from pydantic import ValidationError
from tomlkit.exceptions import ParseError

from stagefx.errors import StageError, nearest
from stagefx.stage.description import Stage
from stagefx.stage.devices import device_class

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
    >>> read_stage('[volume]\\nresistance = "10 kohm"').volume.resistance.value
    10000.0
    """
    try:
        document = tomlkit.parse(text).unwrap()
    except ParseError as error:
        raise StageError(f"{where}: no TOML: {error}") from None
    return stage_from(document, where=where)


def stage_from(tables: Mapping[str, Any], *, where: str = "the stage") -> Stage:
    """Build a stage from nested tables.

    Parameters
    ----------
    tables : mapping
        As in a stage file.
    where : str
        What error messages call it.

    Returns
    -------
    Stage
        The stage, checked.

    Raises
    ------
    StageError
        An unknown table or key, or a value that cannot be.

    Examples
    --------
    >>> stage_from({"source": {"resistance": "600 ohm"}}).source.resistance.value
    600.0
    """
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
        place = f"[{'.'.join(path[:-1])}] " if len(path) > 1 else ""
        return f"{place}unknown {kind} '{path[-1]}'{nearest(path[-1], known)}"
    if fault["type"] == "missing":
        return f"[{'.'.join(path[:-1])}] {path[-1]} is missing"
    table = isinstance(fault["input"], Mapping)
    place = f"[{'.'.join(path if table else path[:-1])}]"
    place = "" if place == "[]" else f"{place} "
    key = "" if table else f"{path[-1]}: "
    message = fault["msg"].removeprefix("Value error, ")
    if fault["type"] != "value_error":
        message = f"{fault['input']!r}: {message[0].lower()}{message[1:]}"
    return f"{place}{key}{message}"


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
    return read_stage(stage_text(place), where=str(place)) if str(place) != "wire" else WIRE


def stage_text(place: str | Path) -> str:
    """The text of a stage file or of a ready-made stage.

    Parameters
    ----------
    place : str or Path
        A path that ends in ``.toml``, or a name from `ready_made`.

    Returns
    -------
    str
        TOML, comments included.

    Raises
    ------
    StageError
        No such file or name, or not readable.

    Examples
    --------
    >>> "[amplifier]" in stage_text("line-stage")
    True
    """
    name = str(place)
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
        return path.read_text("utf-8")
    except FileNotFoundError:
        raise StageError(f"{name}: there is no such file") from None
    except UnicodeDecodeError:
        raise StageError(f"{name}: no text file; a stage file is TOML in UTF-8") from None
    except OSError as error:
        raise StageError(f"{name}: cannot be read: {error.strerror}") from None


def _catalogue_file(name: str) -> Any:
    return resources.files("stagefx.stage.catalogue").joinpath("stages", f"{name}.toml")


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
    folder = resources.files("stagefx.stage.catalogue").joinpath("stages")
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def stage_tables(stage: Stage) -> dict[str, Any]:
    """A stage as nested tables of texts and numbers.

    Parameters
    ----------
    stage : Stage
        Any stage.

    Returns
    -------
    dict
        What `stage_from` reads back to an equal stage; defaults are left out.

    Examples
    --------
    >>> stage_tables(stage_from({"source": {"resistance": "600 ohm"}}))
    {'source': {'resistance': '600 ohm'}}
    """
    tables: dict[str, Any] = stage.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    return {key: value for key, value in tables.items() if value != {}}


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
    return json.dumps(Stage.model_json_schema(), indent=2, ensure_ascii=False) + "\n"
