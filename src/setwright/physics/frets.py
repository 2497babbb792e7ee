"""Frets, radius, string height and the screws that set it.

Neck frame before bow and shim: x from the nut face along the centre line, y up, z from treble to bass. String heights
are from the fret's crown to the UNDERSIDE of the string, measured along y; nut and saddle contacts are undersides
too, so the string between them is a straight line.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.errors import RangeError
from setwright.physics._ranges import Array, require

SCALE = (0.2, 1.5, "m")
FRET = (0.0, 36.0, "")
RADIUS = (0.05, 100.0, "m")
ACROSS = (-0.1, 0.1, "m")
PLACE = (-1.0, 3.0, "m")
FAN = (0.0, 0.3, "m")
SPREAD = (5e-3, 0.2, "m")
STEEPEST = 1.0  # of a slanted fret, x over z: 45 degrees
LEAD = (1e-5, 5e-3, "m per turn")


def fret_position(scale: ArrayLike, fret: ArrayLike) -> Array:
    """Distance of a fret from the nut, scale (1 - 2^(-n/12)): equal temperament on an ideal string.

    The trade's divisor 17.817 is 1 / (1 - 2^(-1/12)).

    Args:
        scale: (...) [m] nominal scale length
        fret: (...) [1] fret number, 0 is the nut

    Returns:
        (...) [m]

    Valid range: scale 0.2 to 1.5 m, fret 0 to 36.

    Raises:
        RangeError: outside it.
    """
    n = require("fret", fret, *FRET)
    place: Array = -require("scale length", scale, *SCALE) * np.expm1(-n * (np.log(2.0) / 12.0))
    return place


def fret_slope(
    fret: ArrayLike, fan: ArrayLike, square: ArrayLike, nut_spread: ArrayLike, bridge_spread: ArrayLike
) -> Array:
    """Slant of a fret of a fanned board, x gained per z: fan (q - q_square) / spread there (derived here).

    Every string has a scale of its own and equal temperament along it, q = 1 - 2^(-n/12) of the way to its end. A fret
    is the straight line through its places on the two outer strings; where the strings spread evenly it then meets
    each string at that string's own q. Lengths run along the centre line, as the frame has them: along a string that
    slants by 13 mrad they are 0.05 mm longer in 650.

    Args:
        fret: (...) [1] fret number, 0 is the nut
        fan: (...) [m] scale of the last string less that of the first
        square: (...) [1] number of the fret that stands square to the centre line, 0 for the nut
        nut_spread: (...) [m] outer string to outer string at the nut
        bridge_spread: (...) [m] the same at the bridge

    Returns:
        (...) [1] > 0 where the bass end lies nearer to the bridge.

    Valid range: frets 0 to 36, fan 0 to 0.3 m, spreads 5 to 200 mm, slant at most 1 (45 degrees).

    Raises:
        RangeError: outside it.
    """
    share, still = fret_position(1.0, fret), fret_position(1.0, square)
    start = require("outer strings at the nut", nut_spread, *SPREAD)
    spread = start + share * (require("outer strings at the bridge", bridge_spread, *SPREAD) - start)
    slope = require("fan of scales", fan, *FAN) * (share - still) / spread
    return require("slant of a fret", slope, -STEEPEST, STEEPEST, "")


def fret_crossing(
    place: ArrayLike, slope: ArrayLike, nut_x: ArrayLike, nut_z: ArrayLike, saddle_x: ArrayLike, saddle_z: ArrayLike
) -> Array:
    """Where a string crosses a slanted fret, seen from above: two straight lines (derived here).

    Args:
        place: (...) [m] x of the fret on the centre line
        slope: (...) [1] x gained per z, see `fret_slope`
        nut_x: (...) [m] of the string at the nut
        nut_z: (...) [m]
        saddle_x: (...) [m] of the string at its saddle
        saddle_z: (...) [m]

    Returns:
        (...) [m] x of the crossing.

    Valid range: places -1 to 3 m, z within 0.1 m, saddle at least 0.1 m beyond the nut, slope at most 1.

    Raises:
        RangeError: outside it.
    """
    start, off = require("nut x", nut_x, *PLACE), require("nut z", nut_z, *ACROSS)
    run = require("distance from nut to saddle", require("saddle x", saddle_x, *PLACE) - start, 0.1, 3.0, "m")
    aside = (require("saddle z", saddle_z, *ACROSS) - off) / run
    slant = require("slant of a fret", slope, -STEEPEST, STEEPEST, "")
    x: Array = (require("fret x", place, *PLACE) + slant * (off - aside * start)) / (1.0 - slant * aside)
    return x


def board_radius(x: ArrayLike, end_x: ArrayLike, radius_nut: ArrayLike, radius_end: ArrayLike) -> Array:
    """Fretboard radius at a place: linear from nut to last fret, which makes a compound board a cone (derived here).

    Args:
        x: (...) [m] from the nut
        end_x: (...) [m] where radius_end holds, the last fret
        radius_nut: (...) [m]
        radius_end: (...) [m]

    Returns:
        (...) [m]

    Valid range: radii 50 mm to 100 m (flat enough), also the result when drawn on to the bridge.

    Raises:
        RangeError: outside it.
    """
    start, end = require("radius at the nut", radius_nut, *RADIUS), require("radius at the end", radius_end, *RADIUS)
    share = require("x", x, *PLACE) / require("x of the last fret", end_x, 0.05, 1.5, "m")
    return require("radius there", start + (end - start) * share, *RADIUS)


def drop(radius: ArrayLike, z: ArrayLike) -> Array:
    """How far a round board falls off beside its centre, R - sqrt(R^2 - z^2), in the form without cancellation.

    Args:
        radius: (...) [m]
        z: (...) [m] from the centre line

    Returns:
        (...) [m]

    Valid range: radius 50 mm to 100 m, z within 0.1 m and within 0.9 of the radius.

    Raises:
        RangeError: outside it.
    """
    r, off = require("radius", radius, *RADIUS), require("z", z, *ACROSS)
    require("z over radius", off / r, -0.9, 0.9, "")
    fall: Array = off**2 / (r + np.sqrt(r**2 - off**2))
    return fall


def crown_height(
    fret: ArrayLike,
    z: ArrayLike,
    scale: ArrayLike,
    last_fret: ArrayLike,
    radius_nut: ArrayLike,
    radius_end: ArrayLike,
    board_height: ArrayLike,
    crown: ArrayLike,
) -> Array:
    """Height of a fret's crown under a string on the straight, unshimmed neck: board - drop + crown (derived here).

    Args:
        fret: (...) [1] fret number; 0 gives a crown at the nut line
        z: (...) [m] of the string at that fret
        scale: (...) [m] nominal scale length
        last_fret: (...) [1] number of the fret where radius_end holds
        radius_nut: (...) [m]
        radius_end: (...) [m]
        board_height: (...) [m] centre of the board over the body top
        crown: (...) [m] fret height over the board

    Returns:
        (...) [m] y of the crown.

    Valid range: as `fret_position`, `board_radius` and `drop`; crown 0 to 3 mm.

    Raises:
        RangeError: outside it.
    """
    end_x = fret_position(scale, require("last fret", last_fret, 1.0, 36.0, ""))
    radius = board_radius(fret_position(scale, fret), end_x, radius_nut, radius_end)
    base = require("board height", board_height, -0.1, 0.2, "m") + require("fret height", crown, 0.0, 3e-3, "m")
    height: Array = base - drop(radius, z)
    return height


def saddle_share(crown_x: ArrayLike, nut_x: ArrayLike, saddle_x: ArrayLike) -> Array:
    """Rise of the string over a fret per rise of its saddle, (x - nut) / (saddle - nut); 0.50 at fret 12 (derived).

    Args:
        crown_x: (...) [m] of the fret
        nut_x: (...) [m] of the nut contact
        saddle_x: (...) [m] of the saddle contact

    Returns:
        (...) [1]; one less it is the share of the nut.

    Valid range: saddle at least 0.1 m beyond the nut, fret between them.

    Raises:
        RangeError: outside it.
    """
    start = require("nut x", nut_x, *PLACE)
    span = require("distance from nut to saddle", require("saddle x", saddle_x, *PLACE) - start, 0.1, 3.0, "m")
    share = (require("fret x", crown_x, *PLACE) - start) / span
    return require("share of the string up to the fret", share, 0.0, 1.0, "")


def string_at(x: ArrayLike, nut: ArrayLike, saddle: ArrayLike) -> tuple[Array, Array]:
    """Underside of the open string at a place along it: the straight line from nut to saddle contact.

    Args:
        x: (...) [m]
        nut: (..., 3) [m] x, y, z of the nut contact
        saddle: (..., 3) [m] x, y, z of the saddle contact

    Returns:
        (...) [m] y and (...) [m] z there.

    Valid range: places -1 to 3 m, x between nut and saddle.

    Raises:
        RangeError: outside it.
    """
    start, end = require("nut contact", nut, *PLACE), require("saddle contact", saddle, *PLACE)
    share = saddle_share(x, start[..., 0], end[..., 0])
    y = start[..., 1] + share * (end[..., 1] - start[..., 1])
    return y, start[..., 2] + share * (end[..., 2] - start[..., 2])


def string_height(crown_x: ArrayLike, crown_y: ArrayLike, nut: ArrayLike, saddle: ArrayLike) -> Array:
    """String height at a fret: crown to underside of the open string (derived here). Negative: the crown carries it.

    Args:
        crown_x: (...) [m] of the crown under the string, as the neck stands
        crown_y: (...) [m]
        nut: (..., 3) [m] x, y, z of the nut contact, underside
        saddle: (..., 3) [m] x, y, z of the saddle contact, underside

    Returns:
        (...) [m]

    Valid range: as `string_at`.

    Raises:
        RangeError: outside it.
    """
    y, _ = string_at(crown_x, nut, saddle)
    height: Array = y - require("crown y", crown_y, *PLACE)
    return height


def saddle_rise_for_height(
    target: ArrayLike, crown_x: ArrayLike, crown_y: ArrayLike, nut: ArrayLike, saddle: ArrayLike
) -> Array:
    """Rise of the saddle that brings the string to a target height at a fret; neck and nut stay (derived here).

    Args:
        target: (...) [m] wanted height at that fret
        crown_x: (...) [m] of the crown under the string
        crown_y: (...) [m]
        nut: (..., 3) [m] nut contact
        saddle: (..., 3) [m] saddle contact now

    Returns:
        (...) [m] up > 0.

    Valid range: as `string_at`; target 0 to 20 mm, the fret at least a hundredth of the string from the nut.

    Raises:
        RangeError: outside it.
    """
    missing = require("target height", target, 0.0, 0.02, "m") - string_height(crown_x, crown_y, nut, saddle)
    start, end = np.asarray(nut, dtype=np.float64), np.asarray(saddle, dtype=np.float64)
    share = saddle_share(crown_x, start[..., 0], end[..., 0])
    rise: Array = missing / require("share of the string up to the fret", share, 0.01, 1.0, "")
    return rise


def screw_turns(rise: ArrayLike, lead: ArrayLike) -> Array:
    """Turns of a screw for a travel, rise / lead; up > 0.

    Args:
        rise: (...) [m]
        lead: (...) [m] travel per turn

    Returns:
        (...) [1] turns.

    Valid range: rise within 0.1 m, lead 0.01 to 5 mm per turn.

    Raises:
        RangeError: outside it.
    """
    return require("travel", rise, -0.1, 0.1, "m") / require("screw lead", lead, *LEAD)


def screw_rise(turns: ArrayLike, lead: ArrayLike) -> Array:
    """Travel of a screw for some turns, turns x lead; the inverse of `screw_turns`.

    Args:
        turns: (...) [1] up > 0
        lead: (...) [m] travel per turn

    Returns:
        (...) [m]

    Valid range: turns -200 to 200, lead 0.01 to 5 mm per turn.

    Raises:
        RangeError: outside it.
    """
    rise: Array = require("turns", turns, -200.0, 200.0, "turns") * require("screw lead", lead, *LEAD)
    return rise


def level_turns(rise: ArrayLike, lead: ArrayLike, uneven: ArrayLike = 0.0) -> Array:
    """Turns of the two height screws of a saddle that raise its middle and leave it level (derived here).

    Args:
        rise: (...) [m] of the string contact, in the middle between the screws
        lead: (...) [m] travel per turn
        uneven: (...) [m] how much the treble screw now stands higher than the bass screw

    Returns:
        (..., 2) [1] turns of the treble and the bass screw, up > 0; equal when the saddle is level already.

    Valid range: rise within 0.1 m, uneven within 10 mm, lead 0.01 to 5 mm per turn.

    Raises:
        RangeError: outside it.
    """
    half = 0.5 * require("unevenness", uneven, -0.01, 0.01, "m")
    middle = require("rise of the saddle", rise, -0.1, 0.1, "m")
    return np.stack(np.broadcast_arrays(screw_turns(middle - half, lead), screw_turns(middle + half, lead)), axis=-1)


def whole_steps(turns: ArrayLike, step: ArrayLike = 0.125) -> tuple[Array, Array]:
    """Turns as a hand can make them: the nearest multiple of a step, and what that leaves undone.

    Args:
        turns: (...) [1] wanted
        step: (...) [1] fraction of a turn that can be set, an eighth unless told

    Returns:
        (...) [1] turns to make, and (...) [1] turns wanted less turns made, at most half a step.

    Valid range: turns -200 to 200, step 1/64 to 1.

    Raises:
        RangeError: outside it.
    """
    wanted, grain = require("turns", turns, -200.0, 200.0, "turns"), require("step", step, 1.0 / 64.0, 1.0, "turns")
    made = np.rint(wanted / grain) * grain
    return made, wanted - made


def within(place: ArrayLike, stops: ArrayLike) -> tuple[Array, Array]:
    """Where a screw or saddle comes to when it cannot pass its stops, and how much is then missing.

    Args:
        place: (...) [m] wanted
        stops: (..., 2) [m] lowest and highest place

    Returns:
        (...) [m] place reached, and (...) [m] wanted less reached: 0 inside, > 0 past the upper stop.

    Valid range: places -1 to 3 m, stops in order.

    Raises:
        RangeError: outside it.
    """
    wanted, ends = require("place", place, *PLACE), require("stops", stops, *PLACE)
    if np.any(ends[..., 0] > ends[..., 1]):
        raise RangeError("the lower stop lies above the upper one; give the lowest place first, then the highest.")
    reached = np.clip(wanted, ends[..., 0], ends[..., 1])
    return reached, wanted - reached


def radius_across(z: ArrayLike, height: ArrayLike) -> tuple[Array, Array]:
    """Radius of the circle through the string undersides across the saddles, to check a radius that was set.

    Algebraic least-squares circle, z^2 + y^2 + a z + b y + c = 0 (Kasa 1976, from memory): exact on a circle.

    Args:
        z: (..., S) [m] of three or more strings
        height: (..., S) [m] of their undersides at the saddles over any common line

    Returns:
        (...) [m] radius, and (..., S) [m] how far each string stands off that circle, high > 0.

    Valid range: crowned upwards, radius 50 mm to 100 m.

    Raises:
        RangeError: for fewer than three strings, strings on one line, or a hollow set.
    """
    across, up = np.broadcast_arrays(require("z", z, *ACROSS), require("height", height, *PLACE))
    if across.ndim == 0 or across.shape[-1] < 3:
        raise RangeError("a radius needs the heights of three or more strings; read more of them.")
    u, v = across - across.mean(axis=-1, keepdims=True), up - up.mean(axis=-1, keepdims=True)
    size = require("spread of the strings", np.abs(u).max(axis=-1, keepdims=True), 1e-3, 0.1, "m")
    u, v = u / size, v / size
    ones = np.ones_like(u)
    solved = np.linalg.pinv(np.stack([u, v, ones], axis=-1)) @ -(u**2 + v**2)[..., None]
    a, b, c = (solved[..., i, :] for i in range(3))
    radius = size * np.sqrt(np.maximum(0.25 * (a**2 + b**2) - c, 0.0))
    if np.any(b <= 0.0) or np.any(radius > RADIUS[1]):
        raise RangeError("the strings lie flat or hollow across the saddles: no radius; check heights and order.")
    off = size * np.hypot(u + 0.5 * a, v + 0.5 * b) - require("radius across the saddles", radius, *RADIUS)
    return radius[..., 0], off
