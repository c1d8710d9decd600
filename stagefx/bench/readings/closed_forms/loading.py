"""Resistances from what connecting another one does to a voltage."""

from __future__ import annotations


def output_resistance_ohm(open_v: float, loaded_v: float, load_ohm: float) -> float:
    """What a voltage comes from, by how much a load pulls it down.

    Ro = RL (Vo - Vl) / Vl

    Parameters
    ----------
    open_v, loaded_v : float, V, > 0
        Without and with the load.
    load_ohm : float, ohm, > 0
        The load.

    Returns
    -------
    float, ohm
        Negative where the load raises the voltage, which cannot be.

    Examples
    --------
    >>> round(output_resistance_ohm(1.0, 0.953, 1e3), 3)
    49.318
    """
    return load_ohm * (open_v - loaded_v) / loaded_v


def input_resistance_ohm(direct_v: float, through_v: float, series_ohm: float) -> float:
    """What a generator drives, by how much a resistance in series takes away.

    Ri = R Vt / (Vd - Vt)

    Parameters
    ----------
    direct_v, through_v : float, V, > 0
        At the input or after it, the generator straight on and through the resistance.
    series_ohm : float, ohm, > 0
        The resistance.

    Returns
    -------
    float, ohm
        Infinite where nothing is taken away; negative where something is added.

    Examples
    --------
    >>> input_resistance_ohm(1.0, 0.5, 10e3)
    10000.0
    """
    lost = direct_v - through_v
    return float("inf") if lost == 0.0 else series_ohm * through_v / lost
