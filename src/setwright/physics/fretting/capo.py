"""A capo: every string held down at one fret, and that crown in the place of the nut from then on.

The capo holds each string as a finger does (`path`): from the nut over the crowns behind, down behind the fret, up to
its crown. What lies behind the crown is then one more piece of string beyond the nut that shares the tension: the
string slides under the capo as under a finger. A pad that grips cuts it off once it is on, as a locked nut does; notes
fretted beyond go sharper then. Capo and neck squeeze each other and put no moment on the neck. Derived here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from setwright.frozen import frozen
from setwright.physics._ranges import Array, require
from setwright.physics.balance import Equilibrium, Rig, equilibrium, pegs_fixed, unstretched_lengths
from setwright.physics.fretting.floating import behind_per_bow, crowns_per_bow, per_string, rig_layout
from setwright.physics.fretting.path import Layout, columns, held_path, trace

ROUNDS = 4  # each leaves a fiftieth or less of the error before


@frozen
class Capoed:
    """Rigs with the capo on, and how they come to rest."""

    rig: Rig  # (B), strings end at the capo's crown; unstretched lengths are those with `rig.dead`
    rest: Equilibrium  # (B)


def capo_layout(given: Layout, fret: int, place: ArrayLike, depth: ArrayLike) -> tuple[Layout, Array]:
    """Contacts with the capo on, plate and neck as they stand.

    Args:
        given: contacts without it
        fret: [1] where the capo is, 1 and on
        place: (..., S) [1] of the capo, share of the way from the crown behind to its crown
        depth: (..., S) [m] of the pressed string under the line over these two crowns

    Returns:
        The layout from the capo's crown on, frets counted from there, and (..., S) [m] string behind that crown.

    Valid range: as `held_path`; at least one fret beyond the capo.

    Raises:
        RangeError: outside it.
    """
    frets = given.shape[-1]
    require("fret of the capo", fret, 1.0, frets - 1.0, "")
    n = fret - 1
    behind = held_path(_up_to(given, fret), *(np.asarray(v)[..., None] for v in (place, depth))).behind[..., n]
    x, y = given.crown_x[..., n], given.crown_y[..., n]
    left = (given.saddle_x - x) / (given.saddle_x - given.nut_x)
    beyond = replace(
        given,
        nut_x=x,
        nut_y=y,
        crown_x=given.crown_x[..., fret:],
        crown_y=given.crown_y[..., fret:],
        aside=given.aside * left,
    )
    return beyond, behind


def put_capo(
    rig: Rig,
    rest: Equilibrium,
    crown_x: ArrayLike,
    crown_y: ArrayLike,
    fret: int,
    place: ArrayLike = 0.8,
    depth: ArrayLike = 0.0,
    load: ArrayLike = 0.0,
    grips: bool = False,
) -> Capoed:
    """Put a capo on: all strings pressed down behind a fret at once, pegs left alone, plate and neck settling.

    The string behind the crown is laid anew over the neck as it comes to stand, round by round.

    Args:
        rig: (B) rigs, every string taut
        rest: their state of rest without the capo
        crown_x: (B, S, N) [m] crowns as the neck stands at rest, from the pivot line
        crown_y: (B, S, N) [m] crown plus half the string's diameter, from the pivot line
        fret: [1] where the capo is, 1 and on
        place: (B, S) [1] of the capo, share of the way from the crown behind to its crown
        depth: (B, S) [m] of the pressed string under the line over these two crowns
        load: (B) [N m] moment that holds the plate at rest and stays, > 0 lifts the rear
        grips: whether nothing slides under the capo once it is on

    Returns:
        Rigs whose strings begin at the capo's crown, and their state of rest.

    Valid range: as `capo_layout` and `balance.equilibrium`.

    Raises:
        RangeError: outside it.
    """
    crowns = np.asarray(crown_x, dtype=np.float64), np.asarray(crown_y, dtype=np.float64)
    given = rig_layout(rig, rest, *crowns)
    rates = crowns_per_bow(rig, given)
    beyond, _ = capo_layout(given, fret, place, depth)
    rate_x, rate_y = (v[..., fret - 1] for v in rates)
    bow = rest.bow[:, None]
    start = replace(
        pegs_fixed(rig, unstretched_lengths(rig, rest)),
        nut_x=beyond.nut_x - bow * rate_x,
        nut_y=beyond.nut_y - bow * rate_y,
        nut_x_per_bow=rate_x,
        nut_y_per_bow=rate_y,
        aside=np.broadcast_to(beyond.aside, rate_x.shape),
    )
    push = np.broadcast_to(np.asarray(load, dtype=np.float64), rest.tilt.shape)
    foreseen = rest
    for _ in range(ROUNDS):
        bent = (foreseen.bow - rest.bow)[:, None, None]
        now = _up_to(rig_layout(rig, foreseen, *(v + bent * r for v, r in zip(crowns, rates, strict=True))), fret)
        behind, more = _behind(rig, now, place, depth)
        moment = (foreseen.tension * more).sum(axis=-1)
        held = replace(start, dead=rig.dead + behind, bow_free=rig.bow_free - moment / rig.bow_stiffness)
        foreseen = equilibrium(held, push, rest.tilt)
    return Capoed(_cut_off(held, foreseen) if grips else held, foreseen)


def _cut_off(rig: Rig, rest: Equilibrium) -> Rig:
    """The rig with nothing behind the nut that shares the tension, at the same rest."""
    free = rest.length / (1.0 + rest.tension / rig.axial)
    return replace(rig, dead=np.zeros_like(rig.dead), unstretched=free)


def _up_to(given: Layout, fret: int) -> Layout:
    """The layout with the crowns up to a fret."""
    return replace(given, crown_x=given.crown_x[..., :fret], crown_y=given.crown_y[..., :fret])


def _behind(rig: Rig, given: Layout, place: ArrayLike, depth: ArrayLike) -> tuple[Array, Array]:
    """(B, S) string behind the last crown of the layout [m], and its growth per bow [m2]."""
    shape = given.shape
    many, frets = int(np.prod(shape[:-1])), shape[-1]
    moved = (per_string(v) for v in (rig.nut_x_per_bow, rig.nut_y_per_bow))
    nut = [np.broadcast_to(v, shape[:-1]).reshape(many) for v in moved]
    rates = [np.broadcast_to(v, shape).reshape(many, frets).T for v in crowns_per_bow(rig, given)]
    out = np.empty((2, many))
    for piece, c in columns(given, *(np.asarray(v)[..., None] for v in (place, depth))):
        x, y = (np.concatenate([n[None, piece], r[:, piece]]) for n, r in zip(nut, rates, strict=True))
        traced = trace(c)
        out[0, piece], out[1, piece] = traced.behind[-1], behind_per_bow(traced, x, y)[-1]
    behind, more = out.reshape(2, *shape[:-1])
    return behind, more
