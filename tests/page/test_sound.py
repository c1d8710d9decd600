"""Switching measured on what the page's own player renders, sample by sample.

The player is given an offline context and is worked while that renders, so that every sample which
would go to the loudspeakers can be compared with a twin written down from the law: sources that run
side by side from one moment, weights cos and sin over the root of 1 + 2 r cos sin (the power of a
sum of two signals of correlation r), the passage's end fading into what comes before its beginning.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from playwright.sync_api import Browser, Page

from tests.page.browsing import with_parts

pytestmark = pytest.mark.page

Array = NDArray[np.float64]

RATE_HZ = 48000
FRAMES = 2 * RATE_HZ
FADE = 288  # 6 ms
LEAD = 960  # 20 ms between a press and its fade
HEADROOM = np.sqrt(0.5)
CURVE_ERROR = 2e-4  # the browser joins 129 points of the weights by straight lines, in float32

RENDER = """
async ([files, frames, acts, patient]) => {
  const offline = new OfflineAudioContext(2, frames, 48000);
  const goOn = offline.resume.bind(offline);
  offline.resume = async () => {};
  window.AudioContext = function () { return offline; };
  const player = new Player(48000, 2.0);
  const bytes = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;
  player.load("the test", files.map((text) => () => bytes(text)));
  await player.versions;
  const actAt = async (block) => {
    const all = acts.filter(([when]) => when === block);
    if (patient) for (const [, name, ...values] of all) await player[name](...values);
    else await Promise.all(all.map(([, name, ...values]) => player[name](...values)));
  };
  let trouble = null;
  await actAt(0);
  for (const block of new Set(acts.map(([when]) => when).filter((when) => when > 0))) {
    const acted = offline.suspend((block * 128) / 48000).then(() => actAt(block));
    acted.catch((error) => { trouble = error; }).then(goOn);
  }
  const late = new Promise((_, fail) => setTimeout(fail, 60_000, new Error("never rendered")));
  const rendered = await Promise.race([offline.startRendering(), late]);
  if (trouble) throw trouble;
  const samples = new Uint8Array(rendered.getChannelData(0).buffer);
  let text = "";
  for (let at = 0; at < samples.length; at += 8192) {
    text += String.fromCharCode(...samples.subarray(at, at + 8192));
  }
  return btoa(text);
}
"""


@pytest.fixture(scope="module")
def parts(browser: Browser) -> Iterator[Page]:
    context = browser.new_context()
    page = context.new_page()
    with_parts(page, "page/player", names=("Player", "fadeWeights"))
    yield page
    context.close()


def rendered(
    page: Page, versions: list[Array], frames: int, *acts: list[object], patient: bool = True
) -> Array:
    """What goes to the loudspeakers; an act is when (in blocks of 128 frames), what, values.

    Acts of one time come one after the other, or, impatiently, before the first has taken effect.
    """
    files = []
    for version in versions:
        file = io.BytesIO()
        soundfile.write(file, version, RATE_HZ, format="WAV", subtype="FLOAT")
        files.append(base64.b64encode(file.getvalue()).decode())
    text = page.evaluate(RENDER, [files, frames, list(acts), patient])
    return np.frombuffer(base64.b64decode(text), np.float32).astype(float)


def weights(likeness: float) -> tuple[Array, Array]:
    angle = 0.5 * np.pi * np.arange(FADE + 1) / FADE
    out, into = np.cos(angle), np.sin(angle)
    power = np.sqrt(1.0 + 2.0 * likeness * out * into)
    return out / power, into / power


def looped(music: Array, begin: int, finish: int) -> Array:
    """The passage as it goes round."""
    loop = music[begin:finish].copy()
    angle = 0.5 * np.pi * np.arange(1, FADE + 1) / FADE
    before = music[begin - FADE : begin] if begin >= FADE else np.zeros(FADE)
    loop[-FADE:] = np.cos(angle) * music[finish - FADE : finish] + np.sin(angle) * before
    if begin < FADE:
        loop[:FADE] *= np.sin(angle)
    return loop


def going_round(loop: Array, start: int, frames: int, *, frame: int = 0) -> Array:
    return loop[(np.arange(frames) - start + frame) % len(loop)]


def noises(count: int) -> list[Array]:
    rng = np.random.default_rng(11)
    return [np.float32(0.2 * rng.standard_normal(FRAMES)).astype(float) for _ in range(count)]


def tones(*parts: tuple[float, float]) -> Array:
    t = np.arange(FRAMES) / RATE_HZ
    return np.float32(sum(a * np.sin(2.0 * np.pi * hz * t + hz) for hz, a in parts)).astype(float)


def largest_step(samples: Array) -> float:
    return float(np.max(np.abs(np.diff(samples))))


def step_allowed(*music: Array) -> float:
    """The steepest that two pieces can be while one fades into the other without a click."""
    own = max(largest_step(one) for one in music)
    slope = max(float(np.max(np.abs(one))) for one in music) * 0.5 * np.pi / FADE
    return HEADROOM * np.sqrt(2.0) * (own + slope)


def test_switching_is_sample_for_sample_the_law(parts: Page) -> None:
    """Place kept to the frame, no gap, powers that add up, through a switch and the loop's end."""
    versions = noises(3)
    frames = 128 * 1000  # goes round once
    switched = 75 * 128 + LEAD
    again = 600 * 128 + LEAD
    output = rendered(parts, versions, frames, [0, "play", 0], [75, "play", 1], [600, "play", 2])
    first, second, third = (
        HEADROOM * going_round(looped(version, 0, FRAMES), LEAD, frames) for version in versions
    )
    assert not output[:LEAD].any()
    assert output[LEAD + FADE + 2 : switched] == pytest.approx(
        first[LEAD + FADE + 2 : switched], abs=1e-7
    )
    assert output[switched + FADE + 2 : again] == pytest.approx(
        second[switched + FADE + 2 : again], abs=1e-7
    )
    assert output[again + FADE + 2 :] == pytest.approx(third[again + FADE + 2 :], abs=1e-7)
    out, into = weights(max(0.0, float(np.corrcoef(versions[0], versions[1])[0, 1])))
    fade = slice(switched, switched + FADE + 1)
    assert output[fade] == pytest.approx(out * first[fade] + into * second[fade], abs=CURVE_ERROR)


@pytest.mark.parametrize("likeness", [0.0, 0.5, 0.9, 1.0])
def test_the_power_of_the_sum_stays_while_one_fades_into_the_other(
    parts: Page, likeness: float
) -> None:
    """Var(a x + b y) = a^2 + b^2 + 2 r a b for unit x and y of correlation r."""
    steps = [n / 50 for n in range(51)]
    pairs = parts.evaluate("([all, r]) => all.map((n) => fadeWeights(n, r))", [steps, likeness])
    a, b = np.array(pairs).T
    assert a**2 + b**2 + 2.0 * likeness * a * b == pytest.approx(1.0, abs=1e-12)
    assert np.all(np.diff(a) < 0.0)
    assert np.all(np.diff(b) > 0.0)


def test_uncorrelated_versions_cross_at_equal_power_and_alike_ones_at_no_swell(parts: Page) -> None:
    """Sines of a whole number of cycles in any 6 ms: their power while they cross can be read."""
    one = tones((1000.0, 0.3))
    other = tones((1500.0, 0.3))
    switched = 75 * 128 + LEAD
    fade = slice(switched, switched + FADE)
    acts = [0, "play", 0], [75, "play", 1]
    crossed = rendered(parts, [one, other], 128 * 120, *acts)
    t = np.arange(FADE) / RATE_HZ
    basis = np.stack([f(2.0 * np.pi * hz * t) for hz in (1000.0, 1500.0) for f in (np.sin, np.cos)])
    out, into = weights(0.0)
    shapes = np.concatenate([basis[:2] * out[:FADE], basis[2:] * into[:FADE]])
    fitted, *_ = np.linalg.lstsq(shapes.T, crossed[fade], rcond=None)
    assert np.hypot(*fitted[:2]) == pytest.approx(0.3 * HEADROOM, rel=1e-3)
    assert np.hypot(*fitted[2:]) == pytest.approx(0.3 * HEADROOM, rel=1e-3)
    alike = rendered(parts, [one, one], 128 * 120, *acts)
    steady = HEADROOM * going_round(looped(one, 0, FRAMES), LEAD, 128 * 120)
    assert alike[LEAD + FADE + 2 :] == pytest.approx(steady[LEAD + FADE + 2 :], abs=CURVE_ERROR)


def test_no_switch_steps_further_than_the_music_itself(parts: Page) -> None:
    music = [tones((220.0, 0.3), (330.0, 0.2)), tones((247.0, 0.3), (370.0, 0.2))]
    frames = 128 * 260
    acts = [[20 + 12 * n, "play", (n + 1) % 2] for n in range(20)]
    output = rendered(parts, music, frames, [0, "play", 0], *acts)
    assert largest_step(output) <= step_allowed(*music)
    rows = [HEADROOM * going_round(looped(one, 0, FRAMES), LEAD, frames) for one in music]
    places = [(20 + 12 * n) * 128 + LEAD for n in range(20)]
    hard = max(abs(rows[(n + 1) % 2][at] - rows[n % 2][at - 1]) for n, at in enumerate(places))
    assert hard > 5.0 * step_allowed(*music)  # what a switch without a fade would have done
    window = np.lib.stride_tricks.sliding_window_view(output[LEAD + FADE :], 480)[::48]
    assert np.min(np.sqrt(np.mean(window**2, axis=1))) > 0.05  # no 10 ms without music


def test_a_passage_goes_round_without_a_click(parts: Page) -> None:
    music = tones((221.3, 0.3), (333.1, 0.2))
    frames = 128 * 700
    output = rendered(parts, [music, music], frames, [0, "setPassage", 0.3, 0.8], [0, "play", 0])
    begin, finish = round(0.3 * RATE_HZ), round(0.8 * RATE_HZ)
    expected = HEADROOM * going_round(looped(music, begin, finish), LEAD, frames)
    start = LEAD + FADE + 2
    assert output[start:] == pytest.approx(expected[start:], abs=1e-6)
    assert largest_step(output) <= step_allowed(music)
    bare = np.concatenate([music[begin:finish], music[begin:finish]])
    assert largest_step(HEADROOM * bare) > 5.0 * step_allowed(music)  # without the fade


def test_a_changed_passage_keeps_the_place_and_steps_nowhere(parts: Page) -> None:
    music = tones((220.0, 0.3), (330.0, 0.2))
    frames = 128 * 400
    changed = 200 * 128 + LEAD
    output = rendered(parts, [music, music], frames, [0, "play", 0], [200, "setPassage", 0.2, 1.8])
    expected = HEADROOM * going_round(music, LEAD, frames)
    assert output[changed - 500 :] == pytest.approx(expected[changed - 500 :], abs=CURVE_ERROR)
    away = rendered(parts, [music, music], frames, [0, "play", 0], [200, "setPassage", 1.2, 1.8])
    begin = round(1.2 * RATE_HZ)
    expected = HEADROOM * going_round(music[begin:], changed, frames)
    after = slice(changed + FADE + 2, changed + FADE + 9600)
    assert away[after] == pytest.approx(expected[after], abs=1e-6)
    assert max(map(largest_step, (output, away))) <= step_allowed(music)


@pytest.mark.parametrize("patient", [True, False])
def test_hasty_presses_end_on_the_last_row(parts: Page, patient: bool) -> None:
    versions = noises(3)
    frames = 128 * 200
    hasty = [[75, "play", row] for row in (1, 2, 0, 1, 2)] + [[75, "setPassage", 0.0, 1.9]]
    output = rendered(parts, versions, frames, [0, "play", 0], *hasty, patient=patient)
    settled = slice(76 * 128 + LEAD + 8 * FADE, frames)
    expected = HEADROOM * going_round(versions[2], LEAD, frames)
    assert output[settled] == pytest.approx(expected[settled], abs=1e-6)


def test_silence_comes_without_a_click_and_music_goes_on_from_there(parts: Page) -> None:
    music = tones((220.0, 0.3), (330.0, 0.2))
    frames = 128 * 400
    acts = [0, "play", 0], [100, "stop"], [200, "play", 1]
    output = rendered(parts, [music, music], frames, *acts)
    silent = slice(100 * 128 + LEAD + FADE + 4, 200 * 128 + LEAD)
    assert not output[silent].any()
    assert largest_step(output) <= step_allowed(music)
    heard_until = 100 * 128 - LEAD  # frames of music when it was stopped
    on = 200 * 128 + LEAD
    expected = HEADROOM * going_round(music, on, frames, frame=heard_until)
    assert output[on + FADE + 2 :] == pytest.approx(expected[on + FADE + 2 :], abs=1e-6)
