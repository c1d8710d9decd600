"""An answer written into a folder: the page, its numbers as JSON, its tables as CSV."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from stagefx.io.atomic_file import refuse_same_file
from stagefx.io.atomic_folder import whole_folder
from stagefx.report.answer.evidence_page import page_of
from stagefx.report.answer.values import as_json_text, tables_of

if TYPE_CHECKING:
    from stagefx.report.answer.results import Answer

PAGE, NUMBERS = "answer.html", "answer.json"


def write_answer(answer: Answer, folder: Path, *, force: bool = False) -> tuple[str, ...]:
    """Write an answer into a folder, whole or not at all.

    Parameters
    ----------
    answer : Answer
        What was found.
    folder : Path
        Where; made where it is not there.
    force : bool, default: False
        Whether files of the same names may be replaced.

    Returns
    -------
    tuple of str
        Names of the files, the page first.

    Raises
    ------
    OutputError
        The folder holds something already, or cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> from stagefx.report.answer.example import example_answer
    >>> with tempfile.TemporaryDirectory() as home:
    ...     files = write_answer(example_answer(), Path(home, "quick"))
    >>> files[:3]
    ('answer.html', 'answer.json', 'ledger.csv')
    """
    with whole_folder(folder, force=force) as place:
        return fill_folder(answer, place, called=folder)


def fill_folder(answer: Answer, place: Path, *, called: Path | None = None) -> tuple[str, ...]:
    """Write an answer's files.

    Parameters
    ----------
    answer : Answer
        What was found.
    place : Path
        An empty folder.
    called : Path, optional
        What the folder will be called once it is in place.

    Returns
    -------
    tuple of str
        Names of the files, the page first.

    Raises
    ------
    OutputError
        One of them would replace a file that the question was read from.

    Examples
    --------
    >>> import tempfile
    >>> from stagefx.report.answer.example import example_answer
    >>> with tempfile.TemporaryDirectory() as home:
    ...     files = fill_folder(example_answer(), Path(home))
    >>> len(files)
    5
    """
    files = {PAGE: page_of(answer), NUMBERS: as_json_text(answer)} | tables_of(answer)
    for name, text in files.items():
        refuse_same_file((called or place) / name, *answer.asked.inputs)
        (place / name).write_text(text, encoding="utf-8", newline="")
    return tuple(files)
