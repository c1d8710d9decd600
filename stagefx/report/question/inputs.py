"""A question with all that it names found: stages, music, results of a blind test."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from stagefx.circuit.description.files import load_stage, ready_made, stage_tables, with_values
from stagefx.circuit.description.stage import Stage
from stagefx.report.question.file import Question, QuestionError, read_question, with_overrides
from stagefx.report.question.needed import needed

AUDIO_ENDINGS = (".wav", ".flac", ".aif", ".aiff", ".ogg", ".opus", ".mp3", ".w64", ".rf64", ".caf")


@dataclass(frozen=True)
class Asked:
    """A question with its files found."""

    question: Question
    name: str
    folder: Path
    stages: tuple[Stage, ...]
    files: tuple[Path, ...]
    inputs: tuple[Path, ...]


def ask(place: str | Path, *, overrides: Sequence[str] = ()) -> Asked:
    """Read a question file and find all that it names.

    Files are looked for beside the question file.
    """
    path = Path(place)
    question = read_question(_text(path), where=str(place))
    question = with_overrides(question, overrides)
    folder = path.parent
    kinds = [one.lower().endswith(AUDIO_ENDINGS) for one in (question.baseline, question.change)]
    if kinds[0] != kinds[1]:
        audio, stage = sorted((question.baseline, question.change), key=lambda one: not _audio(one))
        raise QuestionError(
            f"{place}: '{audio}' is an audio file and '{stage}' is a stage; name two of one kind"
        )
    if kinds[0]:
        return _of_files(path, question)
    if not question.music:
        raise QuestionError(f"{place}: music is missing; two stages are compared with music")
    stages = tuple(_stage(one, folder, question) for one in (question.baseline, question.change))
    if stage_tables(_nameless(stages[0])) == stage_tables(_nameless(stages[1])):
        raise QuestionError(
            f"{place}: baseline and change are the same stage under two names; change one of them"
        )
    for name, one in zip((question.baseline, question.change), stages, strict=True):
        _check_stated(name, one, question, place)
    music = tuple(_found(folder / one, place, "music") for one in question.music)
    files = [folder / one for one in (question.baseline, question.change) if one.endswith(".toml")]
    inputs = (path, *files, *music, *_blind_files(question, folder, place))
    return Asked(question, path.name, folder, stages, music, inputs)


def _audio(name: str) -> bool:
    return name.lower().endswith(AUDIO_ENDINGS)


def _of_files(path: Path, question: Question) -> Asked:
    if question.music:
        raise QuestionError(
            f"{path}: baseline and change are audio files, so music has no place; leave it out"
        )
    if question.context:
        raise QuestionError(
            f"{path}: audio files hold no stage that a viewer's numbers could change; name two "
            "stages, or leave [context] and --with out"
        )
    folder = path.parent
    first, second = (
        _found(folder / name, path, what)
        for what, name in (("baseline", question.baseline), ("change", question.change))
    )
    if first.samefile(second):
        raise QuestionError(f"{path}: baseline and change are the same file; name two")
    inputs = (path, first, second, *_blind_files(question, folder, path))
    return Asked(question, path.name, folder, (), (first, second), inputs)


def _blind_files(question: Question, folder: Path, place: str | Path) -> tuple[Path, ...]:
    if question.blind is None:
        return ()
    names = (question.blind.key, *question.blind.replies)
    return tuple(_found(folder / name, place, "[blind]") for name in names)


def _found(file: Path, place: str | Path, what: str) -> Path:
    if not file.is_file():
        raise QuestionError(
            f"{place}: {what} '{file}' is not there; files are looked for beside the question file"
        )
    return file


def _text(path: Path) -> str:
    try:
        return path.read_text("utf-8-sig")
    except FileNotFoundError:
        raise QuestionError(f"{path}: there is no such file; name a question file") from None
    except UnicodeDecodeError:
        raise QuestionError(f"{path}: not text; a question file is TOML in UTF-8") from None
    except OSError as error:
        raise QuestionError(f"{path}: cannot be read: {error.strerror}") from None


def _stage(name: str, folder: Path, question: Question) -> Stage:
    ready = name == "wire" or (not name.endswith(".toml") and name in ready_made())
    stage = load_stage(name if ready or not name.endswith(".toml") else folder / name)
    if not question.context:
        return stage
    return with_values(stage, question.context, where=f"[context] in {name}")


def _check_stated(name: str, stage: Stage, question: Question, place: str | Path) -> None:
    """Ask by name for the values that the question needs and a stage does not state."""
    keys = needed(stage, question.figures)
    if keys:
        are, them = ("is", "it") if len(keys) == 1 else ("are", "them")
        raise QuestionError(
            f"{place}: the question needs {_by_table(keys)} of '{name}', which {are} not stated; "
            f"put {them} in the stage file, or in [context] where both stages have the same"
        )


def _by_table(keys: Sequence[str]) -> str:
    """Keys under their tables: ``[load] resistance and capacitance and [source] level``."""
    tables: dict[str, list[str]] = {}
    for key in keys:
        table, _, name = key.partition(".")
        tables.setdefault(table, []).append(name)
    return " and ".join(
        f"[{table}] {' and '.join((', '.join(names[:-1]), names[-1]) if names[1:] else names)}"
        for table, names in tables.items()
    )


def _nameless(stage: Stage) -> Stage:
    return stage.model_copy(update={"name": "", "notes": ""})
