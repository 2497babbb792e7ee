"""Where the plate comes to rest: the nearest minimum of the energy downhill of the start, between its stops."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from setwright.errors import RangeError
from setwright.frozen import frozen
from setwright.physics.balance.moments import Moments, Packed, bow_moments, held_at, moments, pack, pick
from setwright.physics.balance.rig import Array, Rig, take

TILT_TOLERANCE = 1e-6  # rad, last Newton step: the error left is of the order of its square
BOW_TOLERANCE = 1e-6  # 1/m
LONGEST_STEP = 0.08  # rad
NEWTON_ROUNDS = 7
FOLLOWED_STEP = 5e-4  # rad, steps downhill where Newton's method cannot be trusted
NEARBY = 5e-3  # rad
HALVINGS = 60
CHUNK = 1024  # batch members worked at a time: the kernel's arrays stay in the second-level cache


@frozen
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
    """Rest state of plate and neck (docs/physics/balance, eqs B13 and B14).

    Newton's method on (tilt, bow) with the energy's second derivatives. Where that does not settle, or might have
    jumped over a nearer minimum (a spring has opened, closed or gone slack on the way, the stiffness was not above
    zero, the rest lies uphill of the start), the plate is followed downhill in small steps instead. A member's answer
    does not depend on its neighbours in the batch.

    Args:
        rig: (B) rigs; every string by unstretched length, or held at a pitch.
        moment: (B,) or () moment put on the plate by an arm or by friction, > 0 lifts the rear [N m].
        start: (B,) or () tilt from which the plate rolls [rad].
    Returns: the state of rest.
    Raises: RangeError where the stops leave no room, or where rig, moment or start hold what is no number.
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
    parts, sure = [], np.empty(rig.batch, dtype=np.bool_)
    for first in range(0, rig.batch, CHUNK):
        piece = slice(first, first + CHUNK)
        part, sure[piece] = _settle(rig if rig.batch <= CHUNK else take(rig, piece), push[piece], tilt[piece])
        parts.append(part)
    state = parts[0] if len(parts) == 1 else _joined(parts)
    finite = np.isfinite(low + high + push + state.tilt + state.bow + state.stiffness)
    if not finite.all():
        raise RangeError(
            f"the plate of rig {int(np.argmin(finite))} has no rest: its geometry, springs, stops, moment or start "
            "hold a value that is not a finite number; check the instrument's traits and settings"
        )
    rest = np.flatnonzero(~sure)
    if rest.size:
        slow = _follow(take(rig, rest), push[rest], tilt[rest])
        for f in fields(Equilibrium):
            getattr(state, f.name)[rest] = getattr(slow, f.name)
    return state


def _joined(parts: list[Equilibrium]) -> Equilibrium:
    return Equilibrium(**{f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Equilibrium)})


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
    held = held_at(p, tilt)
    for _ in range(4):
        force, stiffness = bow_moments(held, bow)
        step = force / stiffness
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


def _settle(rig: Rig, push: Array, start: Array) -> tuple[Equilibrium, NDArray[np.bool_]]:
    """State by Newton's method, and where it is surely the nearest minimum downhill."""
    p = pack(rig)
    low, high = rig.tilt_low, rig.tilt_high
    tilt, bow, first, sure = _newton(p, push, start)
    m = moments(p, tilt, bow)
    slope = m.condensed - push
    stopped = ((tilt <= low) & (slope >= 0.0)) | ((tilt >= high) & (slope <= 0.0))
    sure &= stopped | (m.stiffness > 0.0)
    # the neck had not settled when the first slope was formed: its sign counts only for longer ways
    sure &= ((tilt - start) * (first.condensed - push) <= 0.0) | (np.abs(tilt - start) < NEARBY)
    sure &= (m.spring_rate == first.spring_rate).all(axis=0)
    return _state(tilt, bow, m, np.where(stopped, slope, 0.0)), sure


def _newton(p: Packed, push: Array, start: Array) -> tuple[Array, Array, Moments, NDArray[np.bool_]]:
    """Newton's method: tilt, bow, the moments at the start, and whether the member settled without meeting trouble.

    A settled member is left alone; once most have settled, the rest go on in a smaller batch.
    """
    tilt, bow = start.copy(), p.rig.bow_free.copy()
    sure = np.zeros(tilt.shape, dtype=np.bool_)
    index = np.arange(tilt.size)
    going = ~sure
    t, b = tilt, bow
    first: Moments | None = None
    for _ in range(NEWTON_ROUNDS):
        m = moments(p, t, b)
        first = first or m
        slope, stiff = m.condensed - push, m.stiffness
        going = going & (stiff > 0.0)
        step = np.clip(-slope / np.where(going, stiff, 1.0), -LONGEST_STEP, LONGEST_STEP)
        new = np.clip(t + step, p.rig.tilt_low, p.rig.tilt_high)
        moved = new - t
        bow_step = -(m.bow + m.tilt_bow * moved) / m.bow_bow
        t, b = np.where(going, new, t), np.where(going, b + bow_step, b)
        tilt[index], bow[index] = t, b
        settled = going & (np.abs(moved) < TILT_TOLERANCE) & (np.abs(bow_step) < BOW_TOLERANCE)
        sure[index[settled]] = True
        going &= ~settled
        left = np.flatnonzero(going)
        if not left.size:
            break
        if 2 * left.size < going.size:
            p, push, index, t, b, going = pick(p, left), push[left], index[left], t[left], b[left], going[left]
    assert first is not None
    return tilt, bow, first, sure


def _follow(rig: Rig, push: Array, start: Array) -> Equilibrium:
    """Roll downhill from the start in small steps until the slope turns; Newton's method inside that bracket."""
    whole = pack(rig)
    near, bow = start.copy(), _settle_bow(whole, start, rig.bow_free)
    way = np.where(moments(whole, near, bow).tilt > push, -1.0, 1.0)
    end = np.where(way < 0.0, rig.tilt_low, rig.tilt_high)
    far = near.copy()
    turned = np.zeros(near.shape, dtype=np.bool_)
    busy = np.flatnonzero(near != end)
    while busy.size:
        p, w, stop, load = pick(whole, busy), way[busy], end[busy], push[busy]
        t, b = near[busy], bow[busy]
        live = np.ones(busy.shape, dtype=np.bool_)
        while 2 * np.count_nonzero(live) >= live.size and live.any():
            ahead = np.clip(t + w * FOLLOWED_STEP, p.rig.tilt_low, p.rig.tilt_high)
            m = moments(p, ahead, b)
            b = np.where(live, b - m.bow / m.bow_bow, b)
            back = live & ((m.condensed - load) * w >= 0.0)
            turned[busy[back]], far[busy[back]] = True, ahead[back]
            live &= ~back
            t = np.where(live, ahead, t)
            live &= t != stop
        near[busy], bow[busy] = t, b
        busy = busy[live]
    far = np.where(turned, far, near)
    tilt, bow = _bracketed(whole, push, np.minimum(near, far), np.maximum(near, far), bow)
    m = moments(whole, tilt, bow)
    return _state(tilt, bow, m, np.where(turned, 0.0, m.tilt - push))


def _bracketed(p: Packed, push: Array, low: Array, high: Array, bow: Array) -> tuple[Array, Array]:
    """Tilt between low (slope below zero) and high (above) at which the plate balances, and the settled bow."""
    tilt = 0.5 * (low + high)
    for _ in range(HALVINGS):
        bow = _settle_bow(p, tilt, bow)
        m = moments(p, tilt, bow)
        slope, stiff = m.tilt - push, m.stiffness
        low, high = np.where(slope <= 0.0, tilt, low), np.where(slope >= 0.0, tilt, high)
        step = -slope / np.where(stiff > 0.0, stiff, np.inf)
        new = tilt + step
        inside = (stiff > 0.0) & (new >= low) & (new <= high)
        new = np.where(inside, new, 0.5 * (low + high))
        done = np.abs(new - tilt) < TILT_TOLERANCE**2
        tilt = new
        if done.all():
            break
    return tilt, _settle_bow(p, tilt, bow)
