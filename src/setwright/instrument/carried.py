"""What was learned of an instrument at one visit, carried to the next: as sure as it is still honest to be.

Carried is what a hand does not set and a player does not change: springs, levers and masses of the bridge, stiffness
of the neck. Strings, claw, saddles, pivots and relief are read anew. What was learned fades with the years: with r =
exp(-years / fading) of each trait and K what is known of its kind (independent traits), mean and covariance become

    r m      and      r C r + (1 - r^2)^1/2 K (1 - r^2)^1/2

so that nothing is believed more sharply than it was, and after long everything is as before any reading (DERIVED: the
stationary Gauss-Markov process).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.instrument.belief import Belief, Believed
from setwright.instrument.prior import Prior, Uncertain, vary
from setwright.instrument.traits import Traits

SPRINGS, WOOD, METAL = 10.0, 3.0, 50.0  # years in which what was learned fades; common practice, no source
FADING = {
    "springs.rate": SPRINGS, "springs.initial": SPRINGS, "springs.free": SPRINGS, "springs.closed_rate": SPRINGS,
    "springs.hook_aft": METAL, "springs.hook_up": METAL,
    "neck.bending": WOOD, "neck.string_line": METAL, "nut.behind": METAL,
    "bridge.rear_aft": METAL, "bridge.mass": METAL, "bridge.centre_aft": METAL, "bridge.centre_up": METAL,
}  # fmt: skip
SAME = 1e-9  # of a value


def nominal_of(traits: Traits, part: Uncertain) -> float:
    """The value a deviation is counted from.

    Args:
        traits: nominal, unbatched.
        part: which trait.
    Returns: it [SI], of a whole field the mean of its elements.
    """
    group, name = part.path.split(".")
    value = np.asarray(getattr(getattr(traits, group), name), dtype=np.float64)
    return float(value.mean() if part.index is None else value[..., part.index].mean())


def believed(first: Traits, known: Prior, now: Traits, learned: Prior, springs: int) -> Belief | None:
    """What is carried on of what was learned.

    Args:
        first: nominal traits by file and catalogue alone.
        known: what is known of them by these.
        now: the traits deviations are counted from after the readings.
        learned: what is known after the readings.
        springs: how many hang there.
    Returns: the belief, None where nothing of it can be carried.
    """
    after = {part.name: i for i, part in enumerate(learned.parts)}
    parts = [part for part in known.parts if part.path in FADING and part.name in after]
    if not parts:
        return None
    base = np.array([nominal_of(first, part) for part in parts])
    moved = np.array([nominal_of(now, part) for part in parts])
    factor = np.array([part.kind == "factor" for part in parts])
    place = [after[part.name] for part in parts]
    scale = np.where(factor, moved / np.where(factor, base, 1.0), 1.0)
    mean = np.where(factor, scale * (1.0 + learned.mean[place]) - 1.0, moved + learned.mean[place] - base)
    covariance = learned.covariance[np.ix_(place, place)] * np.outer(scale, scale)
    return Belief(
        springs, tuple(Believed(part.name, part.kind, float(b), part.sd) for part, b in zip(parts, base, strict=True)),
        tuple(mean.tolist()), tuple(tuple(row) for row in covariance.tolist()),
    )  # fmt: skip


def still_holds(belief: Belief, traits: Traits, known: Prior, springs: int) -> list[tuple[int, int]]:
    """Which traits of a belief go on.

    Args:
        belief: from the visit before.
        traits: nominal, by file and catalogue as they are now.
        known: what is known of them by these.
        springs: how many hang there now; of others than then nothing is believed.
    Returns: places in the belief and in `known`. What is written otherwise by now goes before what was learned.
    """
    at = {part.name: i for i, part in enumerate(known.parts)}
    out = []
    for i, was in enumerate(belief.traits):
        j = at.get(was.name)
        if j is None or (was.name.startswith("springs.") and springs != belief.springs):
            continue
        part = known.parts[j]
        now = nominal_of(traits, part)
        alike = abs(now - was.nominal) <= SAME * abs(was.nominal) and abs(part.sd - was.sd) <= SAME * was.sd
        if alike and part.kind == was.kind and part.path in FADING:
            out.append((i, j))
    return out


def carried(belief: Belief, years: float, traits: Traits, known: Prior, springs: int) -> tuple[Traits, Prior]:
    """The instrument a visit begins with, from what the one before has learned.

    Args:
        belief: from the visit before.
        years: since then.
        traits: nominal, by file and catalogue as they are now.
        known: what is known of them by these, independent of each other.
        springs: how many hang there now.
    Returns: most likely instrument as the nominal one, and what is known of it, all means 0.
    """
    both = still_holds(belief, traits, known, springs)
    if not both:
        return traits, known
    was, now = ([pair[i] for pair in both] for i in (0, 1))
    share = np.array([np.exp(-years / FADING[known.parts[j].path]) for j in now])
    mean = np.zeros(len(known.parts))
    mean[now] = share * np.array(belief.deviations)[was]
    fresh = np.sqrt(np.maximum(1.0 - share * share, 0.0))
    covariance = known.covariance.copy()
    old = np.array(belief.covariance)[np.ix_(was, was)]
    covariance[np.ix_(now, now)] = old * np.outer(share, share) + known.covariance[np.ix_(now, now)] * np.outer(
        fresh, fresh
    )
    known = replace(known, mean=mean, covariance=covariance)
    return vary(traits, known, known.mean), about_most_likely(known)


def about_most_likely(known: Prior) -> Prior:
    """What is known, counted from the most likely instrument instead of the nominal one.

    Args:
        known: deviations from the nominal instrument.
    Returns: the same, all means 0.
    """
    scale = np.ones(len(known.parts))
    for i, part in enumerate(known.parts):
        if part.kind == "factor":  # (1 + new) = (1 + old) / (1 + mean)
            scale[i] = 1.0 / (1.0 + known.mean[i])
    return replace(known, mean=np.zeros_like(known.mean), covariance=known.covariance * np.outer(scale, scale))
