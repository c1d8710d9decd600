"""Decoupling: whether a device's supply is quiet enough at the speed the device has.

Common practice: a ceramic capacitor of about 100 nF right at the pins, the more needed the faster
the device; lead and track have about 1 nH a millimetre.  Only a scope shows an oscillation, so all
that is said here is what is likely.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stagefx.circuit.circuit import Circuit

TRACK_H_PER_M = 1e-6
"""Inductance of lead and track: about 1 nH a millimetre (common practice)."""
MOST_SUPPLY_OHM = 5.0
"""Supply impedance at the device's own speed above which trouble is likely (working assumption):
14 mm of track for a 55 MHz device, 80 mm for a 10 MHz one."""
DOES_WITHOUT_HZ = 3e6
"""Devices slower than this do without a capacitor of their own (working assumption)."""


@dataclass(frozen=True)
class Decoupling:
    """A decoupling capacitor and the track that leads to it."""

    capacitance_f: float
    distance_m: float
    speed_hz: float

    @property
    def inductance_h(self) -> float:
        """Inductance of lead and track, H."""
        return self.distance_m * TRACK_H_PER_M

    @property
    def resonance_hz(self) -> float:
        """Where track and capacitor resonate; infinite right at the pins."""
        product = self.inductance_h * self.capacitance_f
        return float(1.0 / (2.0 * np.pi * np.sqrt(product))) if product > 0.0 else float("inf")

    @property
    def track_ohm(self) -> float:
        """Reactance of the track at the device's speed."""
        return 2.0 * float(np.pi) * self.speed_hz * self.inductance_h

    @property
    def capacitor_ohm(self) -> float:
        """Reactance of the capacitor at the device's speed; infinite where there is none."""
        if self.capacitance_f == 0.0:
            return float("inf")
        return 1.0 / (2.0 * float(np.pi) * self.speed_hz * self.capacitance_f)

    @property
    def too_far(self) -> bool:
        """Whether the device is fast for the length of its track."""
        return self.track_ohm > MOST_SUPPLY_OHM

    @property
    def too_small(self) -> bool:
        """Whether the device is fast for the size of its capacitor."""
        return self.speed_hz >= DOES_WITHOUT_HZ and self.capacitor_ohm > MOST_SUPPLY_OHM


def decoupling(circuit: Circuit) -> Decoupling | None:
    """A circuit's decoupling."""
    supply, speed = circuit.stage.supply, circuit.device.gain_bandwidth_hz
    if supply is None or supply.decoupling is None or speed is None:
        return None
    distance = supply.decoupling_distance
    return Decoupling(
        supply.decoupling.value,
        0.0 if distance is None else distance.value,
        float(speed[0, 0]),
    )
