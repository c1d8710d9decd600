"""Question files: what is asked, of which two, with what music, and a viewer's own numbers."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
)

from stagefx.errors import StagefxError, nearest
from stagefx.io.texts import from_toml

CONTEXT = ("source", "input_cable", "volume", "output_cable", "load", "listening")
"""Tables of a stage that a viewer may put own numbers into."""


class QuestionError(StagefxError):
    """A question file cannot be used."""


_LONGEST_PATH_BYTES, _LONGEST_NAME_BYTES = 4000, 255


def _file_name(name: str) -> str:
    if "\0" in name:
        raise ValueError("it holds a zero character, which no file name can have; take it out")
    longest = max(len(os.fsencode(part)) for part in name.split("/"))
    if longest > _LONGEST_NAME_BYTES or len(os.fsencode(name)) > _LONGEST_PATH_BYTES:
        raise ValueError("it is longer than the name of a file can be; name one that is there")
    return name


FileName = Annotated[str, AfterValidator(_file_name)]
"""The name of a stage, or a path."""


class BlindResult(BaseModel):
    """Where a blind test's results are."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    key: FileName
    replies: tuple[FileName, ...] = Field(min_length=1)

    @field_validator("replies", mode="before")
    @classmethod
    def _one_or_more(cls, value: Any) -> Any:
        return (value,) if isinstance(value, str) else value


class Question(BaseModel):
    """One question, as a question file states it."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    ask: str = Field(min_length=1)
    why: str = ""
    baseline: FileName = Field(min_length=1)
    change: FileName = Field(min_length=1)
    music: tuple[FileName, ...] = ()
    passage: tuple[float, float] | None = None
    listening_level: float = Field(default=85.0, ge=0.0, le=120.0)
    level_by: Literal["gain", "loudness", "nothing"] | None = None
    delivery: bool = False
    figures: tuple[str, ...] = ()
    blind: BlindResult | None = None
    context: dict[str, dict[str, Any]] = Field(default_factory=dict)

    @field_validator("music", mode="before")
    @classmethod
    def _one_or_more(cls, value: Any) -> Any:
        return (value,) if isinstance(value, str) else value

    @field_validator("listening_level", mode="before")
    @classmethod
    def _level(cls, value: Any) -> Any:
        from stagefx.units import parse

        return parse(value, "dB").value if isinstance(value, str) else value

    @field_validator("passage", mode="before")
    @classmethod
    def _two_times(cls, value: Any) -> Any:
        if not isinstance(value, str):
            return value
        try:
            start, stop = (float(part) for part in value.split("-"))
        except ValueError:
            raise ValueError('two times in seconds, like "12.0-22.0"') from None
        return start, stop

    @field_validator("figures")
    @classmethod
    def _known_figures(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        from stagefx.figures.table import DEFINITIONS

        known = [definition.key for definition in DEFINITIONS]
        for key in value:
            if key not in known:
                raise ValueError(f"unknown figure '{key}'{nearest(key, known)}")
        return value

    @field_validator("context")
    @classmethod
    def _known_tables(cls, value: dict[str, dict[str, Any]]) -> dict[str, dict[str, Any]]:
        for name in value:
            if name not in CONTEXT:
                raise ValueError(f"unknown table '{name}'{nearest(name, CONTEXT)}")
        return value


def read_question(text: str, *, where: str = "the question") -> Question:
    r"""Read a question from the text of a question file."""
    try:
        tables = from_toml(text)
    except ValueError as error:
        raise QuestionError(f"{where}: not TOML: {error}") from None
    try:
        question = Question.model_validate(tables)
    except ValidationError as error:
        raise QuestionError(f"{where}: {_complaint(error)}") from None
    if question.baseline == question.change:
        raise QuestionError(
            f"{where}: baseline and change are both '{question.baseline}'; name two"
        )
    return question


def _complaint(error: ValidationError) -> str:
    """The first mistake, in words: unknown names before bad values."""
    mistakes = sorted(error.errors(), key=lambda one: one["type"] != "extra_forbidden")
    mistake = mistakes[0]
    path = [str(part) for part in mistake["loc"]]
    table = f"[{path[0]}] " if len(path) > 1 and path[0] in {"blind", "context"} else ""
    if mistake["type"] == "extra_forbidden":
        model: type[BaseModel] = BlindResult if table else Question
        return f"{table}unknown key '{path[-1]}'{nearest(path[-1], model.model_fields)}"
    if mistake["type"] == "missing":
        return f"{table}{path[-1]} is missing"
    said = mistake["msg"].removeprefix("Value error, ").replace("Input should be", "it must be")
    return f"{table}{path[-1] if table else path[0]}: {said[:1].lower()}{said[1:]}"


def with_overrides(question: Question, overrides: Sequence[str]) -> Question:
    r"""A question with a viewer's own numbers."""
    context = {table: dict(keys) for table, keys in question.context.items()}
    plain: dict[str, Any] = {}
    for text in overrides:
        name, equals, value = (part.strip() for part in text.partition("="))
        table, dot, key = name.partition(".")
        if name == "listening_level" and equals:
            plain[name] = _typed(value)
        elif not equals or not dot or not key or not value:
            raise QuestionError(
                f'--with {text}: write TABLE.KEY=VALUE, like load.capacitance="1 nF"'
            )
        else:
            context.setdefault(table, {})[key] = _typed(value)
    tables = question.model_dump(exclude_unset=True) | plain
    if context:
        tables["context"] = context
    try:
        return Question.model_validate(tables)
    except ValidationError as error:
        said = _complaint(error).removeprefix("context: ")
        raise QuestionError(f"--with: {said}") from None


def _typed(value: str) -> Any:
    """A number or a quoted text as TOML has it; anything else is a text as it stands."""
    try:
        found = from_toml(f"x = {value}")["x"]
    except ValueError:
        return value
    plain = isinstance(found, str | int | float) and not isinstance(found, bool)
    return found if plain and "\n" not in value else value
