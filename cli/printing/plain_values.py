"""Reading numbers back from a result's plain values, where one may stand with its reason."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stagefx.report.text.numbers import amount


def number(value: Any) -> float | None:
    """A number of a result."""
    if isinstance(value, Mapping):
        return number(value.get("value"))
    if isinstance(value, list | tuple):
        present = [found for item in value if (found := number(item)) is not None]
        return max(present) if present else None
    return None if value is None or isinstance(value, bool) else float(value)


def reason(value: Any) -> str:
    """Why there is no number."""
    if isinstance(value, Mapping):
        return str(value.get("reason") or "")
    if isinstance(value, list | tuple):
        return next((found for item in value if (found := reason(item))), "")
    return ""


def told(value: Any, unit: str) -> str:
    """A value of a result as people read it."""
    if isinstance(value, list | tuple):
        texts = list(dict.fromkeys(told(item, unit) for item in value))
        shared = texts[-1].partition(" ")[2]
        if all(text.endswith(f" {shared}") for text in texts):
            texts = [*(text.removesuffix(f" {shared}") for text in texts[:-1]), texts[-1]]
        return " | ".join(texts)
    found = number(value)
    return "-" if found is None else amount(found, unit)
