"""A question answered into a folder: the page, its numbers as JSON, its tables as CSV."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from stagefx.io.atomic_file import refuse_same_file
from stagefx.io.atomic_folder import whole_folder
from stagefx.io.files import open_audio
from stagefx.report.question.inputs import ask

if TYPE_CHECKING:
    from stagefx.report.answer.results import Answer

PAGE, NUMBERS = "answer.html", "answer.json"


def answer_into(
    place: str | Path,
    folder: str | Path,
    *,
    given: Sequence[str] = (),
    seed: int = 0,
    force: bool = False,
) -> Answer:
    """Answer a question file with a page of evidence, its numbers and its tables in a folder.

    Parameters
    ----------
    place : str or Path
        The question file.
    folder : str or Path
        Where the answer will be, whole or not at all.
    given : sequence of str
        A viewer's own numbers, each ``TABLE.KEY=VALUE``; the question is answered without them
        as well, to say whether the verdict moves.
    seed : int, default: 0
        Of whatever chance the effects use.
    force : bool, default: False
        Whether files that are there may be replaced.

    Returns
    -------
    Answer
        What was found; the same for the same files.

    Raises
    ------
    QuestionError
        The question cannot be used.
    StagefxError
        A stage or a file that it names cannot be used, or the folder cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> from stagefx.samples import samples_folder
    >>> with tempfile.TemporaryDirectory() as home:
    ...     answer = answer_into(samples_folder() / "questions" / "hum.toml", Path(home, "hum"))
    ...     sorted(path.name for path in Path(home, "hum").iterdir())[:3]
    ['answer.html', 'answer.json', 'audibility.csv']
    >>> answer.grade.value
    'may be heard'
    """
    with whole_folder(Path(folder), force=force) as inside:
        asked = ask(place, overrides=given)
        without = ask(place) if given else None
        for music in asked.files:
            open_audio(music).close()
        from stagefx.report.answer.answer import answer_asked

        found = answer_asked(asked, without, given=tuple(given), seed=seed)
        fill_folder(found, inside, called=Path(folder))
    return found


def file_names(answer: Answer) -> tuple[str, ...]:
    """Names of the files of an answer, the page first."""
    from stagefx.report.answer.values import tables_of

    return PAGE, NUMBERS, *tables_of(answer)


def fill_folder(answer: Answer, place: Path, *, called: Path | None = None) -> tuple[str, ...]:
    """Write an answer's files."""
    from stagefx.report.answer.evidence_page import page_of
    from stagefx.report.answer.values import as_json_text, tables_of

    files = {PAGE: page_of(answer), NUMBERS: as_json_text(answer)} | tables_of(answer)
    for name, text in files.items():
        refuse_same_file((called or place) / name, *answer.asked.inputs)
        (place / name).write_text(text, encoding="utf-8", newline="")
    return tuple(files)
