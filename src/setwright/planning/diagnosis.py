"""What keeps strings from coming back to pitch after the bar: knife edge, a string's slot, or a string that gave.

Derived here. The plate is brought down (dive) and let go, then up (pull) and let go; the open strings are read twice.
After a dive a knife edge holds the plate up by a moment m, after a pull down by the same; a slot that binds leaves its
own string sharp by n_j after a dive and flat by n_j after a pull, and plate and neck carry the others the other way; a
string that stretched or slipped is flat by s_j after both. With A the pitches per m and per n_j and B those per s_j,

    (dive - pull) / 2 = A [m, n_1 .. n_S],    (dive + pull) / 2 = -B s - A h,    |h| <= [m, n].

h says where between the two rest points the plate and each string stood when they were read before. A string tuned up
stands at one end, so h counts as noise with the largest variance it can have; a full dive and a full pull before the
first reading, and strokes as far as the bar goes, keep |h| <= [m, n] true.
S readings meet S + 1 unknowns, so each has a half-normal prior, and the most probable values that are not negative are
found by trying every set of causes. A small cause shared by all strings is therefore put down to the knife edge.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.traits import Array
from setwright.physics.balance import Equilibrium, Rig, equilibrium, pegs_fixed, pitches, take, unstretched_lengths
from setwright.physics.pitch import cents

KNIFE_SCALE = 0.01  # N m, half-normal prior of what a knife edge holds; common practice, no source
STRING_SCALE = 5.0  # cents, of what a slot holds or a string gives; common practice, no source
MOMENT_STEP = 1e-4  # N m
LENGTH_STEP = 1e-6  # 1, share of the unstretched length
MOST_STRINGS = 12
MOST_CENTS = 100.0
FAR = 4.0  # standard deviations of chi-squared beyond which the causes do not explain what was read
SURE = 1.645  # standard uncertainties on one side: 95 %
Sure = Literal["yes", "perhaps", "no"]
Kind = Literal["stretch", "slot", "knife"]


@frozen
class Cause:
    """One thing that may keep the strings from coming back."""

    kind: Kind
    string: int | None  # from 1, the thinnest; None for the knife edge
    cents: float  # slot, knife edge: between the two rest points, of the string moved most; stretch: flat by this
    sd: float  # cents, standard uncertainty before what is negative is cut off
    moment: float | None  # N m, of the knife edge
    matters: Sure  # whether it is more than the tolerance; never "yes" where the causes do not fit what was read


@frozen
class Diagnosis:
    """All causes in the order in which they are put right, and how far they do not explain what was read."""

    causes: tuple[Cause, ...]
    left: Array  # (2, S) cents, read less explained: half the difference, half the sum
    fits: bool  # whether what is left is no more than the readings allow


def bar_patterns(rig: Rig, state: Equilibrium) -> tuple[Array, Array]:
    """What a moment on the plate, and a string that stands off by itself, do to every open string, pegs left alone.

    Args:
        rig: (1) rig, strings at pitch.
        state: its rest, touching no stop.
    Returns: (S) cents per moment that holds the rear up [c/(N m)]; (S, S) cents of every string (row) per cent by which
        one string (column) stands sharp, itself 1.
    Raises: InputError where the plate touches a stop or a string is slack.
    """
    if rig.batch != 1 or not bool(state.free.all()) or not np.all(state.tension > 0.0):
        raise InputError(
            "the plate touches a stop or a string is slack; the bar test needs one floating plate with every string at "
            "pitch, so take the wedge out and tune first."
        )
    pegs = unstretched_lengths(rig, state)[0]
    count = len(pegs)
    moment = np.zeros(2 * count + 2)
    moment[:2] = MOMENT_STEP, -MOMENT_STEP
    length = np.tile(pegs, (2 * count + 2, 1))
    for j in range(count):
        length[2 + 2 * j : 4 + 2 * j, j] *= 1.0 - LENGTH_STEP, 1.0 + LENGTH_STEP
    many = pegs_fixed(take(rig, np.zeros(len(moment), dtype=np.intp)), length)
    heard = pitches(many, equilibrium(many, moment, np.broadcast_to(state.tilt, moment.shape)))
    change = np.asarray(cents(heard[0::2], heard[1::2]))
    own = change[1:].T
    return change[0] / (2.0 * MOMENT_STEP), own / np.diagonal(own)


def held(pattern: Array, read: Array, covariance: Array, scale: Array) -> tuple[Array, Array]:
    """Most probable amounts, none negative: normal readings, half-normal priors; every set of causes is tried.

    Args:
        pattern: (S, N) readings per amount, N at most 13 [c per unit of the amount].
        read: (S) readings [c].
        covariance: (S, S) of their noise [c2].
        scale: (N) scale of each prior [unit of the amount].
    Returns: (N) amounts; (N, N) covariance of the normal distribution whose negative part was cut off (Laplace).
    """
    count = len(scale)
    weighted = np.linalg.solve(covariance, pattern)
    curve = pattern.T @ weighted + np.diag(scale**-2.0)
    pull = weighted.T @ read
    sets = (np.arange(2**count)[:, None] >> np.arange(count)) & 1 == 1
    both = sets[:, :, None] & sets[:, None, :]
    unit = np.sqrt(np.diagonal(curve))  # in units of its own curvature each amount is near one
    system = np.where(both, curve / np.outer(unit, unit), np.eye(count))
    tried = np.linalg.solve(system, np.where(sets, pull / unit, 0.0)[..., None])[..., 0] / unit
    worth = np.where((tried >= 0.0).all(axis=1), tried @ pull, -np.inf)  # twice the gain at the best of each set
    return np.asarray(tried[int(np.argmax(worth))]), np.asarray(np.linalg.inv(curve))


def diagnose(
    rig: Rig, state: Equilibrium, dive: Array, pull: Array, sd: float = 0.5, tolerance: float = 2.0
) -> Diagnosis:
    """What holds the strings off their pitch.

    Args:
        rig: (1) rig, strings at pitch.
        state: its rest, touching no stop.
        dive: (S) open strings after a dive and return, against before [c].
        pull: (S) after a pull and return, against before [c].
        sd: standard uncertainty of one reading of one string, 0.05 to 5 [c].
        tolerance: a cause up to this is normal, above 0 to 50 [c].
    Returns: the causes: strings, slots, knife edge.
    Raises: InputError where a list does not fit the strings or holds no number, or where a value is out of range.
    """
    _checked(rig.axial.shape[1], dive, pull, sd, tolerance)
    knife, own = bar_patterns(rig, state)
    count = len(knife)
    pattern = np.column_stack([knife, own])
    scale = np.array([KNIFE_SCALE, *[STRING_SCALE] * count])
    apart, middle = (dive - pull) / 2.0, (dive + pull) / 2.0
    noise = np.eye(count) * sd**2
    amount, spread = held(pattern, apart, noise / 2.0, scale)  # the reading before falls out of the difference
    where = (pattern * amount**2) @ pattern.T
    unsure = noise * 1.5 + where
    given, given_spread = held(-own, middle, unsure, scale[1:])
    left = np.array([apart - pattern @ amount, middle + own @ given])
    misfit = 2.0 * np.sum(left[0] ** 2) / sd**2 + left[1] @ np.linalg.solve(unsure, left[1])
    fits = bool(misfit <= 2 * count + FAR * np.sqrt(4.0 * count))
    sizes = np.concatenate([given, 2.0 * amount[1:], [2.0 * amount[0] * np.abs(knife).max()]])
    sds = np.sqrt(np.concatenate([np.diagonal(given_spread), 4.0 * np.diagonal(spread)[1:], [4.0 * spread[0, 0]]]))
    sds[-1] *= np.abs(knife).max()
    strings: list[int | None] = [*range(1, count + 1)]
    each: list[Kind] = ["stretch", "slot"]
    kinds: list[Kind] = [kind for kind in each for _ in strings]
    kinds.append("knife")
    causes = tuple(
        Cause(
            kind, j, float(c), float(u), None if j else float(amount[0]), _matters(float(c), float(u), tolerance, fits)
        )
        for kind, j, c, u in zip(kinds, [*strings, *strings, None], sizes, sds, strict=True)
    )
    return Diagnosis(causes, left, fits)


def _checked(count: int, dive: Array, pull: Array, sd: float, tolerance: float) -> None:
    if count > MOST_STRINGS:
        raise InputError(f"{count} strings are too many for the bar test; it takes up to {MOST_STRINGS}.")
    for name, values in (("dive", dive), ("pull", pull)):
        if np.shape(values) != (count,):
            raise InputError(f"{name}: {np.size(values)} readings for {count} strings; write one per string, from 1.")
        bad = ~(np.abs(values) <= MOST_CENTS)
        if bad.any():
            j = int(np.argmax(bad))
            raise InputError(
                f"{name}: string {j + 1} reads {values[j]:g} c against before, and up to {MOST_CENTS:g} c is allowed; "
                "tune it and repeat the test."
            )
    if not 0.05 <= sd <= 5.0:
        raise InputError(f"sd is {sd:g} c; a reading of pitch is good to 0.05 to 5 c, write one of these.")
    if not 0.0 < tolerance <= 50.0:
        raise InputError(f"tolerance is {tolerance:g} c; write more than 0 and up to 50 c.")


def _matters(size: float, sd: float, tolerance: float, fits: bool) -> Sure:
    if size <= tolerance:
        return "no"
    return "yes" if fits and size - SURE * sd > tolerance else "perhaps"
