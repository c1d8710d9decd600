"""`stagefx blind prepare`: a pack to send, a page to listen on, a key to keep."""

from __future__ import annotations

import click

from ... import options


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
    if not music:
        from ...stages import refuse_stages

        refuse_stages(*versions, how="MUSIC before FOLDER")
    from stagefx.report.listening.blind_page.pack import prepare_blind

    made = prepare_blind(
        versions, folder, key_file, music=music, passage=passage, protocol=protocol, trials=trials,
        title=title, listening_level_db=listening_level_db, force=force,
    )  # fmt: skip
    from ...output import paper, print_json
    from ...printing.blind import print_prepared

    if as_json:
        print_json(made.as_json())
    else:
        print_prepared(paper(), made)
