"""The whole round of the bench: signals, a stage nobody described, converters, measuring, fitting.

The stage is played by the renderer; the converters add what real ones do: delay, a clock that runs
fast, polarity, noise, hum, direct voltage, 24 bits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
import soxr
from numpy.typing import NDArray

from stagefx.bench.bench_setting import on_bench
from stagefx.bench.fit.adjust import fit_stage
from stagefx.bench.fit.report import FittedStage
from stagefx.bench.fit.rounds import Round
from stagefx.bench.measure.measurement import Measurement, merged
from stagefx.bench.measure.whole import measure
from stagefx.bench.signals.plan import signal_named
from stagefx.circuit.description.files import read_stage, stage_tables
from stagefx.circuit.description.stage import Stage
from stagefx.figures.table import compute_figures
from stagefx.io.recording import HeldAudio

Array = NDArray[np.float64]
pytestmark = pytest.mark.slow

RATE_HZ = 96000
OURS = """
name = "desk"   # as drawn
[source]
level = "3.2 V rms"
resistance = "100 ohm"
[input]
series_resistance = "1 kohm"
shunt_capacitance = "220 pF"
resistance = "47 kohm"
coupling = "2.2 uF"
[amplifier]
device = "early bipolar"
feedback_resistance = "10 kohm 1 %"
gain_resistance = "2.2 kohm 1 %"
[supply]
positive = "15 V"
negative = "-15 V"
[output]
resistance = "100 ohm"   # guessed
coupling = "100 uF"
[load]
resistance = "10 kohm"
"""
TRUTH = {
    "amplifier.slew_rise": 0.62e6,
    "amplifier.slew_fall": 0.41e6,
    "amplifier.gain_bandwidth": 1.4e6,
    "amplifier.voltage_noise": 31e-9,
    "output.resistance": 147.0,
    "amplifier.gain_resistance": 2250.0,
}
HIDDEN = (
    OURS.replace(
        "[supply]",
        'slew_rise = "0.62 V/us"\nslew_fall = "0.41 V/us"\ngain_bandwidth = "1.4 MHz"\n'
        'swing_loss_high = "2.3 V"\nswing_loss_low = "1.4 V"\nvoltage_noise = "31 nV/rtHz"\n'
        "[supply]",
    )
    .replace('"100 ohm"   # guessed', '"147 ohm"')
    .replace('"2.2 kohm 1 %"', '"2.25 kohm 1 %"')
)
SIGNALS = ("01-level-1khz", "02-sweep", "06-two-tone-19-20khz", "10-clipping-ramp", "11-silence")
SWEEP_TURNED_DOWN = 10.0 ** (-20.0 / 20.0)
"""At full level the sweep itself would slew, and tell nothing of the small-signal bandwidth."""


@dataclass
class Converters:
    """A recorder with faults of its own; a full-scale sine is so many volts rms."""

    full_scale_v: float
    chance: np.random.Generator

    def record(self, volts: Array) -> Array:
        """Volts as 24-bit samples: late, 12 ppm fast, upside down, with hum, noise and offset."""
        peak_v = math.sqrt(2.0) * self.full_scale_v
        edges = ((4321, 2000), (0, 0))
        fine = soxr.resample(np.pad(volts / peak_v, edges), RATE_HZ, 4 * RATE_HZ, "VHQ")
        at = np.arange(fine.shape[0] // 4 - 8) * (4.0 * (1.0 - 12e-6)) + 5.48
        whole = at.astype(np.int64)
        x = (at - whole)[:, None]
        a, b, c, d = (fine[whole + k] for k in (-1, 0, 1, 2))
        line = b + 0.5 * x * (c - a + x * (2 * a - 5 * b + 4 * c - d + x * (3 * (b - c) + d - a)))
        t = np.arange(line.shape[0]) / RATE_HZ
        hum = 2.5e-6 * np.sin(2.0 * np.pi * 50.0 * t) + 1.2e-6 * np.sin(2.0 * np.pi * 150.0 * t)
        # -114 dBFS over 20 kHz
        noise = self.chance.normal(0.0, 10.0**-5.7 / math.sqrt(2.0) * math.sqrt(2.4), line.shape)
        captured = -line + hum[:, None] + noise + 2e-4
        return np.asarray(np.round(captured * 2.0**23) / 2.0**23)


def round_of(hidden: Stage, load_ohm: float, signals: tuple[str, ...]) -> Round:
    chance = np.random.default_rng(5)
    bench = on_bench(hidden, load_ohm=load_ohm)
    parts: list[Measurement] = []
    for name in signals:
        signal = signal_named(name, RATE_HZ)
        down = SWEEP_TURNED_DOWN if name == "02-sweep" else 1.0
        samples = signal.samples()
        peak_v = math.sqrt(2.0) * bench.captured_v
        volts = bench.through(down * samples, RATE_HZ) * peak_v
        recorder = Converters(10.0 * down, chance)
        straight = down * samples * math.sqrt(2.0) * bench.played_v
        parts.append(
            measure(
                HeldAudio(samples, RATE_HZ),
                HeldAudio(recorder.record(volts), RATE_HZ),
                loopback=HeldAudio(recorder.record(straight), RATE_HZ),
                played_full_scale_v=bench.played_v * down,
                captured_full_scale_v=recorder.full_scale_v,
            )
        )
    return Round(merged(parts), load_ohm)


@pytest.fixture(scope="module")
def fitted() -> FittedStage:
    hidden = read_stage(HIDDEN)
    rounds = [round_of(hidden, 10e3, SIGNALS), round_of(hidden, 600.0, SIGNALS[:1])]
    return fit_stage(read_stage(OURS), rounds)


@pytest.mark.parametrize("key", TRUTH)
def test_the_hidden_figures_are_found_within_five_percent(fitted: FittedStage, key: str) -> None:
    figure = fitted.figure(key)
    assert figure.state == "determined"
    assert figure.value == pytest.approx(TRUTH[key], rel=0.05)
    assert abs(figure.value - TRUTH[key]) < 3.0 * figure.doubt


def test_what_was_guessed_was_more_than_five_percent_off(fitted: FittedStage) -> None:
    for key, truth in TRUTH.items():
        if key != "amplifier.gain_resistance":
            assert fitted.figure(key).before != pytest.approx(truth, rel=0.05), key


def test_the_fitted_description_has_the_hidden_stages_figures(fitted: FittedStage) -> None:
    ours, hidden = (compute_figures(stage) for stage in (fitted.adjusted, read_stage(HIDDEN)))
    for key in (
        "clip_high_v", "clip_low_v", "slew_available_v_per_us", "output_impedance_ohm",
        "noise_20k_v_rms", "closed_loop_bandwidth_hz", "maximum_output_v_rms",
    ):  # fmt: skip
        value, truth = ours.figures[key].value, hidden.figures[key].value
        assert value == pytest.approx(truth, rel=0.05), key
    assert ours.figures["gain_db"].value == pytest.approx(hidden.figures["gain_db"].value, abs=0.02)


def test_every_number_is_met_and_the_words_of_the_file_stay(fitted: FittedStage) -> None:
    assert all(row.agrees for row in fitted.rows if row.kind != "response")
    written = fitted.as_toml(like=OURS)
    assert "# as drawn" in written
    assert "# guessed; fitted; was 100 ohm" in written
    assert stage_tables(read_stage(written)) == stage_tables(fitted.adjusted)
