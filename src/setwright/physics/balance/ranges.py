"""How far the bar goes, what a bend or a broken string does to the rest, when a decked plate lifts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from setwright.frozen import frozen, replace
from setwright.physics.balance.equilibrium import Equilibrium, equilibrium, settled_at
from setwright.physics.balance.moments import held_tension
from setwright.physics.balance.rig import Array, Rig
from setwright.physics.pitch import cents
from setwright.physics.strings import first_partial


def pitches(rig: Rig, state: Equilibrium) -> Array:
    """First partials in a state; 0 where a string is slack or off.

    Args:
        rig: (B) rigs.
        state: their state.
    Returns: (B, S) [Hz].
    """
    tight = state.tension > 0.0
    tension = np.where(tight, state.tension, 1.0)
    return np.where(tight, first_partial(tension, state.length, rig.unit_mass, rig.axial, rig.bending), 0.0)


def unstretched_lengths(rig: Rig, state: Equilibrium) -> Array:
    """Unstretched length of the whole path of every string in a state.

    Args:
        rig: (B) rigs.
        state: their state.
    Returns: (B, S) [m].
    """
    return (state.length + rig.dead) / (1.0 + state.tension / rig.axial)


def lengths_at(rig: Rig, hertz: Array, tilt: Array, bow: Array) -> Array:
    """Unstretched length of the whole path of strings that sound at given pitches, each in a state of its own.

    Args:
        rig: (B) rigs.
        hertz: (B, S) or (S) first partials [Hz].
        tilt: (B, S) or (S) in which each string's pitch is meant [rad].
        bow: (B, S) or (S) [1/m].
    Returns: (B, S) [m].
    """
    cos, sin = np.cos(tilt), np.sin(tilt)
    gx, gy = (np.asarray(g).reshape(rig.batch, -1) for g in (rig.nut_x_per_bow, rig.nut_y_per_bow))
    x = rig.nut_x + bow * gx - (rig.saddle_aft * cos - rig.saddle_up * sin)
    y = rig.nut_y + bow * gy - (rig.saddle_aft * sin + rig.saddle_up * cos)
    length = np.sqrt(x * x + y * y + rig.aside**2)
    tension, _ = held_tension(length, np.asarray(hertz), rig.unit_mass, rig.axial, rig.bending)
    return np.asarray((length + rig.dead) / (1.0 + tension / rig.axial))


@frozen
class Swing:
    """What the bar can do to every string from a state of rest; nan where the string is off or slack at rest."""

    up: Array  # (B, S) cents at the lower stop; -inf where the string goes slack
    down: Array  # (B, S) cents at the upper stop; -inf where the string goes slack
    tilt_up: Array  # (B,) rad
    tilt_down: Array  # (B,) rad


def swing(rig: Rig, rest: Equilibrium) -> Swing:
    """Up-bend and dive range of every string, pegs fixed.

    Args:
        rig: (B) rigs, strings by unstretched length.
        rest: state of rest.
    Returns: the swing [cents].
    """
    base = pitches(rig, rest)
    up = pitches(rig, settled_at(rig, rig.tilt_low))
    down = pitches(rig, settled_at(rig, rig.tilt_high))
    sounds = base > 0.0
    return Swing(
        up=_interval(up, base, sounds),
        down=_interval(down, base, sounds),
        tilt_up=rig.tilt_low,
        tilt_down=rig.tilt_high,
    )


def _interval(hertz: Array, base: Array, sounds: NDArray[np.bool_]) -> Array:
    """Cents from base to hertz; -inf where only base sounds, nan where base does not."""
    both = sounds & (hertz > 0.0)
    size = np.asarray(cents(np.where(both, hertz, 1.0), np.where(both, base, 1.0)))
    return np.where(both, size, np.where(sounds, -np.inf, np.nan))


def bent(rig: Rig, rest: Equilibrium, string: int, by: float) -> Equilibrium:
    """State while one string is bent until it sounds higher by some cents, after the plate has moved.

    Args:
        rig: (B) rigs, strings by unstretched length.
        rest: state of rest.
        string: index, 0 = thinnest [1].
        by: size of the bend as heard [cents].
    Returns: the state.
    """
    wanted = pitches(rig, rest)[:, string] * 2.0 ** (by / 1200.0)
    hertz, unstretched = rig.hertz.copy(), rig.unstretched.copy()
    hertz[:, string] = wanted
    unstretched[:, string] = np.nan
    return equilibrium(replace(rig, hertz=hertz, unstretched=unstretched), start=rest.tilt)


def broken(rig: Rig, rest: Equilibrium, string: int) -> Equilibrium:
    """State after one string has broken.

    Args:
        rig: (B) rigs, strings by unstretched length.
        rest: state of rest.
        string: index, 0 = thinnest [1].
    Returns: the state.
    """
    unstretched = rig.unstretched.copy()
    unstretched[:, string] = np.nan
    return equilibrium(replace(rig, unstretched=unstretched), start=rest.tilt)


def lifting_bend(rig: Rig, decked: Equilibrium) -> Array:
    """Bend of each single string that just lifts a decked plate.

    At the moment of lifting the tilt is still that of the stop, so the bent string must pull harder by the preload
    over its lever; the neck settles with it.

    Args:
        rig: (B) rigs, strings by unstretched length.
        decked: a state resting on the lower stop.
    Returns: (B, S) size of the bend; inf where the string is slack or could not lift it [cents].
    """
    base = pitches(rig, decked)
    out = np.full_like(base, np.inf)
    for i in range(base.shape[1]):
        unstretched = rig.unstretched.copy()
        state = decked
        for _ in range(8):
            lever = state.lever[:, i]
            pull = state.tension[:, i] - state.contact / np.where(lever < 0.0, lever, -np.inf)
            unstretched[:, i] = (state.length[:, i] + rig.dead[:, i]) / (1.0 + pull / rig.axial[:, i])
            state = settled_at(replace(rig, unstretched=unstretched), decked.tilt)
        raised = pitches(rig, state)[:, i]
        ok = (decked.lever[:, i] < 0.0) & (base[:, i] > 0.0) & (raised > 0.0) & (np.abs(state.contact) < 1e-6)
        safe = np.where(ok, base[:, i], 1.0)
        out[:, i] = np.where(ok, cents(np.where(ok, raised, 1.0), safe), np.inf)
    return out


def friction_band(rig: Rig, friction: Array | float, start: Array | float = 0.0) -> tuple[Equilibrium, Equilibrium]:
    """The two ends of the band in which the plate may rest when the knife edge rubs.

    After a dive the plate comes down from above and stops early, rear high: friction holds it up; after an up-bend it
    stops low.

    Args:
        rig: (B) rigs.
        friction: (B,) or () largest moment of the knife edge's friction [N m].
        start: (B,) or () [rad].
    Returns: rest after an up-bend (lower tilt), rest after a dive (higher tilt).
    """
    size = np.asarray(friction, dtype=np.float64)
    return equilibrium(rig, -size, start), equilibrium(rig, size, start)
