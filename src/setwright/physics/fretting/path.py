"""The path of a held string, exactly: nut, the crowns it lies on, the finger, the crown it is held at, the saddle.

Behind the finger the string is taut: it is the upper hull of nut, crowns and finger point, so it passes through no
crown and lifts off every crown below the chord. All contacts are undersides, or all lie on the string's centre line
(half a diameter higher): the path is the same. A string whose nut and saddle differ in z runs straight across.

Inside, arrays are laid out (N, m): frets first, strings of all instruments last, so that inner loops are long.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from setwright.errors import RangeError
from setwright.frozen import frozen
from setwright.physics._ranges import Array, require
from setwright.physics.frets import PLACE
from setwright.physics.fretting.hulls import Hulls, Index, Mask, running, segment, upper_hulls

CHUNK = 3072  # strings worked at a time: fewer pay more for calls, more leave the cache
SHARE = (0.0, 1.0, "")
DEPTH = (0.0, 5e-3, "m")
CLOSEST = 1e-3  # m, least distance between neighbouring contacts along the string


@frozen
class Layout:
    """Contacts of every string in one frame: x from nut to saddle, y up. N frets, the first is fret 1."""

    nut_x: Array  # (..., S) m
    nut_y: Array  # (..., S) m
    crown_x: Array  # (..., S, N) m
    crown_y: Array  # (..., S, N) m, under that string
    saddle_x: Array  # (..., S) m
    saddle_y: Array  # (..., S) m
    aside: Array  # (..., S) m, nut z minus saddle z

    @property
    def shape(self) -> tuple[int, ...]:
        """(..., S, N) of the notes."""
        ends = (self.nut_x, self.nut_y, self.saddle_x, self.saddle_y, self.aside)
        lead = np.broadcast_shapes(*(np.shape(v) for v in ends), self.crown_x.shape[:-1], self.crown_y.shape[:-1])
        return (*lead, *np.broadcast_shapes(self.crown_x.shape[-1:], self.crown_y.shape[-1:]))


@frozen
class Path:
    """Lengths of every held string."""

    behind: Array  # (..., S, N) m, nut to fret over crowns and finger
    speaking: Array  # (..., S, N) m, fret to saddle
    total: Array  # (..., S, N) m
    open_length: Array  # (..., S) m, nut to saddle
    finger_x: Array  # (..., S, N) m
    finger_y: Array  # (..., S, N) m
    choked: Mask  # (..., S, N) true where a crown ahead stands above the sounding string


def layout(
    nut_x: ArrayLike,
    nut_y: ArrayLike,
    crown_x: ArrayLike,
    crown_y: ArrayLike,
    saddle_x: ArrayLike,
    saddle_y: ArrayLike,
    aside: ArrayLike = 0.0,
) -> Layout:
    """Contacts of every string, checked: nut, frets in order and saddle follow each other along x.

    Args:
        nut_x: (..., S) [m]
        nut_y: (..., S) [m]
        crown_x: (..., S, N) [m] of frets 1 to N
        crown_y: (..., S, N) [m] under each string: neck shape, relief and single fret heights are all in here
        saddle_x: (..., S) [m]
        saddle_y: (..., S) [m]
        aside: (..., S) [m] nut z minus saddle z

    Returns:
        The layout.

    Valid range: places -1 to 3 m, aside within 0.1 m, neighbouring contacts at least 1 mm apart.

    Raises:
        RangeError: outside it.
    """
    made = Layout(
        require("nut x", nut_x, *PLACE),
        require("nut y", nut_y, *PLACE),
        np.atleast_1d(require("crown x", crown_x, *PLACE)),
        np.atleast_1d(require("crown y", crown_y, *PLACE)),
        require("saddle x", saddle_x, *PLACE),
        require("saddle y", saddle_y, *PLACE),
        require("nut z minus saddle z", aside, -0.1, 0.1, "m"),
    )
    first = require("fret 1 beyond the nut", made.crown_x[..., 0] - made.nut_x, CLOSEST, 3.0, "m")
    require("distance of neighbouring frets", np.diff(made.crown_x, axis=-1), CLOSEST, 3.0, "m")
    require("saddle beyond the last fret", made.saddle_x - made.crown_x[..., -1], CLOSEST, 3.0, "m")
    if not first.size or 0 in made.shape:
        raise RangeError("a layout needs at least one string and one fret; give their places.")
    return made


@dataclass
class Columns:
    """A piece of a layout laid out for the kernel: strings of all instruments are the columns."""

    x: Array  # (N + 1, m) m, row 0 is the nut
    y: Array  # (N + 1, m) m
    saddle_x: Array  # (m,) m
    saddle_y: Array  # (m,) m
    spread2: Array  # (m,) 1, squared length per x of a string that runs aside
    place: Array  # (N, m) or (1, 1)
    depth: Array  # (N, m) or (1, 1), m


@dataclass
class Trace:
    """What the kernel finds; lengths in m."""

    c: Columns
    front: Array  # (N, m) finger behind the fret, along the string's own run, not along x
    below: Array  # (N, m) finger below the fret
    off: Index  # flat indices of the notes whose string does not touch the crown next behind the finger
    touched: Index  # flat index of the crown (or nut) each of these touches instead
    link: Index  # (N + 1, m) flat index of the contact before each crown on the hull that ends there
    speaking: Array  # (N, m)
    steep: Array  # (N, m) 1, rise of the sounding string, fret to saddle, along its own run
    behind: Array  # (N, m)

    @property
    def finger_x(self) -> Array:
        """(N, m) [m]"""
        return np.asarray(self.c.x[1:] - self.front / np.sqrt(self.c.spread2))

    @property
    def finger_y(self) -> Array:
        """(N, m) [m]"""
        return self.c.y[1:] - self.below

    @property
    def lifted(self) -> Mask:
        """(N, m) finger on the line of the sounding string, not `depth` below the crowns."""
        climb = (self.c.y[1:] - self.c.y[:-1]) * (1.0 - self.c.place)
        return np.asarray(self.steep * self.front > climb + self.c.depth)

    @property
    def last(self) -> Index:
        """(N, m) flat index of the crown (or nut) the string touches next behind the finger."""
        out = np.arange(self.behind.size)
        out[self.off] = self.touched
        return out.reshape(self.behind.shape)


def columns(given: Layout, place: ArrayLike, depth: ArrayLike) -> Iterator[tuple[slice, Columns]]:
    """Cut a layout into pieces for the kernel.

    Args:
        given: the layout
        place: (..., S, N) [1] finger's share of the way from the fret behind to the fret held
        depth: (..., S, N) [m] finger below the line over these two crowns

    Returns:
        Pairs of the strings meant (slice of the flattened leading axes) and their columns.

    Valid range: place 0 to 1, depth 0 to 5 mm.

    Raises:
        RangeError: outside it.
    """
    share, below = require("place of the finger", place, *SHARE), require("depth of the finger", depth, *DEPTH)
    shape = given.shape
    lead, count = shape[:-1], shape[-1]
    many = int(np.prod(lead))

    def flat(value: Array) -> Array:
        return np.broadcast_to(value, lead).reshape(many)

    def rows(value: Array) -> Array:
        return np.full((1, 1), value) if value.ndim == 0 else np.broadcast_to(value, shape).reshape(many, count).T

    ends = [flat(v) for v in (given.nut_x, given.nut_y, given.saddle_x, given.saddle_y, given.aside)]
    crown_x, crown_y, share, below = rows(given.crown_x), rows(given.crown_y), rows(share), rows(below)
    for first in range(0, many, CHUNK):
        piece = slice(first, min(first + CHUNK, many))
        nut_x, nut_y, saddle_x, saddle_y, aside = (v[piece] for v in ends)
        x, y = (np.empty((count + 1, nut_x.size)) for _ in range(2))
        x[0], y[0], x[1:], y[1:] = nut_x, nut_y, crown_x[:, piece], crown_y[:, piece]
        spread2 = 1.0 + (aside / (saddle_x - nut_x)) ** 2
        finger = [v if v.shape == (1, 1) else np.ascontiguousarray(v[:, piece]) for v in (share, below)]
        yield piece, Columns(x, y, saddle_x, saddle_y, spread2, *finger)


def _take_off(t: Trace, hulls: Hulls, x: Array) -> Index:
    """What the notes touch that do not touch the crown behind the finger; puts their lengths right in place.

    Along that crown's hull while it rises as seen from the finger; x (N + 1, m) [m] runs along the strings.
    """
    at = t.off
    fx, fy, chain = x.ravel(), t.c.y.ravel(), hulls.link.ravel()
    held = at + x.shape[1]
    front, below = t.front.ravel().take(at), t.below.ravel().take(at)
    finger_x, finger_y = fx.take(held) - front, fy.take(held) - below
    last = chain.take(at)
    going, now, here_x, here_y = np.arange(at.size), last, finger_x, finger_y
    while going.size:
        far = chain.take(now)
        near = (fy.take(now) - here_y) * (here_x - fx.take(far))
        better = np.flatnonzero((fy.take(far) - here_y) * (here_x - fx.take(now)) > near)
        going, now, here_x, here_y = going[better], far[better], here_x[better], here_y[better]
        last[going] = now
    whole = segment(finger_x - fx.take(last), finger_y - fy.take(last))
    whole += segment(front, below)
    whole += hulls.length.ravel().take(last)
    t.behind.ravel()[at] = whole
    return last


def trace(c: Columns, speaking: Array | None = None) -> Trace:
    """Find the path of every held string of a piece (derived here; see the head of this module).

    Args:
        c: the piece
        speaking: (N, m) [m] where to put the speaking lengths; a new array when left out

    Returns:
        Its path.
    """
    spread = np.sqrt(c.spread2)
    x, y = c.x * spread, c.y
    run, rise = c.saddle_x * spread - x[1:], c.saddle_y - y[1:]
    steep = rise / run
    speaking = segment(run, rise, run if speaking is None else speaking)
    step, climb = x[1:] - x[:-1], y[1:] - y[:-1]
    front = step * (1.0 - c.place)
    below = climb * (1.0 - c.place)
    below += c.depth
    drawn_on = steep * front
    np.maximum(below, drawn_on, out=below)
    np.copyto(drawn_on, below)
    behind = segment(front, drawn_on)
    climb -= below
    step *= c.place
    hulls = upper_hulls(x, y)
    line = np.multiply(step[1:], hulls.slope[:-1], out=drawn_on[1:])
    off = np.flatnonzero(climb[1:] > line) + x.shape[1]  # a finger that high takes the string off the crown behind it
    behind += segment(step, climb, step)
    behind += hulls.length[:-1]
    found = Trace(c, front, below, off, off, hulls.link, speaking, steep, behind)
    if off.size:
        found.touched = _take_off(found, hulls, x)
    return found


def choked(t: Trace) -> Mask:
    """Notes whose sounding string a crown ahead would carry: seen from the saddle, a later crown stands higher.

    Args:
        t: the path

    Returns:
        (N, m) truth.
    """
    return np.asarray(running(np.minimum, t.steep[::-1])[::-1] < t.steep)


def held_path(given: Layout, place: ArrayLike = 0.7, depth: ArrayLike = 0.0) -> Path:
    """Path of every string held at every fret (derived here; see the head of this module).

    The finger point lies `depth` below the line over the crowns n - 1 and n (the nut is crown 0), but never above the
    sounding string drawn on behind the fret: the string must at least be held down upon fret n.

    Args:
        given: contacts of nut, crowns and saddle
        place: (..., S, N) [1] finger's share of the way from the fret behind to the fret held
        depth: (..., S, N) [m] finger below the line over these two crowns

    Returns:
        The lengths; notes that a crown ahead would choke are marked, their path goes straight through that crown.

    Valid range: place 0 to 1, depth 0 to 5 mm.

    Raises:
        RangeError: outside it.
    """
    shape = given.shape
    many = int(np.prod(shape[:-1]))
    behind, speaking, finger_x, finger_y = (np.empty((many, shape[-1])) for _ in range(4))
    stopped = np.empty((many, shape[-1]), dtype=np.bool_)
    for piece, c in columns(given, place, depth):
        t = trace(c)
        behind[piece], speaking[piece] = t.behind.T, t.speaking.T
        finger_x[piece], finger_y[piece], stopped[piece] = t.finger_x.T, t.finger_y.T, choked(t).T
    return Path(
        behind.reshape(shape),
        speaking.reshape(shape),
        (behind + speaking).reshape(shape),
        open_length(given),
        finger_x.reshape(shape),
        finger_y.reshape(shape),
        stopped.reshape(shape),
    )


def open_length(given: Layout) -> Array:
    """Straight length of every open string from nut to saddle.

    Args:
        given: contacts of nut and saddle

    Returns:
        (..., S) [m]
    """
    run, rise = given.saddle_x - given.nut_x, given.saddle_y - given.nut_y
    length: Array = np.sqrt(run * run + rise * rise + given.aside * given.aside)
    return np.broadcast_to(length, given.shape[:-1])
