"""The claw: where it must stand for the plate to rest at a wanted tilt with every string at pitch."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from setwright.frozen import frozen, replace
from setwright.physics.balance.equilibrium import Equilibrium, settled_at
from setwright.physics.balance.moments import spring_law
from setwright.physics.balance.rig import Array, Rig

REACH = 0.08  # m, how far from where it stands the claw is looked for
ROUNDS = 60


@frozen
class ClawAnswer:
    """Answer of `claw_for_tilt`."""

    shift: Array  # (B,) m along the screws, > 0 away from the cavity wall (slacker springs)
    reached: NDArray[np.bool_]  # (B,) False where no shift within REACH balances; `shift` is then the end of the reach
    state: Equilibrium  # at the wanted tilt, claw shifted; contact = the moment left over


def claw_for_tilt(
    rig: Rig, tilt: Array | float, axis_x: Array, axis_y: Array, moment: Array | float = 0.0
) -> ClawAnswer:
    """Shift of the whole claw along its screws that balances the plate at a tilt (docs/physics/balance, eq. B16).

    With pitches given the string tensions are fixed by the tilt, so only the spring moment is left to choose: a
    monotone function of the shift, solved by Newton's method inside a shrinking bracket.

    Args:
        rig: (B) rigs, strings held at a pitch (or by unstretched length: then the pegs are fixed).
        tilt: (B,) or () wanted [rad].
        axis_x: (B, K) shift of each spring's claw end along x per shift of the claw [1].
        axis_y: (B, K) the same along y [1].
        moment: (B,) or () moment on the plate, > 0 lifts the rear [N m].
    Returns: shift, whether it exists, and the state with the claw shifted.
    """
    state = settled_at(rig, tilt)
    wanted = state.contact - np.asarray(moment)  # what the springs' moment has to lose
    cos, sin = np.cos(state.tilt)[:, None], np.sin(state.tilt)[:, None]
    qx = rig.hook_aft * cos - rig.hook_up * sin
    qy = rig.hook_aft * sin + rig.hook_up * cos

    def spring_moment(shift: Array) -> tuple[Array, Array]:
        ex = rig.claw_x + shift[:, None] * axis_x - qx
        ey = rig.claw_y + shift[:, None] * axis_y - qy
        span = np.sqrt(ex * ex + ey * ey + rig.slant**2)
        arm = (ex * qy - ey * qx) / span
        growth = (ex * axis_x + ey * axis_y) / span
        turn = (axis_x * qy - axis_y * qx - arm * growth) / span
        force, stiff = spring_law(span, rig.rate, rig.initial, rig.free, rig.closed_rate, rig.present)
        return (force * arm).sum(1), (stiff * growth * arm + force * turn).sum(1)

    now, _ = spring_moment(np.zeros(rig.batch))
    goal = now - wanted
    low, high = np.full(rig.batch, -REACH), np.full(rig.batch, REACH)
    reached = (spring_moment(low)[0] >= goal) & (spring_moment(high)[0] <= goal) & rig.present.any(axis=1)
    shift = np.zeros(rig.batch)
    for _ in range(ROUNDS):
        value, slope = spring_moment(shift)
        over = value > goal  # springs still too tight: move away from the wall
        low, high = np.where(over, shift, low), np.where(over, high, shift)
        step = (goal - value) / np.where(slope < 0.0, slope, -np.inf)
        new = shift + step
        new = np.where((new > low) & (new < high) & (slope < 0.0), new, 0.5 * (low + high))
        done = np.abs(new - shift) < 1e-13
        shift = new
        if done.all():
            break
    return ClawAnswer(shift, reached, settled_at(with_claw_shift(rig, shift, axis_x, axis_y), tilt))


def with_claw_shift(rig: Rig, shift: Array, axis_x: Array, axis_y: Array) -> Rig:
    """Return the rig with its claw moved along the screws.

    Args:
        rig: (B) rigs.
        shift: (B,) away from the cavity wall [m].
        axis_x: (B, K) [1].
        axis_y: (B, K) [1].
    Returns: the moved rig.
    """
    return replace(rig, claw_x=rig.claw_x + shift[:, None] * axis_x, claw_y=rig.claw_y + shift[:, None] * axis_y)
