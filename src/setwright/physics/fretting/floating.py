"""Pitch of every held string while plate and neck settle with it.

The string held at fret n is, for the balance, a string whose fixed end is crown n and whose path behind it is one more
piece of string beyond the nut; its unstretched length stays. All else of the rig stays too, so `balance.equilibrium`
from the state of rest gives the answer (derived here). The rig moves that fixed end with the bow as it moves the nut.
What crowns and finger do instead is put right: its moment on the neck by the bow the neck would take without strings,
its length by a share of the dead part for the bow foreseen, and the rest to first order in the little the neck moved
otherwise. Finger and thumb squeeze the neck: together they do not load it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np
from numpy.typing import ArrayLike

from setwright.errors import RangeError
from setwright.frozen import frozen
from setwright.physics._ranges import Array
from setwright.physics.balance import Equilibrium, Rig, equilibrium, pegs_fixed, repeat, take, unstretched_lengths
from setwright.physics.fretting.derivatives import unit
from setwright.physics.fretting.hulls import Mask
from setwright.physics.fretting.path import Layout, Trace, choked, columns, layout, trace
from setwright.physics.pitch import cents
from setwright.physics.strings import first_partial
from setwright.telling import Tell, untold

AT_ONCE = 4096  # notes worked at a time


@frozen
class FloatingNotes:
    """Every string held at every fret on a bridge that gives way."""

    cents: Array  # (B, S, N) from equal temperament above the open string at rest
    tension: Array  # (B, S, N) N
    speaking: Array  # (B, S, N) m
    tilt: Array  # (B, S, N) rad, of the plate while the note is held
    bow: Array  # (B, S, N) 1/m, of the neck while the note is held
    choked: Mask  # (B, S, N) true where a crown ahead would carry the string
    open_hertz: Array  # (B, S) Hz


@frozen
class _Held:
    """The held strings with plate and neck as they rest, and what will be left to put right."""

    crown_x: Array  # (B, S, N) m
    crown_y: Array  # (B, S, N) m
    aside: Array  # (B, S, N) m, fret z minus saddle z
    behind: Array  # (B, S, N) m
    choked: Mask  # (B, S, N)
    path_more: Array  # (B, S, N) m2, true growth of the whole path per bow less that of the rig's string
    speaking_more: Array  # (B, S, N) m2, the same of the speaking length
    bow: Array  # (B, S, N) 1/m, change of bow foreseen
    pull: Array  # (B, S, N) N, tension with plate and neck still


def per_string(value: Array) -> Array:
    """What holds for all strings of a rig alike or for each by itself, to go with strings.

    Args:
        value: (B) or (B, S), in any unit [1]

    Returns:
        (B, 1) or (B, S) in the same unit.
    """
    return value if value.ndim == 2 else value[:, None]


def rig_layout(rig: Rig, rest: Equilibrium, crown_x: ArrayLike, crown_y: ArrayLike) -> Layout:
    """Contacts of a rig at rest, in its own frame: relative to the pivot line, on the strings' centre lines.

    Args:
        rig: (B) rigs
        rest: their state of rest
        crown_x: (B, S, N) [m] crowns as the neck stands at rest, from the pivot line
        crown_y: (B, S, N) [m] crown plus half the string's diameter, from the pivot line

    Returns:
        The layout.

    Valid range: as `path.layout`.

    Raises:
        RangeError: outside it.
    """
    cos, sin, bow = np.cos(rest.tilt)[:, None], np.sin(rest.tilt)[:, None], rest.bow[:, None]
    shape = np.broadcast_shapes((*rig.nut_x.shape, 1), np.shape(crown_x), np.shape(crown_y))
    return layout(
        rig.nut_x + bow * per_string(rig.nut_x_per_bow),
        rig.nut_y + bow * per_string(rig.nut_y_per_bow),
        np.broadcast_to(np.asarray(crown_x, dtype=np.float64), shape),
        np.broadcast_to(np.asarray(crown_y, dtype=np.float64), shape),
        rig.saddle_aft * cos - rig.saddle_up * sin,
        rig.saddle_aft * sin + rig.saddle_up * cos,
        rig.aside,
    )


def fretted_notes_floating(
    rig: Rig,
    rest: Equilibrium,
    crown_x: ArrayLike,
    crown_y: ArrayLike,
    place: ArrayLike = 0.7,
    depth: ArrayLike = 0.0,
    ends: str = "pinned",
    frets: Sequence[int] | None = None,
    load: ArrayLike = 0.0,
    tell: Tell = untold,
) -> FloatingNotes:
    """Cents error of every string at every fret with plate and neck settling (see the head of this module).

    Args:
        rig: (B) rigs, every string taut
        rest: their state of rest
        crown_x: (B, S, N) [m] crowns as the neck stands at rest, from the pivot line
        crown_y: (B, S, N) [m] crown plus half the string's diameter, from the pivot line
        place: (B, S, N) [1] finger's share of the way from the fret behind to the fret held
        depth: (B, S, N) [m] finger below the line over these two crowns
        ends: "pinned", "clamped" or "clamped-pinned"
        frets: [1] numbers of the frets wanted, N of them then; all when left out
        load: (B) [N m] moment that holds the plate at rest and stays, > 0 lifts the rear
        tell: takes the share [1] of the rigs that are worked out, now and then; what it raises ends the work

    Returns:
        The notes.

    Valid range: as `held_path` and `strings.partial`. Within 0.02 cents of the least energy with every corner of the
        string moving as it must.

    Raises:
        RangeError: outside it, or where a string is off or slack at rest.
    """
    if not np.all(rest.tension > 0.0):
        b, s = np.argwhere(~(rest.tension > 0.0))[0]
        raise RangeError(f"string {s + 1} of rig {b} is slack or off; put it on and bring it to pitch before fretting.")
    wound = pegs_fixed(rig, unstretched_lengths(rig, rest))
    held = _at_rest(wound, rest, rig_layout(rig, rest, crown_x, crown_y), place, depth, tell)
    numbers = np.arange(1, held.behind.shape[-1] + 1) if frets is None else np.asarray(frets)
    if frets is not None:
        held = _Held(**{f.name: getattr(held, f.name)[..., numbers - 1] for f in fields(_Held)})
    push = np.broadcast_to(np.asarray(load, dtype=np.float64), rest.tilt.shape)
    found = _settled(wound, rest, held, push, tell)
    mass, axial, bending = (v[..., None] for v in (rig.unit_mass, rig.axial, rig.bending))
    bent = found["bow"] - rest.bow[:, None, None]
    tension = found["tension"] + axial / wound.unstretched[..., None] * held.path_more * (bent - held.bow)
    speaking = found["length"] + held.speaking_more * bent
    hertz = first_partial(tension, speaking, mass, axial, bending, ends)
    open_hertz = first_partial(rest.tension, rest.length, rig.unit_mass, rig.axial, rig.bending, ends)
    off = cents(hertz, open_hertz[..., None]) - 100.0 * numbers
    return FloatingNotes(off, tension, speaking, found["tilt"], found["bow"], held.choked, open_hertz)


def _settled(rig: Rig, rest: Equilibrium, held: _Held, push: Array, tell: Tell) -> dict[str, Array]:
    """(B, S, N) tension, length, tilt and bow with each string held at each fret in turn."""
    batch, count, frets = held.behind.shape
    found = {name: np.empty(held.behind.shape) for name in ("tension", "length", "tilt", "bow")}
    step = max(1, AT_ONCE // (count * frets))
    each = np.arange(count)
    for first in range(0, batch, step):
        piece = slice(first, first + step)
        tell(first / batch)
        many = _held_rigs(take(rig, piece), rest.bow[piece], held, piece)
        state = equilibrium(many, np.tile(push[piece], count * frets), np.tile(rest.tilt[piece], count * frets))
        for name, out in found.items():
            value = getattr(state, name)
            if value.ndim == 2:
                out[piece] = value.reshape(count, frets, -1, count)[each, :, :, each].transpose(2, 0, 1)
            else:
                out[piece] = value.reshape(count, frets, -1).transpose(2, 0, 1)
    return found


def _at_rest(
    rig: Rig,
    rest: Equilibrium,
    given: Layout,
    place: ArrayLike,
    depth: ArrayLike,
    tell: Tell = untold,
) -> _Held:
    """Path of every held string with plate and neck as they rest, and how it answers the bow."""
    shape = given.shape
    many, frets = int(np.prod(shape[:-1])), shape[-1]
    moved = np.stack([per_string(rig.nut_x_per_bow), per_string(rig.nut_y_per_bow)])
    nut = np.broadcast_to(moved, (2, *shape[:-1])).reshape(2, many)
    rates = [v.reshape(many, frets).T for v in crowns_per_bow(rig, given)]
    out = np.empty((5, many, frets))
    stopped = np.empty((many, frets), dtype=np.bool_)
    for piece, c in columns(given, place, depth):
        tell(0.0)
        t = trace(c)
        x, y = (np.concatenate([n[None, piece], r[:, piece]]) for n, r in zip(nut, rates, strict=True))
        along, up = unit(c.saddle_x - c.x[1:], c.saddle_y - c.y[1:], c.spread2)
        speaking_more = along * (nut[0, piece] - x[1:]) + up * (nut[1, piece] - y[1:])
        behind = behind_per_bow(t, x, y)
        whole = behind - along * x[1:] - up * y[1:]
        stopped[piece] = choked(t).T
        for value, part in zip(out, (t.behind, t.speaking, speaking_more, behind + speaking_more, whole), strict=True):
            value[piece] = part.T
    behind, speaking, speaking_more, path_more, whole = out.reshape(5, *shape)
    path = behind + speaking + rig.dead[..., None]
    pull = rig.axial[..., None] * (path / rig.unstretched[..., None] - 1.0)
    run, rise = given.saddle_x - given.nut_x, given.saddle_y - given.nut_y
    reach = (run * per_string(rig.nut_x_per_bow) + rise * per_string(rig.nut_y_per_bow)) / rest.length
    load = pull * whole + (rest.tension * reach)[..., None]  # N m2, on the neck, with the plate still
    left = (given.saddle_x[..., None] - given.crown_x) / run[..., None]
    return _Held(
        crown_x=given.crown_x,
        crown_y=given.crown_y,
        aside=rig.aside[..., None] * left,
        behind=behind,
        choked=stopped.reshape(shape),
        path_more=path_more,
        speaking_more=speaking_more,
        bow=-load / rig.bow_stiffness[:, None, None],
        pull=pull,
    )


def crowns_per_bow(rig: Rig, given: Layout) -> tuple[Array, Array]:
    """How the crowns move with the bow: y as the square, x as the first power of the way to the joint.

    The neck bends evenly from its joint, so the rise of the nut per bow, half the square of the bent length, tells that
    length; a neck angle of some degrees spoils only the crowns' x, which hardly counts.

    Args:
        rig: (B) rigs
        given: their layout

    Returns:
        x and y (B, S, N) [m2].
    """
    per_x, per_y = (per_string(v)[..., None] for v in (rig.nut_x_per_bow, rig.nut_y_per_bow))
    bent = np.sqrt(2.0 * np.maximum(per_y, 0.0))
    share = 1.0 - (given.crown_x - given.nut_x[..., None]) / np.where(bent > 0.0, bent, 1.0)
    share = np.where(bent > 0.0, np.maximum(share, 0.0), 1.0)
    return per_x * share, per_y * share * share


def behind_per_bow(t: Trace, x: Array, y: Array) -> Array:
    """Growth of the path from nut to fret per bow (derived here).

    Args:
        t: path of the held strings
        x: (N + 1, m) [m2] how nut and crowns move along per bow
        y: (N + 1, m) [m2] the same upwards

    Returns:
        (N, m) [m2].
    """
    c = t.c
    finger = [v[:-1] + c.place * (v[1:] - v[:-1]) for v in (x, y)]  # it stays where it is on the neck
    fx, fy = unit(c.x[1:] - t.finger_x, c.y[1:] - t.finger_y, c.spread2)
    total = fx * (x[1:] - finger[0]) + fy * (y[1:] - finger[1])
    flat_x, flat_y, px, py, chain = c.x.ravel(), c.y.ravel(), x.ravel(), y.ravel(), t.link.ravel()
    at, here_x, here_y, move_x, move_y = t.last, t.finger_x, t.finger_y, *finger
    while True:
        ux, uy = unit(here_x - flat_x.take(at), here_y - flat_y.take(at), c.spread2)
        total = total + ux * (move_x - px.take(at)) + uy * (move_y - py.take(at))
        if (at < c.x.shape[1]).all():
            return np.asarray(total)
        here_x, here_y, move_x, move_y = flat_x.take(at), flat_y.take(at), px.take(at), py.take(at)
        at = chain.take(at)


def _held_rigs(rig: Rig, bow: Array, held: _Held, piece: slice) -> Rig:
    """(S x N x B) rigs: repetition s N + n holds string s at fret n + 1."""
    count, frets = held.behind.shape[1:]
    many = repeat(rig, count * frets)
    more = held.path_more[piece]
    new = {
        "nut_x": held.crown_x[piece] - (bow[:, None] * per_string(rig.nut_x_per_bow))[..., None],
        "nut_y": held.crown_y[piece] - (bow[:, None] * per_string(rig.nut_y_per_bow))[..., None],
        "aside": held.aside[piece],
        "dead": rig.dead[..., None] + held.behind[piece] + more * held.bow[piece],
    }
    each = np.arange(count)
    for name, value in new.items():
        getattr(many, name).reshape(count, frets, -1, count)[each, :, :, each] = value.transpose(1, 2, 0)
    moment = (held.pull[piece] * more).transpose(1, 2, 0).reshape(-1)
    return replace(many, bow_free=many.bow_free - moment / many.bow_stiffness)
