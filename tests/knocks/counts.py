"""How often a hard knock is given: the whole count under ``make trust``, else a tenth."""

from __future__ import annotations

import os

WHOLE = os.environ.get("STAGEFX_COUNTS") == "whole"


def count(whole: int) -> int:
    """How many times to try what is tried ``whole`` times when all of it is wanted."""
    return whole if WHOLE else max(1, whole // 10)
