"""Loading and output impedance: textbook worked examples, to the digits given."""

from __future__ import annotations

import pytest

from tests.published.worked import agrees, figure, gain


def loaded(source: str, load: str) -> dict[str, dict[str, str]]:
    return {"source": {"resistance": source}, "load": {"resistance": load}}


@pytest.mark.parametrize(
    ("source", "load", "loss_db"),
    [
        ("600 ohm", "10 kohm", "-0.506117"),
        ("100 ohm", "47 kohm", "-0.018461"),
        ("2.5 kohm", "10 kohm", "-1.938200"),
    ],
)
def test_e07_a_source_loses_into_its_load(source: str, load: str, loss_db: str) -> None:
    assert agrees(figure("gain_db", **loaded(source, load)), loss_db)
    assert agrees(figure("source_loss_db", **loaded(source, load)), loss_db)


def test_e07_as_a_ratio() -> None:
    assert agrees(gain(**loaded("600 ohm", "10 kohm")), "0.943396")


def test_e08_two_loads_stand_in_parallel() -> None:
    tables = {"volume": {"resistance": "10 kohm"}, "input": {"resistance": "47 kohm"}}
    found = figure("input_impedance_ohm", **tables)
    assert agrees(found, "8245.614")
    assert not agrees(found, "57000"), "not the sum of the two"


def test_e09_a_higher_input_resistance_is_louder() -> None:
    high = figure("gain_db", **loaded("600 ohm", "47 kohm"))
    low = figure("gain_db", **loaded("600 ohm", "10 kohm"))
    assert agrees(high - low, "0.395935")


@pytest.mark.parametrize(
    ("output", "load", "share"),
    [
        ("49.318 ohm", "1 kohm", "0.953000"),
        ("50.251 ohm", "10 kohm", "0.995000"),
        # a count of 1 mV on both readings: what the output resistance may be
        ("47.170 ohm", "1 kohm", "0.954955"),  # 0.954 of 0.999
        ("51.471 ohm", "1 kohm", "0.951049"),  # 0.952 of 1.001
        ("30.120 ohm", "10 kohm", "0.996997"),  # 0.996 of 0.999
        ("70.423 ohm", "10 kohm", "0.993007"),  # 0.994 of 1.001
    ],
)
def test_e10_e11_output_resistance_from_open_and_loaded(output: str, load: str, share: str) -> None:
    tables = {"amplifier": {"topology": "follower"}, "output": {"resistance": output}}
    loss_db = figure("load_loss_db", **tables, load={"resistance": load})
    assert agrees(10.0 ** (loss_db / 20.0), share)
    assert agrees(figure("output_impedance_ohm", **tables), output.split(maxsplit=1)[0])


@pytest.mark.parametrize(
    ("source", "load", "loss_db"),
    [
        ("100 ohm", "10 kohm", "-0.086"),
        ("600 ohm", "10 kohm", "-0.506"),
        ("1 kohm", "10 kohm", "-0.828"),
        ("1 kohm", "47 kohm", "-0.183"),
        ("2.2 kohm", "22 kohm", "-0.828"),
        ("600 ohm", "600 ohm", "-6.021"),
    ],
)
def test_bridging_table_of_usual_sources_and_loads(source: str, load: str, loss_db: str) -> None:
    """Computed table of line-level practice."""
    assert agrees(figure("gain_db", **loaded(source, load)), loss_db)
