"""Whole blind tests on the page, in a real browser, by keyboard alone, through to the score."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext

from stagefx.blind.codes import decode_reply
from stagefx.blind.keys import save_key
from stagefx.blind.protocol import PROTOCOLS
from stagefx.blind.result import BlindScore
from stagefx.blind.scoring import score, score_files
from stagefx.blind.trials import open_trial
from tests.knocks.counts import WHOLE
from tests.page.browsing import Opened, code_on, open_page
from tests.page.listening import begin, give_ears, heard_hz, keep, listen_through, play
from tests.page.packs import HandMadePack

pytestmark = pytest.mark.page

Profile = Callable[..., BrowserContext]
Written = Callable[[str], Path]


def opened_with_ears(made: HandMadePack, profile: Profile, written: Written, width: int) -> Opened:
    context = profile(width)
    give_ears(context)
    return open_page(context, written(made.html()))


def scored(made: HandMadePack, code: str, folder: Path) -> BlindScore:
    """The code's score, by the very files that a customer hands over."""
    key, codes = folder / "key.json", folder / "codes.txt"
    save_key(made.key, key)
    codes.write_text(code, encoding="utf-8")
    return score_files(key, [codes])


@pytest.mark.parametrize("width", [360, 1280] if WHOLE else [360])
def test_a_whole_abx_by_keyboard_scores_what_the_ears_heard(
    width: int, profile: Profile, written: Written, tmp_path: Path
) -> None:
    made = HandMadePack("abx")
    opened = opened_with_ears(made, profile, written, width)
    assert opened.page.locator("h1").inner_text() == made.pack["title"]
    begin(opened, "Ada")
    listen_through(opened, "abx", 21)
    code = code_on(opened.page)
    reply = decode_reply(code)
    assert (reply.pack, reply.listener, len(reply.answers)) == (made.key.pack, "Ada", 21)
    assert all(len(group) == 4 for group in code.split("-")[:-1])
    found = scored(made, code, tmp_path)
    assert found.pooled is not None
    assert (found.pooled.correct, found.pooled.trials) == (16, 16)
    assert found.controls.passed is True
    assert not found.set_aside
    main = [answer.item for answer in reply.answers if made.key.items[answer.item] == "main"]
    assert main == 8 * [0, 1]  # in turn
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= width
    assert opened.requests == [(tmp_path / "listen.html").as_uri()]
    assert opened.complaints == []


@pytest.mark.parametrize(
    ("protocol", "versions"),
    [
        ("same-different", 2),
        ("preference", 2),
        ("preference", 3),
        ("triangle", 2),
        ("triple", 2),
    ],
)
def test_every_other_protocol_scores_what_the_ears_heard(
    protocol: str, versions: int, profile: Profile, written: Written, tmp_path: Path
) -> None:
    made = HandMadePack(protocol, trials=5, control_trials=1, versions=versions, excerpts=1)
    opened = opened_with_ears(made, profile, written, 1280)
    begin(opened, "")
    assert PROTOCOLS[protocol].asks in opened.trial()
    listen_through(opened, protocol, 6)
    code = code_on(opened.page)
    assert [open_trial(answer, made.key).right for answer in decode_reply(code).answers] == 6 * [
        True
    ]
    found = scored(made, code, tmp_path)
    if versions == 2:  # more are ranked instead
        assert found.pooled is not None
        assert (found.pooled.correct, found.pooled.trials) == (5, 5)
    assert (found.controls.correct, found.controls.trials) == (1, 1)
    assert not found.set_aside
    assert opened.requests == [(tmp_path / "listen.html").as_uri()]
    assert opened.complaints == []


def test_a_sitting_goes_on_after_closing_and_its_code_stays(
    profile: Profile, written: Written, tmp_path: Path
) -> None:
    made = HandMadePack("abx", trials=3, control_trials=1)
    place = written(made.html())
    context = profile(360)
    give_ears(context)
    first = open_page(context, place)
    begin(first, "Ada")
    drawn = first.page.evaluate("JSON.stringify(localStorage)")
    listen_two(first)
    first.page.close()

    again = open_page(context, place)
    assert again.trial() == "Welcome back, Ada."
    assert "2 of your 4 replies are kept here" in again.page.locator(".kept").inner_text()
    again.page.get_by_role("button", name="go on").press("Enter")
    listen_through(again, "abx", 2)
    code = code_on(again.page)
    again.page.reload()
    assert code_on(again.page) == code
    kept = json.loads(json.loads(drawn)[f"stagefx-blind-{made.key.pack}"])
    assert [[a.item, a.draw] for a in decode_reply(code).answers] == kept["trials"]
    found = scored(made, code, tmp_path)
    assert found.pooled is not None
    assert found.pooled.correct == 3

    again.page.get_by_role("button", name="somebody else").press("Enter")
    assert code_on(again.page) == code  # asked once more before it goes
    again.page.get_by_role("button", name="yes, I have my code").press("Enter")
    assert again.trial() == made.pack["title"]
    assert again.page.evaluate("localStorage.length") == 0
    assert [*first.complaints, *again.complaints] == []


def listen_two(opened: Opened) -> None:
    from tests.page.listening import reply_to_abx

    for _ in range(2):
        reply_to_abx(opened)
        keep(opened)


def test_where_nothing_can_be_kept_the_page_says_so_and_works(
    profile: Profile, written: Written
) -> None:
    made = HandMadePack("triple", trials=1, control_trials=0)
    context = profile()
    context.add_init_script(
        "Object.defineProperty(window, 'localStorage',"
        " { get() { throw new DOMException('refused', 'SecurityError'); } });"
    )
    opened = open_page(context, written(made.html()))
    assert opened.page.get_by_text("Leave it open until you have your code").is_visible()
    assert not opened.page.get_by_text("You can close the page").is_visible()
    begin(opened, "Ada")
    keep(opened)  # both still at 5.0
    assert opened.page.get_by_role("alert").inner_text().startswith("Leave exactly one")
    opened.page.get_by_role("button", name="lower: grade of First").press("Enter")
    keep(opened)
    assert decode_reply(code_on(opened.page)).answers[0].reply == (49, 50)
    assert opened.complaints == []


@pytest.mark.parametrize(
    "kept",
    [
        "not JSON",
        "{}",
        '{"pack": "another"}',
        '{"pack": "$pack", "listener": "", "sitting": "$pack", "trials": [[9, 0]], "replies": []}',
        '{"pack": "$pack", "listener": "", "sitting": "$pack", "trials": [[0, 6]], "replies": []}',
        '{"pack": "$pack", "listener": "", "sitting": "$pack", "trials": [[0, 0]], "replies": [1]}',
    ],
)
def test_what_no_page_kept_is_not_gone_on_with(
    kept: str, profile: Profile, written: Written
) -> None:
    made = HandMadePack("triangle", trials=1, control_trials=0)
    text = kept.replace("$pack", made.key.pack)
    context = profile()
    context.add_init_script(
        f"localStorage.setItem({json.dumps(f'stagefx-blind-{made.key.pack}')}, {json.dumps(text)})"
    )
    opened = open_page(context, written(made.html()))
    assert opened.trial() == made.pack["title"]
    assert opened.complaints == []


def test_a_second_window_takes_up_what_the_first_began(profile: Profile, written: Written) -> None:
    made = HandMadePack("triangle", trials=2, control_trials=0)
    context, place = profile(), written(made.html())
    first, second = open_page(context, place), open_page(context, place)
    begin(second, "Ada")
    first.page.get_by_role("heading", name="Welcome back, Ada.").wait_for()
    assert "0 of your 2 replies" in first.page.locator(".kept").inner_text()


def test_the_code_can_be_copied_and_saved(
    profile: Profile, written: Written, tmp_path: Path
) -> None:
    made = HandMadePack("triangle", trials=2, control_trials=0)
    context = profile(permissions=["clipboard-read", "clipboard-write"])
    opened = open_page(context, written(made.html()))
    page = opened.page
    begin(opened, "Ada")
    page.keyboard.press("Enter")
    assert page.get_by_role("alert").inner_text() == "Choose a reply first."
    for reply in ("4", "6"):
        page.keyboard.press(reply)
        page.keyboard.press("Enter")
    code = code_on(page)
    page.get_by_role("button", name="copy code").press("Enter")
    page.wait_for_function("document.querySelector('.outcome').textContent === 'Copied.'")
    assert page.evaluate("navigator.clipboard.readText()") == code
    with page.expect_download() as saving:
        page.get_by_role("button", name="save as a file").press("Enter")
    saved = tmp_path / saving.value.suggested_filename
    saving.value.save_as(saved)
    reply = decode_reply(code)
    assert saved.name == f"reply-{reply.pack}-{reply.sitting[:4]}.json"
    assert json.loads(saved.read_text(encoding="utf-8")) == reply.as_json()
    assert [answer.reply for answer in reply.answers] == [(0,), (2,)]
    key = tmp_path / "key.json"
    save_key(made.key, key)
    from_file = score_files(key, [saved]).pooled
    from_code = score(made.key, [("", reply)]).pooled
    assert from_file is not None
    assert from_file == from_code
    assert opened.complaints == []


def test_rows_silence_passage_and_typing(profile: Profile, written: Written) -> None:
    made = HandMadePack("abx", trials=1, control_trials=0)
    opened = opened_with_ears(made, profile, written, 1280)
    page = opened.page
    begin(opened, "12 ears")  # digits that are typed are text, not keys
    trial = page.get_by_role("group", name="The passage that is played")
    first, last = page.locator(".begin"), page.locator(".finish")
    assert trial.inner_text().startswith("Plays from")
    tone = play(opened, 1)
    assert trial.inner_text().startswith("Playing from")
    first.focus()
    page.keyboard.press("Control+a")
    page.keyboard.type("1.2")
    page.keyboard.press("Enter")
    assert (first.input_value(), last.input_value()) == ("1.2", "2.0")
    assert opened.heard() == ["A"]  # the typed digits played no other row
    assert heard_hz(opened) == tone
    page.get_by_role("button", name="begin here").press("Enter")
    assert 1.2 <= float(first.input_value()) <= 1.5
    page.get_by_role("button", name="whole piece").press("Enter")
    assert (first.input_value(), last.input_value()) == ("0.0", "2.0")
    page.get_by_role("button", name="finish here").press("Enter")
    assert 0.5 <= float(last.input_value()) <= 2.0
    page.keyboard.press("1")
    page.wait_for_function("!document.querySelector('button.row[aria-pressed=true]')")
    page.wait_for_timeout(100)
    assert heard_hz(opened) == 0.0
    assert opened.complaints == []


def test_practice_shows_the_answer_that_is_heard(profile: Profile, written: Written) -> None:
    opened = opened_with_ears(HandMadePack("abx"), profile, written, 360)
    rows = opened.page.locator(".training-items button.row")
    tones = []
    for n in range(3):
        rows.nth(n).press("Enter")
        opened.page.wait_for_function(
            f"document.querySelectorAll('.training-items button.row')[{n}].ariaPressed === 'true'"
        )
        tones.append(heard_hz(opened))
    answer = opened.page.locator(".answer").inner_text()
    assert answer == ("X is A." if tones[2] == tones[0] else "X is B.")
    assert tones[0] != tones[1]
    answers = set()
    for _ in range(30):  # both come up, but for one time in 2^29
        opened.page.get_by_role("button", name="draw once more").click()
        answers.add(opened.page.locator(".answer").inner_text())
        assert rows.count() == 3
    assert answers == {"X is A.", "X is B."}
    assert opened.heard() == []
    known = opened.page.locator(".control-rows button.row")
    differing = []
    for n in range(2):
        known.nth(n).press("Enter")
        differing.append(heard_hz(opened))
    assert differing[0] != differing[1]


def test_hostile_texts_are_shown_as_texts(profile: Profile, written: Written) -> None:
    hostile = "</script><img src=x onerror=alert(1)><b>$style &amp; 'music'"
    made = HandMadePack("triangle", title=hostile, trials=1, control_trials=0)
    made.pack["items"][0]["title"] = hostile
    opened = open_page(profile(360), written(made.html()))
    page = opened.page
    assert page.title() == page.locator("h1").inner_text() == hostile
    assert page.locator(".item-title").inner_text() == hostile
    begin(opened, "<i>Ada</i> \u00e9\U0001f3a7")
    page.reload()
    assert opened.trial() == "Welcome back, <i>Ada</i> \u00e9\U0001f3a7."
    page.get_by_role("button", name="go on").press("Enter")
    page.keyboard.press("5")
    page.keyboard.press("Enter")
    assert decode_reply(code_on(page)).listener == "<i>Ada</i> \u00e9\U0001f3a7"
    assert page.locator("img, main b, main i").count() == 0
    assert opened.complaints == []


def test_music_that_cannot_be_decoded_is_said(profile: Profile, written: Written) -> None:
    made = HandMadePack("triangle", trials=1, control_trials=0)
    broken = b"RIFF\x04\x00\x00\x00WAVE"
    made.audio = dict.fromkeys(made.audio, broken)
    opened = open_page(profile(360), written(made.html()))
    opened.page.locator(".volume-row button").press("Enter")
    opened.page.get_by_role("alert").filter(has_text="cannot be decoded").wait_for()
    assert opened.heard() == []
