"""Threads for the channels are asked for where they are worth it; the samples do not care."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from threading import get_ident
from time import sleep

import numpy as np
import pytest

from stagefx.circuit.description.files import load_stage
from stagefx.effects.channel_pool import Helpers
from stagefx.io.files import open_audio
from stagefx.io.prefetch import BackgroundWriter
from stagefx.render.preparation import prepare
from stagefx.render.rendering import render_file
from stagefx.samples import samples_folder

PIECE = samples_folder() / "music" / "trio.flac"


def threads_used(helpers: Helpers) -> int:
    def work(channel: int) -> bool:
        seen[channel] = get_ident()
        sleep(0.002)
        return True

    seen: dict[int, int] = {}
    assert helpers.run(work, 2) == [True, True]
    assert sorted(seen) == [0, 1]
    return len(set(seen.values()))


def test_channels_are_spread_only_if_they_take_clearly_longer_than_another_thread() -> None:
    helpers = Helpers(1)
    assert threads_used(helpers) == 2
    helpers.others_s = lambda: 10.0
    assert threads_used(helpers) == 1
    helpers.others_s = lambda: 1e-4
    assert threads_used(helpers) == 2
    helpers.close()


def test_the_samples_are_the_same_on_one_thread_and_on_two() -> None:
    with open_audio(PIECE) as music:
        played = prepare(load_stage("slow-early"), music)
        blocks = list(music.blocks())
        found = []
        for others_s in (0.0, 1e9):
            with played.chain(music.format.rate_hz, music.format.channels) as chain:
                chain.give_way(lambda: others_s)  # noqa: B023
                found.append(np.concatenate(list(chain.process(blocks))))
    assert np.array_equal(*found)


@pytest.mark.parametrize("number", [1, 64])
def test_a_render_is_the_same_file_on_any_number_of_processors(
    number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stage = load_stage("line-stage")
    render_file(stage, PIECE, tmp_path / "here.flac")
    monkeypatch.setattr(import_module("stagefx.render.rendering"), "processors", lambda: number)
    render_file(stage, PIECE, tmp_path / "there.flac")
    assert (tmp_path / "here.flac").read_bytes() == (tmp_path / "there.flac").read_bytes()


def test_what_is_done_behind_tells_how_long_it_took() -> None:
    with BackgroundWriter(sleep) as behind:
        behind.put(0.02)
    assert 0.02 <= behind.last_s < 1.0
