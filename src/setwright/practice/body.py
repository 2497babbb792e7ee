"""The true instrument in plain numbers: what is told, scattered, with the hidden effects drawn.

Frame: x from the nut to the bridge, y up from the body top, z as told; plate points (aft, up) from the pivot.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass
from math import cos, hypot, isfinite, sin, sqrt
from random import Random
from typing import Any

from setwright.errors import FileFormatError
from setwright.practice.hidden import Hidden, Spread

SLICES = 64  # of the neck, for Simpson's rule
LEAST_BEHIND = 0.01  # m


@dataclass(frozen=True, slots=True)
class Wire:
    """One string with its places."""

    behind: float  # m, from nut to tuner; 0 where the nut is locked
    unit_mass: float  # kg/m, unstretched
    axial: float  # N
    bending: float  # N m2
    curve: float  # 1, relative change of stiffness per strain
    grip: float  # 1, friction coefficient times wrap angle at the nut
    nut_x: float  # m, centre line at the nut, neck without bow
    nut_y: float  # m
    nut_z: float  # m
    aft: float  # m, centre line at the saddle
    up: float  # m
    aside: float  # m, nut z less saddle z
    pivot_y: float  # m, pivot line at the saddle's z
    tail: float  # m, from saddle to string end


@dataclass(frozen=True, slots=True)
class Coil:
    """One spring, wherever it hangs."""

    rate: float  # N/m
    initial: float  # N
    free: float  # m, hook to hook, closed
    closed_rate: float  # N/m


@dataclass(frozen=True, slots=True)
class Place:
    """One place for a spring."""

    aft: float  # m, hook in the block
    up: float  # m
    aside: float  # m, claw z less hook z
    pivot_y: float  # m, pivot line at the hook's z


@dataclass(frozen=True, slots=True)
class Stem:
    """The neck: bow is the curvature a bow of even stiffness would have, side the turn of the nut in plan."""

    rise: tuple[float, float]  # m2, shift (x, y) of the nut per bow
    natural: tuple[float, float]  # m, shift of the nut at bow 0
    stiffness: float  # N m3, second derivative of the energy by bow
    bow_push: float  # N m2, of the rod
    side_stiffness: float  # N m; 0 = rigid
    twist: float  # 1


@dataclass(frozen=True, slots=True)
class Plate:
    """The plate, its stops and its claw."""

    pivot_x: float  # m
    edge: float  # m, radius of the knife edge
    friction: float  # N m
    rear: tuple[float, float]  # m
    rear_line: tuple[float, float]  # m, pivot line at both ends of the rear edge
    deck: float  # m
    block_aft: tuple[float, float]  # m
    wall_aft: float  # m
    block_fore: tuple[float, float]  # m
    wall_fore: float  # m
    mass: float  # kg
    centre: tuple[float, float]  # m
    claw_x: float  # m, wall
    claw_y: float  # m
    claw_angle: float  # rad
    claw_lead: float  # m per turn
    claw_range: tuple[float, float]  # m


@dataclass(frozen=True, slots=True)
class Warmth:
    """How warmth tells on it."""

    string: float  # 1/K
    body: float  # 1/K
    soft: float  # 1/K


@dataclass(frozen=True, slots=True)
class Body:
    """The whole true instrument."""

    wires: tuple[Wire, ...]
    coils: tuple[Coil, ...]  # by number; of n that hang the numbers are 0 to n - 1
    places: tuple[Place, ...]
    patterns: dict[int, tuple[int, ...]]  # number of springs -> place of each
    stem: Stem
    plate: Plate
    warmth: Warmth
    hidden: Hidden


def draw(rng: Random, sd: float) -> float:
    """A normal deviate within two standard deviations.

    Args:
        rng: source of chance.
        sd: standard deviation, any unit.
    Returns: in the unit of sd.
    """
    while True:
        value = rng.gauss(0.0, 1.0)
        if abs(value) <= 2.0:
            return value * sd


def scatter(told: dict[str, Any], spread: Spread, rng: Random) -> dict[str, Any]:
    """A true instrument about the told one, in the same words.

    Args:
        told: nominal, as in the line protocol.
        spread: how far.
        rng: source of chance.
    Returns: a copy with the truth in it.
    """
    true = copy.deepcopy(told)
    springs, bridge, strings, neck = true["springs"], true["bridge"], true["strings"], true["neck"]
    springs["k"] *= 1.0 + draw(rng, spread.rate)
    springs["F0"] *= 1.0 + draw(rng, spread.initial)
    springs["lfree"] += draw(rng, spread.free)
    for points, axes in ((springs["hooks"], 2), (bridge["saddle"], 2), (bridge["anchor"], 2)):
        shift = [draw(rng, spread.arm) for _ in range(axes)]
        for point in points:
            point[:2] = [point[0] + shift[0], point[1] + shift[1]]
    for point in bridge["saddle"]:
        point[1] += draw(rng, spread.saddle)
    true["claw"]["y"] += draw(rng, spread.arm)
    bridge["cg"] = [value + draw(rng, spread.arm) for value in bridge["cg"]]
    bridge["rear"][0] += draw(rng, spread.rear)
    for i in range(len(strings["EA"])):
        factor = 1.0 + draw(rng, spread.axial)
        strings["EA"][i] *= factor
        strings["EI"][i] *= factor
        strings["back"][i] = max(LEAST_BEHIND, strings["back"][i] + draw(rng, spread.behind))
    neck["EI"] *= 1.0 + draw(rng, spread.neck)
    neck["kappa0"] += draw(rng, spread.bow)
    neck["h"] += draw(rng, spread.line)
    return true


def draw_body(told: dict[str, Any], spread: Spread, hidden: Hidden, rng: Random) -> Body:
    """Draw a true instrument about the told one.

    Args:
        told: nominal, as in the line protocol.
        spread: how far the truth lies from it.
        hidden: strengths of the hidden effects.
        rng: source of chance.
    Returns: the body.
    Raises: FileFormatError where a trait is missing or no finite number.
    """
    _check_finite(told, "told")
    try:
        return _body(scatter(told, spread, rng), hidden, rng)
    except (KeyError, IndexError, TypeError, ValueError, AttributeError, ZeroDivisionError) as error:
        raise FileFormatError(
            f"told: a trait is missing or out of place ({type(error).__name__}: {error}); give all traits of the line "
            "protocol."
        ) from None


def _check_finite(value: Any, where: str) -> None:
    """No number of what is told is nan or infinite."""
    if isinstance(value, dict):
        for name, one in value.items():
            _check_finite(one, f"{where}.{name}")
    elif isinstance(value, list):
        for n, one in enumerate(value):
            _check_finite(one, f"{where}[{n}]")
    elif isinstance(value, float) and not isfinite(value):
        raise FileFormatError(f"{where} is {value}; give a finite number.")


def _body(true: dict[str, Any], hidden: Hidden, rng: Random) -> Body:
    """Plain numbers of a true instrument, told in the words of the line protocol."""
    thermal = true["thermal"]
    return Body(
        wires=tuple(_wire(true, i, hidden, rng) for i in range(len(true["strings"]["f"]))),
        coils=tuple(_coil(true, hidden, rng) for _ in true["springs"]["hooks"]),
        places=tuple(_place(true, i) for i in range(len(true["springs"]["hooks"]))),
        patterns={int(n): tuple(int(i) for i in places) for n, places in true["springs"]["patterns"].items()},
        stem=_stem(true, hidden),
        plate=_plate(true, hidden, rng),
        warmth=Warmth(float(thermal["alpha_string"]), float(thermal["alpha_body"]), float(thermal["beta_E"])),
        hidden=hidden,
    )


def _across(z: float, ends: list[float], heights: list[float]) -> float:
    """Height at z of the straight line through two points."""
    slope = (heights[1] - heights[0]) / (ends[1] - ends[0])
    return float(heights[0] + slope * (z - ends[0]))


def _wire(true: dict[str, Any], i: int, hidden: Hidden, rng: Random) -> Wire:
    s, nut, bridge = true["strings"], true["nut"], true["bridge"]
    board, neck = true["fretboard"], true["neck"]
    z, half = nut["z"][i], 0.5 * s["dia"][i]
    radius = board["radius_nut"]
    sag = z * z / (radius + sqrt(radius * radius - z * z))
    x, y = _turned(0.0, board["y"] - sag + nut["slot"][i], neck)
    aft, up = bridge["saddle"][i]
    end_aft, end_up = bridge["anchor"][i]
    saddle_z = bridge["saddle_z"][i]
    return Wire(
        behind=0.0 if nut["locked"] else float(s["back"][i]),
        unit_mass=s["mu0"][i] * (1.0 + draw(rng, hidden.mass)),
        axial=float(s["EA"][i]),
        bending=float(s["EI"][i]),
        curve=hidden.modulus * rng.uniform(0.5, 1.0),
        grip=0.0 if nut["locked"] else s["capstan"][i] + hidden.nut * rng.uniform(0.2, 1.0),
        nut_x=x,
        nut_y=y + half,
        nut_z=float(z),
        aft=float(aft),
        up=up + half,
        aside=z - saddle_z,
        pivot_y=_across(saddle_z, bridge["pivot_z"], bridge["pivot_y"]),
        tail=0.0 if bridge["clamped"] else hypot(end_aft - aft, end_up - up - half),
    )


def _coil(true: dict[str, Any], hidden: Hidden, rng: Random) -> Coil:
    s = true["springs"]
    return Coil(
        rate=s["k"] * (1.0 + draw(rng, hidden.uneven)),
        initial=s["F0"] * (1.0 + draw(rng, hidden.uneven)),
        free=float(s["lfree"]),
        closed_rate=float(s["k_closed"]),
    )


def _place(true: dict[str, Any], i: int) -> Place:
    s, bridge = true["springs"], true["bridge"]
    aft, up, z = s["hooks"][i]
    return Place(
        aft=float(aft),
        up=float(up),
        aside=s["claw_z"][i] - z,
        pivot_y=_across(z, bridge["pivot_z"], bridge["pivot_y"]),
    )


def _turned(x: float, y: float, neck: dict[str, Any]) -> tuple[float, float]:
    """A point of the neck, turned about the pocket's mouth by the built-in angle."""
    c, s = cos(neck["angle"]), sin(neck["angle"])
    dx, dy = x - neck["x_mouth"], y - neck["y_mouth"]
    return neck["x_mouth"] + dx * c - dy * s, neck["y_mouth"] + dx * s + dy * c


def _stem(true: dict[str, Any], hidden: Hidden) -> Stem:
    """The neck as a beam whose stiffness grows evenly from the nut to the joint.

    Stiffness EI w(x), w = 1 + taper (2 x / J - 1); under a moment that is the same everywhere it bends by bow / w(x).
    Energy: EI/2 integral of w (bow/w)^2 + rod moment x integral of bow/w; the free bow is curvature without load.
    """
    neck = true["neck"]
    joint, share = float(neck["x_joint"]), min(hidden.taper, 0.9)
    turn = lift = 0.0  # integrals of 1/w and x/w
    for n in range(SLICES + 1):
        weight = (1.0 if n in (0, SLICES) else 4.0 if n % 2 else 2.0) * joint / (3.0 * SLICES)
        x = joint * n / SLICES
        soft = 1.0 / (1.0 + share * (2.0 * n / SLICES - 1.0))
        turn += weight * soft
        lift += weight * soft * x
    c, s = cos(neck["angle"]), sin(neck["angle"])
    ahead, free = neck["h"] * turn, neck["kappa0"]
    first_x, first_y = free * neck["h"] * joint, 0.5 * free * joint * joint
    lean = hidden.lean
    return Stem(
        rise=(ahead * c - lift * s, ahead * s + lift * c),
        natural=(first_x * c - first_y * s, first_x * s + first_y * c),
        stiffness=neck["EI"] * turn,
        bow_push=neck["rod_moment"] * turn,
        side_stiffness=neck["EI"] / (lean * joint) if lean > 0.0 else 0.0,
        twist=hidden.twist,
    )


def _plate(true: dict[str, Any], hidden: Hidden, rng: Random) -> Plate:
    b, claw = true["bridge"], true["claw"]
    return Plate(
        pivot_x=float(b["pivot_x"]),
        edge=hidden.edge * rng.uniform(0.5, 1.0),
        friction=true["friction"]["knife"] + hidden.knife * rng.uniform(0.3, 1.0),
        rear=(b["rear"][0], b["rear"][1]),
        rear_line=(
            _across(b["rear_z"][0], b["pivot_z"], b["pivot_y"]),
            _across(b["rear_z"][1], b["pivot_z"], b["pivot_y"]),
        ),
        deck=float(b["deck_y"]),
        block_aft=(b["block_aft"][0], b["block_aft"][1]),
        wall_aft=float(b["cavity_aft"]),
        block_fore=(b["block_fore"][0], b["block_fore"][1]),
        wall_fore=float(b["cavity_fore"]),
        mass=float(b["mass"]),
        centre=(b["cg"][0], b["cg"][1]),
        claw_x=float(claw["x_wall"]),
        claw_y=float(claw["y"]),
        claw_angle=float(claw["angle"]),
        claw_lead=float(claw["lead"]),
        claw_range=(claw["d_range"][0], claw["d_range"][1]),
    )
