"""Where saddle and nut belong: the questions asked backwards of `fretted_notes` (derived here).

Set-backs count from the given layout. A saddle set back moves away from the nut and flattens the held notes; a nut set
back moves away from the bridge, so a compensated nut, nearer to the bridge, has a set-back below zero. Heights stay,
and each open string is brought back to its pitch.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.errors import RangeError
from setwright.frozen import frozen
from setwright.physics._ranges import Array, choose, require
from setwright.physics.fretting.derivatives import slopes
from setwright.physics.fretting.notes import Notes, Wires, at_pitch, fretted_notes, open_partial
from setwright.physics.fretting.path import Layout, layout

AGAINST = ("harmonic", "open")
FARTHEST = 0.03  # m, set-backs beyond this are no set-up
ROUNDS = 30
SETTLED = 1e-12  # m


@frozen
class SetBack:
    """Answer of the inverse problems."""

    saddle: Array  # (..., S) m, > 0 away from the nut
    nut: Array  # (..., S) m, > 0 away from the bridge; 0 when the nut stays
    layout: Layout  # with saddle and nut moved
    strings: Wires  # brought back to pitch there
    notes: Notes  # what is then left
    rms: Array  # (..., S) cents, root of the weighted mean square over the frets that were asked for


def moved(given: Layout, saddle: ArrayLike, nut: ArrayLike = 0.0) -> Layout:
    """Layout with saddles and nut set back.

    Args:
        given: the layout
        saddle: (..., S) [m] > 0 away from the nut
        nut: (..., S) [m] > 0 away from the bridge

    Returns:
        The moved layout.

    Valid range: within 30 mm, contacts in order.

    Raises:
        RangeError: outside it.
    """
    back = require("set-back of the saddle", saddle, -FARTHEST, FARTHEST, "m")
    fore = require("set-back of the nut", nut, -FARTHEST, FARTHEST, "m")
    parts = dict(vars(given))
    return layout(**parts | {"saddle_x": given.saddle_x + back, "nut_x": given.nut_x - fore})


def octave_error(
    given: Layout,
    strings: Wires,
    place: ArrayLike = 0.7,
    depth: ArrayLike = 0.0,
    ends: str = "pinned",
    against: str = "harmonic",
) -> Array:
    """Octave error: the string held at fret 12 against the 12th-fret harmonic or against the open string's octave.

    The harmonic is the second partial of the open string, by stiffness a little more than an octave above the first.

    Args:
        given: the layout, with at least 12 frets
        strings: the strings with their unstretched lengths
        place: (..., S, N) [1] place of the finger
        depth: (..., S, N) [m] depth of the finger
        ends: "pinned", "clamped" or "clamped-pinned"
        against: "harmonic" or "open"

    Returns:
        (..., S) [cent] sharp > 0.

    Valid range: as `fretted_notes`.

    Raises:
        RangeError: outside it.
    """
    _has_octave(given)
    error = fretted_notes(given, strings, place, depth, ends).cents[..., 11]
    if choose("against", against, AGAINST) == "open":
        return error
    second, first = (open_partial(given, strings, n, ends) for n in (2, 1))
    return np.asarray(error - 1200.0 * np.log2(second / (2.0 * first)))


def octave_sensitivity(
    given: Layout, strings: Wires, place: ArrayLike = 0.7, depth: ArrayLike = 0.0, ends: str = "pinned"
) -> Array:
    """Change of the octave error per set-back of the saddle, the open string brought back to pitch; below zero.

    Near -1200 / (ln 2 L): -2.67 cents per mm at 648 mm.

    Args:
        given: the layout, with at least 12 frets
        strings: the strings with their unstretched lengths
        place: (..., S, N) [1] place of the finger
        depth: (..., S, N) [m] depth of the finger
        ends: "pinned", "clamped" or "clamped-pinned"

    Returns:
        (..., S) [cent/m]

    Valid range: as `fretted_notes`.

    Raises:
        RangeError: outside it.
    """
    _has_octave(given)
    return slopes(given, strings, place, depth, ends).saddle_x[..., 11]


def setback_for_octave(
    given: Layout,
    strings: Wires,
    hertz: ArrayLike,
    place: ArrayLike = 0.7,
    depth: ArrayLike = 0.0,
    ends: str = "pinned",
    against: str = "harmonic",
) -> SetBack:
    """Saddle set-back at which the octave error is zero.

    Args:
        given: the layout, with at least 12 frets
        strings: the strings
        hertz: (..., S) [Hz] open pitches, kept
        place: (..., S, N) [1] place of the finger
        depth: (..., S, N) [m] depth of the finger
        ends: "pinned", "clamped" or "clamped-pinned"
        against: "harmonic" or "open"

    Returns:
        The set-back; its `rms` is over all frets.

    Valid range: set-backs within 30 mm.

    Raises:
        RangeError: outside it.
    """
    _has_octave(given)
    choose("against", against, AGAINST)
    saddle = np.zeros(given.shape[:-1])
    for _ in range(ROUNDS):
        here = moved(given, saddle)
        wound = at_pitch(here, strings, hertz, ends)
        error = octave_error(here, wound, place, depth, ends, against)
        step = -error / octave_sensitivity(here, wound, place, depth, ends)
        saddle = saddle + step
        if np.all(np.abs(step) < SETTLED):
            break
    ones = np.ones(given.shape[-1])
    return _answer(given, strings, hertz, saddle, np.zeros_like(saddle), ones, (place, depth, ends))


def best_setback(
    given: Layout,
    strings: Wires,
    hertz: ArrayLike,
    weights: ArrayLike | None = None,
    nut: bool = False,
    place: ArrayLike = 0.7,
    depth: ArrayLike = 0.0,
    ends: str = "pinned",
) -> SetBack:
    """Set-back of the saddle, and of the nut if asked, with the least weighted sum of squared cents errors.

    Gauss-Newton from the layout as given; the errors are nearly straight in the set-backs, so few rounds do.

    Args:
        given: the layout
        strings: the strings
        hertz: (..., S) [Hz] open pitches, kept
        weights: (N) or (..., S, N) [1] of the frets; left out, all count alike from fret 1, or with the nut free from
            fret 2, as the note next to a compensated nut cannot be met together with the others
        nut: whether the nut moves too
        place: (..., S, N) [1] place of the finger
        depth: (..., S, N) [m] depth of the finger
        ends: "pinned", "clamped" or "clamped-pinned"

    Returns:
        The set-backs, in `rms` the error left over the weighted frets.

    Valid range: weights 0 to 1e6, at least as many frets above zero as unknowns; set-backs within 30 mm.

    Raises:
        RangeError: outside it.
    """
    frets = np.arange(1, given.shape[-1] + 1)
    heft = require("weights", frets >= (2 if nut else 1) if weights is None else weights, 0.0, 1e6, "")
    if np.any((np.broadcast_to(heft, given.shape) > 0.0).sum(axis=-1) < (2 if nut else 1)):
        raise RangeError("too few frets have a weight above zero for what is to be found; give weight to more frets.")
    saddle, back = np.zeros((2, *given.shape[:-1]))
    for _ in range(ROUNDS):
        here = moved(given, saddle, back)
        wound = at_pitch(here, strings, hertz, ends)
        error = fretted_notes(here, wound, place, depth, ends).cents
        by = slopes(here, wound, place, depth, ends)
        step, more = _least_squares(error, by.saddle_x, -by.nut_x, heft, nut)
        saddle, back = saddle + step, back + more
        if np.all(np.maximum(np.abs(step), np.abs(more)) < SETTLED):
            break
    return _answer(given, strings, hertz, saddle, back, heft, (place, depth, ends))


def _least_squares(error: Array, a: Array, b: Array, heft: Array, both: bool) -> tuple[Array, Array]:
    """Steps that remove most of the weighted error, by the normal equations."""
    aa, ae = (heft * a * a).sum(-1), (heft * a * error).sum(-1)
    if not both:
        return -ae / aa, np.zeros_like(ae)
    ab, bb, be = (heft * a * b).sum(-1), (heft * b * b).sum(-1), (heft * b * error).sum(-1)
    whole = aa * bb - ab * ab
    return (ab * be - bb * ae) / whole, (ab * ae - aa * be) / whole


def _answer(
    given: Layout,
    strings: Wires,
    hertz: ArrayLike,
    saddle: Array,
    nut: Array,
    heft: Array,
    how: tuple[ArrayLike, ArrayLike, str],
) -> SetBack:
    here = moved(given, saddle, nut)
    wound = at_pitch(here, strings, hertz, how[2])
    notes = fretted_notes(here, wound, *how)
    share = np.broadcast_to(heft, notes.cents.shape)
    rms = np.sqrt((share * notes.cents**2).sum(-1) / share.sum(-1))
    return SetBack(saddle, nut, here, wound, notes, rms)


def _has_octave(given: Layout) -> None:
    if given.shape[-1] < 12:
        raise RangeError(f"the layout ends at fret {given.shape[-1]}; the octave needs fret 12: give more crowns.")
