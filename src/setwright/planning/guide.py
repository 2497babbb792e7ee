"""The next step of bringing a floating plate to its gap and every string to pitch, given everything read so far.

The way (docs/planning): strings once each with the plate on a wedge at the wanted gap; the claw out until the plate
leaves the wedge, a little too far rather than too little; everything heard; the claw to its place by what that taught;
the fewest strings touched up that bring all inside. Every number is computed anew from the picture before each step, so
that any other order of work is taken up where it stands.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from setwright.instrument.geometry import edge_gap, tilt_for_gap
from setwright.instrument.predict import balance_at
from setwright.instrument.traits import Array
from setwright.physics.balance import (
    at_pitch,
    equilibrium,
    pegs_fixed,
    pitches,
    repeat,
)
from setwright.physics.pitch import cents
from setwright.planning.course import Course, Goal
from setwright.planning.scenes import SILENT, fan, slopes
from setwright.planning.tracking import Picture, expected, firm, held, lay_out, resting, steps, without_wedge

Do = Literal["read", "attitude", "wedge", "tune", "claw", "done"]
SURE = 0.97  # chance of being inside everything at which the work is called done
GAP_SURE = 0.3  # chance that the gap will be inside with every string at pitch, before strings are touched up
NEAR = 25.0  # cents off its end at which a string is still tuned on the wedge
TAIL = 1.3  # standard uncertainties the claw is turned out beyond what is most likely, less what may stand sharp
ROOM = 0.8  # share of the allowed peak used on purpose
LEAST = 0.3  # standard uncertainties the claw is turned out beyond what is most likely in any case
DRAWS = 2000
QUARTER = 0.25  # turn, over which its effect is measured
WORTH_HEARING = 400.0  # cents below its wanted pitch; a slacker string tells nothing that lasts
MOST_READ = 8  # readings of the gap in one state, after which more would not help
HALF = 0.5
WANDERS = 0.3  # cents a pitch may change by itself until the instrument is handed over; common practice, no source
HAIR = 1.0  # cents, a string this near its length has been set already
HELD_BACK = 2  # thinnest strings that come up only once the plate floats


@dataclass(frozen=True)
class Advice:
    """One next step."""

    do: Do
    why: str
    string: int | None = None  # 0 = thinnest
    hertz: float | None = None
    turns: float | None = None  # in > 0
    turns_sd: float | None = None
    gap: float | None = None  # m, of the wedge; None: out
    chance: float | None = None  # of being inside everything as it stands
    cents: Array | None = None  # (S) off as believed
    cents_sd: Array | None = None
    gap_now: float | None = None  # m
    gap_sd: float | None = None
    strings: tuple[int, ...] = ()  # to be heard
    left: float = 0.0  # tunings still expected


def _sd(by: Array, picture: Picture) -> float:
    """Standard uncertainty of something with these derivatives."""
    return math.sqrt(max(float(by @ picture.covariance @ by), 0.0))


@dataclass(frozen=True)
class Here:
    """What is believed of pitches and gap as they stand."""

    cents: Array  # (S) from the wanted pitch
    gap: float  # m
    covariance: Array  # (S + 1, S + 1) cents and m
    by: Array  # (S + 1, N) by every unknown of the picture
    chance: float  # of all inside
    pitch_chance: float  # of every pitch
    gap_chance: float

    @property
    def sd(self) -> Array:
        """(S + 1) standard uncertainties: cents, then the gap's [m]."""
        return np.asarray(np.sqrt(np.maximum(np.diag(self.covariance), 0.0)))


def here(course: Course) -> Here:
    """Pitches and gap as believed now, and the chance that all are inside.

    Args:
        course: where the work stands.
    Returns: the beliefs.
    """
    picture, goal = course.picture, course.goal
    step = steps(picture)
    states = expected(picture, fan(picture.mean, step))
    values = np.column_stack([_cents(states.hertz, goal.hertz), states.gap])
    by = slopes(values, step)
    covariance = by @ picture.covariance @ by.T
    covariance[range(len(goal.hertz)), range(len(goal.hertz))] += WANDERS**2
    off, gap = values[0, :-1], float(values[0, -1])
    limit = np.append(np.full(len(off), goal.pitch_tolerance), goal.gap_tolerance)
    centre = np.append(off, gap - goal.gap)
    scale = np.append(np.ones(len(off)), 1e-3)
    root = np.linalg.cholesky(covariance / np.outer(scale, scale) + 1e-9 * np.eye(len(scale)))
    draws = centre + (np.random.default_rng(0).standard_normal((DRAWS, len(scale))) @ root.T) * scale
    fits = np.abs(draws) <= limit
    pitch, whole = np.all(fits[:, :-1], axis=1), np.all(fits, axis=1)
    return Here(off, gap, covariance, by, float(whole.mean()), float(pitch.mean()), float(fits[:, -1].mean()))


def _cents(hertz: Array, wanted: Array) -> Array:
    """Cents from the wanted pitch, a slack string as one of a hertz."""
    return cents(np.maximum(hertz, SILENT), wanted)


@dataclass(frozen=True)
class End:
    """The wanted end state of the most likely instrument: plate free at the gap, every string at pitch."""

    lengths: Array  # (S) m
    claw_out: float  # turns out from where the claw stands
    claw_sd: float  # turns
    by: Array  # (N) turns out by every unknown of the picture


def end_state(course: Course) -> End:
    """Pegs and claw of the wanted end.

    Args:
        course: where the work stands.
    Returns: lengths, claw and its standard uncertainty.
    """
    picture, goal = course.picture, course.goal
    step = steps(picture)
    traits, settings, _ = lay_out(without_wedge(picture), fan(picture.mean, step))
    tilt = tilt_for_gap(traits, settings, np.full(len(settings.claw), goal.gap))
    done = balance_at(traits, settings, goal.hertz, tilt).settings
    out = (done.claw - settings.claw).mean(axis=-1) / np.asarray(traits.claw.lead)
    by = slopes(out, step)
    return End(done.unstretched[0], float(out[0]), _sd(by, picture), by)


def gap_at_pitch(course: Course) -> tuple[float, float]:
    """Rear gap once every string is at pitch, the claw left alone.

    Args:
        course: where the work stands.
    Returns: gap and standard uncertainty [m].
    """
    picture, goal = course.picture, course.goal
    step = steps(picture)
    traits, settings, rig = lay_out(without_wedge(picture), fan(picture.mean, step))
    rig = at_pitch(rig, goal.hertz)
    state = equilibrium(rig, start=picture.tilt)
    gap = edge_gap(traits, settings, state.tilt).mean(axis=-1)
    by = slopes(gap, step)
    return float(gap[0]), _sd(by, picture)


@dataclass(frozen=True)
class View:
    """A course as a step is decided by it; what follows from it is worked out once, when it is asked for."""

    course: Course

    @cached_property
    def now(self) -> Here:
        """What is believed of pitches and gap."""
        return here(self.course)

    @cached_property
    def end(self) -> End:
        """Pegs and claw of the wanted end."""
        return end_state(self.course)

    @cached_property
    def alone(self) -> tuple[Array, Array]:
        """(S) pitch of every string once its own peg is as at the end [Hz], (S) cents it is off that now."""
        return _each_at(self.course, self.end.lengths)

    @property
    def propped(self) -> bool:
        """Whether the wedge is in."""
        return bool(np.isfinite(self.course.picture.settings.prop))


def view(course: Course) -> View:
    """The course with what stops say cut off, and the plate where it is believed to rest.

    Args:
        course: where the work stands.
    Returns: the view to decide by.
    """
    return View(replace(course, picture=resting(firm(course.picture))))


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
    now = seen.now
    silent = tuple(int(i) for i in np.flatnonzero(~np.array(course.heard) & (now.cents > -WORTH_HEARING)))
    if silent and _must_hear(seen):
        return Advice("read", "hear the strings before the next step", strings=silent)
    return replace(
        _step(seen),
        chance=now.chance,
        cents=now.cents,
        cents_sd=now.sd[:-1],
        gap_now=now.gap,
        gap_sd=float(now.sd[-1]),
    )


def _must_hear(seen: View) -> bool:
    """Whether the next step rests on every string: not while strings come up on a wedge."""
    return not (seen.propped and seen.course.claws == 0 and not_up(seen).size)


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
    if not seen.propped and seen.now.chance >= SURE:
        return Advice("done", "gap and every pitch are inside")
    if not seen.propped and course.free:
        return _floating(seen)
    if not seen.propped:
        return Advice("wedge", "the plate is held at its gap while the strings come up", gap=course.goal.gap)
    poor = not_up(seen)
    if poor.size:
        return _tune(int(poor[-1]), seen.alone[0])
    if course.claws and course.free:
        return Advice("wedge", "the plate has left the wedge", gap=None)
    if course.claws and _sharp_without_wedge(course) <= course.goal.peak:
        return Advice("wedge", "the plate has left the wedge or nearly so", gap=None)
    end = seen.end
    return _claw(end, end.claw_out + max(LEAST * end.claw_sd, TAIL * end.claw_sd - _spare(course, end)))


def _floating(seen: View) -> Advice:
    """The plate floats: touch strings up where the claw is right, else set the claw."""
    course, now = seen.course, seen.now
    few = fewest(course, np.minimum(1.64 * now.sd[:-1], 0.6 * course.goal.pitch_tolerance))
    sure = _within(*gap_at_pitch(course), course.goal)
    if sure >= SURE or (course.claws > 1 and (few.enough or sure >= GAP_SURE)):
        return _touch(course, now, few)
    there, off = seen.alone
    poor = np.flatnonzero(np.abs(off) > WORTH_HEARING)
    if poor.size:
        return _tune(int(poor[-1]), there)
    if course.gap_read < 3:
        everything = tuple(range(len(now.cents)))
        return Advice("read", "read the rear gap: it tells how strong the springs are", strings=everything)
    return _claw(seen.end, seen.end.claw_out)


def _within(value: float, sd: float, goal: Goal) -> float:
    draws = value + sd * np.random.default_rng(1).standard_normal(DRAWS)
    return float(np.mean(np.abs(draws - goal.gap) <= goal.gap_tolerance))


def sounding(picture: Picture, lengths: Array) -> Array:
    """Pitches of the most likely instrument with given pegs.

    Args:
        picture: the instrument.
        lengths: (B, S) unstretched lengths [m].
    Returns: (B, S) [Hz].
    """
    _, _, rig = lay_out(picture, picture.mean[None])
    rig = pegs_fixed(repeat(rig, len(lengths)), lengths)
    return pitches(rig, equilibrium(rig, start=picture.tilt))


def _each_at(course: Course, lengths: Array) -> tuple[Array, Array]:
    """Pitch of every string once its own peg is right, the others as they are; and cents it is off that now."""
    picture = course.picture
    now = lay_out(picture, picture.mean[None])[1].unstretched[0]
    many = np.tile(now, (len(now) + 1, 1))
    many[range(1, len(now) + 1), range(len(now))] = lengths
    hertz = sounding(picture, many)
    there = np.maximum(np.diagonal(hertz[1:]), SILENT)
    return there, _cents(hertz[0], there)


def _tune(string: int, there: Array) -> Advice:
    return Advice(
        "tune", "its length will be right when the others are up and the claw is set", string, float(there[string])
    )


def _claw(end: End, out: float) -> Advice:
    return Advice("claw", "by what was heard", turns=-out, turns_sd=end.claw_sd)


def _turn(course: Course, end: End) -> tuple[float, float]:
    """What a turn of the claw does about the end, pegs left alone: cents of the string it moves most, metres of gap."""
    picture, goal = course.picture, course.goal
    lead = float(picture.model.traits.claw.lead)
    found = []
    for turn in (0.0, QUARTER):
        there = without_wedge(picture)
        claw = picture.settings.claw + end.claw_out * lead - turn * lead
        there = replace(there, settings=replace(there.settings, claw=claw))
        traits, full, rig = lay_out(there, picture.mean[None])
        state = equilibrium(pegs_fixed(rig, end.lengths), start=tilt_for_gap(traits, full, np.array([goal.gap])))
        found.append((pitches(rig, state)[0], float(edge_gap(traits, full, state.tilt).mean())))
    rise = _cents(found[1][0], np.maximum(found[0][0], SILENT)).max()
    return float(rise) / QUARTER, (found[0][1] - found[1][1]) / QUARTER


def _spare(course: Course, end: End) -> float:
    """Turns the claw may be too tight before a string of right length stands too sharp with the wedge out."""
    return ROOM * course.goal.peak / max(_turn(course, end)[0], 1.0)


def _sharp_without_wedge(course: Course) -> float:
    """Cents the sharpest string may stand over its pitch once the wedge is out (the worse end of the band)."""
    picture, goal = course.picture, course.goal
    bare = without_wedge(picture)
    step = steps(bare)
    off = _cents(expected(bare, fan(bare.mean, step)).hertz, goal.hertz)
    by = slopes(off, step)
    sd = np.sqrt(np.maximum(np.einsum("sn,nm,sm->s", by, bare.covariance, by), 0.0))
    return float(np.max(off[0] + 1.64 * sd))


@dataclass(frozen=True)
class Few:
    """Strings to be set to pitch."""

    strings: tuple[int, ...]  # 0 = thinnest
    lengths: Array  # (S) m, of all strings then
    enough: bool  # whether that brings every pitch and the gap inside


def _touch(course: Course, now: Here, few: Few) -> Advice:
    """The fewest strings that bring all inside, thickest first."""
    count, chosen, lengths = len(now.cents), few.strings, few.lengths
    pitch_sure, gap_sure = now.pitch_chance, now.gap_chance
    if not chosen or pitch_sure >= SURE:
        if course.gap_read < MOST_READ:
            return Advice("read", "everything seems inside: read once more to be sure", strings=tuple(range(count)))
        if gap_sure < HALF:
            end = end_state(course)
            return _claw(end, end.claw_out)
        if pitch_sure >= HALF:
            return Advice("done", "inside by all that was read; more readings would not tell better")
        worst = int(np.argmax(np.abs(now.cents)))
        chosen, lengths = (worst,), _lengths(course, worst)
    there, off = _each_at(course, lengths)
    far = [i for i in chosen if abs(off[i]) > HAIR]
    string = max(far) if far else max(chosen, key=lambda i: abs(off[i]))
    return replace(_tune(string, there), left=float(len(chosen)))


def fewest(course: Course, margin: Array) -> Few:
    """Smallest set of strings to be set to pitch that brings every string inside, claw and other pegs left alone.

    Args:
        course: where the work stands.
        margin: (S) kept clear of the tolerance [cents].
    Returns: the strings; all of them where no set is enough.
    """
    goal, count = course.goal, len(course.goal.hertz)
    subsets = ((np.arange(2**count)[:, None] >> np.arange(count)) & 1).astype(bool)
    all_of_them = held(course.picture, np.where(subsets, goal.hertz, np.nan))
    off = np.abs(_cents(pitches(all_of_them.rig, all_of_them.state), goal.hertz))
    gap = edge_gap(all_of_them.traits, all_of_them.settings, all_of_them.state.tilt).mean(axis=-1)
    worst = (off + np.where(subsets, 0.0, margin) - goal.pitch_tolerance).max(axis=1)
    worst = np.maximum(worst, (np.abs(gap - goal.gap) / goal.gap_tolerance - 0.9) * goal.pitch_tolerance)
    good = worst <= 0.0
    rank = np.where(good, subsets.sum(axis=1), 100) + 0.01 * np.clip(worst, -50, 50)
    best = int(np.argmin(rank)) if good.any() else len(subsets) - 1
    strings = tuple(int(i) for i in np.flatnonzero(subsets[best]))
    return Few(strings, all_of_them.lengths()[best], bool(good.any()))


def _lengths(course: Course, string: int) -> Array:
    """(S) lengths with one string set to its wanted pitch, the other pegs left alone."""
    wanted = np.where(np.arange(len(course.goal.hertz)) == string, course.goal.hertz, np.nan)
    return np.asarray(held(course.picture, wanted[None]).lengths()[0])
