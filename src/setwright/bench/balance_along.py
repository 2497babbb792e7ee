"""A balance at every place of the claw at once, so that a page can follow a finger without asking.

The model is asked at places of the claw that lie closer where something bends, and at both sides of every place where
the plate meets or leaves a stop or a string goes slack. Between two places a cubic runs through the values with the
slopes of the parabola through three neighbours; it never crosses such an edge. Bands are asked at fewer places and
run straight between them. How far the cubic is off is measured half way between all places, where it is worst.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from setwright.bench.balance_try import Laid, figures, resting, states
from setwright.frozen import frozen
from setwright.instrument.predict import stop_names
from setwright.instrument.traits import Array, Mask
from setwright.physics.balance import Equilibrium, Rig, take
from setwright.planning.bands import spread

WINDOW = 3.0  # turns either way
FIRST = 25  # places to begin with
ROUNDS = 4  # of places put between
MOST = 160  # places
BANDS = 13  # places with bands
PARTS, HALVINGS = 8, 2  # an edge is looked for in so many parts, so often: 0.25 turn / 8**2 is finer than any hand
EDGE = 5e-3  # turns, places closer than this are the two sides of an edge
CLOSE = {"tilt": 1e-5, "gap": 2e-6, "cents": 0.02, "up": 0.1, "down": 0.1}  # rad, m, cents: to what places are put
FAINT = -1200.0  # cents: a string let down farther than an octave is about to hang slack; its figures need no digits


@frozen
class Line:
    """One state along the claw. values: by name, at `Along.turns`; nan where a string is slack. rests: words of
    `resting` there. halves: half widths of the bands, at `Along.band_turns`. off: by kind of figure, how far the cubic
    is off at most."""

    values: dict[str, Array]
    rests: tuple[str, ...]
    halves: dict[str, Array]
    shares: Array  # of the instruments this one may be that rest on a stop, at band_turns
    off: dict[str, float]


@frozen
class Along:
    """Both states. turns: of both screws beyond what is tried, in > 0, rising; the same place twice at an edge."""

    turns: Array
    band_turns: Array
    room: tuple[float, float]  # turns to the ends of the screws
    alone: Line | None
    retuned: Line
    stops: tuple[str, str]


@frozen
class _Asked:
    """What the model said of the most likely instrument. tilts: (2, C) alone and retuned; kinds: (C, L) what is
    different in kind: stops met, strings slack; values: of each state, by name (C)."""

    turns: Array
    tilts: Array
    kinds: Array
    values: dict[str, dict[str, Array]]
    rests: dict[str, tuple[str, ...]]


def along(laid: Laid) -> Along:
    """A balance at every place of the claw near what is tried.

    Args:
        laid: the instruments.
    Returns: both states.
    """
    room, one = laid.room, _first(laid)
    turns = np.unique(np.append(np.linspace(max(room[0], -WINDOW), min(room[1], WINDOW), FIRST), 0.0))
    found = _with_edges(one, _ask(one, turns))
    off: dict[str, dict[str, float]] = {}
    for last in range(ROUNDS, -1, -1):
        middles = _ask(one, 0.5 * (found.turns[1:] + found.turns[:-1]), found)
        off, far = _off(found, middles)
        more = np.flatnonzero(far & (np.diff(found.turns) > EDGE))
        if not last or not more.size or len(found.turns) + len(more) > MOST:
            break
        found = _joined(found, _some(middles, more))
    places = _for_bands(found)
    spreads = states(laid, places)
    lines: dict[str, Line] = {}
    for kind, values in found.values.items():
        rig, state = getattr(spreads, kind)
        halves, shares = _halves(laid, rig, state, len(places))
        lines[kind] = Line(values, found.rests[kind], halves, shares, off[kind])
    stops = stop_names(laid.plain, laid.noted)
    return Along(found.turns, places, room, lines.get("alone"), lines["retuned"], stops)


def _ask(one: Laid, turns: Array, known: _Asked | None = None) -> _Asked:
    """The model at some places; between two known ones the plate rolls from where it rests in between."""
    near = None
    if known is not None:
        near = _near(one, turns, known)
    found = states(one, turns, near)
    pairs = {kind: pair for kind, pair in (("alone", found.alone), ("retuned", found.retuned)) if pair is not None}
    kinds = [
        part for _, state in pairs.values() for part in (np.sign(state.contact)[:, None], (state.tension > 0.0) * 1.0)
    ]
    tilts = np.stack([pairs.get("alone", found.retuned)[1].tilt, found.retuned[1].tilt])
    values = {kind: figures(one, *pair) for kind, pair in pairs.items()}
    rests = {
        kind: tuple(resting(one, state, i)[0] for i in range(len(turns))) for kind, (_, state) in pairs.items()
    }  # fmt: skip
    return _Asked(turns, tilts, np.concatenate(kinds, axis=1), values, rests)


def _near(one: Laid, turns: Array, known: _Asked) -> tuple[Array, Array]:
    """Tilts to roll from: between two places that are alike the tilt between; else that of the one that is free."""
    right = np.clip(np.searchsorted(known.turns, turns), 1, len(known.turns) - 1)
    out = []
    for row, stop in ((0, 0), (1, known.kinds.shape[1] // 2 if "alone" in known.values else 0)):
        tilt, contact = known.tilts[row], known.kinds[:, stop]
        between = np.interp(turns, known.turns, tilt)
        low, high = contact[right - 1], contact[right]
        start = np.where(low == high, between, np.where(low == 0.0, tilt[right - 1], tilt[right]))
        out.append(np.where((low != high) & (low * high != 0.0), one.start[0], start))
    return out[0], out[1]


def _joined(a: _Asked, b: _Asked) -> _Asked:
    """Both, in the order of their places."""
    order = np.argsort(np.concatenate([a.turns, b.turns]), kind="stable")
    values = {
        kind: {name: np.concatenate([each, b.values[kind][name]])[order] for name, each in named.items()}
        for kind, named in a.values.items()
    }
    rests = {kind: tuple((*said, *b.rests[kind])[i] for i in order) for kind, said in a.rests.items()}
    return _Asked(
        np.concatenate([a.turns, b.turns])[order], np.concatenate([a.tilts, b.tilts], axis=1)[:, order],
        np.concatenate([a.kinds, b.kinds])[order], values, rests,
    )  # fmt: skip


def _some(a: _Asked, which: NDArray[np.intp]) -> _Asked:
    """Some places of them."""
    values = {kind: {name: each[which] for name, each in named.items()} for kind, named in a.values.items()}
    rests = {kind: tuple(said[i] for i in which) for kind, said in a.rests.items()}
    return _Asked(a.turns[which], a.tilts[:, which], a.kinds[which], values, rests)


def _first(laid: Laid) -> Laid:
    """The most likely instrument alone."""
    first = slice(0, 1)
    return replace(
        laid, rig=take(laid.rig, first), start=laid.start[first], axis=(laid.axis[0][first], laid.axis[1][first]),
        claw=laid.claw[first], rear=(laid.rear[0][first], laid.rear[1][first], laid.rear[2][first]),
    )  # fmt: skip


def _with_edges(one: Laid, found: _Asked) -> _Asked:
    """The places, and both sides of every edge between them."""
    apart = np.flatnonzero((found.kinds[1:] != found.kinds[:-1]).any(axis=1))
    if not apart.size:
        return found
    low, high, left = found.turns[apart], found.turns[apart + 1], found.kinds[apart]
    share = np.arange(1, PARTS) / PARTS
    for _ in range(HALVINGS):
        inside = low[:, None] + (high - low)[:, None] * share
        kinds = _ask(one, inside.ravel(), found).kinds.reshape(len(apart), len(share), -1)
        alike = np.cumprod((kinds == left[:, None]).all(axis=2), axis=1).sum(axis=1)  # of the parts, from the left
        step = (high - low) / PARTS
        low, high = low + alike * step, low + (alike + 1) * step
    return _joined(found, _ask(one, np.sort(np.concatenate([low, high])), found))


def _off(found: _Asked, middles: _Asked) -> tuple[dict[str, dict[str, float]], Mask]:
    """How far the cubic is off half way between the places, of each state by kind of figure; where it is too far."""
    far: Mask = np.zeros(len(middles.turns), dtype=np.bool_)
    edge = np.diff(found.turns) <= EDGE
    off: dict[str, dict[str, float]] = {}
    for kind, named in found.values.items():
        worst = off.setdefault(kind, {})
        for name, each in named.items():
            what, true = name.split()[0], middles.values[kind][name]
            miss = np.abs(interpolated(found.turns, each, middles.turns) - true)
            miss = np.where(np.isfinite(miss) & ~edge, miss, 0.0)
            if what in ("cents", "up", "down"):
                miss = np.where(true < FAINT, 0.0, miss)
            far = far | (miss > CLOSE.get(what, np.inf))
            worst[what] = max(worst.get(what, 0.0), float(miss.max(initial=0.0)))
    return off, far


def _for_bands(found: _Asked) -> Array:
    """Places for bands: evenly by the claw and by the plate's way, both counted alike; 0 is one of them."""
    turns, tilt = found.turns, found.tilts[0]
    way = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(tilt)))])
    share = (turns - turns[0]) / max(turns[-1] - turns[0], 1e-9) + way / max(way[-1], 1e-9)
    chosen = np.interp(np.linspace(0.0, share[-1], BANDS), share, turns)
    return np.unique(np.append(chosen, 0.0))


def _halves(laid: Laid, rig: Rig, state: Equilibrium, places: int) -> tuple[dict[str, Array], Array]:
    """Half widths of the bands at some places, and the share that rests on a stop."""
    halves = {
        name: np.array([spread(row[1:]) for row in each.reshape(places, -1)])
        for name, each in figures(laid, rig, state).items()
    }
    contact = state.contact.reshape(places, -1)[:, 1:]
    return halves, np.mean(contact != 0.0, axis=1) if contact.size else np.zeros(places)


def interpolated(turns: Array, values: Array, at: Array) -> Array:
    """Values between places: a cubic with the slopes of parabolas, never across an edge; a straight line beside one.

    An edge is where two places lie closer than a two-hundredth of a turn. The page does the same.

    Args:
        turns: (C) places, rising [turns].
        values: (C) there.
        at: (n) places asked for, within them [turns].
    Returns: (n).
    """
    slope = slopes(turns, values)
    i = np.clip(np.searchsorted(turns, at, side="right") - 1, 0, len(turns) - 2)
    step = np.maximum(turns[i + 1] - turns[i], 1e-12)
    u = np.clip((at - turns[i]) / step, 0.0, 1.0)
    a, b, left, right = values[i], values[i + 1], slope[0][i] * step, slope[1][i] * step
    with np.errstate(invalid="ignore"):
        return np.asarray(
            a + u * (left + u * (3.0 * (b - a) - 2.0 * left - right + u * (2.0 * (a - b) + left + right)))
        )


def slopes(turns: Array, values: Array) -> tuple[Array, Array]:
    """Slopes at the left and right end of every piece between two places.

    Args:
        turns: (C) places, rising [turns].
        values: (C) there.
    Returns: two (C - 1), per turn.
    """
    step = np.maximum(np.diff(turns), 1e-12)
    with np.errstate(invalid="ignore"):
        rise = np.diff(values) / step
        inner = (rise[:-1] * step[1:] + rise[1:] * step[:-1]) / (step[1:] + step[:-1])
    joined = (step[:-1] > EDGE) & (step[1:] > EDGE) & np.isfinite(inner)
    left, right = rise.copy(), rise.copy()
    left[1:] = np.where(joined, inner, rise[1:])
    right[:-1] = np.where(joined, inner, rise[:-1])
    # beside an edge the parabola through the next three places: its end slope
    for piece in range(len(step)):
        first = piece == 0 or step[piece - 1] <= EDGE
        last = piece == len(step) - 1 or step[piece + 1] <= EDGE
        if first and not last and np.isfinite(right[piece]):
            left[piece] = 2.0 * rise[piece] - right[piece]
        if last and not first and np.isfinite(left[piece]):
            right[piece] = 2.0 * rise[piece] - left[piece]
    return left, right


def plain(one: Along) -> dict[str, Any]:
    """As JSON can hold it, with numbers no longer than their digits count.

    Args:
        one: both states.
    Returns: plain data; what is no number is null.
    """

    def numbers(values: Array, digits: int = 7) -> list[float | None]:
        return [float(f"{v:.{digits}g}") if np.isfinite(v) else None for v in values]

    def line(state: Line | None) -> dict[str, Any] | None:
        if state is None:
            return None
        pieces = {name: slopes(one.turns, values) for name, values in state.values.items()}
        return {
            "values": {name: numbers(values) for name, values in state.values.items()},
            "left": {name: numbers(both[0], 6) for name, both in pieces.items()},
            "right": {name: numbers(both[1], 6) for name, both in pieces.items()},
            "halves": {name: numbers(values, 4) for name, values in state.halves.items()},
            "shares": numbers(state.shares, 4),
            "rests": list(state.rests),
            "off": {name: float(f"{value:.2g}") for name, value in state.off.items()},
        }

    return {
        "turns": [float(f"{t:.9g}") for t in one.turns], "band_turns": numbers(one.band_turns, 9),
        "room": list(one.room), "stops": list(one.stops), "alone": line(one.alone), "retuned": line(one.retuned),
    }  # fmt: skip
