"""Levels re 1 kHz at single frequencies, whichever reading tells them."""

from __future__ import annotations

from dataclasses import dataclass

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.closed_forms.corners import bass_level_db, treble_level_db
from stagefx.bench.readings.closed_forms.square_waves import (
    DEFINITIONS,
    corner_of_rise_time_hz,
    corner_of_tilt_hz,
    own_rise_time_s,
    root_square_rise_time_s,
    slewing_rise_time_s,
)
from stagefx.bench.readings.kinds import Response, RiseTime, Slew, Tilt
from stagefx.bench.uncertainty import Measured, carry
from stagefx.units import show

REFERENCE_HZ = 1000.0
_MOSTLY_SLEWING = 1.5
_LOWEST_CORNER_HZ = 1e-6


@dataclass(frozen=True)
class Point:
    """A level at a frequency."""

    hz: float
    level: Measured
    place: str | None = None


def response_points(draft: Draft) -> tuple[Draft, list[Point]]:
    """What the response readings say."""
    points = []
    for number, reading in draft.sheet.of(Response):
        hz, level = reading.frequency.value, draft.sheet.level_db(number)
        draft = draft.reporting(f"response_{_spoken(hz)}_db", level, "dB", note="re 1 kHz")
        if hz == REFERENCE_HZ and not level.low <= 0.0 <= level.high:
            raise ReadingsError(
                f"{draft.sheet.named(number)}: {level.value:+.3g} dB at 1 kHz, but levels are "
                "counted from 1 kHz, where they are 0 dB"
            )
        if hz != REFERENCE_HZ:
            points.append(Point(hz, level, reading.place))
    return draft, points


def _spoken(hz: float) -> str:
    return f"{hz / 1e3:g}_khz" if hz >= 1e3 else f"{hz:g}_hz"


def rise_time_points(draft: Draft) -> tuple[Draft, list[Point]]:
    """What the rise-time readings say, the generator's edge taken out exactly."""
    points = []
    for number, reading in draft.sheet.of(RiseTime):
        draft, own = _own_rise_time(draft, number, reading)
        if own is None or _slews(draft, number, reading):
            continue
        corner = carry(lambda t: corner_of_rise_time_hz(max(t, 1e-12)), own)
        hz = corner.value
        if hz <= REFERENCE_HZ:
            continue
        level = carry(lambda fc, hz=hz: treble_level_db(hz, fc, reference_hz=REFERENCE_HZ), corner)
        points.append(Point(hz, level, reading.place))
    return draft, points


def _own_rise_time(draft: Draft, number: int, reading: RiseTime) -> tuple[Draft, Measured | None]:
    seen = draft.sheet.value(number, "time")
    if reading.generator is None:
        draft = draft.remarking(
            "generator-unknown",
            "the generator's own rise time is in what was seen; read it alone, and give it as "
            "generator",
            number,
        )
        return draft.reporting("rise_time_s", seen, "s", note="generator included"), seen
    generator = draft.sheet.value(number, "generator")
    if seen.high < generator.low:
        raise ReadingsError(
            f"{draft.sheet.named(number)}: {show(seen.value, 's')} seen is shorter than the "
            f"generator's own {show(generator.value, 's')}; are the two exchanged?"
        )
    own = carry(own_rise_time_s, seen, generator)
    if own.low <= 0.0:
        draft = draft.remarking(
            "generator-too-slow",
            f"the generator's own edge of {show(generator.value, 's')} is as good as all that was "
            f"seen: the stage's own is at most {show(own.high, 's', digits=2)}",
            number,
        )
        return draft.reporting("rise_time_s", own, "s", note="at most its upper end"), None
    square = carry(root_square_rise_time_s, seen, generator)
    note = (
        f"generator taken out exactly, as two single poles; by root-square it would be "
        f"{show(square.value, 's')}"
    )
    draft = draft.reporting("rise_time_root_square_s", square, "s", note="an approximation")
    return draft.reporting("rise_time_s", own, "s", note=note), own


def _slews(draft: Draft, number: int, reading: RiseTime) -> bool:
    """Whether the edge is the slew rate's and says nothing of a corner."""
    slews = [
        (other, draft.sheet.value(other, key))
        for other, one in draft.sheet.of(Slew)
        for key in ("rise", "fall")
        if getattr(one, key) is not None
    ]
    if reading.step is None or not slews:
        return False
    step, seen = draft.sheet.set_to(number, "step").value, draft.sheet.value(number, "time")
    other, slew = max(slews, key=lambda pair: pair[1].value)
    if seen.high < slewing_rise_time_s(step, slew.high):
        raise ReadingsError(
            f"{draft.sheet.named(number)} and {draft.sheet.named(other)} contradict each other: "
            f"{show(step, 'V')} within {show(seen.value, 's')} is steeper than "
            f"{show(slew.value, 'V/s')}; read them again, or leave one of them out"
        )
    return seen.value < _MOSTLY_SLEWING * slewing_rise_time_s(step, slew.value)


def slewing_edges(draft: Draft) -> Draft:
    """Remark on the rise times that are the slew rate's."""
    for number, reading in draft.sheet.of(RiseTime):
        if _slews(draft, number, reading):
            draft = draft.remarking(
                "rise-time-slews",
                "this edge is as slow as the slew rate makes it, and tells nothing of a corner; "
                "read it with a smaller step",
                number,
            )
    return draft


def tilt_points(draft: Draft) -> tuple[Draft, list[Point]]:
    """What the tilt readings say, by the definition that each was read by."""
    points = []
    for number, reading in draft.sheet.of(Tilt):
        share, hz = draft.sheet.value(number, "percent"), reading.frequency.value
        definition = reading.definition
        corner = carry(
            lambda s, hz=hz, by=definition: max(corner_of_tilt_hz(s, hz, by), _LOWEST_CORNER_HZ),
            share,
        )
        others = ", ".join(
            f"{corner_of_tilt_hz(share.value, hz, other):.4g} Hz as {other}"
            for other in DEFINITIONS
            if other != definition
        )
        draft = draft.reporting("tilt_corner_hz", corner, "Hz", note=f"as {definition}; {others}")
        draft = draft.remarking(
            "scope-coupling",
            "a scope on AC coupling adds a tilt of its own; this counts all of it as the stage's",
            number,
        )
        if corner.value < REFERENCE_HZ:
            at = corner.value
            level = carry(
                lambda fc, at=at: bass_level_db(at, fc, reference_hz=REFERENCE_HZ),
                corner,
            )
            points.append(Point(at, level))
    return draft, points
