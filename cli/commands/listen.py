"""`stagefx listen`: hear what changed, knowing which is which."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .. import options
from ..places import STANDARD_STREAM, check_music

if TYPE_CHECKING:
    from stagefx.report.listening.tracks import ListeningSet


@click.command(short_help="A sighted listening set: both versions, the difference, a player.")
@click.argument("first")
@click.argument("second")
@click.argument("rest", nargs=-1, required=True, metavar="[MUSIC] FOLDER")
@options.passage
@options.listening_level
@options.seed
@options.force
@options.as_json
def command(
    first: str,
    second: str,
    rest: tuple[str, ...],
    passage: tuple[float, float] | None,
    listening_level_db: float,
    seed: int,
    force: bool,
    as_json: bool,
) -> None:
    """Make a listening set of FIRST and SECOND in FOLDER, and one page that plays it.

    FIRST and SECOND are stages, with a piece of MUSIC between them and FOLDER; or audio files, and
    no MUSIC. Both play at one loudness; the difference is turned up, but capped; each effect of
    the stages is exaggerated. You know which is which, so it is a lesson, not a test: for that see
    'stagefx blind prepare'.
    """
    if len(rest) > 2:
        raise click.UsageError("give FIRST, SECOND, one piece of MUSIC for stages, and FOLDER")
    *music, folder = rest
    _check_folder(Path(folder), first, second, *music, force=force)
    settings: dict[str, Any] = {"passage": passage, "listening_level_db": listening_level_db}
    settings |= {"seed": seed, "force": force}
    if music:
        made = _of_stages(first, second, music[0], folder, settings)
    else:
        made = _of_files(first, second, folder, settings)
    from ..output import paper, print_json
    from ..printing.listen import print_listening_set

    if as_json:
        print_json({**made.as_json(), "folder": folder})
    else:
        print_listening_set(paper(), made, Path(folder))


def _check_folder(folder: Path, *inputs: str, force: bool) -> None:
    """Before anything is worked out: that the folder is free, and holds no input."""
    from stagefx.errors import AudioError, OutputError

    for one in inputs:
        if one == STANDARD_STREAM:
            raise AudioError("a listening set reads its music several times; give a file, not '-'")
        if Path(one).is_file() and Path(one).resolve().parent == folder.resolve():
            raise OutputError(f"{one} lies in {folder}, where the set would go; name a new folder")
    if not folder.resolve().parent.is_dir():
        raise OutputError(f"there is no folder '{folder.parent}'; make it first")
    if folder.is_file():
        raise OutputError(f"{folder} is a file; name a folder")
    if not force and folder.is_dir() and any(folder.iterdir()):
        raise OutputError(f"{folder} holds something already; name a new folder, or use --force")


def _of_stages(
    first: str, second: str, music: str, folder: str, settings: dict[str, Any]
) -> ListeningSet:
    from stagefx.circuit.description.files import load_stage

    stages = load_stage(first), load_stage(second)
    check_music(music)
    from stagefx.report.listening.listening_set import listening_set_of_stages

    return listening_set_of_stages(*stages, music, folder, **settings)


def _of_files(first: str, second: str, folder: str, settings: dict[str, Any]) -> ListeningSet:
    from ..stages import refuse_stages

    refuse_stages(first, second, how="MUSIC before FOLDER")
    check_music(first, second)
    from stagefx.report.listening.listening_set import listening_set_of_files

    return listening_set_of_files(first, second, folder, **settings)
