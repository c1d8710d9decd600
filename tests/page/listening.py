"""A listener with ears, who works the page by keyboard alone.

The ears are a tap on what goes to the loudspeakers, not a look into the page: each version is a
tone of its own, and the listener replies by the tones heard.
"""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import BrowserContext

from tests.page.browsing import Opened

EARS = """
const connect = AudioNode.prototype.connect;
AudioNode.prototype.connect = function (to, ...rest) {
  if (to instanceof AudioDestinationNode && !(to.context instanceof OfflineAudioContext)) {
    window.tap = new AnalyserNode(to.context, { fftSize: 2048, smoothingTimeConstant: 0 });
    connect.call(this, window.tap);
  }
  return connect.call(this, to, ...rest);
};
let coming = 0; // what the player waits for before it acts
for (const [prototype, name] of [
  [BaseAudioContext.prototype, "decodeAudioData"],
  [AudioContext.prototype, "resume"],
]) {
  const own = prototype[name];
  prototype[name] = function (...given) {
    const done = own.apply(this, given);
    coming += 1;
    done.catch(() => {}).then(() => setTimeout(() => (coming -= 1)));
    return done;
  };
}
let faded = 0; // when the last fade that was asked for is over
const fade = AudioParam.prototype.setValueCurveAtTime;
AudioParam.prototype.setValueCurveAtTime = function (curve, when, seconds) {
  faded = Math.max(faded, when + seconds);
  return fade.call(this, curve, when, seconds);
};
window.heardHz = async () => {
  const { context } = window.tap;
  const latest = performance.now() + 15_000;
  const until = async (holds) => {
    while (!holds()) {
      if (performance.now() > latest) throw new Error(`no sound comes: ${context.state}`);
      await new Promise((done) => setTimeout(done, 10));
    }
  };
  await until(() => coming === 0);
  const enough = Math.max(context.currentTime, faded) + 2048 / context.sampleRate + 0.01;
  await until(() => context.currentTime >= enough);
  const level = new Float32Array(window.tap.frequencyBinCount);
  window.tap.getFloatFrequencyData(level);
  const loudest = Math.max(...level);
  return loudest < -80 ? 0 : (level.indexOf(loudest) * context.sampleRate) / 2048;
};
"""
SAME_HZ = 70.0
"""Versions are 150 Hz apart; the ears tell 23 Hz."""


def give_ears(context: BrowserContext) -> None:
    context.add_init_script(EARS)


def heard_hz(opened: Opened) -> float:
    """The tone that goes to the loudspeakers; 0 in silence."""
    return float(opened.page.evaluate("heardHz()"))


def play(opened: Opened, row: int) -> float:
    """Press a row's number key and listen; exactly that row is marked as playing."""
    opened.page.keyboard.press(str(row))
    opened.page.wait_for_function("document.querySelector('button.row[aria-pressed=true]')")
    tone = heard_hz(opened)
    assert tone > 0.0
    names = opened.page.locator("button.row .name").all_inner_texts()
    assert opened.heard() == [names[row - 1]]
    return tone


def same(one_hz: float, other_hz: float) -> bool:
    return abs(one_hz - other_hz) < SAME_HZ


def reply_to_abx(opened: Opened) -> None:
    a, b, x = (play(opened, row) for row in (1, 2, 3))
    assert not same(a, b)
    assert same(x, a) or same(x, b)
    opened.page.keyboard.press("4" if same(x, a) else "5")


def reply_to_same_different(opened: Opened) -> None:
    first, second = (play(opened, row) for row in (1, 2))
    opened.page.keyboard.press("3" if same(first, second) else "4")


def reply_to_preference(opened: Opened) -> None:
    """Prefers the lower tone, which is the version with the lower number."""
    first, second = (play(opened, row) for row in (1, 2))
    assert not same(first, second)
    opened.page.keyboard.press("3" if first < second else "4")


def reply_to_triangle(opened: Opened) -> None:
    tones = [play(opened, row) for row in (1, 2, 3)]
    (odd,) = (
        n for n, tone in enumerate(tones) if sum(same(tone, other) for other in tones) == 1
    )  # like none but itself
    opened.page.keyboard.press(str(4 + odd))


def reply_to_triple(opened: Opened) -> None:
    """Grades what differs from the reference, by typing and by the word buttons."""
    reference, first, _ = (play(opened, row) for row in (1, 2, 3))
    lower = "Second" if same(first, reference) else "First"
    grade = opened.page.get_by_label(f"Grade of {lower}, from")
    grade.focus()
    opened.page.keyboard.press("Control+a")
    opened.page.keyboard.type("4.1")
    opened.page.keyboard.press("Tab")  # to "lower"
    opened.page.keyboard.press("Enter")
    assert grade.input_value() == "4.0"


def keep(opened: Opened) -> None:
    """Enter keeps a reply from wherever the focus is, but on another button or a number."""
    if opened.page.locator(".grade").count():
        opened.page.get_by_role("button", name="keep this reply").focus()
    opened.page.keyboard.press("Enter")


REPLIES: dict[str, Callable[[Opened], None]] = {
    "abx": reply_to_abx,
    "same-different": reply_to_same_different,
    "preference": reply_to_preference,
    "triangle": reply_to_triangle,
    "triple": reply_to_triple,
}


def begin(opened: Opened, name: str) -> None:
    """From the first screen to the first trial, by keyboard."""
    opened.page.locator("#listener").focus()
    opened.page.keyboard.type(name)
    opened.page.keyboard.press("Enter")


def listen_through(opened: Opened, protocol: str, trials: int) -> None:
    """All trials that are left, to the end."""
    total = int(opened.trial().split(" of ")[1].split(".")[0])
    for number in range(total - trials + 1, total + 1):
        assert opened.trial().startswith(f"Trial {number} of {total}. ")
        REPLIES[protocol](opened)
        keep(opened)
    opened.page.wait_for_selector("#code")
