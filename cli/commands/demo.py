"""`stagefx demo`: the whole job on the packaged scenario."""

from __future__ import annotations

from pathlib import Path

import click

from .. import options


@click.command(short_help="The whole job on a ready-made scenario: start here.")
@click.argument("folder", type=click.Path(path_type=Path), default=Path("demo"))
@options.listening_level
@options.seed
@options.force
@options.as_json
def command(folder: Path, listening_level_db: float, seed: int, force: bool, as_json: bool) -> None:
    """Do the whole job on a ready-made scenario, into FOLDER (default: demo).

    Quillmere Hall's music desk has a stock board, a quick one of the same design, and a passive
    box; a long cable goes to the amplifier. Would anybody hear a change from one to another?
    """
    from stagefx.io.atomic_folder import whole_folder

    from ..output import paper, print_json, progress

    with whole_folder(folder, force=force) as place, progress("playing") as told:
        from stagefx.report.answer.demonstration import answer_and_pack, demonstrate

        from ..printing import demo as printing

        found = demonstrate(place, listening_level_db=listening_level_db, seed=seed, progress=told)
        printing.write_tables(place, found)
        answer_and_pack(place, seed=seed)
    if as_json:
        print_json(printing.as_plain(folder, found))
    else:
        printing.print_where_to_look(paper(), folder, found)
