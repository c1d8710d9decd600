"""Every command that writes, and music and question for it to work on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tests.cli.short_music import short_music

QUESTION = """
ask = "Would anybody hear it?"
baseline = "line-stage"
change = "line-stage-quick"
music = ["piece.flac"]
"""


@dataclass(frozen=True)
class Writing:
    """A command whose output is called OUT, and what else it makes."""

    line: str
    out: str
    beside: tuple[str, ...] = ()

    def arguments(self, inputs: Path, out: Path) -> list[str]:
        """With the places put in."""
        places = {"OUT": str(out), "IN": str(inputs), "KEY": str(out.with_name("key.json"))}
        return [
            next(
                (word.replace(name, place, 1) for name, place in places.items() if name in word),
                word,
            )
            for word in self.line.split()
        ]


WRITING = {
    "render flac": Writing("render line-stage IN/piece.flac OUT", "out.flac"),
    "render wav": Writing("render line-stage IN/piece.flac OUT --bits float", "out.wav"),
    "render ogg": Writing("render line-stage IN/piece.flac OUT", "out.ogg"),
    "residual": Writing("compare line-stage wire --music IN/piece.flac --residual OUT", "rest.wav"),
    "plot": Writing("figures line-stage --plot OUT", "figures.png"),
    "svg": Writing("compare line-stage wire --music IN/piece.flac --plot OUT", "compare.svg"),
    "stage": Writing("bench stage IN/readings.toml OUT", "stage.toml"),
    "signals": Writing("bench signals OUT", "signals"),
    "listening set": Writing("listen line-stage wire IN/piece.flac OUT", "set"),
    "pack": Writing(
        "blind prepare line-stage wire IN/piece.flac OUT --key KEY --trials 4",
        "pack",
        ("key.json",),
    ),
    "answer": Writing("answer IN/question.toml OUT", "answered"),
}


def make_inputs(folder: Path) -> Path:
    """Music, a folder of music, a question, and readings."""
    (folder / "many").mkdir(parents=True)
    short_music(folder / "piece.flac", seconds=2.0)
    for name in "abc":
        short_music(folder / "many" / f"{name}.flac", seconds=1.0)
    (folder / "question.toml").write_text(QUESTION, encoding="utf-8")
    readings = sorted((Path(__file__).parents[2] / "samples" / "readings").glob("*.toml"))
    (folder / "readings.toml").write_bytes(readings[0].read_bytes())
    return folder
