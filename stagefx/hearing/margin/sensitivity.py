"""A stage tried out with more and more of one cause, and the witnesses to it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.circuit import Circuit
from stagefx.dsp.dither import dither_floor_dbfs
from stagefx.effects.crosstalk import Crosstalk, crosstalk
from stagefx.effects.effect import Effect
from stagefx.effects.kind import Setup
from stagefx.effects.linear.sections import Linear
from stagefx.errors import EffectError, StageError
from stagefx.hearing.grades import EAR_MODEL, Grade, grade_of, together
from stagefx.hearing.margin.causes import CROSSTALK, LIMITS, MISMATCH, Cause, grown, grown_limits
from stagefx.hearing.margin.isolated_effect import Change, Passage
from stagefx.hearing.passage import SHORTEST_PASSAGE_S
from stagefx.hearing.rows.noise import dither_over_db, noise_change
from stagefx.hearing.rows.on_paper import Spectrum, grades_of, may_be_heard, response_rows
from stagefx.hearing.rows.stage_noise import noise_at_seat
from stagefx.hearing.rows.stages import CROSSTALK_HZ, hum_row
from stagefx.hearing.thresholds import limits
from stagefx.render.plan import stage_effects
from stagefx.units import ratio

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

REMAINDER = "remainder"
NOT_STATED = {
    "slew": "the stage states no slew limit",
    "clip": "the stage describes no supply, so nothing clips",
    "noise": "the stage makes no noise",
    "hum": "no hum reaches the load",
    "oscillation": "the oscillation takes nothing, for nothing limits the stage",
}
A_FAULT = "a fault, not a sound; see the figures"
TWO_CHANNELS = "the music has not two channels"
TOO_SHORT = "the music is too short to tell"

Rows = Mapping[str, float]
Change_ = Callable[[float], Change]


@dataclass
class Trial:
    """One cause, tried out at any factor."""

    paper: Callable[[float], Rows] | None = None
    change: Change_ | None = None
    piece: Passage | None = None
    bends: bool = False
    closed_form: float | None = None
    floor_db: float | None = None
    _heard: dict[tuple[str, float], float | None] = field(default_factory=dict, repr=False)

    @property
    def witnesses(self) -> tuple[Callable[[float], bool], ...]:
        """From a factor to whether one kind of witness hears the cause; the cheapest first."""
        found: list[Callable[[float], bool]] = []
        if self.paper is not None and self.closed_form is None:
            found.append(lambda times: bool(may_be_heard(self._on_paper(times))))
        if self.change is not None:
            found.append(lambda times: self._hears(EAR_MODEL, times))
            if self.bends:
                found.append(lambda times: self._hears(REMAINDER, times))
        return tuple(found)

    def grade_now(self) -> Grade:
        """The grade of the effect alone, as it is."""
        rows = self.rows(1.0)
        if self.floor_db is not None:
            ((name, value),) = rows.items()
            return grade_of(value, limits()[name], floor=self.floor_db)
        if self.bends and self.change is not None and self.piece is not None:
            dither = math.sqrt(0.5) * 10.0 ** (dither_floor_dbfs(24) / 20.0)
            if self.piece.largest(self.change(1.0)) < dither:
                return Grade.BELOW
        return together(grades_of(rows)) or Grade.SHOULD_NOT

    def decided_by(self, times: float) -> str:
        """The row by which the cause is heard at a factor."""
        return may_be_heard(self.rows(times * (1.0 + 1e-9)))

    def rows(self, times: float) -> dict[str, float]:
        """All rows at a factor."""
        found = dict(self._on_paper(times))
        if self.change is not None:
            names = (EAR_MODEL, REMAINDER) if self.bends else (EAR_MODEL,)
            values = {name: self._value(name, times) for name in names}
            found |= {name: value for name, value in values.items() if value is not None}
        return found

    def _on_paper(self, times: float) -> Rows:
        return {} if self.paper is None else self.paper(times)

    def _hears(self, name: str, times: float) -> bool:
        value = self._value(name, times)
        return value is not None and value >= limits()[name].may

    def _value(self, name: str, times: float) -> float | None:
        """The ear's figure at a factor; infinite where nothing is left of the stage's limits."""
        if (name, times) not in self._heard:
            assert self.change is not None
            assert self.piece is not None
            listen = self.piece.detection if name == EAR_MODEL else self.piece.noise_to_mask_db
            try:
                value = listen(self.change(times))
            except StageError:  # the oscillation takes all there is
                value = 1.0 if name == EAR_MODEL else math.inf
            except EffectError:  # a response that no filter at this rate holds: paper has told
                value = None
            self._heard[name, times] = value
        return self._heard[name, times]


def trial_of(
    cause: Cause,
    circuit: Circuit,
    piece: Passage,
    spectrum: Spectrum,
    full_scale_spl_db: float,
) -> Trial | str:
    """How a cause is tried out."""
    setup = Setup(circuit, piece.rate_hz)
    own = [effect for effect in stage_effects(setup) if effect.name == cause.effect]
    if cause.effect == "offset":
        return A_FAULT
    if cause.effect == "noise":
        return _noise(circuit, piece, full_scale_spl_db)
    if cause.effect == "hum":
        return _hum(circuit, piece, full_scale_spl_db)
    if not own:
        return NOT_STATED.get(cause.effect, "it has nothing to act on")
    if cause.effect == "crosstalk":
        return TWO_CHANNELS if piece.channels != 2 else _between(cause, setup, piece, spectrum)
    if cause.effect in {"loading", "bandwidth"}:
        return _linear(cause, setup, piece, spectrum)
    return _bending(cause, setup, piece)


def _linear(cause: Cause, setup: Setup, piece: Passage, spectrum: Spectrum) -> Trial:
    def effects(times: float) -> tuple[Effect, ...]:
        return stage_effects(replace(setup, circuit=grown(setup.circuit, cause, times)))

    def paper(times: float) -> Rows:
        acting = [e for e in effects(times) if isinstance(e, Linear) and e.name == cause.effect]

        def response(hz: Array) -> Complex:
            total = np.ones(hz.shape, dtype=np.complex128)
            for effect in acting:
                total = total * effect.response(hz) / effect.gain
            return total

        return response_rows(response, spectrum)

    keep = frozenset({cause.effect})
    return Trial(paper, lambda times: Change(effects(times), keep), piece)


def _bending(cause: Cause, setup: Setup, piece: Passage) -> Trial | str:
    if piece.stop - piece.start < SHORTEST_PASSAGE_S * piece.rate_hz:
        return TOO_SHORT
    effects = stage_effects(setup)
    keep = frozenset({cause.effect})
    if cause.effect not in LIMITS:  # of another package: its difference is turned up
        return Trial(
            change=lambda times: Change(effects, keep, {cause.effect: times}),
            piece=piece,
            bends=True,
        )
    if cause.effect == "oscillation":
        keep = frozenset({"oscillation", "slew", "clip"})
        if not any(effect.name in {"slew", "clip"} for effect in effects):
            return NOT_STATED["oscillation"]
    return Trial(
        change=lambda times: Change(grown_limits(effects, cause, times), keep),
        piece=piece,
        bends=True,
    )


def _level(name: str, over_db: float, floor_db: float) -> Trial | str:
    if over_db == -math.inf:
        return NOT_STATED[name]
    return Trial(
        paper=lambda times: {name: over_db + 20.0 * math.log10(times)},
        closed_form=max(1.0, 10.0 ** ((limits()[name].may - over_db) / 20.0)),
        floor_db=floor_db,
    )


def _noise(circuit: Circuit, piece: Passage, full_scale_spl_db: float) -> Trial | str:
    hz, own, _ = noise_at_seat(circuit, circuit, full_scale_spl_db=full_scale_spl_db)
    nothing = np.full(hz.size, -np.inf)
    found = noise_change(hz, nothing, own, room_noise_dba=piece.room_dba)
    return _level("noise", found.over_db, _dither_db(piece, full_scale_spl_db))


def _hum(circuit: Circuit, piece: Passage, full_scale_spl_db: float) -> Trial | str:
    stated = circuit.stage
    quiet = replace(circuit, stage=stated.model_copy(update={"hum": None}))
    row = hum_row(quiet, circuit, full_scale_spl_db=full_scale_spl_db, room_dba=piece.room_dba)
    value = -math.inf if row.value is None else row.value
    return _level("hum", value, _dither_db(piece, full_scale_spl_db))


def _dither_db(piece: Passage, full_scale_spl_db: float) -> float:
    return dither_over_db(full_scale_spl_db, rate_hz=piece.rate_hz, room_noise_dba=piece.room_dba)


def _between(cause: Cause, setup: Setup, piece: Passage, spectrum: Spectrum) -> Trial:
    volume = setup.circuit.stage.volume
    mismatch_db = 0.0
    if cause is MISMATCH:
        assert volume is not None
        assert volume.mismatch is not None
        mismatch_db = volume.mismatch.value

    def effects(times: float) -> tuple[Effect, ...]:
        circuit = grown(setup.circuit, cause, times)
        return tuple(
            _only(effect, cause, times * mismatch_db) if isinstance(effect, Crosstalk) else effect
            for effect in stage_effects(replace(setup, circuit=circuit))
        )

    def paper(times: float) -> Rows:
        if cause is CROSSTALK:
            through = crosstalk(grown(setup.circuit, cause, times), CROSSTALK_HZ)
            return {"crosstalk": 20.0 * math.log10(max(float(np.abs(through).max()), 1e-30))}
        apart = times * mismatch_db
        gains = np.ones((spectrum.hz.size, 2), dtype=np.complex128) * [1.0, ratio(apart)]
        return {"balance": abs(apart), "level": abs(spectrum.level_change_db(gains))}

    keep = frozenset({cause.effect})
    return Trial(paper, lambda times: Change(effects(times), keep), piece)


def _only(effect: Crosstalk, cause: Cause, mismatch_db: float) -> Crosstalk:
    """Crosstalk alone, or mismatch alone."""
    if cause is CROSSTALK:
        return replace(effect, mismatch=1.0)
    return Crosstalk(lambda hz: np.zeros(hz.shape, dtype=np.complex128), ratio(mismatch_db))
