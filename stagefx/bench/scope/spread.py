"""How far numbers that were fitted to a trace may be wrong."""

from __future__ import annotations

from typing import Any

import numpy as np

from stagefx.bench.scope.tables import Array


def slopes_to_spread(slopes: Any) -> Array:
    """The covariance of fitted numbers for a scatter of one."""
    jacobian = np.asarray(slopes, dtype=np.float64)
    return np.asarray(np.linalg.pinv(jacobian.T @ jacobian))
