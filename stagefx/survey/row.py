"""One piece of a survey: what was found, or why it could not be read."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

NO_AMPLIFIER = "there is no amplifier"
NOT_READ = "the file could not be read"
NOT_ASKED = "not asked for"


@dataclass(frozen=True)
class Strain:
    """How hard a piece drives the amplifier at one setting of the knob; of the worse channel."""

    knob_position: float | None
    output_peak_v: float | None
    headroom_db: float | None
    clipped_share: float
    slewing_share: float
    slope_peak_v_per_us: float | None
    slope_sine_hz: float | None
    slew_margin: float | None

    @property
    def clips(self) -> bool:
        """Whether the output clips anywhere."""
        return self.clipped_share > 0.0

    @property
    def slews(self) -> bool:
        """Whether the output slews anywhere."""
        return self.slewing_share > 0.0

    def as_json(self) -> dict[str, Any]:
        """The same as plain values."""
        found = {name: _number(value, NO_AMPLIFIER) for name, value in asdict(self).items()}
        if self.knob_position is None:
            found["knob_position"] = _null("there is no volume control")
        return found


@dataclass(frozen=True)
class Hearing:
    """What the ear makes of the stage against a wire, on one piece."""

    grade: str
    decided_by: str | None
    detection_probability: float | None
    noise_to_mask_db: float | None
    residual_noise_to_mask_db: float | None
    not_judged: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The same as plain values."""
        return {
            "grade": self.grade,
            "decided_by": self.decided_by,
            "detection_probability": _number(self.detection_probability, "not judged"),
            "noise_to_mask_db": _number(self.noise_to_mask_db, "not judged"),
            "residual_noise_to_mask_db": _number(self.residual_noise_to_mask_db, "not judged"),
            "not_judged": list(self.not_judged),
        }


@dataclass(frozen=True)
class Row:
    """One file of a collection."""

    file: str
    size_bytes: int
    modified_ns: int
    error: str | None = None
    duration_s: float = 0.0
    loudness_lufs: float = -math.inf
    true_peak_dbtp: float = -math.inf
    asked: Strain | None = None
    fixed: Strain | None = None
    listening: Strain | None = None
    clips_from_knob: float | None = None
    hearing: Hearing | None = None
    remark: str = ""

    def as_json(self) -> dict[str, Any]:
        """The row as plain values."""
        plain: dict[str, Any] = {
            "file": self.file,
            "size_bytes": self.size_bytes,
            "modified_ns": self.modified_ns,
        }
        if self.asked is None or self.fixed is None:
            missing = _null(NOT_READ)
            names = ["duration_s", "loudness_lufs", "true_peak_dbtp"]
            names += [item.name for item in fields(Strain)]
            names += ["fixed", "listening", "clips_from_knob", "hearing"]
            return plain | dict.fromkeys(names, missing) | {"remark": "", "error": self.error}
        strain = self.listening
        return (
            plain
            | {
                "duration_s": self.duration_s,
                "loudness_lufs": _number(self.loudness_lufs, ""),
                "true_peak_dbtp": _number(self.true_peak_dbtp, ""),
            }
            | self.asked.as_json()
            | {
                "fixed": self.fixed.as_json(),
                "listening": _null("not known") if strain is None else strain.as_json(),
                "clips_from_knob": _number(self.clips_from_knob, "at no position"),
                "hearing": _null(NOT_ASKED) if self.hearing is None else self.hearing.as_json(),
                "remark": self.remark,
                "error": None,
            }
        )

    @staticmethod
    def from_json(plain: Mapping[str, Any]) -> Row:
        """A row from its plain values."""
        base = (str(plain["file"]), int(plain["size_bytes"]), int(plain["modified_ns"]))
        if plain["error"] is not None:
            return Row(*base, error=str(plain["error"]))
        found = {name: _read(plain[name]) for name in ("loudness_lufs", "true_peak_dbtp")}
        asked, fixed = _strain(plain), _strain(plain["fixed"])
        if asked is None or fixed is None or None in found.values():
            raise ValueError("no row of a survey")
        return Row(
            *base,
            duration_s=float(plain["duration_s"]),
            **found,  # type: ignore[arg-type]
            asked=asked,
            fixed=fixed,
            listening=_strain(plain["listening"]),
            clips_from_knob=_read(plain["clips_from_knob"]),
            hearing=_hearing(plain["hearing"]),
            remark=str(plain["remark"]),
        )


def _null(reason: str) -> dict[str, Any]:
    return {"value": None, "reason": reason}


def _number(value: float | None, reason: str) -> Any:
    if value is None:
        return _null(reason)
    if math.isinf(value):
        return _null("infinite" if value > 0.0 else "minus infinity")
    return value


def _read(plain: Any) -> float | None:
    if not isinstance(plain, Mapping):
        return float(plain)
    return {"infinite": math.inf, "minus infinity": -math.inf}.get(plain["reason"])


def _strain(plain: Mapping[str, Any]) -> Strain | None:
    if "knob_position" not in plain:
        return None
    return Strain(**{item.name: _read(plain[item.name]) for item in fields(Strain)})  # type: ignore[arg-type]


def _hearing(plain: Mapping[str, Any]) -> Hearing | None:
    if "grade" not in plain:
        return None
    return Hearing(
        grade=str(plain["grade"]),
        decided_by=None if plain["decided_by"] is None else str(plain["decided_by"]),
        detection_probability=_read(plain["detection_probability"]),
        noise_to_mask_db=_read(plain["noise_to_mask_db"]),
        residual_noise_to_mask_db=_read(plain["residual_noise_to_mask_db"]),
        not_judged=tuple(str(name) for name in plain["not_judged"]),
    )
