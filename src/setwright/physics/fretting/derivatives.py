"""How the cents of every held string answer every input: exact derivatives of `fretted_notes` (derived here).

d ln f = -(1 + 2g)/L dL + (EA (1/2 - g)/(T l0) + 1/(2P)) dP + ..., with L the speaking length, P the path with the dead
part, l0 the unstretched length and g = d ln f / d ln B. Lengths change by the unit vectors along their segments. The
hull is smooth in its points: a crown begins to count from zero where the string begins to lie on it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike

from setwright.frozen import frozen
from setwright.physics._ranges import Array, choose
from setwright.physics.fretting.notes import Wires, stiffness_gain
from setwright.physics.fretting.path import Layout, Trace, columns, trace
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.physics.strings import END_SLOPE, ENDS, partial

HELD = ("pegs", "pitch")


@frozen
class Slopes:
    """Derivatives of the cents of every note, (..., S, N), in cents per unit of the input."""

    nut_x: Array  # per m
    nut_y: Array  # per m
    saddle_x: Array  # per m
    saddle_y: Array  # per m
    aside: Array  # per m
    crown_x: Array  # (..., S, N, N) per m: last axis the crown, the one before it the note
    crown_y: Array  # (..., S, N, N) per m
    place: Array  # per 1
    depth: Array  # per m
    axial: Array  # per N
    bending: Array  # per N m2
    unit_mass: Array  # per kg/m
    dead: Array  # per m
    unstretched: Array  # per m; 0 when the open strings are held at their pitch
    hertz: Array  # per Hz of the open string, held at its pitch; 0 when the pegs are held


@dataclass
class _Ways:
    """Derivatives of speaking length and path by one input; lengths in m."""

    speaking: Array | float
    path: Array | float


def slopes(
    given: Layout,
    strings: Wires,
    place: ArrayLike = 0.7,
    depth: ArrayLike = 0.0,
    ends: str = "pinned",
    held: str = "pitch",
    relative: bool = True,
) -> Slopes:
    """Derivatives of the cents of `fretted_notes` by every input.

    Args:
        given: contacts of nut, crowns and saddle
        strings: the strings with their unstretched lengths
        place: (..., S, N) [1] finger's share of the way from the fret behind to the fret held
        depth: (..., S, N) [m] finger below the line over these two crowns
        ends: "pinned", "clamped" or "clamped-pinned"
        held: "pegs": unstretched lengths stay; "pitch": each open string is brought back to its pitch
        relative: cents from the open string's own pitch; else from a reference that stays

    Returns:
        The derivatives. Where the finger lies on the line of the sounding string, `depth` has none.

    Valid range: as `fretted_notes`.

    Raises:
        RangeError: outside it.
    """
    choose("ends", ends, ENDS)
    choose("held", held, HELD)
    shape = np.broadcast_shapes(given.shape[:-1], *(np.shape(v) for v in vars(strings).values()))
    given = replace(given, nut_x=np.broadcast_to(given.nut_x, shape))
    many = int(np.prod(shape))
    cut = {f.name: np.broadcast_to(getattr(strings, f.name), shape).reshape(many) for f in fields(Wires)}
    pieces: list[dict[str, Array]] = []
    aside = np.broadcast_to(given.aside, shape).reshape(many)
    for piece, c in columns(given, place, depth):
        t = trace(c)
        wire = Wires(**{name: value[piece] for name, value in cut.items()})
        pieces.append(_of_piece(t, wire, aside[piece], ends, held == "pitch", relative))
    joined = {name: np.concatenate([p[name] for p in pieces], axis=-1) for name in pieces[0]}
    return Slopes(**{name: np.moveaxis(v, -1, 0).reshape(*shape, *v.shape[:-1]) for name, v in joined.items()})


def _of_piece(t: Trace, wire: Wires, aside: Array, ends: str, tuned: bool, relative: bool) -> dict[str, Array]:
    """Slopes of one piece, strings last."""
    c, k = t.c, END_SLOPE[ends]
    run, rise = c.saddle_x - c.x[0], c.saddle_y - c.y[0]
    length = np.sqrt(run * run + rise * rise + aside * aside)
    still = {
        "nut_x": _Ways(-run / length, -run / length),
        "nut_y": _Ways(-rise / length, -rise / length),
        "saddle_x": _Ways(run / length, run / length),
        "saddle_y": _Ways(rise / length, rise / length),
        "aside": _Ways(aside / length, aside / length),
    }
    low, low_wire, low_peg = _logs(still, length, length + wire.dead, wire, k)
    high, high_wire, high_peg = _logs(_ways(t, aside), t.speaking, t.speaking + t.behind + wire.dead, wire, k)
    share = high_peg / low_peg  # with the open pitch held, the unstretched length makes up for the open string
    out = {}
    for name, value in (high | high_wire).items():
        base = low.get(name, low_wire.get(name, 0.0))
        out[name] = value - (share * base if tuned else base if relative else 0.0)
    hertz = partial(1, _tension(length + wire.dead, wire), length, wire.unit_mass, wire.axial, wire.bending, ends)
    zero = np.zeros_like(share)
    out["unstretched"] = zero if tuned else high_peg - (low_peg if relative else 0.0)
    out["hertz"] = (share - (1.0 if relative else 0.0)) / hertz if tuned else zero
    return {name: CENTS_PER_LOG * (value + zero) for name, value in out.items()}


def _tension(path: Array, wire: Wires) -> Array:
    return np.asarray(wire.axial * (path - wire.unstretched) / wire.unstretched)


def _logs(
    ways: dict[str, _Ways], speaking: Array, path: Array, wire: Wires, k: float
) -> tuple[dict[str, Array], dict[str, Array], Array]:
    """Derivatives of ln f by the contacts, by the string's own fields, and by the unstretched length."""
    tension = _tension(path, wire)
    gain = stiffness_gain(np.pi**2 * wire.bending / (tension * speaking**2), k)
    stiffest = 0.5 * np.pi**2 / (tension * speaking**2)  # a flexible string: the slope at B = 0, pinned
    per_speaking = -(1.0 + 2.0 * gain) / speaking
    per_path = wire.axial * (0.5 - gain) / (tension * wire.unstretched) + 0.5 / path
    places = {name: _joined(per_speaking, per_path, w) for name, w in ways.items()}
    own = {
        "dead": per_path,
        "axial": (0.5 - gain) / wire.axial,
        "bending": np.where(wire.bending > 0.0, gain / np.where(wire.bending > 0.0, wire.bending, 1.0), stiffest),
        "unit_mass": -0.5 / wire.unit_mass + 0.0 * gain,
    }
    return places, own, np.asarray(-path / wire.unstretched * per_path)


def _joined(per_speaking: Array, per_path: Array, way: _Ways) -> Array:
    if np.ndim(way.path) > per_path.ndim:  # one for every pair of note and crown
        per_speaking, per_path = per_speaking[:, None], per_path[:, None]
    return np.asarray(per_speaking * way.speaking + per_path * way.path)


def _ways(t: Trace, aside: Array) -> dict[str, _Ways]:
    """How speaking length and path of the held strings answer the contacts and the finger."""
    c = t.c
    k2, held_x, held_y = c.spread2, c.x[1:], c.y[1:]
    run, rise = c.saddle_x - held_x, c.saddle_y - held_y
    along, up = run * k2 / t.speaking, rise / t.speaking
    front_x, front_y = unit(held_x - t.finger_x, held_y - t.finger_y, k2)
    last_x, last_y = c.x.ravel().take(t.last), c.y.ravel().take(t.last)
    rear_x, rear_y = unit(t.finger_x - last_x, t.finger_y - last_y, k2)
    by_x, by_y = _hull_ways(t, rear_x, rear_y)
    # the path by the finger point, and the finger point by the contacts
    pull_x, pull_y = rear_x - front_x, rear_y - front_y
    steep, reach = rise / run, held_x - t.finger_x
    lifted = t.lifted
    at = np.arange(held_x.shape[0])
    by_x[at, at + 1] += front_x - along
    by_y[at, at + 1] += front_y - up
    step = held_x - c.x[:-1]
    down = np.where(lifted, steep, 0.0)  # finger's y per its x along the sounding string
    to_finger = pull_x + pull_y * down
    by_x[at, at + 1] += to_finger * c.place + np.where(lifted, -pull_y * steep * (1.0 + reach / run), 0.0)
    by_x[at, at] += to_finger * (1.0 - c.place)
    by_y[at, at + 1] += pull_y * np.where(lifted, 1.0 + reach / run, c.place)
    by_y[at, at] += pull_y * np.where(lifted, 0.0, 1.0 - c.place)
    saddle_x = along + np.where(lifted, pull_y * steep * reach / run, 0.0)
    saddle_y = up - np.where(lifted, pull_y * reach / run, 0.0)
    # a string that runs aside: its spread changes with nut and saddle
    span = c.saddle_x - c.x[0]
    spread = aside / span**2
    speaking_k = 0.5 * run**2 / t.speaking
    path_k = speaking_k + _spread_ways(t)
    wider = -2.0 * aside * spread / span
    own_x, own_y = np.zeros((2, *by_x[:, 1:].shape))
    own_x[at, at], own_y[at, at] = -along, -up
    return {
        "nut_x": _Ways(-speaking_k * wider, by_x[:, 0] - path_k * wider),
        "nut_y": _Ways(0.0, by_y[:, 0]),
        "saddle_x": _Ways(along + speaking_k * wider, saddle_x + path_k * wider),
        "saddle_y": _Ways(up, saddle_y),
        "aside": _Ways(speaking_k * 2.0 * spread, path_k * 2.0 * spread),
        "crown_x": _Ways(own_x, by_x[:, 1:]),
        "crown_y": _Ways(own_y, by_y[:, 1:]),
        "place": _Ways(0.0, pull_x * step + pull_y * np.where(lifted, steep * step, held_y - c.y[:-1])),
        "depth": _Ways(0.0, np.where(lifted, 0.0, -pull_y)),
    }


def unit(dx: Array, dy: Array, k2: Array) -> tuple[Array, Array]:
    """Derivatives of a segment's length by its far end; 0 for a segment without length.

    Args:
        dx: (...) [m] far end less near end
        dy: (...) [m]
        k2: (...) [1] squared length per x of a string that runs aside

    Returns:
        (...) [1] by x, and (...) [1] by y.
    """
    size = np.sqrt(dx * dx * k2 + dy * dy)
    safe = np.where(size > 0.0, size, np.inf)
    return dx * k2 / safe, dy / safe


def _hull_ways(t: Trace, rear_x: Array, rear_y: Array) -> tuple[Array, Array]:
    """(N, N + 1, m) derivatives of the path behind the finger by every contact it touches, nut first."""
    c = t.c
    rows, wide = rear_x.shape
    by_x, by_y = np.zeros((2, rows, rows + 1, wide))
    note, column = np.broadcast_to(np.arange(rows)[:, None], rear_x.shape), np.arange(wide)
    at, from_x, from_y = t.last, rear_x, rear_y
    x, y, chain = c.x.ravel(), c.y.ravel(), t.link.ravel()
    while True:
        before = chain.take(at)
        ux, uy = unit(x.take(at) - x.take(before), y.take(at) - y.take(before), c.spread2)
        by_x[note, at // wide, column] += ux - from_x
        by_y[note, at // wide, column] += uy - from_y
        if (before == at).all():
            return by_x, by_y
        at, from_x, from_y = before, ux, uy


def _spread_ways(t: Trace) -> Array:
    """(N, m) derivative of the path behind the fret by the squared spread of a string that runs aside."""
    c = t.c
    x, y, chain = c.x.ravel(), c.y.ravel(), t.link.ravel()

    def part(dx: Array, dy: Array) -> Array:
        size = np.sqrt(dx * dx * c.spread2 + dy * dy)
        return np.asarray(0.5 * dx * dx / np.where(size > 0.0, size, np.inf))

    at = t.last
    total = part(c.x[1:] - t.finger_x, c.y[1:] - t.finger_y) + part(t.finger_x - x.take(at), t.finger_y - y.take(at))
    while (at >= c.x.shape[1]).any():
        before = chain.take(at)
        total = total + part(x.take(at) - x.take(before), y.take(at) - y.take(before))
        at = before
    return total
