"""The picture of a measurement says what it shows, and nothing runs into anything else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stagefx.bench.measure.analysis import measure_signal
from stagefx.bench.measure.measurement import Measurement, merged, with_floor
from stagefx.bench.signals.plan import signal_named
from stagefx.io.recording import HeldAudio
from stagefx.report.plots.bench.measurement import draw_measurement
from tests.contract.test_pictures import assert_nothing_collides, texts

NAMES = ("02-sweep", "04-levels-997hz", "11-silence")
RATE = 48000


@pytest.fixture(scope="module")
def found() -> Measurement:
    """A bent stage with hum, beside a straight loopback without."""
    stage, loopback = [], []
    for name in NAMES:
        signal = signal_named(name, RATE)
        samples = 0.5 * signal.samples()
        rng = np.random.default_rng(1)
        noise = 1e-5 * rng.standard_normal(samples.shape)
        hum = 3e-5 * np.sin(2.0 * np.pi * 100.0 * np.arange(signal.frames) / RATE)[:, None]
        bent = samples + 0.02 * samples**2 + noise + hum
        stage.append(measure_signal(signal, HeldAudio(bent, RATE)))
        loopback.append(measure_signal(signal, HeldAudio(samples + noise, RATE)))
    return with_floor(merged(stage), loopback=merged(loopback), repeat=None)


def claims(measured: Measurement) -> list[str]:
    return [axes.get_title(loc="left") for axes in draw_measurement(measured).axes]


def test_every_plot_states_its_claim_with_its_number(found: Measurement) -> None:
    response, distortion, levels, noise = claims(found)
    assert response.startswith("Flat within 0.0")
    # 20 log10(0.02 · 0.708 · 0.5 / 2), whatever the frequency
    assert distortion.startswith("Distortion of -49.0 dB at")
    assert "dynamic range of" in levels
    assert noise.endswith("its hum mostly from a rectifier")


def test_what_was_not_measured_is_said(found: Measurement) -> None:
    assert claims(Measurement("bench measure", RATE)) == [
        f"Not measured: record {name} as well"
        for name in ("02-sweep", "03-stepped", "04-levels-997hz", "11-silence")
    ]


def test_what_lies_at_the_floor_is_not_claimed(found: Measurement) -> None:
    alone = found.floor["loopback"]
    assert claims(with_floor(alone, loopback=alone, repeat=None))[1] == (
        "Distortion at or below the floor"
    )


def test_nothing_collides(found: Measurement) -> None:
    assert_nothing_collides(draw_measurement(found))
    assert_nothing_collides(draw_measurement(Measurement("bench measure", RATE)))


def test_the_first_remark_stands_above_everything(found: Measurement) -> None:
    remarked = replace(found, remarks=("take.wav is clipped by the recorder itself", "and so on"))
    said = [text.get_text() for text in texts(draw_measurement(remarked))]
    assert "First: take.wav is clipped by the recorder itself (1 more)" in said
