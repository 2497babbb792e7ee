"""First and second derivatives of the potential energy in tilt and bow, over a batch.

Inside, arrays are laid out (S, B) so that every inner loop runs over the batch: with the batch first, numpy would loop
over six strings at a time (measured: docs/decisions/0005-strings-first-inside.md).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setwright.physics.balance.rig import SPRING_FIELDS, STRING_FIELDS, Array, Rig, take


@dataclass
class Packed:
    """A rig laid out for the kernel: strings (S, B), springs (K, B), the rest (B,)."""

    rig: Rig
    s: dict[str, Array]
    k: dict[str, Array]
    held: bool  # some string is held at a pitch
    loose: bool  # some string is given by its unstretched length


def pack(rig: Rig) -> Packed:
    """Lay a rig out for the kernel.

    Args:
        rig: (B) rigs.
    Returns: the packed rig; nothing is shared with it that will be written.
    """
    s = {name: np.ascontiguousarray(getattr(rig, name).T) for name in STRING_FIELDS}
    k = {name: np.ascontiguousarray(getattr(rig, name).T) for name in SPRING_FIELDS}
    used = k["present"].any(axis=1)
    if not used.all():
        k = {name: value[used] for name, value in k.items()}
    by_pitch = ~np.isnan(s["hertz"])
    by_length = ~np.isnan(s["unstretched"])
    s["by_pitch"] = by_pitch
    s["aside2"], k["slant2"] = s["aside"] ** 2, k["slant"] ** 2
    s["rate"] = np.where(by_length, s["axial"] / np.where(by_length, s["unstretched"], 1.0), 0.0)
    s["slack_at"] = np.where(by_length, s["unstretched"] - s["dead"], 0.0)  # speaking length at zero tension
    return Packed(rig, s, k, bool(by_pitch.any()), bool(by_length.any()))


def pick(p: Packed, index: NDArray[np.intp]) -> Packed:
    """Some members of a packed rig.

    Args:
        p: packed rig.
        index: (n) [1].
    Returns: the packed rigs chosen; only the fields the kernel reads are carried over.
    """
    s = {name: value[:, index] for name, value in p.s.items()}
    k = {name: value[:, index] for name, value in p.k.items()}
    return Packed(take(p.rig, index), s, k, p.held, p.loose)


def held_tension(length: Array, hertz: Array, unit_mass: Array, axial: Array, bending: Array) -> tuple[Array, Array]:
    """Tension of a string kept at a pitch, and its derivative by speaking length.

    4 L2 f2 mu0 = (T + pi2 EI / L2)(1 + T / EA), solved for T (docs/physics/strings, S3-S5).

    Args:
        length: (...) speaking length [m].
        hertz: (...) first partial [Hz].
        unit_mass: (...) of the unstretched string [kg/m].
        axial: (...) EA [N].
        bending: (...) EI [N m2].
    Returns: tension [N] and dT/dL [N/m].
    """
    square = length * length
    drive = 4.0 * square * hertz * hertz * unit_mass
    stiff = np.pi**2 * bending / square
    b = 1.0 + stiff / axial
    root = np.sqrt(b * b + 4.0 * (drive - stiff) / axial)
    tension = 2.0 * (drive - stiff) / (b + root)
    slope = (2.0 * drive + 2.0 * stiff * (1.0 + tension / axial)) / (length * root)
    return tension, slope


@dataclass
class Moments:
    """Derivatives of the potential energy at one (tilt, bow)."""

    tilt: Array  # (B,) dU/dtilt, N m
    bow: Array  # (B,) dU/dbow, N m2
    tilt_tilt: Array  # (B,)
    tilt_bow: Array  # (B,)
    bow_bow: Array  # (B,)
    tension: Array  # (S, B) N
    length: Array  # (S, B) speaking length, m
    lever: Array  # (S, B) dL/dtilt, m
    spring_force: Array  # (K, B) N of the places in use
    spring_lever: Array  # (K, B) m
    spring_rate: Array  # (K, B) N/m as it is: soft, closed or 0

    @property
    def condensed(self) -> Array:
        """(B,) dU/dtilt with the neck settled, to first order in its unbalance."""
        return np.asarray(self.tilt - self.tilt_bow * self.bow / self.bow_bow)

    @property
    def stiffness(self) -> Array:
        """(B,) N m/rad, with the neck settling."""
        return np.asarray(self.tilt_tilt - self.tilt_bow**2 / self.bow_bow)


def moments(p: Packed, tilt: Array, bow: Array) -> Moments:
    """Derivatives of the potential energy (docs/physics/balance, eqs B1-B9).

    Args:
        p: packed rig.
        tilt: (B,) [rad].
        bow: (B,) [1/m].
    Returns: the moments.
    """
    rig, s, k = p.rig, p.s, p.k
    cos, sin = np.cos(tilt), np.sin(tilt)
    gx, gy = rig.nut_x_per_bow.T, rig.nut_y_per_bow.T  # (B,), or (S, B) where strings end at places of their own
    # strings: from the turned saddle to the nut
    px = s["saddle_aft"] * cos - s["saddle_up"] * sin
    py = s["saddle_aft"] * sin + s["saddle_up"] * cos
    fx = s["nut_x"] + bow * gx
    fy = s["nut_y"] + bow * gy
    dx, dy = fx - px, fy - py
    length = np.sqrt(dx * dx + dy * dy + s["aside2"])
    lever = (dx * py - dy * px) / length
    reach = (dx * gx + dy * gy) / length
    tension, slope = _tension(p, length)
    curl = (fx * px + fy * py - lever * lever) / length
    cross = (gx * py - gy * px - lever * reach) / length
    swell = (gx * gx + gy * gy - reach * reach) / length
    pull = slope * lever
    # springs: from the turned block to the claw
    qx = k["hook_aft"] * cos - k["hook_up"] * sin
    qy = k["hook_aft"] * sin + k["hook_up"] * cos
    ex, ey = k["claw_x"] - qx, k["claw_y"] - qy
    span = np.sqrt(ex * ex + ey * ey + k["slant2"])
    arm = (ex * qy - ey * qx) / span
    force, stiff = spring_law(span, k["rate"], k["initial"], k["free"], k["closed_rate"], k["present"])
    bend = (k["claw_x"] * qx + k["claw_y"] * qy - arm * arm) / span
    # weight of the plate
    cx = rig.centre_aft * cos - rig.centre_up * sin
    cy = rig.centre_aft * sin + rig.centre_up * cos
    return Moments(
        tilt=(tension * lever).sum(0) + (force * arm).sum(0) + rig.weight_x * cy - rig.weight_y * cx,
        bow=(tension * reach).sum(0) + rig.bow_stiffness * (bow - rig.bow_free),
        tilt_tilt=(pull * lever + tension * curl).sum(0)
        + (stiff * arm * arm + force * bend).sum(0)
        + rig.weight_x * cx
        + rig.weight_y * cy,
        tilt_bow=(pull * reach + tension * cross).sum(0),
        bow_bow=(slope * reach * reach + tension * swell).sum(0) + rig.bow_stiffness,
        tension=tension,
        length=length,
        lever=lever,
        spring_force=force,
        spring_lever=arm,
        spring_rate=stiff,
    )


@dataclass
class Held:
    """What the strings do to the neck with the plate held at one tilt: all that does not change with the bow."""

    p: Packed
    saddle: tuple[Array, Array]  # (S, B) m
    per_bow: tuple[Array, Array]  # (B,) or (S, B) m2
    square: Array  # (B,) or (S, B) m4, of the shift per bow


def held_at(p: Packed, tilt: Array) -> Held:
    """Hold plates at a tilt.

    Args:
        p: packed rig.
        tilt: (B,) [rad].
    Returns: what `bow_moments` asks for.
    """
    cos, sin = np.cos(tilt), np.sin(tilt)
    gx, gy = p.rig.nut_x_per_bow.T, p.rig.nut_y_per_bow.T
    px = p.s["saddle_aft"] * cos - p.s["saddle_up"] * sin
    py = p.s["saddle_aft"] * sin + p.s["saddle_up"] * cos
    return Held(p, (px, py), (gx, gy), gx * gx + gy * gy)


def bow_moments(held: Held, bow: Array) -> tuple[Array, Array]:
    """The derivatives of the potential energy in the bow alone: the same numbers `moments` gives, in a third of them.

    Args:
        held: from `held_at`.
        bow: (B,) [1/m].
    Returns: two (B,): dU/dbow [N m2] and its derivative.
    """
    p, (px, py), (gx, gy) = held.p, held.saddle, held.per_bow
    dx, dy = p.s["nut_x"] + bow * gx - px, p.s["nut_y"] + bow * gy - py
    length = np.sqrt(dx * dx + dy * dy + p.s["aside2"])
    reach = (dx * gx + dy * gy) / length
    tension, slope = _tension(p, length)
    swell = (held.square - reach * reach) / length
    stiffness = p.rig.bow_stiffness
    return (
        (tension * reach).sum(0) + stiffness * (bow - p.rig.bow_free),
        (slope * reach * reach + tension * swell).sum(0) + stiffness,
    )


def _tension(p: Packed, length: Array) -> tuple[Array, Array]:
    s = p.s
    tension, slope = np.zeros_like(length), np.zeros_like(length)
    if p.loose:
        tension = s["rate"] * (length - s["slack_at"])
        slope = s["rate"] * (tension > 0.0)
        np.maximum(tension, 0.0, out=tension)
    if p.held:
        by_pitch = s["by_pitch"]
        held, rise = held_tension(length, s["hertz"], s["unit_mass"], s["axial"], s["bending"])
        tension, slope = np.where(by_pitch, held, tension), np.where(by_pitch, rise, slope)
    return tension, slope


def spring_law(
    span: Array, rate: Array, initial: Array, free: Array, closed_rate: Array, present: Array
) -> tuple[Array, Array]:
    """Force and stiffness of extension springs: open, closed (stiff) or slack.

    Args:
        span: (...) hook to hook [m].
        rate: (...) [N/m].
        initial: (...) initial tension [N].
        free: (...) closed length, hook to hook [m].
        closed_rate: (...) stiffness of the closed coil [N/m].
        present: (...) 1 where a spring hangs, else 0 [1].
    Returns: force [N] and stiffness [N/m]; both 0 when slack.
    """
    over = span - free
    stiff = np.where(over < 0.0, closed_rate, rate)
    force = initial + stiff * over
    tight = present * (force > 0.0)
    return force * tight, stiff * tight
