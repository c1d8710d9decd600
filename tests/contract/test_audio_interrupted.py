"""An audio file whose writing is interrupted at an awkward moment."""

from __future__ import annotations

import contextlib
import gc
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile

from stagefx.io import atomic_file
from stagefx.io.atomic_file import WholeFile
from stagefx.io.writing import AudioWriter


def test_an_interruption_while_a_file_is_opened_leaves_nothing_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The library opens it in a thread of its own, which an interruption does not stop."""
    opened: list[soundfile.SoundFile] = []
    library = soundfile.SoundFile

    def slowly(*arguments: object, **settings: object) -> soundfile.SoundFile:
        opened.append(library(*arguments, **settings))
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.3)
        return opened[-1]

    monkeypatch.setattr(soundfile, "SoundFile", slowly)
    with pytest.raises(KeyboardInterrupt):
        AudioWriter(tmp_path / "out.flac", rate_hz=44100, channels=2, bits="24")
    assert [sound.closed for sound in opened] == [True]
    assert list(tmp_path.iterdir()) == []


def flac(place: Path) -> AudioWriter:
    return AudioWriter(place, rate_hz=44100, channels=1, bits="24")


@pytest.mark.parametrize("make", [WholeFile, flac])
def test_an_interruption_at_the_moment_a_file_is_made_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, make: Callable[[Path], object]
) -> None:
    def interrupted(number: int, *_how: object, **_more: object) -> None:
        os.close(number)
        assert len(list(tmp_path.iterdir())) == 1
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(atomic_file, "_Steadfast", interrupted)
        with contextlib.suppress(KeyboardInterrupt):
            make(tmp_path / "out.flac")
    gc.collect()
    assert list(tmp_path.iterdir()) == []
