"""The page of a sighted listening set, in a real browser: heard, worked by keyboard, looked at."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext

from stagefx.hearing.passage import Passage
from stagefx.io.wav_header import sample_bytes, wave_header
from stagefx.report.listening.exaggeration import NotHeard
from stagefx.report.listening.player import build_player
from stagefx.report.listening.tracks import ListeningSet, Track
from tests.page.browsing import Opened, open_page
from tests.page.listening import give_ears, heard_hz, play, same

pytestmark = pytest.mark.page

Profile = Callable[..., BrowserContext]
Written = Callable[[str], Path]

RATE_HZ, SECONDS = 48000, 8.0
HOSTILE = "<img src=x onerror=alert(1)>&amp;" + 12 * "Longwinded"
TRACKS = (
    Track("01-baseline.wav", "baseline", HOSTILE),
    Track("02-change.wav", "change", "quick </script><script>alert(2)</script>"),
    Track("03-difference.wav", "difference", "as it is"),
    Track("04-difference-turned-up.wav", "turned up", "turned up 40 dB, volume capped", 40.0),
    Track("05-music.wav", "music", "the music, through no stage"),
    Track("06-slew-exaggerated.wav", "exaggerated", f"slew alone, of {HOSTILE}", 0.0, "slew", 50.0),
)
MADE = ListeningSet(
    HOSTILE,
    TRACKS[1].title,
    HOSTILE,
    Passage(12.0, 20.0, "asked"),
    RATE_HZ,
    TRACKS,
    (NotHeard(HOSTILE, "leaves nothing"),),
    40.0,
    "-20 dBFS",
    remarks=(HOSTILE,),
)


def steps(hz: np.ndarray | float, bits: int) -> np.ndarray:
    """A quiet tone as whole steps."""
    t = np.arange(round(SECONDS * RATE_HZ))
    turns = np.cumsum(np.broadcast_to(hz, t.shape)) / RATE_HZ
    tone = 0.1 * np.sin(2.0 * np.pi * turns)
    return np.rint(tone * 2.0 ** (bits - 1)).astype(np.int32)[:, None] * np.ones((1, 2), np.int32)


SWEEP_HZ = np.linspace(1000.0, 9000.0, round(SECONDS * RATE_HZ))
CODES = {
    track.file: steps(SWEEP_HZ if n < 2 else 300.0 * n, track.bits)
    for n, track in enumerate(TRACKS)
}


@pytest.fixture
def opened(profile: Profile, written: Written) -> Opened:
    context = profile(1280)
    give_ears(context)
    return open_page(context, written(build_player(MADE, CODES, verdict=f"Yes. {HOSTILE}")))


def test_switching_keeps_the_place(opened: Opened) -> None:
    """Both versions sweep from 1 to 9 kHz in 8 s, so that what is heard tells the place."""
    opened.page.keyboard.press("1")
    opened.page.wait_for_function("window.tap")
    opened.page.wait_for_timeout(2500)
    before = heard_hz(opened)
    assert before > 2500.0
    opened.page.keyboard.press("2")
    after = heard_hz(opened)
    assert opened.heard() == ["change"]
    assert before < after < before + 2500.0
    opened.page.keyboard.press("2")
    opened.page.wait_for_timeout(200)
    assert opened.heard() == []
    assert heard_hz(opened) == 0.0


def test_every_row_plays_its_own_file_by_its_number(opened: Opened) -> None:
    for row in (3, 4, 5, 6):
        assert same(play(opened, row), 300.0 * (row - 1))
    opened.page.keyboard.press("0")
    assert opened.heard() == []
    opened.page.get_by_role("button", name="the difference, turned up 40 dB").click()
    assert same(heard_hz(opened), 900.0)
    assert opened.heard() == ["the difference, turned up 40 dB, volume capped"]


def test_the_page_plays_the_very_samples_of_the_files(opened: Opened) -> None:
    for track in TRACKS:
        found = opened.page.evaluate(
            """async ([file, rate]) => {
                const text = document.querySelector(`[data-file="${file}"]`).textContent;
                const bytes = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
                const context = new OfflineAudioContext(2, 1, rate);
                const music = await context.decodeAudioData(bytes.buffer);
                return [music.length, music.numberOfChannels,
                        Array.from(music.getChannelData(1).subarray(1000, 3000))];
            }""",
            [track.file, RATE_HZ],
        )
        bits = "24" if track.bits == 24 else "16"
        codes = CODES[track.file]
        header = wave_header(rate_hz=RATE_HZ, channels=2, bits=bits, frames=len(codes))
        wave, _ = soundfile.read(io.BytesIO(header + sample_bytes(codes, bits)))
        assert found[:2] == [len(codes), 2]
        # of 16 bits this browser makes 32767 steps full scale upward and 32768 downward
        spared = wave[1000:3000, 1] / 32767.0 if track.bits == 16 else 0.0
        apart = np.abs(np.array(found[2]) - wave[1000:3000, 1])
        assert (apart <= 2.0**-24 + np.maximum(spared, 0.0)).all()


@pytest.mark.parametrize(
    ("width", "scheme"), [(360, "light"), (360, "dark"), (768, "light"), (1280, "dark")]
)
def test_it_is_for_everybody_asks_for_nothing_and_shows_names_as_text(
    width: int, scheme: str, profile: Profile, written: Written
) -> None:
    context = profile(width, color_scheme=scheme)
    place = written(build_player(MADE, CODES, verdict=f"Yes. {HOSTILE}"))
    opened = open_page(context, place)
    page = opened.page
    assert page.locator("h1").inner_text() == f"{HOSTILE} against {TRACKS[1].title}"
    page.get_by_text("On what that rests").click()
    page.keyboard.press("1")
    page.wait_for_function("document.querySelector('button.row[aria-pressed=true]')")
    assert page.locator("#status").inner_text() == "baseline is playing"
    faults = [
        f"{one['id']}: {one['help']}"
        for one in Axe().run(page).response["violations"]
        if one["impact"] in {"serious", "critical"}
    ]
    assert faults == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator("img").count() == 0
    assert opened.requests == [place.as_uri()]
    assert opened.complaints == []
    assert page.locator(".caution").count() == 2
    assert "This is not what the stages do" in page.locator("main").inner_text()


def test_a_difference_and_nothing_else_is_plum(opened: Opened) -> None:
    plum = "rgb(122, 74, 107)"
    coloured = opened.page.evaluate(
        """() => [...document.querySelectorAll("button .name")]
            .map((name) => getComputedStyle(name).color)"""
    )
    assert [colour == plum for colour in coloured] == [False, False, True, True, False, False]
