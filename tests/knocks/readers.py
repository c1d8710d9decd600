"""Everything that reads a file of the user's, and whole files for it to begin with.

A reader takes a file and gives a result or a `StagefxError`.  Some go on to work out what
the file asks for, because a value that reads well may still be one that cannot be worked with.
"""

from __future__ import annotations

import io
import json
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from stagefx.bench.fit.rounds import load_round
from stagefx.bench.readings.derivation import stage_from_readings
from stagefx.bench.readings.files import load_readings
from stagefx.bench.scope.tables import load_trace
from stagefx.blind.codes import Answer, Reply, encode_reply
from stagefx.blind.keys import draw_key, load_key, save_key
from stagefx.blind.replies import read_replies
from stagefx.circuit.description.files import load_stage
from stagefx.figures.table import compute_figures
from stagefx.io.files import open_audio
from stagefx.report.question.inputs import ask
from stagefx.survey.asked import Asked
from stagefx.survey.journal import Journal, heading_of
from stagefx.units import parse
from tests.measured_on_paper import measured

SAMPLES = Path(__file__).parents[2] / "samples"


@dataclass(frozen=True)
class Reader:
    """How a kind of file is read, and its whole specimens."""

    read: Callable[[Path], object]
    specimens: Callable[[], list[bytes]]
    ending: str
    weight: int
    """Its part of all the bad inputs, per cent."""


def of_samples(pattern: str) -> Callable[[], list[bytes]]:
    return lambda: [path.read_bytes() for path in sorted(SAMPLES.glob(pattern))]


def questions() -> list[bytes]:
    """What they name is found from anywhere."""
    above = f'"{SAMPLES}/'.encode()
    return [one.replace(b'"../', above) for one in of_samples("questions/*.toml")()]


def keys() -> list[bytes]:
    found = []
    for protocol in ("abx", "preference"):
        with tempfile.TemporaryDirectory() as folder:
            place = Path(folder, "key.json")
            save_key(draw_key(protocol, ("main",) * 4, trials=4), place)
            found.append(place.read_bytes())
    return found


def replies() -> list[bytes]:
    answers = tuple(Answer(item, draw=item % 4, reply=(item % 2,)) for item in range(4))
    reply = Reply("0" * 16, "A listener", "1" * 16, answers)
    code = encode_reply(reply)
    return [f"What a nice film!\n{code}\n".encode(), json.dumps(reply.as_json()).encode()]


def traces() -> list[bytes]:
    times = np.arange(200) * 1e-7
    volts = np.where(times > 5e-6, 1.0 - np.exp(-(times - 5e-6) / 1e-6), 0.0)
    comma = "\n".join(f"{t:.3e},{v:.4f}" for t, v in zip(times, volts, strict=True))
    german = "\n".join(
        f"{t:.3e};{v:.4f}".replace(".", ",") for t, v in zip(times, volts, strict=True)
    )
    return [f"time,volts\ns,V\n{comma}\n".encode(), f"t;u\n{german}\n".encode("utf-16")]


def measurements() -> list[bytes]:
    return [json.dumps(measured(load_stage("line-stage")).as_json()).encode()]


ASKED = Asked(load_stage("line-stage"))


def journals() -> list[bytes]:
    head = json.dumps({"survey": heading_of(ASKED, "music")})
    return [f"{head}\n{json.dumps({'file': 'a.flac', 'size_bytes': 1})}\n".encode(), b""]


def recordings() -> list[bytes]:
    tone = 0.5 * np.sin(np.arange(300) / 7.0)
    found = []
    for kind, encoding in (
        ("WAV", "PCM_24"), ("WAV", "FLOAT"), ("WAVEX", "PCM_16"), ("RF64", "PCM_24"),
        ("W64", "PCM_16"), ("AIFF", "PCM_24"), ("FLAC", "PCM_16"), ("OGG", "VORBIS"),
        ("MP3", "MPEG_LAYER_III"),
    ):  # fmt: skip
        whole = io.BytesIO()
        soundfile.write(whole, np.stack([tone, -tone], axis=1), 48000, encoding, format=kind)
        found.append(whole.getvalue())
    return found


def read_stage(place: Path) -> object:
    stage = load_stage(place)
    return compute_figures(stage) if now_and_then(place) else stage


def read_readings(place: Path) -> object:
    readings = load_readings(place)
    return stage_from_readings(readings).as_toml() if now_and_then(place) else readings


def now_and_then(place: Path) -> bool:
    """What can be read is slow to work out, and not often bad."""
    return place.stat().st_size % 16 == 0


def read_audio(place: Path) -> object:
    with open_audio(place) as reader:
        return reader.read(0, min(reader.format.frames, 4096))


def read_journal(place: Path) -> object:
    with Journal(place, heading_of(ASKED, "music")) as journal:
        return journal.rows


def read_quantity(place: Path) -> object:
    text = place.read_bytes().decode("utf-8", "surrogateescape")
    return [parse(text, unit) for unit in ("ohm", "V", "F", "V/us")]


READERS = {
    "stage": Reader(read_stage, of_samples("stages/*.toml"), ".toml", 22),
    "readings": Reader(
        read_readings,
        of_samples("readings/*.toml"),
        ".toml",
        8,
    ),
    "question": Reader(ask, questions, ".toml", 12),
    "key": Reader(load_key, keys, ".json", 8),
    "replies": Reader(lambda place: read_replies([place]), replies, ".txt", 10),
    "trace": Reader(load_trace, traces, ".csv", 8),
    "measurement": Reader(load_round, measurements, ".json", 6),
    "journal": Reader(read_journal, journals, ".jsonl", 6),
    "audio": Reader(read_audio, recordings, ".wav", 12),
    "quantity": Reader(
        read_quantity, lambda: [b"10 kohm", b"4.7 uF", b"2 V rms", b"1e-3 V", b"9 V/us"], ".txt", 8
    ),
}
assert sum(reader.weight for reader in READERS.values()) == 100
