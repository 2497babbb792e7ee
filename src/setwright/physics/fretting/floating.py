"""Pitch of every held string while plate and neck settle with it.

The string held at fret n is, for the balance, a string whose fixed end is crown n and whose path behind it is one more
piece of string beyond the nut; its unstretched length stays. All else of the rig stays too, so `balance.equilibrium`
from the state of rest gives the answer (derived here). The crown then moves with the neck's bow as the nut does: the
path of the sliding string follows the nut to first order, and the speaking length is off by less than a millionth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from setwright.errors import RangeError
from setwright.physics._ranges import Array
from setwright.physics.balance import Equilibrium, Rig, equilibrium, pegs_fixed, repeat, take, unstretched_lengths
from setwright.physics.fretting.path import Layout, Mask, Path, held_path, layout
from setwright.physics.pitch import cents
from setwright.physics.strings import first_partial

AT_ONCE = 8192  # notes worked at a time


@dataclass(frozen=True)
class FloatingNotes:
    """Every string held at every fret on a bridge that gives way."""

    cents: Array  # (B, S, N) from equal temperament above the open string at rest
    tension: Array  # (B, S, N) N
    speaking: Array  # (B, S, N) m
    tilt: Array  # (B, S, N) rad, of the plate while the note is held
    choked: Mask  # (B, S, N)
    open_hertz: Array  # (B, S) Hz


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
    return layout(
        rig.nut_x + bow * rig.nut_x_per_bow[:, None],
        rig.nut_y + bow * rig.nut_y_per_bow[:, None],
        crown_x,
        crown_y,
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

    Returns:
        The notes.

    Valid range: as `held_path` and `strings.partial`.

    Raises:
        RangeError: outside it, or where a string is off or slack at rest.
    """
    if not np.all(rest.tension > 0.0):
        b, s = np.argwhere(~(rest.tension > 0.0))[0]
        raise RangeError(f"string {s + 1} of rig {b} is slack or off; put it on and bring it to pitch before fretting.")
    at_rest = rig_layout(rig, rest, crown_x, crown_y)
    path = held_path(at_rest, place, depth)
    numbers = np.arange(1, path.speaking.shape[-1] + 1) if frets is None else np.asarray(frets)
    if frets is not None:
        at_rest, path = _at_frets(at_rest, path, numbers - 1)
    batch, count, held_at = path.speaking.shape
    tension, speaking, tilt = (np.empty(path.speaking.shape) for _ in range(3))
    wound = pegs_fixed(rig, unstretched_lengths(rig, rest))
    step = max(1, AT_ONCE // (count * held_at))
    for first in range(0, batch, step):
        piece = slice(first, first + step)
        held = _held(take(wound, piece), rest.bow[piece], _cut(at_rest, piece, path.behind.shape), path.behind[piece])
        state = equilibrium(held, start=np.tile(rest.tilt[piece], count * held_at))
        each = np.arange(count)
        for out, value in ((tension, state.tension), (speaking, state.length)):
            out[piece] = value.reshape(count, held_at, -1, count)[each, :, :, each].transpose(2, 0, 1)
        tilt[piece] = state.tilt.reshape(count, held_at, -1).transpose(2, 0, 1)
    mass, axial, bending = rig.unit_mass, rig.axial, rig.bending
    open_hertz = first_partial(rest.tension, rest.length, mass, axial, bending, ends)
    hertz = first_partial(tension, speaking, mass[..., None], axial[..., None], bending[..., None], ends)
    off = cents(hertz, open_hertz[..., None]) - 100.0 * numbers
    return FloatingNotes(off, tension, speaking, tilt, path.choked, open_hertz)


def _at_frets(given: Layout, path: Path, index: NDArray[np.intp]) -> tuple[Layout, Path]:
    """Layout and path of some frets only; the path behind has seen every crown."""
    crowns = (np.broadcast_to(v, path.speaking.shape)[..., index] for v in (given.crown_x, given.crown_y))
    each = {f.name: getattr(path, f.name) for f in fields(Path) if f.name != "open_length"}
    some: dict[str, Any] = {name: value[..., index] for name, value in each.items()}
    return replace(given, **dict(zip(("crown_x", "crown_y"), crowns, strict=True))), replace(path, **some)


def _cut(given: Layout, piece: slice, shape: tuple[int, ...]) -> Layout:
    """Some rigs of a layout."""
    ends = {n: getattr(given, n)[piece] for n in ("nut_x", "nut_y", "saddle_x", "saddle_y", "aside")}
    crowns = {n: np.broadcast_to(getattr(given, n), shape)[piece] for n in ("crown_x", "crown_y")}
    return Layout(**ends, **crowns)


def _held(rig: Rig, bow: Array, at_rest: Layout, behind: Array) -> Rig:
    """(S x N x B) rigs: repetition s N + n holds string s at fret n + 1."""
    count, frets = behind.shape[1:]
    many = repeat(rig, count * frets)
    left = (at_rest.saddle_x[..., None] - at_rest.crown_x) / (at_rest.saddle_x - at_rest.nut_x)[..., None]
    new = {
        "nut_x": at_rest.crown_x - (bow * rig.nut_x_per_bow)[:, None, None],
        "nut_y": at_rest.crown_y - (bow * rig.nut_y_per_bow)[:, None, None],
        "aside": rig.aside[..., None] * left,
        "dead": rig.dead[..., None] + behind,
    }
    each = np.arange(count)
    for name, value in new.items():
        getattr(many, name).reshape(count, frets, -1, count)[each, :, :, each] = value.transpose(1, 2, 0)
    return many
