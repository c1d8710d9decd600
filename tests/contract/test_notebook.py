"""Results show themselves in a notebook as plain tables, and no name in them can do anything."""

from __future__ import annotations

import shutil
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from stagefx.audition.coding import CODINGS
from stagefx.audition.delivery import Apart, Delivered, Delivery
from stagefx.audition.shortcuts import compare_files
from stagefx.bench.measure.measurement import Measurement
from stagefx.bench.measure.rows import Crosstalk, Level
from stagefx.blind.keys import draw_key
from stagefx.blind.listeners import Controls, Listener
from stagefx.blind.planning import BlindPlan, plan
from stagefx.blind.result import BlindScore
from stagefx.circuit.description.files import load_stage
from stagefx.figures.table import compute_figures
from stagefx.io.tables import html_table
from stagefx.samples import samples_folder

HOSTILE = "<img src=x onerror=\"alert('a')\">&lt;b&gt;"
ALLOWED = {"table", "caption", "thead", "tbody", "tr", "th", "td", "p"}


class Seen(HTMLParser):
    """What a browser would make of it."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.rows: list[list[str]] = []
        self.open: list[str] = []
        self.text = ""
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.open.append(tag)
        self.attributes |= {f"{name}={value}" for name, value in attrs}
        if tag == "tr":
            self.rows.append([])
        if tag in {"th", "td"}:
            self.rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data
        if self.open and self.open[-1] in {"th", "td"}:
            self.rows[-1][-1] += data


def seen(result: object) -> Seen:
    found = Seen(result._repr_html_())  # type: ignore[attr-defined]
    assert found.tags <= ALLOWED
    assert found.attributes <= {"scope=col", "scope=row"}
    widths = {len(row) for row in found.rows}
    assert len(widths) <= 1
    return found


def test_every_text_of_a_table_is_escaped() -> None:
    html = html_table(
        HOSTILE, [(HOSTILE, HOSTILE)], head=(HOSTILE, HOSTILE), before=[HOSTILE], after=[HOSTILE]
    )
    found = Seen(html)
    assert found.tags == ALLOWED
    assert found.attributes == {"scope=col", "scope=row"}
    assert found.text == 7 * HOSTILE


def listener(name: str) -> Listener:
    control = Controls(5, 5, 0.5)
    return Listener(name, 12, 16, 0.0384, 0.0384, (0.48, 0.93), 1.2, "model", control, (True,))


def test_figures_show_their_numbers_and_faults() -> None:
    found = compute_figures(load_stage("line-stage"))
    found = replace(found, stage=found.stage.model_copy(update={"name": HOSTILE}))
    table = seen(found)
    assert f"{HOSTILE} on paper" in table.text
    rows = {row[1]: row[2] for row in table.rows}
    assert rows["gain_db"] == f"{found.figures['gain_db'].value:.2f} dB"
    assert set(rows) - {"key"} == {k for k, v in found.figures.items() if v.value is not None}
    faulty = compute_figures(load_stage("too-hot"))
    assert faulty.faults
    assert seen(faulty).text.startswith(f"Fault: {faulty.faults[0].sentence}")


def test_ranges_have_a_column_of_their_own() -> None:
    table = seen(compute_figures(load_stage("line-stage"), spread=20))
    assert table.rows[0][-1] == "5 to 95 %"
    (gain,) = (row for row in table.rows if row[1] == "gain_db")
    assert " to " in gain[3]


def test_a_comparison_shows_its_sentence_and_every_row(tmp_path: Path) -> None:
    trio = samples_folder() / "music" / "trio.flac"
    hostile = tmp_path / "<b>trio<b>.flac"
    shutil.copy(trio, hostile)
    found = compare_files(trio, hostile, passage=(2.0, 3.0))
    table = seen(found)
    assert "<b>trio<b>.flac" in table.text
    assert found.verdict.sentence in table.text
    assert [row[0] for row in table.rows[1:]] == [row.name for row in found.audibility]
    graded = [row for row in table.rows[1:] if row[4]]
    assert {row[4] for row in graded} == {"below what can be measured"}


def test_a_plan_shows_what_it_demands() -> None:
    # 16 trials of two choices: 12 right pass at 5 %, 3.8 % by chance (the binomial distribution)
    table = seen(plan("abx", trials=16))
    rows = dict(table.rows)
    assert rows["pass mark"] == "12 of 16"
    assert rows["pass though they hear nothing"] == "3.8 %"
    strange = seen(BlindPlan(HOSTILE, 0.5, 3, None, 0.0, 0.0, 0.7, None))
    assert HOSTILE in strange.text
    assert "not even a perfect score would pass" in strange.text


def test_a_score_shows_listeners_by_the_names_they_gave() -> None:
    found = BlindScore(
        draw_key("abx", ("main",)), (listener(HOSTILE), listener("")), None,
        Controls(10, 10, 0.5), 1.0, (),
    )  # fmt: skip
    table = seen(found)
    assert table.rows[1] == [HOSTILE, "12 of 16", "0.0384", "0.0384", "48.0 % to 93.0 %"]
    assert table.rows[2][0] == "(no name)"
    assert found.sentence in table.text


def test_a_delivery_shows_every_coding() -> None:
    one = Delivered(
        replace(CODINGS[0], name=HOSTILE),
        128.4,
        Apart(-21.5, 0.75),
        Apart(-20.0, 0.5),
        Apart(-60.0, None),
    )
    table = seen(Delivery(Apart(-80.0, 0.1), (one,), (1.0, 11.0)))
    assert table.rows[-1] == [HOSTILE, "128 kbit/s", "-21.5 dB", "0.75", "0.50", "too short"]
    assert "From 1.0 to 11.0 s" in table.text


def test_a_measurement_shows_what_was_measured_and_nothing_else() -> None:
    found = Measurement(
        "bench measure", 48000, signals=(HOSTILE,), remarks=(HOSTILE,),
        levels=(Level("a", 1000.0, -10.0, -4.0, 0.5, 1.0, 6.02),),
        crosstalk=(Crosstalk(1000.0, "left", -71.5, -90.0),), balance_db=0.031,
    )  # fmt: skip
    table = seen(found)
    assert table.text.count(HOSTILE) == 2
    assert table.rows == [
        ["gain at 1 kHz", "6.02 dB"],
        ["right re left", "0.03 dB"],
        ["crosstalk at 1 kHz, left driven", "-71.5 dB"],
    ]


@pytest.mark.parametrize("name", ["Comparison", "Figures"])
def test_public_results_have_it(name: str) -> None:
    import stagefx

    assert callable(getattr(stagefx, name)._repr_html_)
