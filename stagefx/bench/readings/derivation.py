"""From a sheet of readings to a stage."""

from __future__ import annotations

from typing import Any

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.check import checked
from stagefx.bench.readings.files import Readings
from stagefx.bench.readings.inference.channels import find_balance, find_crosstalk
from stagefx.bench.readings.inference.dc import find_offset, find_rails, find_supply_current
from stagefx.bench.readings.inference.gain import find_gain
from stagefx.bench.readings.inference.loading import find_input_resistance, find_output_resistance
from stagefx.bench.readings.inference.noise import find_noise
from stagefx.bench.readings.inference.response import find_response
from stagefx.bench.readings.inference.slewing import find_slew
from stagefx.bench.readings.inference.stability import find_stability
from stagefx.bench.readings.inference.swing import find_clipping
from stagefx.bench.readings.remarks import with_misses, with_remarks
from stagefx.bench.readings.report import BenchStage
from stagefx.bench.readings.sheet import Sheet
from stagefx.circuit.description.stage import Cable, Stage
from stagefx.errors import StageError
from stagefx.units import Quantity

_NETWORK = (
    find_gain,
    find_stability,
    find_output_resistance,
    find_input_resistance,
    find_response,
)
"""What depends on one another, so that it is gone through until it stands."""
_ROUNDS = 3
_REST = (
    find_offset,
    find_clipping,
    find_slew,
    find_noise,
    find_supply_current,
    find_balance,
    find_crosstalk,
)


def stage_from_readings(readings: Readings, *, like: Stage | None = None) -> BenchStage:
    """Work out the stage that gives what was read.

    Parameters
    ----------
    readings : Readings
        A sheet of readings of one stage.
    like : Stage
        What is known of it beforehand: parts that no reading is about stay as they are there,
        the others are adjusted.  Without it the stage begins as nothing.

    Returns
    -------
    BenchStage
        The stage, the figures found with their uncertainties, every reading beside what the
        stage gives, and remarks on readings that look wrong.

    Raises
    ------
    ReadingsError
        Two readings contradict each other, a reading cannot be, or one is missing that another
        needs.

    Notes
    -----
    Each reading is inverted through the stage's whole network, not through a formula of its own,
    so that a stage described beforehand keeps its other parts' share.

    Examples
    --------
    >>> from stagefx.bench.readings.files import readings_from
    >>> readings = [
    ...     {"of": "gain", "input": "0.5 V rms", "output": "2.015 V rms"},
    ...     {"of": "output-loading", "open": "1.000 V", "loaded": "0.953 V", "load": "1 kohm"},
    ... ]
    >>> found = stage_from_readings(readings_from({"reading": readings}))
    >>> print(found.figure("output_resistance_ohm"))
    49.3 ± 1.5 ohm
    """
    draft = _begun(readings, like)
    try:
        draft = find_rails(draft)
        for _ in range(_ROUNDS):
            for find in _NETWORK:
                draft = find(draft)
        for find in _REST:
            draft = find(draft)
        checks = checked(draft)
    except StageError as error:
        raise ReadingsError(f"the readings make no stage: {error}") from None
    draft = with_misses(with_remarks(draft), checks)
    stage = draft.stage
    if readings.connected == "nothing":
        stage = _connected_again(stage, like)
    return BenchStage(stage, draft.found, checks, draft.remarks)


def _begun(readings: Readings, like: Stage | None) -> Draft:
    sheet = Sheet(readings)
    if like is None:
        return Draft(sheet, Stage(name=readings.name, notes=readings.notes), described=False)
    told: dict[str, Any] = {
        key: getattr(readings, key) for key in ("name", "notes") if key in readings.model_fields_set
    }
    if readings.connected == "nothing":
        told |= {"output_cable": None, "load": None}
    draft = Draft(sheet, like.model_copy(update=told), described=True)
    wired = {
        key: value
        for key in ("device", "topology")
        if (value := getattr(readings, key)) is not None
    }
    return draft.having("amplifier", **wired) if wired and like.amplifier is not None else draft


def _connected_again(stage: Stage, like: Stage | None) -> Stage:
    """With the cable and the load that were not on the bench."""
    if like is None:
        return stage
    cable = like.output_cable
    if cable is not None and stage.output_cable is not None:
        both = cable.total.value + stage.output_cable.total.value
        cable = Cable(capacitance=Quantity(both))
    return stage.model_copy(
        update={"output_cable": cable or stage.output_cable, "load": like.load or stage.load}
    )
