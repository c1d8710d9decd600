"""Whether readings make sense: slips, instruments at their limits, devices out of their class."""

from __future__ import annotations

import math
from collections.abc import Callable
from types import MappingProxyType

from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.closed_forms.levels import average_reading_error_db, curve_db
from stagefx.bench.readings.inference.points import REFERENCE_HZ
from stagefx.bench.readings.kinds import Balance, Clip, InputLoading, Noise, OutputLoading, Response
from stagefx.bench.readings.reading import Curve
from stagefx.bench.readings.report import Checked, Found
from stagefx.bench.readings.sheet import wave_of
from stagefx.bench.readings.unit_mistakes import slip, slip_code
from stagefx.bench.uncertainty import Measured
from stagefx.circuit.description.devices import device_class
from stagefx.units import decibels, show

_SEEN_DB = 0.1
_METERS_TRUE_TO_HZ = 2e3
"""Up to where most hand-held meters are right (common practice)."""
_GENERATORS_FLAT_TO_HZ = 5e3
_CORNER_DB = -2.5
_USUAL_LOSS_V = 1.5
_SURE = frozenset({"factor-of-ten", "peak-to-peak-for-rms"})
"""Slips of a size that two honest readings hardly differ by."""


def with_remarks(draft: Draft) -> Draft:
    """Add what is odd about the readings themselves."""
    for look in (_ratios, _clip_slips, _instruments, _waves, _not_the_corner, _class):
        draft = look(draft)
    return draft


def with_misses(draft: Draft, checks: tuple[Checked, ...]) -> Draft:
    """Add which readings the stage does not give."""
    for number in sorted({check.reading for check in checks if not check.agrees}):
        missed = [check for check in checks if check.reading == number and not check.agrees]
        told = ", ".join(
            f"{show(check.predicted, check.unit)} where {show(check.measured.value, check.unit)} "
            "was read"
            for check in missed
        )
        draft = draft.remarking("not-reproduced", f"the stage that was found gives {told}", number)
    return draft


def _ratios(draft: Draft) -> Draft:
    """Pairs of volts that should be nearly the same."""
    pairs = ((Balance, "right", "left"), (OutputLoading, "loaded", "open"))
    for kind, above, below in (*pairs, (InputLoading, "through", "direct")):
        for number, _ in draft.sheet.of(kind):
            volts = draft.sheet.value(number, above), draft.sheet.value(number, below)
            draft = _slipped(draft, number, volts[0].value / volts[1].value)
    for number, reading in draft.sheet.of(Response):
        if reading.output is not None:
            level = draft.sheet.level_db(number).value
            draft = _slipped(draft, number, 10.0 ** (level / 20.0))
    return draft


def _slipped(draft: Draft, number: int, ratio: float) -> Draft:
    code = slip_code(ratio, within=0.012)
    if code not in _SURE:
        return draft
    return draft.remarking(code, f"the two voltages look odd: {slip(ratio, within=0.012)}", number)


def _clip_slips(draft: Draft) -> Draft:
    """Peaks that a probe or a notation has made far too small."""
    if draft.stage.supply is None:
        return draft
    for number, reading in draft.sheet.of(Clip):
        for key, rail in (("high", "positive"), ("low", "negative")):
            if getattr(reading, key) is None:
                continue
            peak = draft.sheet.value(number, key).value
            reach = abs(getattr(draft.stage.supply, rail).value) - _USUAL_LOSS_V
            code = slip_code(reach / abs(peak), within=0.1) if peak and reach > 0.0 else ""
            if code == "factor-of-ten":
                draft = draft.remarking(
                    code,
                    f"it clips at {show(peak, 'V')} and the rail is a factor of ten (20 dB) "
                    "higher: is it a probe that the instrument was not told of? Then say "
                    "probe = 10",
                    number,
                )
    return draft


def _instruments(draft: Draft) -> Draft:
    for number, reading in draft.sheet.of(Response):
        hz, level = reading.frequency.value, draft.sheet.level_db(number)
        if hz <= REFERENCE_HZ:
            continue
        for what, curve in (("meter", reading.meter), ("generator", reading.generator)):
            if curve is not None:
                draft = _all_its_own(draft, number, what, curve, hz, level)
        if level.value > -_SEEN_DB:
            continue
        if reading.meter is None and hz > _METERS_TRUE_TO_HZ:
            draft = draft.remarking(
                "meter-roll-off",
                f"the meter's own loss at {show(hz, 'Hz')} is in this reading; many meters are "
                "right to a few kilohertz only. Read a known flat source, and give it as meter",
                number,
            )
        if reading.generator is None and hz > _GENERATORS_FLAT_TO_HZ:
            draft = draft.remarking(
                "generator-droop",
                f"the generator's own droop at {show(hz, 'Hz')} is in this reading; read it at the "
                "same leads without the stage, and give it as generator",
                number,
            )
    for number, noise in draft.sheet.of(Noise):
        if noise.meter is not None:
            draft = draft.remarking(
                "meter-not-taken-out",
                "a meter's response is not taken out of a noise reading; give its bandwidth",
                number,
            )
    return draft


def _all_its_own(
    draft: Draft, number: int, what: str, curve: Curve, hz: float, level: Measured
) -> Draft:
    points = [(f.value, value.value) for f, value in curve]
    own = (curve_db(points, hz) or 0.0) - (curve_db(points, REFERENCE_HZ) or 0.0)
    if abs(own) <= _SEEN_DB or abs(level.value) > level.half_range:
        return draft
    return draft.remarking(
        f"all-of-it-the-{what}",
        f"the loss read at {show(hz, 'Hz')} is the {what}'s own {own:.3g} dB: nothing of it is "
        "the stage's",
        number,
    )


def _waves(draft: Draft) -> Draft:
    for number, reading in enumerate(draft.sheet.readings.reading, start=1):
        wave = wave_of(reading)
        if wave == "sine" or reading.responds is not None or isinstance(reading, Noise):
            continue
        error = average_reading_error_db(wave)
        draft = draft.remarking(
            "average-reading-meter",
            f"a meter that responds to the average reads a {wave} wave {error:+.2f} dB off; if "
            'yours does, say responds = "average" and it is taken into account',
            number,
        )
    return draft


def _not_the_corner(draft: Draft) -> Draft:
    corner = next((found for found in draft.found if found.key == "high_corner_hz"), None)
    treble = [
        (number, draft.sheet.level_db(number))
        for number, reading in draft.sheet.of(Response)
        if reading.frequency.value > REFERENCE_HZ
    ]
    if corner is None or len(treble) != 1 or treble[0][1].value < _CORNER_DB:
        return draft
    number, level = treble[0]
    return draft.remarking(
        "not-the-corner",
        f"{level.value:.3f} dB is not the -3 dB point: that lies near "
        f"{show(corner.value, 'Hz', digits=3)} if one pole makes all of the loss and meter and "
        "generator are flat",
        number,
    )


def _slower(found: Found, low: float, high: float) -> bool:
    del high
    return found.measured.high < low


def _more(found: Found, low: float, high: float) -> bool:
    del low
    return found.measured.low > high


def _further(found: Found, low: float, high: float) -> bool:
    del low
    return found.measured.low > high or found.measured.high < -high


def _outside(found: Found, low: float, high: float) -> bool:
    return found.measured.high < low or found.measured.low > high


_CLASS: MappingProxyType[str, tuple[str, str, float, Callable[[Found, float, float], bool]]]
_CLASS = MappingProxyType(
    {
        "slew_rise": ("slower-than-its-class", "slews up at", 1e-6, _slower),
        "slew_fall": ("slower-than-its-class", "slews down at", 1e-6, _slower),
        "gain_bandwidth": ("slower-than-its-class", "has a gain-bandwidth of", 1.0, _slower),
        "swing_loss_high": (
            "swings-less-than-its-class", "stays short of the positive rail by", 1.0, _more,
        ),
        "swing_loss_low": (
            "swings-less-than-its-class", "stays short of the negative rail by", 1.0, _more,
        ),
        "output_current": ("drives-less-than-its-class", "gives", 1.0, _slower),
        "voltage_noise": ("noisier-than-its-class", "has a noise voltage of", 1.0, _more),
        "current_noise": ("noisier-than-its-class", "has a noise current of", 1.0, _more),
        "offset_voltage": (
            "offset-unlike-its-class", "has, or looks as if it had, an offset voltage of", 1.0,
            _further,
        ),
        "quiescent_current": ("current-unlike-its-class", "draws", 1.0, _outside),
    }
)  # fmt: skip
"""By device figure: what it is called, what the device does, the figure's unit over SI."""


def _class(draft: Draft) -> Draft:
    """Device figures beyond what the device's class can be."""
    amplifier = draft.stage.amplifier
    if amplifier is None or amplifier.device is None:
        return draft
    known = device_class(amplifier.device)
    for found in draft.found:
        table, _, key = found.part.partition(".")
        if table != "amplifier" or key not in _CLASS or not math.isfinite(found.value):
            continue
        low, usual, high = (getattr(f, key) for f in (known.low, known.usual, known.high))
        if usual is None:
            continue
        code, does, size, odd = _CLASS[key]
        ends = low.value * size, high.value * size
        if not odd(found, *ends):
            continue
        ratio = found.value / (usual.value * size)
        guess = slip(ratio, within=0.1) if slip_code(ratio, within=0.1) in _SURE else ""
        draft = draft.remarking(
            code,
            f"the device {does} {show(found.value, found.unit, digits=3)}, where its class "
            f'("{known.name}") has {show(ends[0], found.unit)} to {show(ends[1], found.unit)}: '
            "worth checking that it is what its marking says"
            f"{f' ({decibels(ratio):+.1f} dB from the usual; {guess})' if guess else ''}",
            *found.measured.readings,
        )
    return draft
