"""`stagefx answer`: a question file in, an evidence page out."""

from __future__ import annotations

from pathlib import Path

import click

from .. import options
from ..places import check_music


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
    from stagefx.io.atomic_folder import whole_folder

    with whole_folder(folder, force=force) as place:
        from stagefx.report.question.inputs import ask

        asked = ask(question, overrides=given)
        without = ask(question) if given else None
        check_music(*map(str, asked.files))
        from stagefx.report.answer.answer import answer_asked
        from stagefx.report.answer.folder import fill_folder

        found = answer_asked(asked, without, given=given, seed=seed)
        files = fill_folder(found, place, called=folder)
    from ..output import paper, print_json
    from ..printing.answer import print_answer

    if as_json:
        print_json(found.as_json())
    else:
        print_answer(paper(), found, folder, files)
