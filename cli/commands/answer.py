"""`stagefx answer`: a question file in, an evidence page out."""

from __future__ import annotations

from pathlib import Path

import click

from .. import options


@click.command(short_help="A question file in, a page of evidence out.")
@click.argument("question", type=click.Path(path_type=Path), metavar="QUESTION.toml")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--with",
    "given",
    multiple=True,
    metavar="TABLE.KEY=VALUE",
    help="Answer with this number of a viewer's own, and say whether the verdict moves; repeat it "
    "for more.",
)
@options.seed
@options.force
@options.as_json
def command(
    question: Path, folder: Path, given: tuple[str, ...], seed: int, force: bool, as_json: bool
) -> None:
    """Answer QUESTION.toml with a page of evidence in FOLDER: answer.html, answer.json, tables.

    A question file says what is asked, names baseline and change (stage files, ready-made names,
    'wire', or audio files) and the music; paths are looked for beside it.
    """
    from stagefx.report.answer.folder import answer_into

    found = answer_into(question, folder, given=given, seed=seed, force=force)
    from ..output import paper, print_json
    from ..printing.answer import print_answer

    if as_json:
        print_json(found.as_json())
    else:
        print_answer(paper(), found, folder)
