"""`stagefx blind prepare`: a pack to send, a page to listen on, a key to keep."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ... import options
from ...places import check_music

if TYPE_CHECKING:
    from stagefx.blind.pack.excerpts import Excerpt


@click.command(short_help="A pack, a listening page, and a sealed key.")
@click.argument("first")
@click.argument("second")
@click.argument("rest", nargs=-1, required=True, metavar="[MUSIC]... FOLDER")
@click.option("--key", "key_file", required=True, metavar="KEYFILE", help="Where to seal the key.")
@click.option(
    "--version",
    "more",
    multiple=True,
    metavar="STAGE_OR_FILE",
    help="One more version, for a preference; may be given several times.",
)
@options.passage
@options.protocol
@click.option(
    "--trials",
    type=click.IntRange(1, 200),
    default=16,
    show_default=True,
    metavar="N",
    help="How many scored trials; 'stagefx blind plan' says how many are needed.",
)
@click.option("--title", default="", metavar="TEXT", help="What the page calls the test.")
@options.listening_level
@options.force
@options.as_json
def command(
    first: str,
    second: str,
    rest: tuple[str, ...],
    key_file: str,
    more: tuple[str, ...],
    passage: tuple[float, float] | None,
    protocol: str,
    trials: int,
    title: str,
    listening_level_db: float,
    force: bool,
    as_json: bool,
) -> None:
    """Make a blind pack of FIRST and SECOND in FOLDER, and seal its key in KEYFILE.

    FIRST and SECOND are stages, with one piece of MUSIC or more between them and FOLDER; or audio
    files, and no MUSIC. Keep KEYFILE outside FOLDER, and send the folder or the page alone.
    """
    *music, folder = rest
    versions = (first, second, *more)
    if more and protocol != "preference":
        raise click.UsageError("--version is for --protocol preference; other tests have two")
    settings: dict[str, Any] = {"passage": passage, "listening_level_db": listening_level_db}
    _check_places(Path(folder), Path(key_file), force=force)
    excerpts = _from_stages(versions, music, settings) if music else _from_files(versions, settings)
    from stagefx.blind.pack.preparation import prepare_pack
    from stagefx.report.listening.blind_page.build import build_page

    made = prepare_pack(
        excerpts, folder, key_file, protocol=protocol, trials=trials, title=title, force=force,
        versions=[Path(version).stem for version in versions], page=build_page,
    )  # fmt: skip
    from ...output import paper, print_json
    from ...printing.blind import print_prepared

    if as_json:
        print_json(made.as_json())
    else:
        print_prepared(paper(), made)


def _check_places(folder: Path, key_file: Path, *, force: bool) -> None:
    """Before anything is worked out: that both places are free, and apart."""
    from stagefx.errors import BlindError, OutputError
    from stagefx.io.atomic_file import check_free

    if key_file.resolve().is_relative_to(folder.resolve()):
        raise BlindError(
            f"the key would lie in the pack ({key_file}), where every listener finds it; keep it "
            "elsewhere"
        )
    check_free(key_file, force=force)
    if folder.is_file():
        raise OutputError(f"{folder} is a file; name a folder")
    if not force and folder.is_dir() and any(folder.iterdir()):
        raise OutputError(f"{folder} holds something already; name a new folder, or use --force")


def _from_stages(
    versions: tuple[str, ...], music: list[str], settings: dict[str, Any]
) -> list[Excerpt]:
    from stagefx.circuit.description.files import load_stage

    stages = [load_stage(version) for version in versions]
    check_music(*music)
    from stagefx.blind.pack.excerpts import excerpt_of_stages

    return [excerpt_of_stages(stages, piece, **settings) for piece in music]


def _from_files(versions: tuple[str, ...], settings: dict[str, Any]) -> list[Excerpt]:
    from ...stages import refuse_stages

    refuse_stages(*versions, how="MUSIC before FOLDER")
    check_music(*versions)
    from stagefx.blind.pack.excerpts import excerpt_of_files

    return [excerpt_of_files(versions, **settings)]
