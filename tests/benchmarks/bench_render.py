"""Rendering from file to file, and the sums alone, against what a practitioner has to hand.

Stereo at 44.1 kHz, made here; every peer runs in this process, on the same music, in turn with
what it is compared with, and each result is checked before it is timed.
"""

from __future__ import annotations

from collections.abc import Callable, Set as AbstractSet
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray
from scipy.signal import resample_poly

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import set_knob
from stagefx.dsp.blocks import GRID_FRAMES
from stagefx.effects import Setup
from stagefx.io.files import open_audio
from stagefx.render.chain import BLOCK_FRAMES, Chain
from stagefx.render.plan import stage_effects
from stagefx.render.preparation import prepare
from stagefx.render.rendering import render_file
from tests.benchmarks.ratio import Ratio, fastest_s
from tests.played import song

Audio = NDArray[np.float64]
RATE_HZ = 44100
FILE_S, SUMS_S = 60, 20


def run() -> list[Ratio]:
    """Every ratio of rendering."""
    with TemporaryDirectory() as folder:
        return [*from_file_to_file(Path(folder)), *sums_alone()]


# --- from file to file ---


def from_file_to_file(folder: Path) -> list[Ratio]:
    """A healthy stage, 24-bit FLAC to 24-bit FLAC, its knob at a place or set by listening."""
    music, copy = folder / "in.flac", folder / "copy.flac"
    audio = 0.5 * song(FILE_S * RATE_HZ, 2, seed=0, rate_hz=RATE_HZ)
    soundfile.write(music, audio, RATE_HZ, subtype="PCM_24")
    decode_and_encode(music, copy)
    assert np.abs(soundfile.read(copy)[0] - audio).max() <= 2.0**-23
    by_listening = load_stage("line-stage")
    assert by_listening.volume is not None
    still = by_listening.volume.model_copy(update={"position": 0.6, "setting": None})
    at_a_place = by_listening.model_copy(update={"volume": still})
    found = []
    for knob, stage in {"knob at a place": at_a_place, "knob by listening": by_listening}.items():
        check_file(stage, music, folder / "out.flac")
        ratio = in_turn(
            lambda: render_file(stage, music, folder / "out.flac", force=True),  # noqa: B023
            lambda: decode_and_encode(music, copy),
        )
        name = f"healthy stage, FLAC to FLAC, {knob}"
        found.append(Ratio(name=name, peer="decode and encode", value=ratio, bound=1.5))
    return found


def check_file(stage: Stage, music: Path, out: Path) -> None:
    """The file holds what the chain gives, rounded to 24 bits, and nothing was limited."""
    report = render_file(stage, music, out, force=True)
    assert report.clipped_frames == report.slewing_frames == (0, 0)
    with open_audio(music) as reader, prepare(stage, reader).chain(RATE_HZ, 2) as running:
        expected = np.concatenate(list(running.process(reader.blocks())))
    assert np.abs(soundfile.read(out)[0] - expected).max() < 2.0 * 2.0**-23


def decode_and_encode(music: Path, out: Path) -> None:
    """The least that any program does between two files: whole numbers, a block at a time."""
    with (
        soundfile.SoundFile(music) as source,
        soundfile.SoundFile(out, "w", RATE_HZ, 2, "PCM_24", format="FLAC") as target,
    ):
        for block in source.blocks(65536, dtype="int32"):
            target.write(block)


# --- the sums alone ---


def sums_alone() -> list[Ratio]:
    """On two threads, without files, dither and loudness; the chains stand ready."""
    music = 0.5 * song(SUMS_S * RATE_HZ, 2, seed=1, rate_hz=RATE_HZ)
    loud = steady(SUMS_S * RATE_HZ)
    with (
        chain("line-stage", HEALTHY_V) as healthy_chain,
        chain("slow-early", HOT_V) as driven_chain,
    ):
        check_healthy(music, healthy_chain)
        check_driven(loud, driven_chain)

        def healthy() -> None:
            through(healthy_chain, music)

        def driven() -> None:
            through(driven_chain, loud)

        def there_and_back() -> None:
            soxr.resample(soxr.resample(loud, 1, 8, "HQ"), 8, 1, "HQ")

        def script() -> None:
            resample_poly(np.clip(resample_poly(loud, 8, 1), -0.5, 0.5), 1, 8)

        return [
            Ratio(
                name="every block nonlinear, sums alone",
                peer="soxr HQ ×8 and back, one thread",
                value=in_turn(driven, there_and_back),
                bound=1.0,
            ),
            Ratio(
                name="every block nonlinear, sums alone",
                peer="script: resample_poly ×8, clip",
                value=in_turn(script, driven),
                bound=3.0,
                sense="at least",
            ),
            Ratio(
                name="healthy stage, sums alone",
                peer="script: resample_poly ×8, clip",
                value=in_turn(script, healthy),
                bound=10.0,
                sense="at least",
            ),
        ]


HEALTHY_V = float(np.sqrt(2.0) * 2.0)
"""Peak of a full-scale sine of an ordinary source."""
HOT_V = 8.0
"""Peak of a full-scale sine of a source that drives the slow stage into both its limits."""
LIMITS = frozenset({"slew", "clip"})


def steady(frames: int) -> Audio:
    """Pink noise without a quiet stretch, 0.45 of the rate wide; peak 1."""
    rng = np.random.default_rng(2)
    share = np.fft.rfftfreq(frames)
    tilt = np.where(share <= 0.45, 1.0 / np.sqrt(np.maximum(share, 1e-3)), 0.0)
    spectrum = np.fft.rfft(rng.standard_normal((frames, 2)), axis=0) * tilt[:, None]
    noise = np.fft.irfft(spectrum, frames, axis=0)
    return np.ascontiguousarray(noise / np.abs(noise).max())


def chain(name: str, full_scale_v: float, *, without: AbstractSet[str] = frozenset()) -> Chain:
    """All effects of a ready-made stage but some."""
    effects = stage_effects(Setup(set_knob(nominal(load_stage(name))).circuit, RATE_HZ))
    keep = {effect.name for effect in effects} - without
    return Chain(effects, RATE_HZ, 2, full_scale_v=full_scale_v, keep=keep)


def through(running: Chain, music: Audio) -> Audio:
    """Music through a chain in memory, in blocks as a file gives them."""
    starts = range(0, len(music), BLOCK_FRAMES)
    blocks = (music[start : start + BLOCK_FRAMES] for start in starts)
    return np.concatenate(list(running.process(blocks)))


def check_healthy(music: Audio, running: Chain) -> None:
    """Limits change next to nothing: the lag of a slew limit that is never met."""
    with chain("line-stage", HEALTHY_V, without=LIMITS) as free:
        assert np.abs(through(running, music) - through(free, music)).max() < 1e-5


def check_driven(music: Audio, running: Chain) -> None:
    """In no block is the output what it would be without limits."""
    found = through(running, music)
    with chain("slow-early", HOT_V, without=LIMITS) as free:
        change = np.abs(found - through(free, music))
    blocks = len(music) // GRID_FRAMES
    assert change[: blocks * GRID_FRAMES].reshape(blocks, -1).max(axis=1).min() > 1e-4
    tallies = running.tallies[0]
    assert min(tally.nonlinear_frames for tally in tallies) > 0.05 * len(music)


def in_turn(call: Callable[[], object], peer: Callable[[], object], *, rounds: int = 5) -> float:
    """Shortest time of a call over that of its peer, each measured in turn with the other."""
    times = [(fastest_s(call, repeats=1), fastest_s(peer, repeats=1)) for _ in range(rounds)]
    return min(own for own, _ in times) / min(other for _, other in times)
