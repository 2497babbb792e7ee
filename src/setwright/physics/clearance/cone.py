"""Round and compound boards exactly: radius along a string, hollow under a string, radius gauges, string places.

A compound board (`frets.board_radius`: radius linear along the neck, centre line straight) is an oblique circular cone:
every section square to the centre line is a circle through that line, and all of them shrink to one point of it where
the radius would be zero. With w below the centre line and z across: z^2 + w^2 - 2 w R(x) = 0.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.physics._ranges import Array, choose, require
from setwright.physics.frets import ACROSS, PLACE, RADIUS, board_radius, drop

CHORD = (1e-3, 0.5, "m")
EQUAL = ("centres", "gaps")


def board_under_string(
    x: ArrayLike,
    end_x: ArrayLike,
    radius_nut: ArrayLike,
    radius_end: ArrayLike,
    saddle_x: ArrayLike,
    nut_z: ArrayLike,
    saddle_z: ArrayLike,
) -> tuple[Array, Array]:
    """Radius of the board under a string, and how far the board lies there below its centre line; docs (14).

    Args:
        x: (...) [m] from the nut
        end_x: (...) [m] where radius_end holds, the last fret
        radius_nut: (...) [m]
        radius_end: (...) [m]
        saddle_x: (...) [m] of the saddle contact
        nut_z: (...) [m] of the string at the nut
        saddle_z: (...) [m] of the string at the saddle

    Returns:
        (...) [m] radius of the section square to the centre line, and (...) [m] drop.

    Valid range: as `frets.board_radius` and `frets.drop`; saddle 0.1 to 3 m.

    Raises:
        RangeError: outside it.
    """
    radius = board_radius(x, end_x, radius_nut, radius_end)
    start = require("z at the nut", nut_z, *ACROSS)
    share = np.asarray(x, dtype=np.float64) / require("saddle x", saddle_x, 0.1, 3.0, "m")
    return radius, drop(radius, start + share * (require("z at the saddle", saddle_z, *ACROSS) - start))


def hollow_under_string(
    x_a: ArrayLike,
    x_c: ArrayLike,
    x_b: ArrayLike,
    end_x: ArrayLike,
    radius_nut: ArrayLike,
    radius_end: ArrayLike,
    saddle_x: ArrayLike,
    nut_z: ArrayLike,
    saddle_z: ArrayLike,
) -> Array:
    """Gap at c under a line over a and b along a string, of a board whose centre line is straight; docs (15).

    What a string reads as relief with no bow at all. Negative on a round board whose strings spread (a hump, it takes
    relief away from the outer strings), zero where `radius_for_straight_strings` holds.

    Args:
        x_a: (...) [m] rest nearer the nut
        x_c: (...) [m] where it is read
        x_b: (...) [m] rest nearer the bridge
        end_x: (...) [m] where radius_end holds, the last fret
        radius_nut: (...) [m]
        radius_end: (...) [m]
        saddle_x: (...) [m] of the saddle contact
        nut_z: (...) [m] of the string at the nut
        saddle_z: (...) [m] of the string at the saddle

    Returns:
        (...) [m]

    Valid range: as `board_under_string`; x_b at least 1 mm beyond x_a, x_c from one to the other.

    Raises:
        RangeError: outside it.
    """
    a, b = require("x_a", x_a, *PLACE), require("x_b", x_b, *PLACE)
    share = (require("x_c", x_c, *PLACE) - a) / require("distance of the rests", b - a, 1e-3, 3.0, "m")
    share = require("place read between the rests", share, 0.0, 1.0, "")
    board = (end_x, radius_nut, radius_end, saddle_x, nut_z, saddle_z)
    low, at, high = (board_under_string(x, *board)[1] for x in (a, x_c, b))
    gap: Array = at - (1.0 - share) * low - share * high
    return gap


def radius_for_straight_strings(radius_nut: ArrayLike, nut_z: ArrayLike, end_z: ArrayLike) -> Array:
    """Radius at the last fret that leaves the board straight under every string, R_nut z_end / z_nut; docs (16).

    Derived here: the drop is of first degree in (R, z), so strings that meet in the cone's apex lie on its rulings.

    Args:
        radius_nut: (...) [m]
        nut_z: (...) [m] of an outer string at the nut
        end_z: (...) [m] of the same string at the last fret

    Returns:
        (...) [m]

    Valid range: z 1 mm to 0.1 m on one side, radii 50 mm to 100 m.

    Raises:
        RangeError: outside it.
    """
    spread = require("z at the last fret", end_z, 1e-3, 0.1, "m") / require("z at the nut", nut_z, 1e-3, 0.1, "m")
    return require("radius at the end", require("radius at the nut", radius_nut, *RADIUS) * spread, *RADIUS)


def radius_square_to_string(
    x: ArrayLike,
    z: ArrayLike,
    slant: ArrayLike,
    end_x: ArrayLike,
    radius_nut: ArrayLike,
    radius_end: ArrayLike,
) -> Array:
    """Radius a gauge sees that stands square to a string and to the board instead of to the centre line; docs (17).

    Normal curvature of z^2 + w^2 - 2 w R(x) = 0 (w down, R = R_nut + g x) across the string: |grad F| / (t H t), t the
    unit tangent square to the string (implicit surfaces, elementary differential geometry; derived here).

    Args:
        x: (...) [m] from the nut
        z: (...) [m] from the centre line
        slant: (...) [1] dz/dx of the string
        end_x: (...) [m] where radius_end holds
        radius_nut: (...) [m]
        radius_end: (...) [m]

    Returns:
        (...) [m]

    Valid range: as `frets.board_radius` and `frets.drop`; slant within 0.1.

    Raises:
        RangeError: outside it.
    """
    radius = board_radius(x, end_x, radius_nut, radius_end)
    slope = (np.asarray(radius_end) - np.asarray(radius_nut)) / np.asarray(end_x)
    w = drop(radius, z)
    along = require("slant of the string", slant, -0.1, 0.1, "")
    grad = np.stack(np.broadcast_arrays(-2.0 * w * slope, 2.0 * (w - radius), 2.0 * np.asarray(z)), axis=-1)
    ones = np.ones(grad.shape[:-1])
    # the string's direction in the board: (1, dw, slant) with no part along the gradient
    down = -(grad[..., 0] + along * grad[..., 2]) / grad[..., 1]
    tangent = np.cross(grad, np.stack(np.broadcast_arrays(ones, down, along), axis=-1))
    tangent /= np.linalg.norm(tangent, axis=-1, keepdims=True)
    tx, tw, tz = np.moveaxis(tangent, -1, 0)
    bent = 2.0 * (tw**2 + tz**2) - 4.0 * slope * tx * tw
    seen: Array = np.linalg.norm(grad, axis=-1) / bent
    return seen


def sagitta(radius: ArrayLike, chord: ArrayLike) -> Array:
    """Rise of an arc over its chord, R - sqrt(R^2 - chord^2/4), by `frets.drop` without cancellation.

    Args:
        radius: (...) [m]
        chord: (...) [m]

    Returns:
        (...) [m]

    Valid range: radius 50 mm to 100 m, chord 1 mm to 0.2 m and at most 1.8 of the radius.

    Raises:
        RangeError: outside it.
    """
    return drop(radius, 0.5 * require("chord", chord, 1e-3, 0.2, "m"))


def radius_from_sagitta(chord: ArrayLike, rise: ArrayLike) -> Array:
    """Radius of an arc from chord and rise, chord^2 / (8 rise) + rise / 2 (circle geometry).

    Args:
        chord: (...) [m]
        rise: (...) [m] of the arc over the middle of its chord

    Returns:
        (...) [m]

    Valid range: chord 1 mm to 0.5 m, rise 1 um to half the chord, radius 50 mm to 100 m.

    Raises:
        RangeError: outside it.
    """
    width, high = require("chord", chord, *CHORD), require("rise", rise, 1e-6, 0.25, "m")
    require("rise over chord", high / width, 0.0, 0.5, "")
    return require("radius", width**2 / (8.0 * high) + 0.5 * high, *RADIUS)


def string_places(spread: ArrayLike, diameter: ArrayLike, equal: str = "centres") -> Array:
    """Places of the strings across nut or bridge, from the first to the last centre (derived here).

    Equal "centres": all centre distances are the same. Equal "gaps": all free distances between neighbouring edges are,
    so that thick strings lie further apart.

    Args:
        spread: (...) [m] first centre to last centre
        diameter: (..., S) [m] of the strings in order
        equal: "centres" or "gaps"

    Returns:
        (..., S) [m] z, the first string at -spread/2, the last at +spread/2.

    Valid range: spread 1 mm to 0.2 m, two strings or more, gaps that stay open.

    Raises:
        RangeError: outside it.
    """
    width, wire = require("spread", spread, 1e-3, 0.2, "m")[..., None], require("diameter", diameter, 1e-5, 0.01, "m")
    require("number of strings", wire.shape[-1] if wire.ndim else 1, 2.0, 24.0, "")
    steps = 0.5 * (wire[..., 1:] + wire[..., :-1])
    if choose("equal", equal, EQUAL) == "centres":
        steps = np.zeros_like(steps)
    gap = require("gap between strings", (width - steps.sum(axis=-1, keepdims=True)) / steps.shape[-1], 1e-5, 0.2, "m")
    far = np.cumsum(steps + gap, axis=-1)
    return np.concatenate([np.zeros_like(far[..., :1]), far], axis=-1) - 0.5 * width
