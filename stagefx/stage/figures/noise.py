"""Figures of noise at the load."""

from __future__ import annotations

from stagefx.stage.figures.definition import Definition, Worked, Working


def _noise_20k(working: Working) -> Worked:
    return working.noise.total


NOISE = (
    Definition(
        "noise_20k_v_rms", "V rms", "noise", "noise at the load, 20 kHz wide",
        "root of the sum of squares of all contributors, each through its own gain",
        ("amplifier.voltage_noise", "amplifier.current_noise", "volume", "source.resistance"),
        _noise_20k,
    ),
)  # fmt: skip
