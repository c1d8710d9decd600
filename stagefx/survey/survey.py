"""A whole collection through a stage: how often does anything happen."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from stagefx.circuit.description.stage import Stage
from stagefx.figures.faults import Fault, faults_of
from stagefx.io.atomic_file import refuse_same_file
from stagefx.survey.asked import Asked
from stagefx.survey.collection import Collection, Piece, find_pieces
from stagefx.survey.journal import Journal, heading_of
from stagefx.survey.row import Row
from stagefx.survey.summary import Summary, sum_up
from stagefx.survey.workers import connected, on_cluster, on_cores

Progress = Callable[[int, int | None], None]
"""Called now and then with the files done and the files in all."""


@dataclass(frozen=True)
class Survey:
    """What a collection does to a stage.

    Parameters
    ----------
    asked : Asked
        The stage and how it was played.
    rows : tuple of Row
        One a file, by path.
    summary : Summary
        In a few numbers.
    taken_over : int
        Rows that an earlier, interrupted survey had done.
    faults : tuple of Fault
        Of the stage, its knob as it asks; to be put right before sound is talked of.
    """

    asked: Asked
    rows: tuple[Row, ...]
    summary: Summary
    taken_over: int = 0
    faults: tuple[Fault, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The survey as plain values.

        Returns
        -------
        dict
            The keys of ``stagefx survey --json``.
        """
        return {
            "files": [row.as_json() for row in self.rows],
            "summary": {"stage": self.asked.stage.name}
            | self.summary.as_json()
            | {"faults": [asdict(fault) for fault in self.faults]},
        }


def survey_folder(
    stage: Stage,
    folder: str | Path,
    *,
    out: str | Path | None = None,
    full: bool = False,
    knob: float | None = None,
    listening_level_db: float = 85.0,
    jobs: int | None = None,
    scheduler: str | None = None,
    force: bool = False,
    progress: Progress | None = None,
) -> Survey:
    """Play every piece under a folder through a stage, as far as its limits.

    Parameters
    ----------
    stage : Stage
        Needs a source level.
    folder : str or Path
        Searched with all folders in it.
    out : str or Path or None
        A JSON Lines file, written as the survey goes and taken up again where it stopped.
    full : bool
        Whether each piece is rendered and judged by the ear model too, against a wire.
    knob : float or None, 0 to 1
        The fixed position; left out, where the stage's own knob stands, or full.
    listening_level_db : float, dB SPL
        A-weighted level at the seat.
    jobs : int or None, 1 or more
        Workers on this machine; as many as there are cores.
    scheduler : str or None
        Address of a Dask scheduler to use instead.
    force : bool
        Whether `out` is begun anew, whatever is there.
    progress : callable
        Told the files done and the files in all.

    Returns
    -------
    Survey
        The same whatever the number of workers.

    Raises
    ------
    StagefxError
        The stage, the folder, the output or the scheduler cannot be used.  A file that cannot be
        read is a row with its error instead.

    Examples
    --------
    >>> from stagefx.samples import samples_folder
    >>> from stagefx.circuit.description.files import load_stage
    >>> found = survey_folder(load_stage("line-stage"), samples_folder() / "music", jobs=1)
    >>> len(found.rows), found.summary.asked.either
    (3, 0)
    """
    asked = Asked(stage, knob, listening_level_db, full)
    faults = faults_of(asked.checked().circuit)
    collection = find_pieces(folder)
    with ExitStack() as opened:
        client = None if scheduler is None else opened.enter_context(connected(scheduler))
        journal = None
        if out is not None:
            journal = opened.enter_context(_journal(out, asked, collection, force=force))
        known = {} if journal is None else journal.rows
        rows = {piece.name: row for piece in collection.pieces
                if (row := _already(piece, known)) is not None}  # fmt: skip
        taken_over = len(rows)
        left = sorted(
            (piece for piece in collection.pieces if piece.name not in rows),
            key=lambda piece: (-piece.size_bytes, piece.name),  # the longest work first
        )
        for row in _worked(left, asked, jobs, client):
            if journal is not None:
                journal.add(row)
            rows[row.file] = row
            if progress is not None:
                progress(len(rows), len(collection.pieces))
        ordered = tuple(rows[piece.name] for piece in collection.pieces)
        if journal is not None:
            journal.put_in_order(ordered)
    summary = sum_up(ordered, links_passed_by=collection.links_passed_by)
    return Survey(asked, ordered, summary, taken_over, faults)


def _worked(pieces: Sequence[Piece], asked: Asked, jobs: int | None, client: Any) -> Iterator[Row]:
    if client is not None:
        return on_cluster(pieces, asked, client)
    return on_cores(pieces, asked, jobs=jobs)


def _journal(out: str | Path, asked: Asked, collection: Collection, *, force: bool) -> Journal:
    refuse_same_file(out, *(piece.place for piece in collection.pieces))
    return Journal(out, heading_of(asked, collection.folder), force=force)


def _already(piece: Piece, known: dict[str, Row]) -> Row | None:
    """What is known of a piece, unless it has changed or could not be read."""
    row = known.get(piece.name)
    if row is None or row.error is not None:
        return None
    same = (row.size_bytes, row.modified_ns) == (piece.size_bytes, piece.modified_ns)
    return row if same else None
