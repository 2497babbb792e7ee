"""Independent judge of the balance: the potential energy, written from geometry, and its nearest minimum downhill.

Plain scalar arithmetic for one rig at a time; nothing here comes from the code under test, which never forms the
energy. Numbers may be float, complex (derivatives by complex step: W. Squire, G. Trapp, SIAM Review 40, 110 (1998),
from memory) or mpmath numbers. The rig is read as data only.

    U = sum of strings   EA (l - l0)^2 / (2 l0), l > l0, l = speaking length + dead parts
      + sum of springs   integral of the force from slack: closed branch up to the initial tension, then the soft branch
      - weight . centre  + bow_stiffness (bow - bow_free)^2 / 2  - moment * tilt

A string held at a pitch pulls with the tension of that pitch at every length: its part of U is the integral of that
tension over the length, and only the derivatives of U mean something.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, fields
from functools import partial
from itertools import pairwise
from typing import Any

import mpmath
from scipy.optimize import brentq

from setwright.physics.balance import Rig

STEP = 1e-30  # complex step
MARCH = 1e-3  # rad: wells narrower than this are not looked for


@dataclass(frozen=True)
class One:
    """One rig as plain numbers and lists of numbers."""

    v: dict[str, Any]
    moment: Any = 0.0

    def __getitem__(self, name: str) -> Any:
        return self.v[name]


def one(rig: Rig, member: int = 0, moment: float = 0.0) -> One:
    """Read one member of a batch as plain floats."""
    return One({f.name: getattr(rig, f.name)[member].tolist() for f in fields(Rig)}, moment)


def in_mpmath(rig: One) -> One:
    """The same rig in mpmath numbers."""

    def turn(x: Any) -> Any:
        return [mpmath.mpf(y) for y in x] if isinstance(x, list) else mpmath.mpf(x)

    return One({name: turn(value) for name, value in rig.v.items()}, mpmath.mpf(rig.moment))


def _kit(x: Any) -> Any:
    if isinstance(x, mpmath.mpf | mpmath.mpc):
        return mpmath
    return cmath if isinstance(x, complex) else math


def real(x: Any) -> Any:
    """Real part: what decides on which branch a law stands."""
    return x.real


def turned(aft: Any, up: Any, tilt: Any) -> tuple[Any, Any]:
    """A point of the plate after tilting (rear edge up > 0)."""
    kit = _kit(tilt)
    return aft * kit.cos(tilt) - up * kit.sin(tilt), aft * kit.sin(tilt) + up * kit.cos(tilt)


def _own(value: Any, i: int) -> Any:
    """What holds for all strings alike, or the own one of string i."""
    return value[i] if isinstance(value, list) else value


def speaking(rig: One, i: int, tilt: Any, bow: Any) -> Any:
    """Length of string i from nut to saddle [m]."""
    sx, sy = turned(rig["saddle_aft"][i], rig["saddle_up"][i], tilt)
    nx = rig["nut_x"][i] + bow * _own(rig["nut_x_per_bow"], i)
    ny = rig["nut_y"][i] + bow * _own(rig["nut_y_per_bow"], i)
    square = (sx - nx) ** 2 + (sy - ny) ** 2 + rig["aside"][i] ** 2
    return _kit(square).sqrt(square)


def spring_span(rig: One, j: int, tilt: Any) -> Any:
    """Length of spring j, hook to claw [m]."""
    hx, hy = turned(rig["hook_aft"][j], rig["hook_up"][j], tilt)
    square = (hx - rig["claw_x"][j]) ** 2 + (hy - rig["claw_y"][j]) ** 2 + rig["slant"][j] ** 2
    return _kit(square).sqrt(square)


def string_energy(rig: One, i: int, length: Any) -> Any:
    """Elastic energy of a string of given unstretched length [J]."""
    rest = rig["unstretched"][i]
    over = length + rig["dead"][i] - rest
    return rig["axial"][i] * over * over / (2 * rest) if real(over) > 0 else over * 0


def spring_energy(rig: One, j: int, span: Any) -> Any:
    """Energy of a spring: zero when slack, stiff up to its initial tension, then soft [J]."""
    first, closed, rate = rig["initial"][j], rig["closed_rate"][j], rig["rate"][j]
    over = span - rig["free"][j]
    if real(over) <= -first / closed:
        return over * 0
    if real(over) <= 0:
        return closed * (over + first / closed) ** 2 / 2
    return first * first / (2 * closed) + first * over + rate * over * over / 2


def pitch_of(rig: One, i: int, tension: Any, length: Any) -> Any:
    """First partial of a stiff string whose mass is that of the unstretched string [Hz]."""
    per_metre = rig["unit_mass"][i] / (1 + tension / rig["axial"][i])
    pi = mpmath.pi if _kit(length) is mpmath else math.pi
    stiff = pi * pi * rig["bending"][i] / (tension * length * length)
    kit = _kit(length)
    return kit.sqrt(tension / per_metre) * kit.sqrt(1 + stiff) / (2 * length)


def tension_at_pitch(rig: One, i: int, length: Any) -> Any:
    """Tension at which string i sounds its pitch: fixed point of the pitch formula, no closed form used [N]."""
    wanted = rig["hertz"][i]
    tension = rig["unit_mass"][i] * (2 * length * wanted) ** 2
    for _ in range(400):
        factor = (wanted / pitch_of(rig, i, tension, length)) ** 2
        tension = tension * factor
        if abs(factor - 1) < (mpmath.mpf(10) ** (5 - mpmath.mp.dps) if _kit(length) is mpmath else 3e-16):
            break
    return tension


def is_held(rig: One, i: int) -> bool:
    """Whether string i is held at a pitch."""
    return bool(rig["hertz"][i] == rig["hertz"][i])


def is_on(rig: One, i: int) -> bool:
    """Whether string i is given by its unstretched length."""
    return bool(rig["unstretched"][i] == rig["unstretched"][i]) and not is_held(rig, i)


def energy(rig: One, tilt: Any, bow: Any) -> Any:
    """Potential energy without the strings held at a pitch [J]."""
    total = rig["bow_stiffness"] * (bow - rig["bow_free"]) ** 2 / 2 - rig.moment * tilt
    cx, cy = turned(rig["centre_aft"], rig["centre_up"], tilt)
    total = total - rig["weight_x"] * cx - rig["weight_y"] * cy
    for i in range(len(rig["nut_x"])):
        if is_on(rig, i):
            total = total + string_energy(rig, i, speaking(rig, i, tilt, bow))
    for j in range(len(rig["present"])):
        if rig["present"][j]:
            total = total + spring_energy(rig, j, spring_span(rig, j, tilt))
    return total


def by_tilt(rig: One, tilt: float, bow: float) -> float:
    """dU/dtilt by complex step (float rigs only) [N m]."""
    return _derivative(rig, complex(tilt, STEP), complex(bow))


def by_bow(rig: One, tilt: float, bow: float) -> float:
    """dU/dbow by complex step (float rigs only) [N m2]."""
    return _derivative(rig, complex(tilt), complex(bow, STEP))


def _derivative(rig: One, tilt: complex, bow: complex) -> float:
    total = energy(rig, tilt, bow).imag / STEP
    for i in range(len(rig["nut_x"])):
        if is_held(rig, i):
            length = speaking(rig, i, tilt, bow)
            total += tension_at_pitch(rig, i, length.real) * length.imag / STEP
    return float(total)


def settled_bow(rig: One, tilt: float, guess: float | None = None, close: float = 1e-16) -> float:
    """Bow at which U is least for a given tilt: secants on dU/dbow (U is convex in bow)."""
    a = rig["bow_free"] if guess is None else guess
    ga = by_bow(rig, tilt, a)
    b = a - ga / rig["bow_stiffness"]
    for _ in range(40):
        if abs(b - a) < close:
            break
        gb = by_bow(rig, tilt, b)
        if gb == ga:
            break
        a, b, ga = b, b - gb * (b - a) / (gb - ga), gb
    return float(b)


def slope(rig: One, tilt: float, guess: float | None = None) -> float:
    """dU/dtilt along the valley in which the neck has settled [N m]."""
    return by_tilt(rig, tilt, settled_bow(rig, tilt, guess))


@dataclass(frozen=True)
class Rest:
    """What the judge finds."""

    tilt: float
    bow: float
    contact: float  # N m, 0 when free


def rest(rig: One, start: float, march: float = MARCH) -> Rest:
    """Nearest minimum downhill of the start: march in small steps, bracket, close with Brent's method."""
    low, high = rig["tilt_low"], rig["tilt_high"]
    here = min(max(start, low), high)
    bow = settled_bow(rig, here)
    way = -1.0 if by_tilt(rig, here, bow) > 0 else 1.0
    end = low if way < 0 else high
    while here != end:
        ahead = here + way * march
        ahead = max(ahead, end) if way < 0 else min(ahead, end)
        bow = settled_bow(rig, ahead, bow, close=1e-7)
        if by_tilt(rig, ahead, bow) * way >= 0:
            valley = partial(slope, rig, guess=bow)
            tilt = float(brentq(valley, here - way * 1e-6, ahead, xtol=1e-15, rtol=1e-15))
            return Rest(tilt, settled_bow(rig, tilt), 0.0)
        here = ahead
    bow = settled_bow(rig, here)
    return Rest(here, bow, by_tilt(rig, here, bow))


def count_minima(rig: One, points: int = 40) -> int:
    """Number of minima between the stops, seen on a grid of tilts."""
    low, high = rig["tilt_low"], rig["tilt_high"]
    bow, signs = None, []
    for n in range(points):
        tilt = low + (high - low) * n / (points - 1)
        bow = settled_bow(rig, tilt, bow, close=1e-6)
        signs.append(by_tilt(rig, tilt, bow) > 0)
    inner = sum(1 for a, b in pairwise(signs) if b and not a)
    return inner + (1 if signs[0] else 0) + (0 if signs[-1] else 1)


def string_tension(rig: One, i: int, tilt: float, bow: float) -> float:
    """Tension of string i from its own law [N]."""
    length = speaking(rig, i, tilt, bow)
    if is_held(rig, i):
        return float(tension_at_pitch(rig, i, length))
    if not is_on(rig, i):
        return 0.0
    return float(string_energy_slope(rig, i, length))


def string_energy_slope(rig: One, i: int, length: float) -> float:
    """dU/dl of one string by complex step [N]."""
    return float(string_energy(rig, i, complex(length, STEP)).imag / STEP)


def spring_state(rig: One, j: int, tilt: float) -> str:
    """Whether a spring is open, closed or slack."""
    over = spring_span(rig, j, tilt) - rig["free"][j]
    if over <= -rig["initial"][j] / rig["closed_rate"][j]:
        return "slack"
    return "closed" if over <= 0 else "open"
