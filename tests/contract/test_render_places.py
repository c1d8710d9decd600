"""Where parts stand decides what they save: a control, an oscillation, a loudness match."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from stagefx.circuit.description.files import stage_from
from stagefx.errors import AudioError
from stagefx.render.rendering import render_file
from stagefx.render.report import RenderReport
from tests.played import Audio, in_decibels

RATE_HZ = 48000


def rendered(folder: Path, audio: Audio, tables: dict[str, Any], **options: Any) -> RenderReport:
    soundfile.write(folder / "in.wav", audio, RATE_HZ, subtype="DOUBLE")
    stage = stage_from(
        {
            "source": {"level": "2 V rms"},
            "amplifier": {"topology": "non-inverting", "gain": 8.0},
            "supply": {"positive": "15 V", "negative": "-15 V"},
            **tables,
        }
    )
    out = folder / "out.wav"
    return render_file(stage, folder / "in.wav", out, force=True, **{"bits": "float", **options})


def tone(peak: float) -> Audio:
    sine = peak * np.sin(2.0 * np.pi * 1000.0 * np.arange(RATE_HZ) / RATE_HZ)
    return np.stack((sine, 0.5 * sine), axis=1)


@pytest.mark.parametrize(("place", "clips"), [("before", False), ("after", True)])
def test_a_control_saves_an_amplifier_from_clipping_only_before_it(
    tmp_path: Path, place: str, clips: bool
) -> None:
    """2.83 V times 8 is 22.6 V on rails of 15 V; a control at half lets 11.3 V in."""
    volume = {"resistance": "10 kohm", "setting": "-6.0206 dB", "place": place}
    report = rendered(tmp_path, tone(1.0), {"volume": volume})
    assert (report.clipped_frames[0] > 0) == clips
    peak_v = math.sqrt(2.0) * 2.0 * 8.0 * (1.0 if clips else 0.5)
    assert report.output_peak_v is not None
    assert report.output_peak_v[0] == pytest.approx(peak_v, rel=1e-3)
    assert report.gain_db == pytest.approx(20.0 * math.log10(4.0), abs=0.01)


@pytest.mark.parametrize("level_by", ["gain", "loudness", "nothing"])
def test_levels_are_matched_with_the_balance_kept(tmp_path: Path, level_by: str) -> None:
    """6.02 dB between the channels before and after, however the whole is levelled."""
    rendered(tmp_path, tone(0.1), {}, level_by=level_by)
    found, _ = soundfile.read(tmp_path / "out.wav")
    left, right = np.sqrt(np.square(found).mean(axis=0))
    assert in_decibels(left / right) == pytest.approx(6.0206, abs=1e-3)


@pytest.mark.parametrize("odd", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("at", [0, 1, RATE_HZ // 2 + 1, RATE_HZ - 1])
def test_what_is_no_number_is_found_wherever_it_is(tmp_path: Path, odd: float, at: int) -> None:
    audio = tone(0.1)
    audio[at, 1] = odd
    name = "NaN" if np.isnan(odd) else "infinity"
    with pytest.raises(AudioError, match=rf"holds {name} at {at / RATE_HZ:.6f} s, channel 2"):
        rendered(tmp_path, audio, {})
    assert [path.name for path in tmp_path.iterdir()] == ["in.wav"]
