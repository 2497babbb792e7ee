"""Where the plate comes to rest: the nearest minimum of the potential energy downhill of the start, between its stops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setwright.errors import RangeError
from setwright.physics.balance.moments import Moments, Packed, moments, pack
from setwright.physics.balance.rig import Array, Rig, take

TILT_TOLERANCE = 1e-7  # rad, last Newton step: the error left is of the order of its square
BOW_TOLERANCE = 1e-7  # 1/m
LONGEST_STEP = 0.08  # rad
NEWTON_ROUNDS = 14
SURE_TILTS = 96  # tilts looked at where Newton's method does not settle
CHUNK = 2048  # batch members worked at a time: the kernel's arrays stay in the second-level cache


@dataclass(frozen=True)
class Equilibrium:
    """A state of rest of a batch of rigs."""

    tilt: Array  # (B,) rad, > 0 when the rear edge is up
    bow: Array  # (B,) 1/m
    tension: Array  # (B, S) N
    length: Array  # (B, S) m, speaking length
    lever: Array  # (B, S) m, dL/dtilt
    contact: Array  # (B,) N m pressing on the lower stop (> 0) or on the upper one (< 0); 0 when free
    stiffness: Array  # (B,) N m/rad of the free plate, neck settling

    @property
    def free(self) -> Array:
        """(B,) True where no stop is touched."""
        return np.asarray(self.contact == 0.0)


def equilibrium(rig: Rig, moment: Array | float = 0.0, start: Array | float = 0.0) -> Equilibrium:
    """Rest state of plate and neck (docs/physics, "Balance").

    Newton's method on (tilt, bow) with the energy's second derivatives; members that do not settle in a minimum are
    followed downhill over a grid of tilts and bracketed.

    Args:
        rig: (B) rigs; every string by unstretched length, or held at a pitch.
        moment: (B,) or () moment put on the plate by an arm or by friction, > 0 lifts the rear [N m].
        start: (B,) or () tilt from which the plate rolls [rad].
    Returns: the state of rest.
    Raises: RangeError where the stops leave no room.
    """
    low, high = rig.tilt_low, rig.tilt_high
    if np.any(low > high):
        b = int(np.argmax(low > high))
        raise RangeError(
            f"the plate's stops leave no room: lower {low[b]:.4f} rad lies above upper {high[b]:.4f} rad; "
            "check wedge, block and cavity"
        )
    push = np.broadcast_to(np.asarray(moment, dtype=np.float64), low.shape)
    tilt = np.clip(np.broadcast_to(np.asarray(start, dtype=np.float64), low.shape), low, high)
    if rig.batch <= CHUNK:
        return _settle(rig, push, tilt)
    parts = []
    for first in range(0, rig.batch, CHUNK):
        index = np.arange(first, min(first + CHUNK, rig.batch))
        parts.append(_settle(take(rig, index), push[index], tilt[index]))
    names = ("tilt", "bow", "tension", "length", "lever", "contact", "stiffness")
    return Equilibrium(**{n: np.concatenate([getattr(part, n) for part in parts]) for n in names})


def settled_at(rig: Rig, tilt: Array | float) -> Equilibrium:
    """State with the plate held at a tilt and only the neck settling; `contact` is the moment that holds it.

    Args:
        rig: (B) rigs.
        tilt: (B,) or () [rad].
    Returns: the state; `contact` > 0 when plate presses downwards (rear edge towards the body) [N m].
    """
    p = pack(rig)
    held = np.array(np.broadcast_to(np.asarray(tilt, dtype=np.float64), rig.tilt_low.shape))
    bow = _settle_bow(p, held, rig.bow_free)
    m = moments(p, held, bow)
    return _state(held, bow, m, m.tilt)


def _settle_bow(p: Packed, tilt: Array, bow: Array) -> Array:
    for _ in range(4):
        m = moments(p, tilt, bow)
        step = m.bow / m.bow_bow
        bow = bow - step
        if np.all(np.abs(step) < BOW_TOLERANCE):
            break
    return bow


def _state(tilt: Array, bow: Array, m: Moments, contact: Array) -> Equilibrium:
    return Equilibrium(
        tilt=tilt,
        bow=bow,
        tension=np.ascontiguousarray(m.tension.T),
        length=np.ascontiguousarray(m.length.T),
        lever=np.ascontiguousarray(m.lever.T),
        contact=contact,
        stiffness=m.stiffness,
    )


def _settle(rig: Rig, push: Array, tilt: Array) -> Equilibrium:
    p = pack(rig)
    low, high = rig.tilt_low, rig.tilt_high
    bow = rig.bow_free
    for _ in range(NEWTON_ROUNDS):
        m = moments(p, tilt, bow)
        slope = m.condensed - push
        stiff = m.stiffness
        step = np.where(stiff > 0.0, -slope / np.where(stiff > 0.0, stiff, 1.0), -np.sign(slope) * LONGEST_STEP)
        new = np.clip(tilt + np.clip(step, -LONGEST_STEP, LONGEST_STEP), low, high)
        moved = new - tilt
        bow_step = -(m.bow + m.tilt_bow * moved) / m.bow_bow
        tilt, bow = new, bow + bow_step
        if np.all(np.abs(moved) < TILT_TOLERANCE) and np.all(np.abs(bow_step) < BOW_TOLERANCE):
            break
    m = moments(p, tilt, bow)
    slope = m.condensed - push
    at_low = (tilt <= low) & (slope >= 0.0)
    at_high = (tilt >= high) & (slope <= 0.0)
    scale = np.abs(m.tension * m.lever).sum(0) + np.abs(m.spring_force * m.spring_lever).sum(0) + 1e-3
    free = (np.abs(slope) < 1e-11 * scale) & (m.stiffness > 0.0)
    good = (at_low | at_high | free) & (np.abs(m.bow) < 1e-9 * rig.bow_stiffness)
    contact = np.where(at_low | at_high, slope, 0.0)
    state = _state(tilt, bow, m, contact)
    if good.all():
        return state
    rest = np.flatnonzero(~good)
    return _mend(state, rest, _follow(take(rig, rest), push[rest], np.clip(0.0, low[rest], high[rest])))


def _mend(state: Equilibrium, rest: Array, sure: Equilibrium) -> Equilibrium:
    for name in ("tilt", "bow", "tension", "length", "lever", "contact", "stiffness"):
        getattr(state, name)[rest] = getattr(sure, name)
    return state


def _follow(rig: Rig, push: Array, start: Array) -> Equilibrium:
    """Roll downhill from the start over a grid of tilts, then halve the bracket and finish with secants."""
    n = rig.batch
    p = pack(rig)
    left, right = rig.tilt_low.copy(), rig.tilt_high.copy()

    def slope_at(tilt: Array) -> Array:
        settled = _settle_bow(p, tilt, rig.bow_free)
        return moments(p, tilt, settled).tilt - push

    grid = left + (right - left) * np.linspace(0.0, 1.0, SURE_TILTS)[:, None]
    here = slope_at(start)
    down = here > 0.0  # rolls towards lower tilt
    low, high = np.where(down, left, start), np.where(down, start, right)
    for row in grid if not down.all() else grid[:0]:  # upward rollers: first tilt with slope >= 0
        inside = ~down & (row > low) & (row < high)
        if inside.any():
            s = slope_at(row)
            high = np.where(inside & (s >= 0.0), row, high)
            low = np.where(inside & (s < 0.0), row, low)
    for row in grid[::-1] if down.any() else grid[:0]:
        inside = down & (row > low) & (row < high)
        if inside.any():
            s = slope_at(row)
            low = np.where(inside & (s <= 0.0), row, low)
            high = np.where(inside & (s > 0.0), row, high)
    stopped_low = down & (slope_at(low) > 0.0)
    stopped_high = ~down & (slope_at(high) < 0.0)
    for _ in range(60):
        middle = 0.5 * (low + high)
        s = slope_at(middle)
        low, high = np.where(s < 0.0, middle, low), np.where(s < 0.0, high, middle)
    tilt = np.where(stopped_low, left, np.where(stopped_high, right, 0.5 * (low + high)))
    bow = _settle_bow(p, tilt, rig.bow_free)
    m = moments(p, tilt, bow)
    contact = np.where(stopped_low | stopped_high, m.tilt - push, 0.0)
    assert contact.shape == (n,)
    return _state(tilt, bow, m, contact)
