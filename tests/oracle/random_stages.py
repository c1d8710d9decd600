"""Random stages for the oracles: every part drawn from its practical range, by a fixed seed."""

from __future__ import annotations

from typing import Any

import numpy as np


def random_stage(seed: int) -> dict[str, Any]:
    """The tables of one random stage; each part is there more often than not."""
    chance = np.random.default_rng(seed)

    def between(low: float, high: float, unit: str) -> str:
        return f"{np.exp(chance.uniform(np.log(low), np.log(high))):.6g} {unit}"

    def some(table: dict[str, str], keep: float = 0.75) -> dict[str, Any]:
        return {key: value for key, value in table.items() if chance.random() < keep}

    topology = ("non-inverting", "inverting", "follower")[seed % 3]
    source = {"resistance": between(50.0, 5e3, "ohm")}
    source |= some({"coupling": between(1e-6, 50e-6, "F")})
    entrance = some(
        {
            "coupling": between(0.1e-6, 20e-6, "F"),
            "series_resistance": between(50.0, 2e3, "ohm"),
            "shunt_capacitance": between(20e-12, 500e-12, "F"),
            "capacitance": between(2e-12, 20e-12, "F"),
        }
    )
    entrance["resistance"] = between(20e3, 1e6, "ohm")
    amplifier = {"topology": topology, "feedback_resistance": between(1e3, 50e3, "ohm")}
    amplifier |= some({"feedback_capacitance": between(5e-12, 200e-12, "F")})
    if topology != "follower":
        amplifier["gain_resistance"] = between(1e3, 20e3, "ohm")
        amplifier |= some({"gain_leg_capacitance": between(1e-6, 100e-6, "F")})
    amplifier |= {
        "open_loop_gain": f"{chance.uniform(80.0, 130.0):.3f} dB",
        "gain_bandwidth": between(1e6, 60e6, "Hz"),
        "second_pole": between(3e6, 150e6, "Hz"),
        "open_loop_output_resistance": between(10.0, 300.0, "ohm"),
    }
    tables: dict[str, Any] = {"source": source, "input": entrance, "amplifier": amplifier}
    tables["volume"] = {
        "resistance": between(5e3, 100e3, "ohm"),
        "taper": ("linear", "audio 10 %", "exponential 60 dB")[int(chance.integers(3))],
        "position": round(float(chance.uniform(0.05, 0.95)), 3),
        "place": ("before", "after")[int(chance.integers(2))],
    }
    tables["input_cable"] = {"capacitance": between(50e-12, 2e-9, "F")}
    tables["output"] = some({"resistance": between(20.0, 600.0, "ohm")})
    tables["output"] |= some({"coupling": between(1e-6, 100e-6, "F")})
    tables["output_cable"] = {"capacitance": between(50e-12, 5e-9, "F")}
    tables["load"] = {"resistance": between(600.0, 100e3, "ohm")}
    return tables
