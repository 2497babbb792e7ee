"""Every stop against every fret ahead of it: clearance, least clearance, lowest saddle, hardest pluck.

Arrays: S strings, N stops (0 the nut slot, n the crown of fret n), leading axes free: an ensemble is one more axis. A
pair without a fret ahead holds inf, so that a minimum over the last axes needs no mask.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from setwright.errors import RangeError
from setwright.frozen import frozen
from setwright.physics._ranges import Array, require
from setwright.physics.clearance.envelope import AMPLITUDE, PLACE, dip

Index = NDArray[np.intp]
X = (-1.0, 3.0, "m")
PLUCK = (1e-3, 2.0, "m")
MARGIN = (-5e-3, 5e-3, "m")


@frozen
class Least:
    """Least clearance of every string and where it is."""

    clearance: Array  # (..., S) m; negative: it touches
    stop: Index  # (..., S) number of the stop
    ahead: Index  # (..., S) number of the fret ahead


@frozen
class Sensitivity:
    """Derivative of the least clearance, its pair of frets kept."""

    stops: Array  # (..., S, N) m/m, by the height of every stop
    saddle: Array  # (..., S) m/m, by the height of the saddle
    amplitude: Array  # (..., S) m/m, by the amplitude at the stop of that pair


def places_checked(stop_x: ArrayLike, saddle_x: ArrayLike) -> tuple[Array, Array]:
    """Places along the neck in order, the saddle's with one more axis.

    Args:
        stop_x: (..., N) [m] rising
        saddle_x: (...) [m] beyond the last stop

    Returns:
        (..., N) [m] and (..., 1) [m].

    Valid range: -1 to 3 m, two stops or more.

    Raises:
        RangeError: outside it or out of order.
    """
    x, end = require("x of the stops", stop_x, *X), require("x of the saddle", saddle_x, *X)[..., None]
    if x.ndim == 0 or x.shape[-1] < 2:
        raise RangeError("clearance needs the nut and at least one fret; give two or more stops.")
    if np.any(np.diff(x, axis=-1) <= 0.0) or np.any(x[..., -1:] >= end):
        raise RangeError("stops do not rise from the nut to the saddle; give the nut first, then the frets in order.")
    return x, end


def pair_shares(stop_x: ArrayLike, saddle_x: ArrayLike) -> tuple[Array, NDArray[np.bool_]]:
    """Distance of fret j from stop i as a share of the length from stop i to the saddle, and whether j lies ahead.

    Args:
        stop_x: (..., N) [m] rising
        saddle_x: (...) [m] beyond the last stop

    Returns:
        (..., N, N) [1], 0 where j is not ahead of i, and (N, N) [1] truth.

    Valid range: as `places_checked`.

    Raises:
        RangeError: outside it.
    """
    x, end = places_checked(stop_x, saddle_x)
    ahead = np.triu(np.ones((x.shape[-1],) * 2, dtype=bool), 1)
    share = (x[..., None, :] - x[..., :, None]) / (end - x)[..., None]
    return np.where(ahead, share, 0.0), ahead


def _dips(stop_x: ArrayLike, saddle_x: ArrayLike, pluck: ArrayLike, pulled: str) -> tuple[Array, NDArray[np.bool_]]:
    """Share of the amplitude every pair sees: (..., N, N), and which lie ahead."""
    share, ahead = pair_shares(stop_x, saddle_x)
    x, end = places_checked(stop_x, saddle_x)
    place = require("pluck distance", pluck, *PLUCK)[..., None] / (end - x)
    if np.any(place > PLACE[1]):
        raise RangeError(
            "the pluck lies at or before a stopped fret; give a pluck distance from the saddle shorter than the "
            "shortest speaking length, or fewer stops."
        )
    return dip(share, place[..., None], pulled), ahead


def clearance_map(
    stop_x: ArrayLike,
    stop_y: ArrayLike,
    saddle_x: ArrayLike,
    saddle_y: ArrayLike,
    pluck: ArrayLike,
    amplitude: ArrayLike,
    pulled: str = "away",
) -> Array:
    """Clearance of every string, stopped at every stop i, over every crown j ahead; docs (3), derived here.

    c_ij = y_i + s_ij (y_saddle - y_i) - y_j - a_i dip(s_ij, p_i), s_ij = (x_j - x_i)/(x_saddle - x_i),
    p_i = pluck / (x_saddle - x_i). The string lies straight from its stop to the saddle; relief, fall-away and single
    high frets enter through the heights of the stops.

    Args:
        stop_x: (..., S, N) [m] nut and crowns, rising
        stop_y: (..., S, N) [m] underside of the string on each
        saddle_x: (..., S) [m] of the saddle contact
        saddle_y: (..., S) [m] underside there
        pluck: (..., S) [m] distance of the pluck from the saddle
        amplitude: (..., S, N) [m] displacement at the pluck when stopped there, square to the board
        pulled: "away" from the board, "towards" it, or "either"

    Returns:
        (..., S, N, N) [m] by stop, then fret ahead; inf where none is ahead. Negative: it touches.

    Valid range: places in order within -1 to 3 m, amplitude 0 to 20 mm, pluck nearer the saddle than any stop.

    Raises:
        RangeError: outside it.
    """
    deep, ahead = _dips(stop_x, saddle_x, pluck, pulled)
    share, _ = pair_shares(stop_x, saddle_x)
    y, end = require("height of the stops", stop_y, *X), require("height of the saddle", saddle_y, *X)[..., None, None]
    swing = require("amplitude", amplitude, *AMPLITUDE)
    swing = np.broadcast_to(swing, np.broadcast_shapes(swing.shape, y.shape[-1:]))[..., None]
    start = y[..., :, None]
    clear = start + share * (end - start) - y[..., None, :] - swing * deep
    return np.where(ahead, clear, np.inf)


def least(pairs: ArrayLike) -> Least:
    """Least clearance of every string and the pair of frets it belongs to.

    Args:
        pairs: (..., N, N) [m] from `clearance_map` or `bend_map`

    Returns:
        Least, (...) each.

    Valid range: any clearances above -1 m; inf stands for no fret ahead.

    Raises:
        RangeError: for values that are not a number, or a map without any pair.
    """
    values = require("clearance", pairs, -1.0, np.inf, "m")
    if values.ndim < 2 or values.shape[-1] != values.shape[-2] or not values.shape[-1]:
        raise RangeError("a clearance map has two equal last axes, stop and fret ahead; give it as it was computed.")
    flat = values.reshape(*values.shape[:-2], -1)
    at = flat.argmin(axis=-1)
    lowest = np.take_along_axis(flat, at[..., None], axis=-1)[..., 0]
    if np.any(np.isinf(lowest)):
        raise RangeError("a string has no fret ahead of any stop: there is no least clearance; give more stops.")
    stop, ahead = np.divmod(at, values.shape[-1])
    return Least(lowest, stop, ahead)


def sensitivity(
    found: Least, stop_x: ArrayLike, saddle_x: ArrayLike, pluck: ArrayLike, pulled: str = "away"
) -> Sensitivity:
    """Derivative of the least clearance by heights and amplitude; docs (4), from (3) with the pair kept.

    By the stop's height 1 - s, by the saddle's s, by the height of the crown ahead -1, by the amplitude -dip. Where two
    pairs are equally close the derivative of one of them is given.

    Args:
        found: from `least`
        stop_x: (..., S, N) [m]
        saddle_x: (..., S) [m]
        pluck: (..., S) [m] distance of the pluck from the saddle
        pulled: as in `clearance_map`

    Returns:
        Sensitivity.

    Valid range: as `clearance_map`.

    Raises:
        RangeError: outside it.
    """
    deep, _ = _dips(stop_x, saddle_x, pluck, pulled)
    share, ahead = pair_shares(stop_x, saddle_x)
    count = ahead.shape[-1]
    lead = np.broadcast_shapes(found.stop.shape, deep.shape[:-2])
    at = np.broadcast_to(found.stop * count + found.ahead, lead)[..., None]
    s, d = (
        np.take_along_axis(np.broadcast_to(v, (*lead, count, count)).reshape(*lead, -1), at, axis=-1)
        for v in (share, deep)
    )
    number = np.arange(count)
    stops = (1.0 - s) * (number == found.stop[..., None]) - (number == found.ahead[..., None])
    return Sensitivity(stops, s[..., 0], -d[..., 0])


def least_uncertainty(by: Sensitivity, stops: ArrayLike, saddle: ArrayLike, amplitude: ArrayLike) -> Array:
    """Standard uncertainty of the least clearance from independent ones: JCGM 100:2008, 5.1.2 eq. (10).

    Common errors, as of relief, move many stops together: pass those through an ensemble instead.

    Args:
        by: from `sensitivity`
        stops: (..., S, N) [m] standard uncertainty of every stop's height
        saddle: (..., S) [m] of the saddle's height
        amplitude: (..., S) [m] of the amplitude

    Returns:
        (..., S) [m]

    Valid range: uncertainties 0 to 10 mm.

    Raises:
        RangeError: outside it.
    """
    limits = (0.0, 0.01, "m")
    crowns = (by.stops * require("uncertainty of the stops", stops, *limits)) ** 2
    end = by.saddle * require("uncertainty of the saddle", saddle, *limits)
    swing = by.amplitude * require("uncertainty of the amplitude", amplitude, *limits)
    combined: Array = np.sqrt(crowns.sum(axis=-1) + end**2 + swing**2)
    return combined


def rise_to_clear(pairs: ArrayLike, stop_x: ArrayLike, saddle_x: ArrayLike, margin: ArrayLike = 0.0) -> Least:
    """Rise of the saddle that leaves just the wanted clearance everywhere; docs (5), closed form, derived here.

    Clearance of a pair grows by s per rise of the saddle, so r = max (margin - c_ij)/s_ij. Negative: so much lower is
    still clean. The saddle's own way back and forth and the change of tension are left out.

    Args:
        pairs: (..., S, N, N) [m] from `clearance_map` or `bend_map`, saddle as it is now
        stop_x: (..., S, N) [m]
        saddle_x: (..., S) [m]
        margin: (...) [m] clearance to keep, broadcast to (..., S)

    Returns:
        Least: `clearance` (..., S) [m] is the rise, stop and ahead the pair that decides.

    Valid range: margin within 5 mm; else as `clearance_map`.

    Raises:
        RangeError: outside it.
    """
    share, ahead = pair_shares(stop_x, saddle_x)
    values = require("clearance", pairs, -1.0, np.inf, "m")
    keep = require("margin", margin, *MARGIN)[..., None, None]
    spare = np.where(ahead, (values - keep) / np.where(ahead, share, 1.0), np.inf)
    found = least(np.maximum(spare, -1.0))
    return Least(-found.clearance, found.stop, found.ahead)


def hardest_pluck(
    pairs: ArrayLike,
    stop_x: ArrayLike,
    saddle_x: ArrayLike,
    pluck: ArrayLike,
    per_strength: ArrayLike = 1.0,
    margin: ArrayLike = 0.0,
    pulled: str = "away",
) -> Least:
    """Greatest strength that stays clean at every stop; docs (6), closed form: min (c_ij - margin)/(dip per_strength).

    Args:
        pairs: (..., S, N, N) [m] clearances AT REST, amplitude zero
        stop_x: (..., S, N) [m]
        saddle_x: (..., S) [m]
        pluck: (..., S) [m] distance of the pluck from the saddle
        per_strength: (..., S, N) [m per unit of strength] amplitude per stop: 1 for a strength given as displacement,
            `pluck_amplitude` of 1 N for one given as force
        margin: (...) [m] clearance to keep, broadcast to (..., S)
        pulled: as in `clearance_map`

    Returns:
        Least: `clearance` (..., S) is the strength [m] or [N], 0 where a string touches at rest.

    Valid range: per_strength 1e-6 to 1; else as `clearance_map`.

    Raises:
        RangeError: outside it.
    """
    deep, ahead = _dips(stop_x, saddle_x, pluck, pulled)
    values = require("clearance at rest", pairs, -1.0, np.inf, "m")
    per = require("amplitude per strength", per_strength, 1e-6, 1.0, "")
    per = np.broadcast_to(per, np.broadcast_shapes(per.shape, ahead.shape[-1:]))[..., None]
    spare = np.maximum(values - require("margin", margin, *MARGIN)[..., None, None], 0.0)
    return least(np.where(ahead, spare / np.where(ahead, deep * per, 1.0), np.inf))
