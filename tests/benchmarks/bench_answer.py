"""A question answered with a page of evidence, from the files to the folder.

Four minutes in stereo at 44.1 kHz, made here, through the scenario's first question: both stages
rendered, compared and judged, the passage chosen, the page with its players written.  Everything
is compiled and read once before it is timed.
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

import soundfile

from stagefx.report.answer.answer import answer_question
from stagefx.report.answer.folder import fill_folder
from tests.benchmarks.ratio import Ratio, fastest_s
from tests.played import song

SECONDS, RATE_HZ = 240, 44100
QUESTION = """
ask = "Would anybody hear it?"
baseline = "line-stage"
change = "line-stage-quick"
music = ["piece.flac"]
"""


def run() -> list[Ratio]:
    """The whole answer."""
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home)
        music = 0.5 * song(SECONDS * RATE_HZ, 2, seed=8, rate_hz=RATE_HZ)
        soundfile.write(folder / "piece.flac", music, RATE_HZ, subtype="PCM_24")
        (folder / "question.toml").write_text(QUESTION, encoding="utf-8")
        check(answered(folder))
        whole_s = fastest_s(lambda: answered(folder), repeats=2)
    return [
        Ratio(
            name="answer, four minutes, page and all",
            peer="the clock",
            value=whole_s,
            bound=30.0,
            unit="s",
        ),
    ]


def answered(folder: Path) -> Path:
    """The page's folder, made anew."""
    place = Path(tempfile.mkdtemp(dir=folder))
    fill_folder(answer_question(folder / "question.toml"), place)
    return place


def check(place: Path) -> None:
    """A faster device is not to be heard, and the page says so with players in it."""
    page = (place / "answer.html").read_text(encoding="utf-8")
    assert "should not be heard" in page
    assert page.count("data-file=") >= 2
    assert json.loads((place / "answer.json").read_text(encoding="utf-8"))
