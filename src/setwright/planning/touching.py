"""Strings to be touched up on a plate that floats where its claw is right."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from setwright.frozen import frozen
from setwright.instrument.geometry import edge_gap
from setwright.instrument.traits import Array
from setwright.physics.balance import pitches
from setwright.planning.course import Course
from setwright.planning.outlook import View, cents_off, shown_with
from setwright.planning.tracking import held, lay_out

PULLED = 1e-5  # of its length, over which a peg's effect is measured
WORTH_A_TURN = 0.06  # of the tolerance by which the farthest must come nearer for every string set
FAR_PULLED = 0.1  # what a string pulled by a tolerance of its own counts beside what is off by one
FAR = 8.0  # tolerances, beyond which strings are first brought to where they end


@frozen
class Few:
    """Strings to be set to pitch."""

    strings: tuple[int, ...]  # 0 = thinnest
    lengths: Array  # (S) m, of all strings then
    enough: bool  # whether that brings every pitch and the gap inside


def all_sets(count: int) -> NDArray[np.bool_]:
    """Every set of strings.

    Args:
        count: number of strings.
    Returns: (2**S, S), the empty set first, all of them last.
    """
    return ((np.arange(2**count)[:, None] >> np.arange(count)) & 1).astype(bool)


def fewest(course: Course, margin: Array, apart: Array | float = 0.0) -> Few:
    """Smallest set of strings to be set to pitch that brings every string inside, claw and other pegs left alone.

    Args:
        course: where the work stands.
        margin: (S) kept clear of the tolerance [cents].
        apart: (S) cents by which strings left alone stand over what the model says.
    Returns: the strings; all of them where no set is enough.
    """
    goal, count = course.goal, len(course.goal.hertz)
    subsets = all_sets(count)
    all_of_them = held(course.picture, np.where(subsets, goal.hertz, np.nan))
    off = np.abs(cents_off(pitches(all_of_them.rig, all_of_them.state), goal.hertz) + np.where(subsets, 0.0, apart))
    gap = edge_gap(all_of_them.traits, all_of_them.settings, all_of_them.state.tilt).mean(axis=-1)
    worst = (off + np.where(subsets, 0.0, margin) - goal.pitch_tolerance).max(axis=1)
    worst = np.maximum(worst, (np.abs(gap - goal.gap) / goal.gap_tolerance - 0.9) * goal.pitch_tolerance)
    good = worst <= 0.0
    rank = np.where(good, subsets.sum(axis=1), 100) + 0.01 * np.clip(worst, -50, 50)
    best = int(np.argmin(rank)) if good.any() else len(subsets) - 1
    strings = tuple(int(i) for i in np.flatnonzero(subsets[best]))
    return Few(strings, all_of_them.lengths()[best], bool(good.any()))


def one_at_pitch(course: Course, string: int) -> Few:
    """One string set to its wanted pitch, the other pegs left alone.

    Args:
        course: where the work stands.
        string: 0 = thinnest.
    Returns: the string with the lengths then.
    """
    wanted = np.where(np.arange(len(course.goal.hertz)) == string, course.goal.hertz, np.nan)
    return Few((string,), np.asarray(held(course.picture, wanted[None]).lengths()[0]), enough=False)


def by_hand(seen: View, margin: Array) -> Few:
    """Strings to be set on a plate that strings held at pitch would pull out of its gap.

    There a string that is lowered lets all others rise, and setting the worst to its pitch goes round and round. So
    strings are set off their pitches: by least squares of pitches and gap in tolerances, the smallest set that brings
    all inside. Strings far off go to where they end first.

    Args:
        seen: where the work stands.
        margin: (S) kept clear of the tolerance where a string is left alone [cents].
    Returns: the strings; none where all are inside, or no set brings the farthest noticeably nearer.
    """
    now, goal, count = seen.now, seen.course.goal, len(seen.now.cents)
    limit = np.append(np.full(count, goal.pitch_tolerance), goal.gap_tolerance)
    off = np.append(now.cents, now.gap - goal.gap) / limit
    lengths = lay_out(seen.course.picture, seen.course.picture.mean[None])[1].unstretched[0].copy()
    if np.abs(off[:-1]).max() > FAR:
        return Few(tuple(range(count)), seen.end.lengths, enough=False)
    shown = shown_with(seen.course, np.concatenate([lengths[None], lengths - np.diag(PULLED * lengths)]))
    rise = ((shown[1:] - shown[0]) / limit).T / PULLED  # (what is shown, string pulled)
    subsets = all_sets(count)
    pull = np.zeros((len(subsets), count))
    held_back = np.vstack([rise, FAR_PULLED * np.diag(np.diagonal(rise))])
    target = np.append(-off, np.zeros(count))
    for one, chosen in enumerate(subsets):
        pull[one, chosen] = np.linalg.lstsq(held_back[:, chosen], target, rcond=None)[0]
    left = np.abs(off + pull @ rise.T)
    clear = np.column_stack([np.where(subsets, 0.0, margin / limit[:-1]), np.zeros(len(subsets))])
    worst = (left + clear).max(axis=1)
    good = worst <= 1.0
    sizes = subsets.sum(axis=1)
    best = int(np.argmin(np.where(good, sizes + 0.01 * worst, 100.0 + worst)))
    if worst[best] > worst[0] - WORTH_A_TURN * sizes[best]:
        return Few((), lengths, enough=bool(good[0]))
    return Few(tuple(int(i) for i in np.flatnonzero(subsets[best])), lengths * (1.0 - pull[best]), bool(good[best]))
