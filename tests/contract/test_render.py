"""What `render` promises: levels, the report, the knob, and one clear error for what cannot be."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.response import Response
from stagefx.dsp.loudness import integrated_loudness
from stagefx.errors import AudioError, EffectError, OutputError, StageError
from stagefx.render.rendering import render_file
from stagefx.render.report import RenderReport
from tests.played import in_decibels, song

Audio = NDArray[np.float64]
RATE_HZ = 48000
KEYS = [
    "frames", "rate", "channels", "gain_db", "knob_position", "output_peak_v", "headroom_db",
    "clipped_frames", "clipped_share", "slewing_frames", "slewing_share", "slope_peak_v_per_us",
    "slew_margin", "nonlinear_share", "loudness_lufs", "true_peak_dbtp", "seed",
]  # fmt: skip


def stage(**tables: Any) -> Stage:
    """An amplifier of gain -5 on rails of 15 V, ideally quick; tables replace its own."""
    return stage_from(
        {
            "name": "trial",
            "source": {"level": "1 V rms"},
            "amplifier": {"topology": "inverting", "gain": 5.0},
            "supply": {"positive": "15 V", "negative": "-15 V"},
            **tables,
        }
    )


def tone(peak: float = 0.5, *, hz: float = 1000.0, seconds: float = 1.0) -> Audio:
    """The same sine in both channels, in whole periods."""
    sine = peak * np.sin(2.0 * np.pi * hz * np.arange(int(seconds * RATE_HZ)) / RATE_HZ)
    return np.stack((sine, sine), axis=1)


def write(path: Path, audio: Audio, subtype: str = "DOUBLE") -> Path:
    soundfile.write(path, audio, RATE_HZ, subtype=subtype)
    return path


def rendered(
    folder: Path, model: Stage, audio: Audio, **options: Any
) -> tuple[Audio, RenderReport]:
    """What a piece becomes, through files; floating point unless said otherwise."""
    write(folder / "in.wav", audio)
    report = render_file(
        model, folder / "in.wav", folder / "out.wav", force=True, **{"bits": "float", **options}
    )
    return soundfile.read(folder / "out.wav", always_2d=True)[0], report


def refuses(
    folder: Path, error: type[Exception], match: str, model: Stage, audio: Audio, **options: Any
) -> None:
    """A refused render leaves nothing behind."""
    write(folder / "in.wav", audio)
    with pytest.raises(error, match=match):
        render_file(model, folder / "in.wav", folder / "out.wav", **options)
    assert [path.name for path in folder.iterdir()] == ["in.wav"]


# --- the report ---


def test_the_report_has_the_keys_of_the_contract(tmp_path: Path) -> None:
    _, report = rendered(tmp_path, stage(), tone())
    found = report.as_json()
    assert set(KEYS) <= set(found)
    assert (found["frames"], found["rate"], found["channels"]) == (RATE_HZ, RATE_HZ, 2)


def test_it_says_how_hard_the_amplifier_was_driven(tmp_path: Path) -> None:
    """5 kHz of 0.8 V rms through -5 on 15 V: 5.657 V peak and 0.1777 V/us of 0.5."""
    amplifier = {"topology": "inverting", "gain": 5.0, "slew_rise": "0.5 V/us"}
    amplifier["slew_fall"] = "0.6 V/us"
    _, report = rendered(tmp_path, stage(amplifier=amplifier), tone(0.8, hz=5000.0))
    peak_v = 0.8 * math.sqrt(2.0) * 5.0
    slope = 2e-6 * math.pi * 5000.0 * peak_v
    assert report.output_peak_v == pytest.approx((peak_v, peak_v), rel=1e-3)
    assert report.headroom_db == pytest.approx([20.0 * math.log10(15.0 / peak_v)] * 2, abs=0.01)
    assert report.slope_peak_v_per_us == pytest.approx((slope, slope), rel=0.01)
    assert report.slew_margin == pytest.approx((0.5 / slope, 0.5 / slope), rel=0.01)
    assert report.nonlinear_share == (0.0, 0.0)
    assert report.worst_moments == ()
    assert report.gain_db == pytest.approx(20.0 * math.log10(5.0), abs=1e-9)
    assert report.true_peak_dbtp == pytest.approx([in_decibels(0.8)] * 2, abs=0.05)


def test_it_counts_channel_by_channel(tmp_path: Path) -> None:
    audio = tone(0.5)
    audio[:, 1] = 0.0
    audio[20000:30000, 1] = 5.0 * audio[20000:30000, 0]
    _, report = rendered(tmp_path, stage(), audio)
    assert report.clipped_frames[0] == 0
    # a peak of 2.5 x 1.414 V x 5 clipped at 15 V: 35.5 % of ten thousand frames
    over = 1.0 - 2.0 / math.pi * math.asin(15.0 / (2.5 * 5.0 * math.sqrt(2.0)))
    # and a frame counts where any part of it is clipped, four ends to a period of 48
    assert 10000 * over < report.clipped_frames[1] < 10000 * (over + 4 / 48)
    assert report.clipped_share[1] == report.clipped_frames[1] / RATE_HZ
    assert report.nonlinear_share == report.clipped_share
    assert report.slewing_frames == (0, 0)
    found = report.as_json()
    assert found["clipped_frames"] == list(report.clipped_frames)
    assert found["slewing_frames"] == 0
    first = min(moment.time_s for moment in report.worst_moments)
    assert 0.2 <= first <= 20000 / RATE_HZ
    assert max(m.time_s for m in report.worst_moments) <= 30000 / RATE_HZ


def test_what_there_is_not_has_its_reason(tmp_path: Path) -> None:
    _, wire = rendered(tmp_path, load_stage("wire"), tone())
    found = wire.as_json()
    assert found["output_peak_v"] == {"value": None, "reason": "there is no amplifier"}
    assert found["headroom_db"]["value"] is None
    assert found["knob_position"] == {"value": None, "reason": "there is no volume control"}
    _, silent = rendered(tmp_path, stage(), 0.0 * tone())
    assert silent.as_json()["headroom_db"] == {"value": None, "reason": "infinite"}
    assert silent.as_json()["loudness_lufs"] == {"value": None, "reason": "minus infinity"}


# --- levels ---


def test_by_gain_level_and_polarity_are_kept(tmp_path: Path) -> None:
    audio = song(40000, 2, seed=0) * 0.5
    out, report = rendered(tmp_path, stage(), audio, without=["noise"])
    assert out == pytest.approx(audio, abs=1e-7)
    assert report.gain_db == pytest.approx(13.9794, abs=1e-4)


def test_by_nothing_full_scale_stays_the_source_s_volts(tmp_path: Path) -> None:
    audio = song(40000, 2, seed=0) * 0.15
    out, _ = rendered(tmp_path, stage(), audio, level_by="nothing", without=["noise"])
    assert out == pytest.approx(-5.0 * audio, abs=1e-7)


def test_by_loudness_both_are_equally_loud(tmp_path: Path) -> None:
    """Where gain would not do it: the bass is gone."""
    model = stage(input={"coupling": "3 nF", "resistance": "47 kohm"})
    audio = 0.3 * song(4 * RATE_HZ, 2, seed=1)
    before = integrated_loudness(audio, rate_hz=RATE_HZ)
    by_gain, _ = rendered(tmp_path, model, audio)
    out, report = rendered(tmp_path, model, audio, level_by="loudness")
    after = integrated_loudness(out, rate_hz=RATE_HZ)
    assert abs(integrated_loudness(by_gain, rate_hz=RATE_HZ) - before) > 0.5
    assert after == pytest.approx(before, abs=0.001)
    assert report.loudness_lufs == pytest.approx(after, abs=1e-6)


def test_integers_that_cannot_hold_the_level_are_refused(tmp_path: Path) -> None:
    match = r"the peak is \+\d+\.\d dB over full scale.*use --bits float, or --level-by gain"
    refuses(tmp_path, OutputError, match, stage(), tone(0.5), level_by="nothing", bits="24")
    out, _ = rendered(tmp_path, stage(), tone(0.5), level_by="nothing")
    assert np.abs(out).max() == pytest.approx(2.5, rel=1e-3)


@pytest.mark.parametrize("audio", [0.0 * tone(), tone(seconds=0.2)])
def test_what_has_no_loudness_cannot_be_matched_by_it(tmp_path: Path, audio: Audio) -> None:
    match = r"in\.wav: too short or too quiet to have a loudness; use --level-by gain"
    refuses(tmp_path, AudioError, match, stage(), audio, level_by="loudness")


def test_what_integers_clip_is_counted_and_remarked(tmp_path: Path) -> None:
    _, report = rendered(tmp_path, load_stage("wire"), tone(1.5), bits="16")
    assert report.overs > 10000
    assert any(f"{report.overs} samples went over full scale" in r for r in report.remarks)


@pytest.mark.parametrize(("bits", "steps"), [("16", 2.0**15), ("24", 2.0**23)])
def test_the_word_length_is_the_one_asked_for(tmp_path: Path, bits: str, steps: float) -> None:
    out, _ = rendered(tmp_path, stage(), tone(), bits=bits)
    assert soundfile.info(tmp_path / "out.wav").subtype == f"PCM_{bits}"
    assert np.array_equal(out * steps, np.round(out * steps))


@pytest.mark.parametrize("frames", [1, 2, 1023, 1025])
def test_the_shortest_pieces_come_out_as_long(tmp_path: Path, frames: int) -> None:
    out, report = rendered(tmp_path, load_stage("slow-early"), tone()[:frames] + 0.1)
    assert len(out) == report.frames == frames


def test_a_seed_decides_noise_and_dither(tmp_path: Path) -> None:
    model = load_stage("slow-early")
    first, report = rendered(tmp_path, model, tone(), seed=3, bits="24")
    again, _ = rendered(tmp_path, model, tone(), seed=3, bits="24")
    other, _ = rendered(tmp_path, model, tone(), seed=4, bits="24")
    assert np.array_equal(first, again)
    assert np.abs(first - other).max() > 0.0
    assert report.seed == 3


# --- the knob ---


def a_weighted_db(audio: Audio) -> float:
    """A-weighted level of steady audio re a full-scale sine on all its channels."""
    hz = np.fft.rfftfreq(len(audio), 1.0 / RATE_HZ)[1:]
    poles = (20.598997, 107.65265, 737.86223, 12194.217)  # IEC 61672-1
    f1, f2, f3, f4 = (hz**2 + pole**2 for pole in poles)
    curve = poles[3] ** 2 * hz**4 / (f1 * np.sqrt(f2 * f3) * f4) * 10.0 ** (2.0 / 20.0)
    spectrum = np.fft.rfft(audio, axis=0)[1:] * curve[:, None]
    power = 2.0 * np.square(np.abs(spectrum)).sum(axis=0).mean() / len(audio) ** 2
    return float(10.0 * np.log10(power / 0.5))


def noise(level: float) -> Audio:
    """Steady noise of eight seconds, alike in both channels."""
    rng = np.random.default_rng(9)
    spectrum = np.fft.rfft(rng.standard_normal((8 * RATE_HZ, 2)), axis=0)
    hz = np.maximum(np.fft.rfftfreq(8 * RATE_HZ, 1.0 / RATE_HZ), 30.0)
    pink = np.fft.irfft(spectrum / np.sqrt(hz)[:, None], axis=0)
    return np.asarray(level * pink / np.abs(pink).max())


@pytest.mark.parametrize(("level", "wanted_db"), [(0.9, 85.0), (0.6, 85.0), (0.9, 70.0)])
@pytest.mark.parametrize("name", ["line-stage", "unity-buffer"])
def test_by_listening_the_knob_plays_the_piece_at_the_listening_level(
    tmp_path: Path, name: str, level: float, wanted_db: float
) -> None:
    """Worked out anew: source, stage at that knob, power amplifier, speakers, distance."""
    model, audio = load_stage(name), noise(level)
    _, report = rendered(tmp_path, model, audio, listening_level_db=wanted_db)
    assert report.knob_position is not None
    chain, source_v_rms = model.listening, model.source.level
    assert chain is not None
    assert source_v_rms is not None
    circuit = nominal(model).at_position(report.knob_position)
    to_load = abs(Response(circuit, np.array([1000.0])).to_load[0, 0])
    speaker_v = source_v_rms.value * to_load * chain.amplifier_gain
    seat_db = (
        20.0 * math.log10(speaker_v / math.sqrt(8.0))
        + chain.speaker_sensitivity.value
        - 20.0 * math.log10(chain.distance.value)
        + 10.0 * math.log10(chain.speakers)
        + a_weighted_db(audio)
    )
    assert seat_db == pytest.approx(wanted_db, abs=0.1)
    assert report.gain_db == pytest.approx(in_decibels(to_load), abs=1e-6)


def test_an_explicit_position_stays(tmp_path: Path) -> None:
    volume = {"resistance": "10 kohm", "position": 0.37}
    _, report = rendered(tmp_path, stage(volume=volume), tone())
    assert report.knob_position == 0.37
    # a linear control, unloaded, before a gain of five
    assert report.gain_db == pytest.approx(20.0 * math.log10(5.0 * 0.37), abs=0.01)


def test_a_setting_in_decibels_is_the_unloaded_ratio(tmp_path: Path) -> None:
    volume = {"resistance": "10 kohm", "setting": "-12 dB"}
    _, report = rendered(tmp_path, stage(volume=volume), tone())
    assert report.knob_position == pytest.approx(10.0 ** (-12.0 / 20.0), rel=1e-6)


def test_with_nothing_known_of_the_room_the_knob_is_fully_open(tmp_path: Path) -> None:
    _, report = rendered(tmp_path, stage(volume={"resistance": "10 kohm"}), tone())
    assert report.knob_position == 1.0


def test_listening_without_a_listening_chain_is_refused(tmp_path: Path) -> None:
    model = stage(volume={"resistance": "10 kohm", "setting": "listening"})
    refuses(tmp_path, StageError, r"needs \[listening\]", model, tone())


def test_a_knob_at_zero_is_refused(tmp_path: Path) -> None:
    model = stage(volume={"resistance": "10 kohm", "position": 0.0})
    refuses(tmp_path, StageError, "'trial' passes nothing at 1 kHz", model, tone())


def test_a_level_that_cannot_be_reached_is_remarked(tmp_path: Path) -> None:
    model = load_stage("unity-buffer")
    _, report = rendered(tmp_path, model, noise(0.9), listening_level_db=120.0)
    assert report.knob_position == pytest.approx(1.0, abs=1e-9)
    assert any("not at 120 dB" in remark for remark in report.remarks)


# --- what is refused ---


def test_a_stage_without_a_source_level_is_refused(tmp_path: Path) -> None:
    match = r"'trial' does not say how hot its source is; give \[source\] level"
    refuses(tmp_path, StageError, match, stage(source={}), tone())


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"only": ["slow"]}, r"no effect 'slow'; did you mean 'slew'\?"),
        ({"without": ["bandwith"]}, r"no effect 'bandwith'; did you mean 'bandwidth'\?"),
        ({"times": {"clipping": 2.0}}, r"no effect 'clipping'; did you mean 'clip'\?"),
        ({"only": ["zzz"]}, r"no effect 'zzz'; known are: .*bandwidth, clip, crosstalk"),
        (
            {"without": ["slew"], "times": {"slew": 2.0}},
            "slew is not rendered here, so it cannot be exaggerated",
        ),
    ],
)
def test_effects_by_unknown_names_are_refused(
    tmp_path: Path, options: dict[str, Any], match: str
) -> None:
    refuses(tmp_path, EffectError, match, stage(), tone(), **options)


def test_crosstalk_needs_two_channels(tmp_path: Path) -> None:
    model = stage(crosstalk={"coupling_capacitance": "5 pF"})
    match = "crosstalk needs two channels, and the music has 1.*--without crosstalk"
    refuses(tmp_path, EffectError, match, model, tone()[:, :1])
    out, _ = rendered(tmp_path, model, tone()[:, :1], without=["crosstalk"])
    assert out.shape == (RATE_HZ, 1)


def test_an_oscillation_that_leaves_nothing_is_a_fault(tmp_path: Path) -> None:
    model = stage(oscillation={"level": "20 V peak", "frequency": "1 MHz"})
    refuses(tmp_path, StageError, "oscillates: .*--without oscillation", model, tone())


def by_its_name(folder: Path) -> Path:
    return folder / "in.wav"


def by_another_path(folder: Path) -> Path:
    return folder / ".." / folder.name / "in.wav"


def by_a_link(folder: Path) -> Path:
    (folder / "link.wav").symlink_to(folder / "in.wav")
    return folder / "link.wav"


@pytest.mark.parametrize("output", [by_its_name, by_another_path, by_a_link])
def test_music_is_never_written_over(tmp_path: Path, output: Callable[[Path], Path]) -> None:
    before = write(tmp_path / "in.wav", tone()).read_bytes()
    with pytest.raises(OutputError, match=r"is an input too.*write elsewhere"):
        render_file(stage(), tmp_path / "in.wav", output(tmp_path), force=True)
    assert (tmp_path / "in.wav").read_bytes() == before


def test_what_is_there_is_kept_unless_forced(tmp_path: Path) -> None:
    write(tmp_path / "in.wav", tone())
    (tmp_path / "out.wav").write_text("kept")
    with pytest.raises(OutputError, match=r"out\.wav exists already.*--force"):
        render_file(stage(), tmp_path / "in.wav", tmp_path / "out.wav")
    assert (tmp_path / "out.wav").read_text() == "kept"
    render_file(stage(), tmp_path / "in.wav", tmp_path / "out.wav", force=True)
    assert soundfile.info(tmp_path / "out.wav").frames == RATE_HZ


class InterruptionError(Exception):
    """What comes between."""


@pytest.mark.parametrize("after", [0, 30000])
def test_an_interruption_leaves_nothing(tmp_path: Path, after: int) -> None:
    write(tmp_path / "in.wav", tone(seconds=3.0))

    def progress(done: int, whole: int | None) -> None:
        assert whole == 3 * RATE_HZ
        if done > after:
            raise InterruptionError

    with pytest.raises(InterruptionError):
        render_file(stage(), tmp_path / "in.wav", tmp_path / "out.wav", progress=progress)
    assert [path.name for path in tmp_path.iterdir()] == ["in.wav"]


def test_progress_ends_with_the_last_frame(tmp_path: Path) -> None:
    seen: list[int] = []
    rendered(tmp_path, stage(), tone(), progress=lambda done, whole: seen.append(done))
    assert seen == sorted(seen)
    assert seen[-1] == RATE_HZ


def test_not_a_number_in_the_music_is_said_with_its_place(tmp_path: Path) -> None:
    audio = tone()
    audio[12345, 1] = np.nan
    match = r"in\.wav holds NaN at 0\.257188 s, channel 2"
    refuses(tmp_path, AudioError, match, stage(), audio)
