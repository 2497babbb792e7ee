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
from numpy.typing import ArrayLike, NDArray

from setwright.errors import RangeError
from setwright.physics._ranges import Array, require
from setwright.physics.frets import PLACE

Mask = NDArray[np.bool_]
Index = NDArray[np.intp]

CHUNK = 2048  # strings worked at a time: the kernel's arrays stay in the second-level cache
SHARE = (0.0, 1.0, "")
DEPTH = (0.0, 5e-3, "m")
CLOSEST = 1e-3  # m, least distance between neighbouring contacts along the string


@dataclass(frozen=True)
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


@dataclass(frozen=True)
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
    finger_x: Array  # (N, m)
    finger_y: Array  # (N, m)
    lifted: Mask  # (N, m) finger on the line of the sounding string, not `depth` below the crowns
    last: Index  # (N, m) flat index of the crown (or nut) the string touches next behind the finger
    link: Index  # (N + 1, m) flat index of the contact before each crown on the hull that ends there
    speaking: Array  # (N, m)
    behind: Array  # (N, m)


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


def hull_links(x: Array, y: Array) -> Index:
    """For every point the one before it on the upper hull of all points up to it.

    A point that stands higher, as seen from the first one, than all before it links to the first. Every other point
    starts at its neighbour and jumps on to that one's own link while this lies higher as seen from it, all points at
    once, until none moves. A jump only leaves out a point below a chord, so the fixed point is the hull whatever the
    order; links of links make the jumps double, hence few passes.

    Args:
        x: (P, m) [m] rising along the first axis
        y: (P, m) [m]

    Returns:
        (P, m) [1] flat index into the raveled arrays; the first row links to itself.
    """
    rows, wide = x.shape
    seen = (y[1:] - y[0]) / (x[1:] - x[0])
    at = np.flatnonzero(seen < np.maximum.accumulate(seen, axis=0)) + wide
    links = np.tile(np.arange(wide), rows)
    fx, fy = x.ravel(), y.ravel()
    here_x, here_y, mid = fx.take(at), fy.take(at), at - wide
    rise = (fy.take(mid) - here_y) / (here_x - fx.take(mid))
    links[at] = mid
    while at.size:
        far = links.take(mid)
        ahead = (fy.take(far) - here_y) / (here_x - fx.take(far))
        better = ahead > rise
        if not better.any():
            break
        mid, rise = np.where(better, far, mid), np.maximum(rise, ahead)
        links[at] = mid
    return links.reshape(rows, wide)


def _tangent(x: Array, y: Array, link: Index, finger_x: Array, finger_y: Array) -> Index:
    """Flat index of the hull point next behind every finger: along the hull of the crowns behind while it rises."""
    rows, wide = finger_x.shape
    fx, fy, chain = x.ravel(), y.ravel(), link.ravel()
    last = np.arange(rows * wide)
    here_x, here_y = finger_x.ravel(), finger_y.ravel()
    with np.errstate(divide="ignore", invalid="ignore"):  # a finger upon the fret behind: rise is inf or nan
        rise = (fy[: rows * wide] - here_y) / (here_x - fx[: rows * wide])
    going: Index | slice = slice(None)
    at = last
    while True:
        far = chain.take(at)
        ahead = (fy.take(far) - here_y) / np.maximum(here_x - fx.take(far), np.finfo(float).tiny)
        better = np.flatnonzero((ahead > rise) & (far != at))
        if not better.size:
            return last.reshape(rows, wide)
        going = better if isinstance(going, slice) else going[better]
        at, rise, here_x, here_y = far[better], ahead[better], here_x[better], here_y[better]
        last[going] = at


def _lengths_to(x: Array, y: Array, link: Index, spread2: Array) -> Array:
    """(P, m) length of the hull from the nut to every crown: sums along the links, doubled at each pass."""
    flat = link.ravel()
    length = np.sqrt((x - x.ravel().take(link)) ** 2 * spread2 + (y - y.ravel().take(link)) ** 2)
    wide = x.shape[1]
    while flat.max() >= wide:
        length = length + length.ravel().take(flat).reshape(length.shape)
        flat = flat.take(flat)
    return length


def trace(c: Columns) -> Trace:
    """Find the path of every held string of a piece (derived here; see the head of this module).

    Args:
        c: the piece

    Returns:
        Its path.
    """
    x, y, k2 = c.x, c.y, c.spread2
    held_x, held_y, back_x, back_y = x[1:], y[1:], x[:-1], y[:-1]
    run = c.saddle_x - held_x
    speaking = np.sqrt(run * run * k2 + (c.saddle_y - held_y) ** 2)
    finger_x = back_x + c.place * (held_x - back_x)
    on_crowns = back_y + c.place * (held_y - back_y) - c.depth
    on_string = held_y - (c.saddle_y - held_y) * (held_x - finger_x) / run
    lifted = on_string < on_crowns
    finger_y = np.minimum(on_crowns, on_string)
    link = hull_links(x, y)
    last = _tangent(x, y, link, finger_x, finger_y)
    front = np.sqrt((held_x - finger_x) ** 2 * k2 + (held_y - finger_y) ** 2)
    rear = np.sqrt((finger_x - x.ravel().take(last)) ** 2 * k2 + (finger_y - y.ravel().take(last)) ** 2)
    behind = front + rear + _lengths_to(x, y, link, k2).ravel().take(last)
    return Trace(c, finger_x, finger_y, lifted, last, link, speaking, behind)


def choked(c: Columns) -> Mask:
    """Notes whose sounding string a crown ahead would carry: seen from the saddle, a later crown stands higher.

    Args:
        c: the piece

    Returns:
        (N, m) truth.
    """
    slope = (c.y[1:] - c.saddle_y) / (c.saddle_x - c.x[1:])
    ahead = np.maximum.accumulate(slope[::-1], axis=0)[::-1]
    return np.asarray(ahead > slope)


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
        finger_x[piece], finger_y[piece], stopped[piece] = t.finger_x.T, t.finger_y.T, choked(c).T
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
