"""Music, not test signals: a healthy stage leaves it alone, a slow one works, and joins are right.

The pieces are those of the samples folder, made by its own script.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage
from stagefx.circuit.knob import set_knob
from stagefx.dsp.blocks import GRID_FRAMES
from stagefx.effects import Effect, Setup
from stagefx.render.plan import stage_effects
from tests.played import Audio, in_decibels, played

MUSIC = Path(__file__).parents[2] / "samples" / "music"
PIECES = ["drums", "trio", "voice"]
LIMITS = frozenset({"slew", "clip"})
NORMAL_V = float(2.0 * np.sqrt(2.0))
"""Peak of a full-scale sine of an ordinary source, 2 V rms."""
HARD_V = 10.0 * NORMAL_V
"""20 dB hotter, as an amplifier before it would make it."""


@cache
def music(piece: str) -> tuple[Audio, int]:
    """Ten seconds, in whole blocks of the grid."""
    with soundfile.SoundFile(MUSIC / f"{piece}.flac") as file:
        file.seek(5 * file.samplerate)
        frames = 10 * file.samplerate // GRID_FRAMES * GRID_FRAMES
        return file.read(frames, always_2d=True), file.samplerate


def effects_of(stage: str, rate_hz: int) -> tuple[Effect, ...]:
    return stage_effects(Setup(set_knob(nominal(load_stage(stage))).circuit, rate_hz))


@cache
def limited(stage: str, piece: str, full_scale_v: float, *, skip_idle: bool = True) -> Audio:
    audio, rate_hz = music(piece)
    effects = effects_of(stage, rate_hz)
    options = {"keep": LIMITS, "full_scale_v": full_scale_v, "skip_idle": skip_idle}
    return played(effects, audio, rate_hz, **options)


def in_blocks(audio: Audio) -> Audio:
    """[blocks, frames, channels]"""
    return audio.reshape(-1, GRID_FRAMES, audio.shape[1])


def untouched(stage: str, piece: str, full_scale_v: float) -> Audio:
    """Which blocks come out bit for bit as they went in, channel by channel."""
    same = limited(stage, piece, full_scale_v) == music(piece)[0]
    return np.asarray(in_blocks(same).all(axis=1))


def loud(piece: str) -> Audio:
    """Which blocks are no pause: their peak is above -30 dBFS."""
    return np.asarray(in_decibels(np.abs(in_blocks(music(piece)[0])).max(axis=1)) > -30.0)


@pytest.mark.parametrize("piece", PIECES)
@pytest.mark.parametrize("stage", ["line-stage", "line-stage-quick", "unity-buffer"])
def test_a_healthy_stage_leaves_nearly_every_block_alone(stage: str, piece: str) -> None:
    assert untouched(stage, piece, NORMAL_V).mean() > 0.9
    assert np.abs(limited(stage, piece, NORMAL_V) - music(piece)[0]).max() < 1e-7


@pytest.mark.parametrize("piece", PIECES)
def test_a_slow_device_driven_hard_leaves_nearly_none(piece: str) -> None:
    """In the pauses there is nothing to do."""
    alone = untouched("slow-early", piece, HARD_V)
    assert loud(piece).mean() > 0.6
    assert alone[loud(piece)].mean() < 0.01
    assert np.abs(limited("slow-early", piece, HARD_V) - music(piece)[0]).max() > 0.3


@pytest.mark.parametrize("piece", PIECES)
@pytest.mark.parametrize("full_scale_v", [NORMAL_V, 2.0 * NORMAL_V, HARD_V])
def test_passing_blocks_by_changes_no_frame_of_music(piece: str, full_scale_v: float) -> None:
    """By more than 1e-7 of full scale, where some blocks are passed by and others are not."""
    mixed = untouched("slow-early", piece, full_scale_v)
    assert 0.02 < mixed.mean() < 0.98
    skipping = limited("slow-early", piece, full_scale_v)
    working = limited("slow-early", piece, full_scale_v, skip_idle=False)
    assert np.abs(skipping - working).max() <= 1e-7


@pytest.mark.parametrize("piece", PIECES)
def test_nothing_clicks_at_the_joins(piece: str) -> None:
    """Where a block that is worked on meets one that is not, what is added neither starts nor
    ends with a step: at the last frame on either side it is no more than idleness allows."""
    added = in_blocks(limited("slow-early", piece, 2.0 * NORMAL_V) - music(piece)[0])
    idle = untouched("slow-early", piece, 2.0 * NORMAL_V)
    starts, ends = idle[:-1] & ~idle[1:], ~idle[:-1] & idle[1:]
    assert starts.sum() + ends.sum() > 0
    at_joins = [np.abs(added[1:, 0][starts]), np.abs(added[:-1, -1][ends])]
    assert max(edge.max(initial=0.0) for edge in at_joins) <= 1e-7
