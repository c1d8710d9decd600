"""Resistances from what connecting another one does to a voltage."""

from __future__ import annotations


def output_resistance_ohm(open_v: float, loaded_v: float, load_ohm: float) -> float:
    """What a voltage comes from, by how much a load pulls it down.

    Ro = RL (Vo - Vl) / Vl
    """
    return load_ohm * (open_v - loaded_v) / loaded_v


def input_resistance_ohm(direct_v: float, through_v: float, series_ohm: float) -> float:
    """What a generator drives, by how much a resistance in series takes away.

    Ri = R Vt / (Vd - Vt)
    """
    lost = direct_v - through_v
    return float("inf") if lost == 0.0 else series_ohm * through_v / lost
