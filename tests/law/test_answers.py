"""The scenario's questions, answered once: grades, cautions, sentences that tell their numbers."""

from __future__ import annotations

import io
import json
import math
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from stagefx.report.answer.answer import answer_question
from stagefx.report.answer.evidence_page import page_of
from stagefx.report.answer.results import Answer
from stagefx.report.answer.values import as_json_text, tables_of
from stagefx.report.question.file import read_question
from stagefx.report.text.how_we_know import IN_FULL
from stagefx.report.text.names import NAMES
from stagefx.samples import samples_folder

QUESTIONS = samples_folder() / "questions"
PARAGRAPHS = ("headline", "how_we_know", "where_it_holds", "what_would_change_it")
PREFIX = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}


@dataclass(frozen=True)
class Expected:
    """What people of the trade say of a question (common practice unless named otherwise)."""

    grades: tuple[str, ...]
    why: str
    faults: tuple[str, ...] = ()
    caution: str = ""
    row: str = ""


UNHEARD = ("below what can be measured", "should not be heard")
HEARD = ("may be heard", "will be heard")
WANTED = {
    "faster-device": Expected(
        UNHEARD, "working types in a stage of gain 4 differ by thousandths of a decibel"
    ),
    "higher-rails": Expected(UNHEARD, "headroom that nothing uses at this level"),
    "bigger-transformer": Expected(
        UNHEARD, "the regulator has what it needs", caution="Mains wiring"
    ),
    "passive-box": Expected(HEARD, "11 kohm of wiper and 2 nF of cable", row="high end"),
    "which-control": Expected(HEARD, "a wiper of R/4 into 2 nF of cable", row="high end"),
    "output-capacitor": Expected(
        HEARD, "1 uF into 10 kohm: 2.13 dB down at 20 Hz, one-pole law", row="low end"
    ),
    "source-impedance": Expected(UNHEARD, "flat resistances change the level alone"),
    "preamp-needed": Expected(UNHEARD, "2 V is more than the power amplifier needs"),
    "hiss": Expected(UNHEARD, "hiss at the seat stays under the room", row="noise"),
    "hum": Expected(
        HEARD, "a tone over the threshold of ISO 389-7 in silence", caution="safety earth",
        row="hum",
    ),
    "uneven-clipping": Expected(
        (*UNHEARD, *HEARD), "a fault, whatever it sounds like", ("clips-on-its-source",),
        "Turn the volume down",
    ),
    "hot-source": Expected(
        HEARD, "4 V rms ask for 4.5 dB more than there is", ("clips-on-its-source",),
        "Turn the volume down",
    ),
    "oscillation": Expected(
        UNHEARD, "silent, and a fault all the same",
        ("oscillates", "low-phase-margin", "ultrasonic-power-in-tweeter"),
        "unplug the loudspeakers",
    ),
    "balance": Expected(HEARD, "1.5 dB between the channels", row="balance"),
    "no-capacitors": Expected(
        UNHEARD, "the bass does not mind; the loudspeaker does", ("dc-at-speaker",), "woofer"
    ),
    "louder": Expected(HEARD, "20 lg(4.333/4.030) = 0.63 dB, heard as better", row="level"),
    "video-site": Expected(UNHEARD, "lossy coding changes more than the device does"),
}  # fmt: skip


@cache
def answered(name: str) -> Answer:
    return answer_question(QUESTIONS / f"{name}.toml")


@cache
def told(name: str) -> dict[str, Any]:
    plain: dict[str, Any] = json.loads(as_json_text(answered(name)))
    return plain


def test_every_theme_has_its_question() -> None:
    assert {path.stem for path in QUESTIONS.glob("*.toml")} == set(WANTED)
    assert len(WANTED) >= 16


@pytest.mark.parametrize("name", WANTED)
def test_an_answer_holds(name: str) -> None:
    """One test a question, so that each is answered once wherever tests are shared out."""
    check_grade(name)
    check_caution(name)
    check_numbers(name)
    check_nothing_from_nowhere(name)
    check_words(name)


def check_grade(name: str) -> None:
    """The grade, the faults and the deciding row are what the trade says."""
    wanted, found = WANTED[name], told(name)
    assert found["grade"] in wanted.grades, wanted.why
    assert {fault["code"] for fault in found["letter"]["faults"]} == set(wanted.faults)
    if wanted.row:
        (decides, *_) = [
            number["at"] for number in found["letter"]["headline"]["numbers"]
            if number["at"].endswith("/value")
        ]  # fmt: skip
        assert lookup(found, decides.removesuffix("/value"))["name"] == wanted.row


def check_caution(name: str) -> None:
    """The caution stands where it is needed."""
    letter = told(name)["letter"]
    said = [fault["caution"] for fault in letter["faults"]] or letter["cautions"]
    assert WANTED[name].caution in " ".join(said)


def check_numbers(name: str) -> None:
    """Every number in a sentence is the JSON's, rounded."""
    found = told(name)
    for title in PARAGRAPHS:
        paragraph = found["letter"][title]
        for number in paragraph["numbers"]:
            assert number["said"] in paragraph["text"]
            value = lookup(found, number["at"])
            if number["unit"] == "steps of 0.5 dB":
                assert value / 0.5 == pytest.approx(number["value"], rel=1e-12)
            else:
                assert value == number["value"]
            assert agrees(number["said"], number["value"], number["unit"]), number


def check_nothing_from_nowhere(name: str) -> None:
    """No number stands in a sentence that is not among its numbers."""
    for title in PARAGRAPHS:
        paragraph = told(name)["letter"][title]
        text = re.sub("“[^”]*”", "", paragraph["text"])  # names are the user's own
        for name_of_figure in (*NAMES.values(), *IN_FULL.values()):
            text = text.replace(f"{name_of_figure} ", "")
        for said in sorted((n["said"] for n in paragraph["numbers"]), key=len, reverse=True):
            text = re.sub(rf"(?<![\d.]){re.escape(said)}(?!\d)", "", text)
        text = text.replace("24-bit", "").replace("within 0.1 dB", "")  # constants of the method
        assert not re.search(r"\d", text), text


def lookup(plain: Any, pointer: str) -> Any:
    """A value by its JSON pointer, RFC 6901."""
    for part in pointer.split("/")[1:]:
        plain = plain[int(part)] if isinstance(plain, list) else plain[part]
    return plain


def agrees(said: str, value: float | str, unit: str) -> bool:
    """Whether what is said is the value, rounded to the digits that are said."""
    if isinstance(value, str):
        # a tolerance as people write it, or a whole sentence as a clause
        return said.replace(" ± ", " ").rstrip(".").lower() == value.rstrip(".").lower()
    if said == "none":
        return value == 0
    words = {
        "less than a hundredth of": value < 0.0106,
        "about half the": 0.4 <= value < 0.75,
        "about the smallest": 0.75 <= value < 1.5,
        "about twice": 1.5 <= value < 2.5,
    }
    if unit == "steps of 0.5 dB" and (known := [ok for text, ok in words.items() if text in said]):
        return known[0]
    if unit == "steps of 0.5 dB" and "1/" in said:
        value = 1.0 / value
        said = said.replace("1/", "")
    if unit == "ratio":
        value = 20.0 * math.log10(value)
    if found := re.search(r"(less|more) than ([\d.]+)", said):
        bound = float(found[2])
        return abs(value) < bound if found[1] == "less" else value > bound
    found = re.search(r"(-?[\d,]*\.?\d+)(?: ([pnumkM]?)(V|A|W|ohm|Hz|F|s)\b)?", said)
    assert found is not None, said
    digits = found[1].replace(",", "")
    scale = PREFIX[found[2] or ""] if found[3] and unit not in {"ms", "us"} else 1.0
    step = 10.0 ** -len(digits.partition(".")[2])
    if "." not in digits and len(digits.strip("-0")) < len(digits.strip("-")):
        step = 10.0 ** (len(digits) - len(digits.rstrip("0")))
    signed = not digits.startswith("-")
    size = abs(value) if signed else value
    if unit == "Hz" and abs(10.0 * math.log10(value) - round(10.0 * math.log10(value))) < 1e-9:
        # a third octave goes by its nominal frequency (IEC 61260-1, annex E): within 3 %
        return abs(float(digits) * scale / value - 1.0) < 0.03
    return abs(float(digits) * scale - size) <= 0.5001 * step * scale


def test_agreement_can_fail() -> None:
    assert agrees("2.2 dB", 2.21, "dB")
    assert not agrees("2.2 dB", 2.31, "dB")
    assert agrees("9 V/us", 9.0, "V/us")
    assert not agrees("11.2 kohm", 11.4e3, "ohm")
    assert not agrees("about 1/7 of the smallest step", 1.0 / 9.0, "steps of 0.5 dB")


def audibility_of(name: str) -> dict[str, Any]:
    return {row["name"]: row for row in told(name)["pieces"][0]["comparison"]["audibility"]}


def test_the_capacitor_s_loss_is_the_one_pole_law_s() -> None:
    # 1 uF into 10 kohm, the 100 ohm before it counted: 10 lg(1 + (fc/f)^2) in the lowest third
    # octave that this music makes audible; the stock board's 22 uF and both 10 uF at the input
    # lose next to nothing
    low_end = audibility_of("output-capacitor")["low end"]

    def loss(farad: float) -> float:
        corner = 1.0 / (2.0 * math.pi * 10.1e3 * farad)
        return 10.0 * math.log10(1.0 + (corner / low_end["at_hz"]) ** 2)

    assert low_end["at_hz"] < 32.0
    assert low_end["value"] == pytest.approx(loss(1e-6) - loss(22e-6), abs=0.05)


def test_the_louder_board_is_louder_by_its_resistors() -> None:
    audibility = audibility_of("louder")
    gain_db = 20.0 * math.log10((1.0 + 10.0 / 3.0) / (1.0 + 10.0 / 3.3))
    assert audibility["level"]["value"] == pytest.approx(gain_db, abs=2e-3)


def test_the_same_question_twice_gives_the_same_bytes() -> None:
    again = answer_question(QUESTIONS / "faster-device.toml")
    first = answered("faster-device")
    assert page_of(again) == page_of(first)
    assert as_json_text(again) == as_json_text(first)
    assert tables_of(again) == tables_of(first)


def test_clipping_is_drawn_in_volts_at_the_rail_s_own_level() -> None:
    # +-15 V rails less 1.5 V of swing loss, the negative one sunk to -10 V (the class's figures)
    shown = answered("uneven-clipping").piece.waveform
    assert shown is not None
    assert (shown.clip_high_v, shown.clip_low_v) == pytest.approx((13.5, -8.5))
    assert shown.asked_v.min() < -8.5
    assert shown.given_v.min() == pytest.approx(-8.5, abs=0.25)  # the cable's filter rings a little
    assert answered("faster-device").piece.waveform is None


def test_versions_are_played_level_matched() -> None:
    first, second = told("faster-device")["pieces"][0]["played"]["rms_dbfs"]
    assert abs(first - second) < 0.02


def test_a_viewer_s_numbers_move_the_verdict_or_not() -> None:
    question = QUESTIONS / "source-impedance.toml"
    same = answer_question(question, given=("load.resistance=47 kohm",)).follow_up
    assert same is not None
    assert not same.moves
    assert same.sentence.startswith("With load.resistance = 47 kohm the verdict does not move")
    # a wiper of R/4 at most: with 1 kohm the long cable's corner is far above hearing
    question = QUESTIONS / "passive-box.toml"
    moved = answer_question(question, given=("volume.resistance=1 kohm",)).follow_up
    assert moved is not None
    assert moved.moves
    assert moved.before == "will be heard"
    assert f"to “{moved.after}”" in moved.sentence


def check_words(name: str) -> None:
    """No word that claims too much."""
    forbidden = ("inaudible", "night and day", "transparent", "proves", "obviously", "golden ears",
                 "placebo", "audiophile")  # fmt: skip
    letter = told(name)["letter"]
    for title in PARAGRAPHS:
        assert not [word for word in forbidden if word in letter[title]["text"].lower()]


def test_question_files_state_what_they_ask() -> None:
    for path in QUESTIONS.glob("*.toml"):
        question = read_question(path.read_text("utf-8"))
        assert question.ask.endswith("?")
        assert question.why


def test_no_file_of_the_page_names_a_folder_of_the_machine() -> None:
    home = str(Path(QUESTIONS).resolve().parent)
    assert home not in page_of(answered("faster-device"))
    assert home not in as_json_text(answered("faster-device"))


def test_the_difference_that_is_played_is_that_of_the_two_versions_played() -> None:
    """Both decoded by another library's reader: change less baseline, turned up, up to a filter."""
    played = answered("passive-box").piece.excerpts
    baseline, change, difference = (
        soundfile.read(io.BytesIO(data), always_2d=True)[0]
        for data in (played.baseline, played.change, played.difference)
    )
    assert len(baseline) == len(change) == len(difference)
    # a delay of half a frame is taken off before the difference is written: envelopes of 10 ms
    whole = len(baseline) // 441 * 441
    envelopes = [
        np.square(x[:whole]).reshape(-1, 441, 2).mean(axis=(1, 2))
        for x in (change - baseline, difference)
    ]
    likeness = float(np.corrcoef(*envelopes)[0, 1])
    assert likeness > 0.9
