"""Bends that choke: a string pushed across a round board comes down on the frets ahead of the finger."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.errors import RangeError
from setwright.physics._ranges import Array, require
from setwright.physics.clearance.envelope import AMPLITUDE, dip
from setwright.physics.clearance.pairs import MARGIN, PLUCK, X, pair_shares, places_checked
from setwright.physics.frets import ACROSS, RADIUS, drop
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.physics.pulls import bend_cents
from setwright.physics.strings import LENGTH

ASIDE = (-0.04, 0.04, "m")
FARTHEST = ASIDE[1]
HALVINGS = 60  # of 40 mm: far below the last digit


def bend_rise(
    displacement: ArrayLike,
    behind: ArrayLike,
    speaking: ArrayLike,
    path: ArrayLike,
    tension: ArrayLike,
    axial: ArrayLike,
) -> Array:
    """Pitch rise of a string pushed aside at the fret it is stopped at; docs (12), on a fixed bridge.

    Both parts grow: e = (sqrt(l^2 + d^2) - l) of each. The tension is that of `pulls.bend_cents` (Grimes 2014, PLOS ONE
    9(7) e102088) at the angle whose 1/cos - 1 is e / path; the string slides over the fret, so its mass per metre is
    the same everywhere, and the speaking part grows by its own share. At mid-string with path = 2 speaking it is that
    formula.

    Args:
        displacement: (...) [m] sideways at the fret, either sign
        behind: (...) [m] from the nut to the fret
        speaking: (...) [m] from the fret to the saddle
        path: (...) [m] whole string that shares the stretch
        tension: (...) [N] before the bend
        axial: (...) [N] EA

    Returns:
        (...) [cent]

    Valid range: displacement within 40 mm, lengths 1 mm to 5 m, angle within 0.5 rad.

    Raises:
        RangeError: outside it.
    """
    d2 = require("displacement", displacement, *ASIDE) ** 2
    front, rear = require("speaking length", speaking, *LENGTH), require("string behind", behind, *LENGTH)
    ahead, back = (d2 / (np.hypot(length, np.sqrt(d2)) + length) for length in (front, rear))
    growth = (ahead + back) / require("path", path, *LENGTH)
    angle = 2.0 * np.arcsin(np.sqrt(0.5 * growth / (1.0 + growth)))  # 1/cos(angle) - 1 = growth
    rise: Array = bend_cents(angle, tension, axial) + CENTS_PER_LOG * (np.log1p(growth) - np.log1p(ahead / front))
    return rise


def bend_displacement(
    cents: ArrayLike, behind: ArrayLike, speaking: ArrayLike, path: ArrayLike, tension: ArrayLike, axial: ArrayLike
) -> Array:
    """How far a string must be pushed aside for a bend: the inverse of `bend_rise`, by bisection.

    Args:
        cents: (...) [cent] wanted rise
        behind: (...) [m] from the nut to the fret
        speaking: (...) [m] from the fret to the saddle
        path: (...) [m] whole string that shares the stretch
        tension: (...) [N] before the bend
        axial: (...) [N] EA

    Returns:
        (...) [m] >= 0

    Valid range: cents 0 to 700 and within reach of 40 mm; EA over tension at least 2 path / speaking, so that the pitch
    rises all the way; angle within 0.5 rad (parts of 75 mm or more always keep it).

    Raises:
        RangeError: outside it.
    """
    want = require("cents", cents, 0.0, 700.0, "cent")
    need = 2.0 * np.asarray(path, dtype=np.float64) / np.asarray(speaking, dtype=np.float64)
    spare = np.asarray(axial, dtype=np.float64) / np.asarray(tension, dtype=np.float64) - need
    require("EA over tension less 2 path / speaking", spare, 0.0, 1e9, "")
    others = (behind, speaking, path, tension, axial)
    shape = np.broadcast_shapes(want.shape, *(np.shape(v) for v in others))
    low, high = np.zeros(shape), np.full(shape, FARTHEST)
    if np.any(bend_rise(high, *others) < want):
        raise RangeError("a bend of so many cents is out of reach within 40 mm; ask for less or use a stiffer string.")
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        short = bend_rise(middle, *others) < want
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.where(want > 0.0, high, 0.0)


def bend_map(
    stop_x: ArrayLike,
    centre_y: ArrayLike,
    radius: ArrayLike,
    stop_z: ArrayLike,
    saddle: ArrayLike,
    displacement: ArrayLike,
    pluck: ArrayLike = 0.1,
    amplitude: ArrayLike = 0.0,
) -> Array:
    """Clearance over every crown ahead while a string is bent aside at every fret; docs (13), derived here.

    The string runs straight from the crown under the finger, at z_i + d, to the saddle; crowns are arcs of the board's
    radius at each fret (a cone: give the radius per fret). With d = 0 it is `clearance_map`.

    Args:
        stop_x: (..., S, N) [m] nut and crowns, rising
        centre_y: (..., S, N) [m] crown heights on the centre line, bow and single frets included
        radius: (..., S, N) [m] of the crowns
        stop_z: (..., S, N) [m] of the string at rest over each
        saddle: (..., S, 3) [m] x, y, z of the saddle contact, underside
        displacement: (..., S, N) [m] sideways at every stop, z > 0 counts > 0
        pluck: (..., S) [m] distance of the pluck from the saddle
        amplitude: (..., S, N) [m] displacement at the pluck, square to the board, pulled away

    Returns:
        (..., S, N, N) [m] by stop, then fret ahead; inf where none is ahead and for the nut, where nobody bends.

    Valid range: displacement within 40 mm, radii 50 mm to 100 m, strings within 0.9 of the radius.

    Raises:
        RangeError: outside it.
    """
    end = require("saddle contact", saddle, *X)
    share, ahead = pair_shares(stop_x, end[..., 0])
    x, end_x = places_checked(stop_x, end[..., 0])
    y, r = require("height of the crowns", centre_y, *X), require("radius", radius, *RADIUS)
    z = require("z of the string", stop_z, *ACROSS) + require("displacement", displacement, *ASIDE)
    start = (y - drop(r, z))[..., :, None]
    across = z[..., :, None] + share * (end[..., None, None, 2] - z[..., :, None])
    crowns = y[..., None, :] - np.where(ahead, drop(r[..., None, :], np.where(ahead, across, 0.0)), 0.0)
    place = np.minimum(require("pluck distance", pluck, *PLUCK)[..., None] / (end_x - x), 0.999)
    swing = require("amplitude", amplitude, *AMPLITUDE)
    swing = np.broadcast_to(swing, np.broadcast_shapes(swing.shape, x.shape[-1:]))[..., None]
    clear = start + share * (end[..., None, None, 1] - start) - crowns - swing * dip(share, place[..., None])
    bent = ahead & (np.arange(ahead.shape[-1]) > 0)[:, None]
    return np.where(bent, clear, np.inf)


def radius_for_bend(
    rest: ArrayLike,
    share: ArrayLike,
    stop_z: ArrayLike,
    saddle_z: ArrayLike,
    displacement: ArrayLike,
    margin: ArrayLike = 0.0,
) -> Array:
    """Least (roundest) radius of a round board on which a bend stays clear, unbent heights kept as they are; docs (13).

    By bisection on 1/R. Seen for flat arcs the bend costs s (1 - s) d (d - 2 (z_saddle - z_stop)) / (2 R) over a fret
    at share s, at most d^2 / (8 R) for a string along the centre line.

    Args:
        rest: (..., J) [m] clearance of the unbent string over the frets ahead of the finger, swing taken off
        share: (..., J) [1] of these frets on the way from the finger to the saddle
        stop_z: (...) [m] of the unbent string at the finger
        saddle_z: (...) [m] of the string at the saddle
        displacement: (...) [m] of the bend
        margin: (...) [m] clearance to keep

    Returns:
        (...) [m]; 50 mm where any radius does, inf where a flat board does not do.

    Valid range: clearance within 20 mm, z within 45 mm with and without the bend.

    Raises:
        RangeError: outside it.
    """
    spare = require("clearance at rest", rest, -0.02, 0.02, "m") - require("margin", margin, *MARGIN)[..., None]
    s = require("share", share, 0.0, 1.0, "")
    limits = (-0.045, 0.045, "m")
    unbent, end = (require(n, v, *limits)[..., None] for n, v in (("stop z", stop_z), ("saddle z", saddle_z)))
    bent = require("z of the bent string", unbent + require("displacement", displacement, *ASIDE)[..., None], *limits)
    before, after = (z + s * (end - z) for z in (unbent, bent))

    def clear(curvature: Array) -> Array:
        """Whether all frets ahead are clear: (...)."""
        r = 1.0 / curvature[..., None]
        lost = (1.0 - s) * (drop(r, bent) - drop(r, unbent)) - (drop(r, after) - drop(r, before))
        return np.asarray((spare - lost >= 0.0).all(axis=-1))

    lead = np.broadcast_shapes(spare.shape, s.shape, unbent.shape, bent.shape, end.shape)[:-1]
    low, high = np.full(lead, 1.0 / RADIUS[1]), np.full(lead, 1.0 / RADIUS[0])
    flat, roundest = clear(low), clear(high)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        good = clear(middle)
        low, high = np.where(good, middle, low), np.where(good, high, middle)
    return np.where(roundest, RADIUS[0], np.where(flat, 1.0 / low, np.inf))
