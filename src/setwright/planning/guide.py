"""The next step of bringing a floating plate to its gap and every string to pitch, given everything read so far.

The way (docs/planning): strings once each with the plate on a wedge at the wanted gap; the claw out until the plate
leaves the wedge, a little too far rather than too little; everything heard; the claw to its place by what that taught;
the fewest strings touched up that bring all inside. Every number is computed anew from the picture before each step, so
that any other order of work is taken up where it stands.
"""

from __future__ import annotations

import math
from dataclasses import field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from setwright.frozen import frozen
from setwright.instrument.geometry import tilt_for_gap
from setwright.instrument.traits import Array
from setwright.physics.balance import equilibrium, pegs_fixed, pitches
from setwright.planning import weighing
from setwright.planning.course import Course
from setwright.planning.outlook import End, View, cents_off, each_at, view, within
from setwright.planning.scenes import SILENT, fan, slopes
from setwright.planning.touching import Few, by_hand, fewest, one_at_pitch
from setwright.planning.tracking import expected, lay_out, steps, without_wedge
from setwright.planning.turned_back import LOST

Do = Literal["read", "attitude", "wedge", "springs", "tune", "claw", "done"]
SURE = 0.99  # chance of being inside everything at which the work is called done
GAP_SURE = 0.6  # chance that the gap will be inside with every string at pitch, before strings are touched up
NEAR = 25.0  # cents off its end at which a string is still tuned on the wedge
TAIL = 1.3  # standard uncertainties the claw is turned out beyond what is most likely, less what may stand sharp
ROOM = 0.8  # share of the allowed peak used on purpose
LEAST = 0.3  # standard uncertainties the claw is turned out beyond what is most likely in any case
LIFTED = 70.0  # cents a string is left flat that is to lift the plate: it sharpens by so much when the plate falls back
LEAST_WEIGHED = 1.3  # the same once the plate has floated with a spring off: the claw is known well then
QUARTER = 0.25  # turn, over which its effect is measured
WORTH_HEARING = 400.0  # cents below its wanted pitch; a slacker string tells nothing that lasts
MOST_READ = 8  # readings of the gap in one state, after which more would not help
CLAW_READ = 3  # readings of the claw's distance that tell a wrong count from a wrong reading
READ_AGAIN = 4  # readings of the gap in one state, after which a string is rather touched up than heard again
CLEAR = 2.6  # standard uncertainties a pitch is kept from the tolerance by where its string is left alone
CLEAR_AT_MOST = 0.75  # of the tolerance
GAP_AT_LEAST = 0.97  # chance of the gap with which the work may end, once more readings would not help
BALANCED = 0.9  # the same of everything, where every string that is set puts all others off
HARDLY = 0.05  # chance that a string is inside, below which it is set without hearing it once more
FINEST_TURN = 1 / 96  # turn of the claw, the least a hand sets; common practice, no source
HAIR = 1.0  # cents, a string this near its length has been set already
FROM_0 = {"counted from": 0}  # of a field: strings, which everybody outside counts from 1
HELD_BACK = 2  # thinnest strings that come up only once the plate floats
OFF = "with one spring less the strings lift the plate: what it floats at tells how strong the springs are"
LIFT = "one string more, left flat, lifts the plate off the wedge; it is set when the claw is"
STAYED = "nothing more is told with a spring off; all are to hang before the claw is set"
BACK = "the plate has floated; with all springs hung the claw can be set by what was heard"


@frozen
class Advice:
    """One next step."""

    do: Do
    why: str
    string: int | None = field(default=None, metadata=FROM_0)  # 0 = thinnest
    hertz: float | None = None
    turns: float | None = None  # in > 0
    turns_sd: float | None = None
    gap: float | None = None  # m, of the wedge; None: out
    springs: tuple[int, ...] = field(default=(), metadata=FROM_0)  # places of the claw that hold a spring then
    place: int | None = field(default=None, metadata=FROM_0)  # of the spring that comes off or on
    hung: int | None = None  # springs that hang now, where they are to change
    chance: float | None = None  # of being inside everything as it stands
    cents: Array | None = None  # (S) off as believed
    cents_sd: Array | None = None
    gap_now: float | None = None  # m
    gap_sd: float | None = None
    strings: tuple[int, ...] = field(default=(), metadata=FROM_0)  # to be heard
    claw: bool = False  # the claw's distance alone is to be read
    left: float = 0.0  # tunings still expected


def next_step(course: Course) -> Advice:
    """What to do next.

    Args:
        course: where the work stands.
    Returns: the advice.
    """
    return advised(view(course))


def advised(seen: View) -> Advice:
    """What to do next.

    Args:
        seen: where the work stands.
    Returns: the advice.
    """
    course = seen.course
    if course.picture.settings.attitude != course.goal.attitude:
        return Advice("attitude", "pitches and gap are wanted in this attitude")
    if _claw_doubted(course):
        return Advice("read", "turns and distance of the claw do not fit each other: one of them is wrong", claw=True)
    now = seen.now
    silent = tuple(int(i) for i in np.flatnonzero(~np.array(course.heard) & (now.cents > -WORTH_HEARING)))
    step = None
    if silent and _must_hear(seen):
        step = _without_hearing(seen, silent)
        if step is None:
            return Advice("read", "hear the strings before the next step", strings=silent)
    return replace(
        step or _step(seen),
        chance=now.chance,
        cents=now.cents,
        cents_sd=now.stated[:-1],
        gap_now=now.gap,
        gap_sd=float(now.stated[-1]),
    )


def _claw_doubted(course: Course) -> bool:
    """Whether the claw was just turned, and its distance does not fit the count: told before strings stand sharp."""
    picture, scenes = course.picture, course.picture.scenes
    turned = len(scenes) > 1 and scenes[-2].turns < scenes[-1].turns == picture.turns and not picture.fresh
    last = {("turn", picture.turns), ("claw", len(scenes) - 1)}
    return turned and course.claw_read < CLAW_READ and any((one.kind, one.scene) in last for one in picture.doubts)


def _must_hear(seen: View) -> bool:
    """Whether the next step rests on every string: not while strings come up on a wedge that holds the plate."""
    course = seen.course
    if weighing.is_off(course):
        return True
    return not (seen.propped and course.claws == 0 and (weighing.weighed(course) or not_up(seen).size))


def _without_hearing(seen: View, silent: tuple[int, ...]) -> Advice | None:
    """Another string to be set on a plate that floats, where hearing the rest after one just set would not change that.

    That is so where the rest are known to well within the tolerance, and the string to be set next is hardly inside.
    """
    course, now = seen.course, seen.now
    if seen.propped or not course.free or not any(course.heard):
        return None
    room = course.goal.pitch_tolerance
    if CLEAR * now.sd[list(silent)].max() > room:
        return None
    step = _step(seen)
    if step.do != "tune" or step.string is None:
        return None
    inside = within(float(now.cents[step.string]), float(now.sd[step.string]), room)
    return step if inside < HARDLY else None


def not_up(seen: View) -> NDArray[np.intp]:
    """Strings still to be brought up; the thinnest ones wait until the claw has been turned once.

    Coming up on a plate that floats they show how stiff the springs are, which costs no tuning.

    Args:
        seen: where the work stands.
    Returns: the strings, 0 = thinnest.
    """
    poor = np.flatnonzero(np.abs(seen.alone[1]) > NEAR)
    return poor[poor >= (HELD_BACK if seen.course.claws == 0 else 0)]


def _step(seen: View) -> Advice:
    course = seen.course
    if weighing.is_off(course):
        return _weighing(seen)
    if not seen.propped and seen.now.chance >= SURE:
        return Advice("done", "gap and every pitch are inside")
    if not seen.propped and course.free:
        return _floating(seen)
    if not seen.propped:
        return Advice("wedge", "the plate is held at its gap while the strings come up", gap=course.goal.gap)
    poor = not_up(seen)
    if poor.size:
        return _tune(int(poor[-1]), seen.alone[0])
    if weighing.worth_it(seen):
        return _hang(course, weighing.meant(course) - 1, OFF)
    if course.claws and course.free:
        return Advice("wedge", "the plate has left the wedge", gap=None)
    if course.claws and _sharp_without_wedge(course) <= course.goal.peak:
        return Advice("wedge", "the plate has left the wedge or nearly so", gap=None)
    end = seen.end
    least = LEAST_WEIGHED if weighing.weighed(course) else LEAST
    return _claw(end, end.claw_out + max(least * end.claw_sd, TAIL * end.claw_sd - _spare(course, end)))


def _weighing(seen: View) -> Advice:
    """One spring is off: back on once the plate has been heard free, or once every string is up."""
    course = seen.course
    low = np.flatnonzero(seen.alone[1] < -LIFTED - NEAR)
    if course.free or not seen.propped or not low.size:
        return _hang(course, weighing.meant(course), BACK if course.free else STAYED)
    return replace(_tune(int(low[-1]), seen.alone[0] * 2.0 ** (-LIFTED / 1200.0)), why=LIFT)


def _hang(course: Course, count: int, why: str) -> Advice:
    """The middle spring off or on again; the others stay where they are, whatever the pattern of so few is."""
    every = tuple(course.picture.model.traits.springs.patterns[weighing.meant(course)])
    middle = every[len(every) // 2]
    places = every if count == len(every) else tuple(one for one in every if one != middle)
    return Advice("springs", why, springs=places, place=middle, hung=weighing.hanging(course))


def _floating(seen: View) -> Advice:
    """The plate floats: touch strings up where the claw is right, else set the claw."""
    course, now = seen.course, seen.now
    margin = np.minimum(CLEAR * now.sd[:-1], CLEAR_AT_MOST * course.goal.pitch_tolerance)
    gap, sd = seen.gap_at_pitch
    sure = within(gap - course.goal.gap, sd, course.goal.gap_tolerance)
    if sure < GAP_SURE and abs(seen.end.claw_out) < FINEST_TURN:
        return _balanced(seen, by_hand(seen, margin))
    few = fewest(course, margin, now.apart)
    if sure >= SURE or (course.claws > 1 and (few.enough or sure >= GAP_SURE)):
        return _touch(seen, few, sure)
    there, off = seen.alone
    poor = np.flatnonzero(np.abs(off) > WORTH_HEARING)
    if poor.size:
        return _tune(int(poor[-1]), there)
    if course.gap_read < 3:
        everything = tuple(range(len(now.cents)))
        return Advice("read", "read the rear gap: it tells how strong the springs are", strings=everything)
    back = weighing.weighed(course) and weighing.last_way(course) * seen.end.claw_out > 0.0
    lost = math.copysign(LOST, seen.end.claw_out) if back else 0.0
    return _claw(seen.end, seen.end.claw_out + lost)


def _tune(string: int, there: Array) -> Advice:
    return Advice(
        "tune", "its length will be right when the others are up and the claw is set", string, float(there[string])
    )


def _claw(end: End, out: float) -> Advice:
    return Advice("claw", "by what was heard", turns=-out, turns_sd=end.claw_sd)


def _rise(course: Course, end: End) -> float:
    """Cents by which a turn of the claw in lifts the string it moves most, at the end and with pegs left alone."""
    picture, goal = course.picture, course.goal
    lead = float(picture.model.traits.claw.lead)
    found = []
    for turn in (0.0, QUARTER):
        there = without_wedge(picture)
        claw = picture.settings.claw + end.claw_out * lead - turn * lead
        there = replace(there, settings=replace(there.settings, claw=claw))
        traits, full, rig = lay_out(there, picture.mean[None])
        state = equilibrium(pegs_fixed(rig, end.lengths), start=tilt_for_gap(traits, full, np.array([goal.gap])))
        found.append(pitches(rig, state)[0])
    return float(cents_off(found[1], np.maximum(found[0], SILENT)).max()) / QUARTER


def _spare(course: Course, end: End) -> float:
    """Turns the claw may be too tight before a string of right length stands too sharp with the wedge out."""
    return ROOM * course.goal.peak / max(_rise(course, end), 1.0)


def _sharp_without_wedge(course: Course) -> float:
    """Cents the sharpest string may stand over its pitch once the wedge is out (the worse end of the band)."""
    picture, goal = course.picture, course.goal
    bare = without_wedge(picture)
    step = steps(bare)
    off = cents_off(expected(bare, fan(bare.mean, step)).hertz, goal.hertz)
    by = slopes(off, step)
    sd = np.sqrt(np.maximum(np.einsum("sn,nm,sm->s", by, bare.covariance, by), 0.0))
    return float(np.max(off[0] + 1.64 * sd))


def _touch(seen: View, few: Few, gap_at_end: float) -> Advice:
    """The fewest strings that bring all inside, thickest first; gap_at_end: chance of the gap with all at pitch."""
    course, now = seen.course, seen.now
    pitch_sure, gap_sure = now.pitch_chance, now.gap_chance
    if few.strings and pitch_sure < SURE:
        return _next_of(seen, few)
    if course.gap_read < (MOST_READ if gap_sure < SURE else READ_AGAIN):
        return _once_more(seen)
    if max(gap_sure, gap_at_end) < GAP_AT_LEAST:
        if abs(seen.end.claw_out) > FINEST_TURN:
            return _claw(seen.end, seen.end.claw_out)
        return _balanced(seen, by_hand(seen, np.zeros(len(now.cents))))
    worst = int(np.argmax(np.abs(now.cents)))
    if min(pitch_sure, gap_sure) >= GAP_AT_LEAST and (pitch_sure >= SURE or abs(now.cents[worst]) < HAIR):
        return _well_enough()
    return _next_of(seen, one_at_pitch(course, worst))


def _balanced(seen: View, few: Few) -> Advice:
    """Strings set off their pitches, pitches and gap at once; the end where no set brings the farthest nearer."""
    now, goal = seen.now, seen.course.goal
    gap_near = abs(now.gap - goal.gap) < CLEAR_AT_MOST * goal.gap_tolerance
    near = gap_near and np.abs(now.cents).max() < CLEAR_AT_MOST * goal.pitch_tolerance
    if near and now.chance >= BALANCED:
        return _well_enough()
    if seen.course.gap_read < (MOST_READ if near else READ_AGAIN if not few.strings else 0):
        return _once_more(seen)
    return _next_of(seen, few) if few.strings else _well_enough()


def _once_more(seen: View) -> Advice:
    everything = tuple(range(len(seen.now.cents)))
    return Advice("read", "everything seems inside: read once more to be sure", strings=everything)


def _well_enough() -> Advice:
    return Advice("done", "inside by all that was read; more readings would not tell better")


def _next_of(seen: View, few: Few) -> Advice:
    """The thickest of some strings that is off where it will end; of strings set already the one farthest off."""
    there, off = each_at(seen.course, few.lengths)
    far = [i for i in few.strings if abs(off[i]) > HAIR]
    string = max(far) if far else max(few.strings, key=lambda i: abs(off[i]))
    return replace(_tune(string, there), left=float(len(few.strings)))
