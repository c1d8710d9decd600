"""Texts of users' files as plain values: whatever is wrong with one is a `ValueError`."""

from __future__ import annotations

import json
import math
import tomllib
from typing import Any, NoReturn

_TOO_DEEP = "tables or lists stand inside each other too deep"


def from_json(text: str | bytes) -> Any:
    """What a JSON text says."""
    try:
        return json.loads(text, parse_constant=_refuse, parse_float=_finite)
    except RecursionError:
        raise ValueError(_TOO_DEEP) from None


def _finite(digits: str) -> float:
    value = float(digits)
    if not math.isfinite(value):
        raise ValueError(f"{digits} is too large for a number")
    return value


def _refuse(constant: str) -> NoReturn:
    raise ValueError(f"{constant} is no number in JSON")


def from_toml(text: str) -> dict[str, Any]:
    """What a TOML text says."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise ValueError(_TOO_DEEP) from None
