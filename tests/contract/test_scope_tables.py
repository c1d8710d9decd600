"""Tables of times and volts of any layout, and those that cannot be used."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from stagefx.bench.scope.tables import ScopeError, load_trace, read_trace

POINTS = 60
TIMES = np.arange(POINTS) * 2e-6 - 1e-5
VOLTS = np.round(3.0 * np.sin(TIMES * 1e5), 2)


def table(row: str, *, head: str = "", comma: bool = False) -> str:
    rows = [row.format(t=t, v=v, n=n) for n, (t, v) in enumerate(zip(TIMES, VOLTS, strict=True))]
    text = "\n".join(rows)
    return head + (text.replace(".", ",") if comma else text)


LAYOUTS = {
    "plain": table("{t:.8f},{v:.2f}"),
    "header": table("{t:.8f},{v:.2f}", head="Made on a Tuesday, at noon\n\nTime,Volts\n"),
    "semicolons and decimal commas": table("{t:.8f};{v:.2f}", comma=True),
    "tabs and decimal commas": table("{t:.8f}\t{v:.2f}", comma=True),
    "spaces": table("  {t:.8e}   {v:.2f}", head="t v\n"),
    "a number first": table("{n};{t:.8f};{v:.2f}", head="n;time;volts\n"),
    "settings beside the data": table(",,{t:.8f},{v:.2f}").replace(",,", "Points,60,", 1),
    "quoted": table('"{t:.8f}","{v:.2f}"', head='"time","volts"\n'),
    "units above": table("{t:.8f},{v:.2f}", head="x,y\ns,V\n"),
    "a word behind": table("{t:.8f},{v:.2f},ok"),
    "blank end": table("{t:.8f},{v:.2f}") + "\n\n\n",
}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_layouts(layout: str) -> None:
    columns = {"volts_column": "volts", "time_column": "time"} if layout == "a number first" else {}
    trace = read_trace(LAYOUTS[layout], **columns)
    assert trace.interval_s == pytest.approx(2e-6, rel=1e-9)
    assert trace.start_s == pytest.approx(-1e-5, rel=1e-9)
    np.testing.assert_array_equal(trace.volts, VOLTS)


def test_units_in_the_header_are_heeded_and_said() -> None:
    trace = read_trace("Time (us);Probe [mV]\n" + LAYOUTS["semicolons and decimal commas"])
    assert trace.interval_s == pytest.approx(2e-12)
    np.testing.assert_allclose(trace.volts, VOLTS * 1e-3)
    assert trace.remarks == (
        "the times are read as us, as the header says",
        "the volts are read as mV, as the header says",
    )


def test_a_probe_the_instrument_was_not_told_of() -> None:
    np.testing.assert_allclose(read_trace(LAYOUTS["plain"], volts_scale=10.0).volts, 10.0 * VOLTS)


def test_columns_by_name_and_number() -> None:
    text = table("{t:.8f},1.5,{v:.2f}", head="time,bias,out (V)\n")
    by_name = read_trace(text, volts_column="Out")
    by_number = read_trace(text, time_column="1", volts_column="3")
    np.testing.assert_array_equal(by_name.volts, VOLTS)
    np.testing.assert_array_equal(by_number.volts, VOLTS)
    assert read_trace(text).remarks == (
        "column 2 is taken for the volts; column 3 can be chosen with --volts-column",
    )


def test_vertical_steps_are_seen() -> None:
    assert read_trace(LAYOUTS["plain"]).step_v == pytest.approx(0.0)
    coarse = "\n".join(f"{n},{0.25 * (n % 5)}" for n in range(100))
    assert read_trace(coarse).step_v == pytest.approx(0.25)


def spoilt(line: int, text: str) -> str:
    lines = LAYOUTS["header"].splitlines()
    lines[line - 1] = text
    return "\n".join(lines)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no two columns of numbers"),
        ("dear sir,\nhow are you", "no two columns of numbers"),
        ("1\n2\n3\n4", "no two columns of numbers"),
        ("\n".join(f"{n},{n}" for n in range(5)), "5 points are too few"),
        (spoilt(20, "0.00002400,oops"), "line 20: 'oops' is no number where the volts"),
        (spoilt(20, "0.00002400,"), "line 20: the volts are missing"),
        (spoilt(20, "soon,1.0"), "line 20: 'soon' is no number where the time"),
        (spoilt(20, "0.00002400,inf"), "line 20: 'inf' is off the screen"),
        (spoilt(20, "-1.0,1.0"), "line 20: time goes back"),
        (spoilt(20, "0.00002000,1.0"), "line 20: time stands still"),
        (spoilt(20, ""), "line 21: 4e-06 s pass since the line before where 2e-06 s are usual"),
    ],
)
def test_one_clear_error(text: str, said: str) -> None:
    with pytest.raises(ScopeError) as caught:
        read_trace(text, time_column=None, where="edge.csv")
    message = str(caught.value)
    assert message.startswith("edge.csv")
    assert said in message
    assert "\n" not in message


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"time_column": "tine"}, "no column 'tine'; did you mean 'time'?"),
        ({"volts_column": "7"}, "no column 7; there are 2"),
        ({"time_column": "2", "volts_column": "2"}, "column 2 cannot hold times and volts"),
        ({"volts_scale": 0.0}, "volts cannot be scaled by 0"),
    ],
)
def test_columns_that_are_not_there(options: dict[str, str | float], said: str) -> None:
    with pytest.raises(ScopeError, match=said.replace("?", r"\?")):
        read_trace(LAYOUTS["header"], **options)  # type: ignore[arg-type]


def test_files(tmp_path: Path) -> None:
    place = tmp_path / "edge.csv"
    place.write_bytes(b"\xef\xbb\xbf" + LAYOUTS["header"].replace("\n", "\r\n").encode())
    assert load_trace(place).volts.size == POINTS
    place.write_bytes(LAYOUTS["plain"].encode("utf-16"))
    assert load_trace(place).volts.size == POINTS
    place.write_bytes(b"\x00\x01\x02" * 40)
    with pytest.raises(ScopeError, match="not text"):
        load_trace(place)
    with pytest.raises(ScopeError, match="there is no such file"):
        load_trace(tmp_path / "none.csv")
    with pytest.raises(ScopeError, match="cannot be read"):
        load_trace(tmp_path)
