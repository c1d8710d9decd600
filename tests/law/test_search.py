"""Roots and maxima of smooth functions are found to the digits that figures need."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, strategies as st

from stagefx.circuit.search import highest, last, root


@given(st.floats(0.02, 0.98), st.floats(0.5, 20.0))
def test_the_highest_point_is_found(centre: float, sharpness: float) -> None:
    where, top = highest(
        lambda x: np.exp(-sharpness * (x - centre) ** 2), np.linspace(0.0, 1.0, 40)[None, :]
    )
    assert where[0] == pytest.approx(centre, abs=1e-6)
    assert top[0] == pytest.approx(1.0, abs=1e-12)


def test_the_highest_point_may_be_an_end() -> None:
    for rising, end in ((True, 1.0), (False, 0.0)):
        sign = 1.0 if rising else -1.0
        where, _ = highest(lambda x, sign=sign: sign * x, np.linspace(0.0, 1.0, 9)[None, :])
        assert where[0] == pytest.approx(end, abs=1e-5)


@given(st.floats(0.1, 15.0))
def test_a_root_of_a_steep_function_is_found(at: float) -> None:
    """Where plain regula falsi would creep from one side."""
    found = root(lambda x: 1.0 - np.exp(x - at), np.array([[0.0]]), np.array([[20.0]]))
    assert found[0, 0] == pytest.approx(at, abs=1e-12)


def test_roots_are_found_draw_by_draw() -> None:
    wanted = np.array([[1.0], [2.0], [np.nan], [3.0]])
    inside = np.where(np.isnan(wanted), np.nan, 0.0)
    found = root(lambda x: wanted**2 - x**2, inside, np.full((4, 1), 3.0))
    assert found[:, 0] == pytest.approx([1.0, 2.0, np.nan, 3.0], abs=1e-12, nan_ok=True)


@given(st.floats(0.0, 1.0))
def test_how_far_something_holds_is_found_to_the_ends(limit: float) -> None:
    found = last(lambda x: x < limit, np.zeros(1), np.ones(1))
    assert found[0] == pytest.approx(limit, abs=1e-12)
