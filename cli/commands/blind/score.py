"""`stagefx blind score`: replies scored with the sealed key."""

from __future__ import annotations

from pathlib import Path

import click

from ... import options


@click.command(short_help="Exact statistics, per listener and pooled; checks the commitment.")
@click.argument("key_file", metavar="KEYFILE")
@click.argument("replies", nargs=-1, required=True)
@options.plot
@options.force
@options.as_json
def command(
    key_file: str, replies: tuple[str, ...], picture: Path | None, force: bool, as_json: bool
) -> None:
    """Score REPLIES with the sealed KEYFILE.

    REPLIES are files that the listening page saved, or text files with one code a line, as pasted
    from comments. The first scoring notes beside the key which replies were there; later ones are
    counted apart.
    """
    if picture is not None:
        from stagefx.report.plots.saving import check_place

        check_place(picture, force=force)
    from stagefx.blind.scoring import score_files

    found = score_files(key_file, replies)
    from ...output import paper, print_json

    if picture is not None:
        from stagefx.report.plots.hearing.blind import draw_score
        from stagefx.report.plots.saving import save

        save(draw_score(found), picture, force=force)
    if as_json:
        print_json(found.as_json())
    else:
        from ...printing.blind import print_score

        print_score(paper(), found)
