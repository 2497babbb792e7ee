"""The usual gauges of a bench as data: what they show, how finely, and how well a hand repeats it.

All figures: common practice, no source. The repeatability is a standard uncertainty of hand and eye (parallax, finger
pressure, feel) and may be replaced by one's own with `dataclasses.replace`.
"""

from __future__ import annotations

import math
from types import MappingProxyType

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.units import KINDS, unit_size

COMMON_PRACTICE = "common practice, no source"
_INCH = unit_size("length", "in")  # m
_DEGREE = unit_size("angle", "deg")  # rad


@frozen
class Gauge:
    """A gauge. name; kind of quantity it shows; resolution: one division or step; repeatability: standard uncertainty
    of hand and eye; both in the SI unit of the kind (cents for a tuner); source of these figures."""

    name: str
    kind: str
    resolution: float
    repeatability: float
    source: str = COMMON_PRACTICE

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InputError(f"gauge {self.name!r} shows {self.kind!r}; it must be one of {', '.join(KINDS)}.")
        if not (math.isfinite(self.resolution) and self.resolution > 0.0):
            raise InputError(
                f"gauge {self.name!r} has a resolution of {self.resolution}; it must be greater than zero."
            )
        if not (math.isfinite(self.repeatability) and self.repeatability >= 0.0):
            raise InputError(f"gauge {self.name!r} has a repeatability of {self.repeatability}; it is zero or more.")


_USUAL = (
    Gauge("rule 1/64 in", "length", _INCH / 64, 0.10e-3),
    Gauge("rule 1/32 in", "length", _INCH / 32, 0.15e-3),
    Gauge("rule 0.5 mm", "length", 0.5e-3, 0.10e-3),
    Gauge("rule 1 mm", "length", 1.0e-3, 0.15e-3),
    Gauge("stepped height gauge", "length", 0.010 * _INCH, 0.05e-3),
    Gauge("feeler gauges", "length", 0.001 * _INCH, 0.025e-3),
    Gauge("calliper", "length", 0.01e-3, 0.03e-3),
    Gauge("micrometer", "length", 0.001e-3, 0.002e-3),
    Gauge("depth gauge", "length", 0.01e-3, 0.03e-3),
    Gauge("radius gauges", "length", 0.5 * _INCH, 0.25 * _INCH),
    Gauge("tuner", "cents", 0.1, 1.0),
    Gauge("coarse tuner", "cents", 1.0, 1.5),
    Gauge("spring scale", "force", 0.5, 0.5),
    Gauge("bench scale", "mass", 0.1e-3, 0.1e-3),
    Gauge("angle gauge", "angle", 0.1 * _DEGREE, 0.1 * _DEGREE),
    Gauge("thermometer", "temperature", 0.1, 0.5),
)
GAUGES: MappingProxyType[str, Gauge] = MappingProxyType({gauge.name: gauge for gauge in _USUAL})


def gauge_named(name: str, where: str = "") -> Gauge:
    """The usual gauge of that name; where: put in front of the message. Raises InputError naming those there are."""
    if name not in GAUGES:
        front = f"{where}: " if where else ""
        raise InputError(f"{front}there is no usual gauge called {name!r}; there are: {', '.join(GAUGES)}.")
    return GAUGES[name]
