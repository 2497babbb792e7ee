"""Independent judge of a held string: one string, one fret at a time, in plain numbers (float or mpmath).

The hull is the monotone chain of A. M. Andrew, Information Processing Letters 9, 216 (1979) (from memory); tension and
first partial are written out again. Nothing here comes from the code under test.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

ENDS = {"pinned": 0, "clamped-pinned": 1, "clamped": 2}  # clamped ends


@dataclass(frozen=True)
class Held:
    """One string: plain numbers or mpmath numbers."""

    nut_x: Any
    nut_y: Any
    crown_x: list[Any]
    crown_y: list[Any]
    saddle_x: Any
    saddle_y: Any
    aside: Any
    unit_mass: Any
    axial: Any
    bending: Any
    dead: Any
    unstretched: Any


def upper_hull(points: list[tuple[Any, Any]]) -> list[tuple[Any, Any]]:
    """Points of the upper hull, left to right."""
    chain: list[tuple[Any, Any]] = []
    for x, y in points:
        while len(chain) > 1:
            (ax, ay), (bx, by) = chain[-2], chain[-1]
            if (bx - ax) * (y - ay) - (by - ay) * (x - ax) < 0:
                break
            chain.pop()
        chain.append((x, y))
    return chain


def finger(s: Held, fret: int, place: Any, depth: Any) -> tuple[Any, Any]:
    """The finger point; which branch holds is decided by the real parts."""
    x, y = [s.nut_x, *s.crown_x], [s.nut_y, *s.crown_y]
    fx = x[fret - 1] + place * (x[fret] - x[fret - 1])
    over = y[fret - 1] + place * (y[fret] - y[fret - 1]) - depth
    drawn_on = y[fret] + (s.saddle_y - y[fret]) / (s.saddle_x - x[fret]) * (fx - x[fret])
    return fx, drawn_on if drawn_on.real < over.real else over


def polyline(s: Held, fret: int, place: Any, depth: Any, taut: bool = True) -> list[tuple[Any, Any]]:
    """Corners of the string held at a fret, nut to saddle; not taut: straight from the nut to the finger."""
    contacts = list(zip([s.nut_x, *s.crown_x], [s.nut_y, *s.crown_y], strict=True))
    behind = [*(contacts[:fret] if taut else contacts[:1]), finger(s, fret, place, depth)]
    return [*(upper_hull(behind) if taut else behind), contacts[fret], (s.saddle_x, s.saddle_y)]


def lengths(s: Held, corners: list[tuple[Any, Any]], kit: Any = math) -> list[Any]:
    """Lengths of the pieces; z runs straight from nut to saddle."""
    out = []
    for (ax, ay), (bx, by) in pairwise(corners):
        dz = s.aside * (bx - ax) / (s.saddle_x - s.nut_x)
        out.append(kit.sqrt((bx - ax) ** 2 + (by - ay) ** 2 + dz**2))
    return out


def first_partial(s: Held, path: Any, speaking: Any, ends: str, kit: Any = math) -> Any:
    """Hz: wave speed of the stretched string, Fletcher's stiffness, factor of the ends."""
    stretched = (path + s.dead) / s.unstretched
    tension = s.axial * (stretched - 1)
    stiff = kit.pi**2 * s.bending / (tension * speaking**2)
    u = ENDS[ends] * kit.sqrt(stiff) / kit.pi
    speed = kit.sqrt(tension * stretched / s.unit_mass)
    return speed / (2 * speaking) * kit.sqrt(1 + stiff) * (1 + u + u * u)


def cents(s: Held, fret: int, place: Any, depth: Any, ends: str = "pinned", kit: Any = math, taut: bool = True) -> Any:
    """Error of one note from equal temperament above the open string."""
    whole = lengths(s, [(s.nut_x, s.nut_y), (s.saddle_x, s.saddle_y)], kit)[0]
    pieces = lengths(s, polyline(s, fret, place, depth, taut), kit)
    held = first_partial(s, sum(pieces), pieces[-1], ends, kit)
    return 1200 * kit.log(held / first_partial(s, whole, whole, ends, kit)) / kit.log(2) - 100 * fret


def wind(s: Held, hertz: Any, ends: str = "pinned", kit: Any = math, rounds: int = 200) -> Held:
    """The string wound to a pitch: fixed point on the tension."""
    whole = lengths(s, [(s.nut_x, s.nut_y), (s.saddle_x, s.saddle_y)], kit)[0]
    tension = s.unit_mass * (2 * whole * hertz) ** 2
    now = s
    for _ in range(rounds):
        now = Held(**{**vars(s), "unstretched": (whole + s.dead) / (1 + tension / s.axial)})
        factor = (hertz / first_partial(now, whole, whole, ends, kit)) ** 2
        if abs(factor - 1) < 1e-45:
            break
        tension = tension * factor
    return now
