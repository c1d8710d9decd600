"""What the program says of every case: `python -m tests.battery [--case GLOB] [--piece GLOB] ...`.

Prints each case on each piece, what was allowed and what was given, then what is wrong by case.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from fnmatch import fnmatch
from pathlib import Path

from joblib import Parallel, delayed

from tests.battery.case import Case
from tests.battery.cases import all_cases, short_run
from tests.battery.judging import Outcome
from tests.battery.pieces import Piece, own_pieces, pieces_in
from tests.battery.running import outcomes

HEAD = ("case", "piece", "dB", "allowed", "given", "p", "events", "named", "")
WIDTHS = (44, 14, 3, 16, 8, 5, 6, 60, 2)


def line(cells: Iterable[str]) -> str:
    return "  ".join(
        cell[:width].ljust(width) for cell, width in zip(cells, WIDTHS, strict=True)
    ).rstrip()


def row(one: Outcome) -> str:
    events = "" if one.events is None else str(one.events)
    return line(
        (one.case, one.piece, f"{one.listening_db:g}", one.allowed, one.given,
         f"{one.probability:.2f}", events, one.named, "ok" if one.right else "NO")
    )  # fmt: skip


def kind(wrong: str) -> str:
    """What sort of fault it is: grade, p, naming, a row lit, a refusal."""
    return wrong.split(" ", 1)[0].rstrip(":")


def misses(found: Sequence[Outcome]) -> None:
    """What is wrong, case by case, and the totals."""
    wrong = [one for one in found if not one.right]
    print("\nmisses by case")
    for name in dict.fromkeys(one.case for one in wrong):
        of_case = [one for one in found if one.case == name]
        missed = [one for one in of_case if not one.right]
        print(f"  {name}: {len(missed)} of {len(of_case)}")
        for one in missed:
            print(f"    {one.piece} {one.listening_db:g} dB: {'; '.join(one.wrong)[:300]}")
    kinds = Counter(sort for one in wrong for sort in {kind(text) for text in one.wrong})
    print(f"\n{len(wrong)} of {len(found)} wrong", dict(kinds.most_common()))


def pieces_for(
    case: Case, pieces: dict[str, Piece], *, short: bool, music: bool
) -> Iterable[Piece]:
    """All; in a short run one of our own, and other music for a row and for no variant."""
    if short and music:
        return () if case.near or case.slow else pieces.values()
    return [short_run(case, pieces)] if short else pieces.values()


def run(number: int, piece: Piece) -> list[Outcome]:
    return outcomes(all_cases()[number], piece)


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.battery", description=__doc__)
    parser.add_argument("--case", default="*", metavar="GLOB")
    parser.add_argument("--piece", default="*", metavar="GLOB")
    parser.add_argument("--music", type=Path, metavar="FOLDER", help="a folder, instead of our own")
    parser.add_argument("--at", type=float, default=30.0, metavar="S", help="where in each file")
    parser.add_argument("--short", action="store_true", help="few pieces, or rows without variants")
    parser.add_argument("--seconds", type=float, default=10.0, help="length of each piece")
    parser.add_argument("--json", type=Path, metavar="FILE")
    parser.add_argument("--jobs", type=int, default=2, choices=(1, 2))
    wanted = parser.parse_args(arguments)
    music = wanted.music and list(
        pieces_in(wanted.music, start_s=wanted.at, seconds=wanted.seconds)
    )
    pieces = {one.name: one for one in music or own_pieces(wanted.seconds)}
    chosen = [
        (number, piece)
        for number, case in enumerate(all_cases())
        if fnmatch(case.name, wanted.case)
        for piece in pieces_for(case, pieces, short=wanted.short, music=bool(music))
        if fnmatch(piece.name, wanted.piece)
    ]
    print(line(HEAD), flush=True)
    found: list[Outcome] = []
    for some in Parallel(n_jobs=wanted.jobs, return_as="generator")(
        delayed(run)(number, piece) for number, piece in chosen
    ):
        found += some
        for one in some:
            print(row(one), flush=True)
    misses(found)
    if wanted.json:
        wanted.json.write_text(json.dumps([asdict(one) for one in found], indent=1) + "\n")
    return int(any(not one.right for one in found))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
