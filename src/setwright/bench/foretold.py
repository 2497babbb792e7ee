"""What the next step of a balance should do to everything else: told before it is done, with bands.

The claw's friction at the knife edge counts as in `tracking`: both rest points are possible. `docs/rounds.md` tells how
often what was told so held.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.geometry import tilt_for_gap
from setwright.instrument.predict import balance_at
from setwright.instrument.traits import Array, array
from setwright.physics.balance import at_pitch, equilibrium, pegs_fixed, pitches, unstretched_lengths
from setwright.planning import tracking
from setwright.planning.course import Course
from setwright.planning.guide import Advice
from setwright.planning.lifting import on_its_wedge
from setwright.planning.outlook import RESTS, cents_off, sd_of, view
from setwright.planning.scenes import SILENT, fan, slopes
from setwright.planning.targets import spring_mask
from setwright.planning.tracking import Picture, expected, lay_out, resting, steps, without_wedge

BY_EAR = 0.5  # cents, standard uncertainty of a string brought to a pitch; common practice, no source
MOMENT = 1e-3  # N m, over which the slope by a moment is taken
SAME = 1.0  # cents, pitches meant by the same end


@frozen
class Foretold:
    """What should be read after a step, before anything else is done. sd: standard uncertainties."""

    cents: tuple[float, ...]  # from the wanted pitch, from the thinnest string
    cents_sd: tuple[float, ...]
    gap: float  # m
    gap_sd: float


@frozen
class Peg:
    """One peg: where its string stands, and where it will end once everything else is done.

    string: 0 = thinnest. now, to: cents from its own pitch, as believed and as it is to be set. left: cents it will
    stand off its own pitch in the end when it is set so, and its standard uncertainty. wound: string to wind on [m].
    """

    string: int
    now: float
    now_sd: float
    to: float
    left: float
    left_sd: float
    wound: float


def foretold(course: Course, advice: Advice) -> Foretold | None:
    """What a step should do.

    Args:
        course: where the work stands.
        advice: the step.
    Returns: pitches and rear gap after it; None for a step that changes nothing, or of which nothing can be told.
    """
    picture, wanted = view(course).course.picture, course.goal.hertz
    if advice.do == "claw" and advice.turns is not None:
        after = tracking.turned(picture, advice.turns)
        foreseen = on_its_wedge(after, wanted)
        return _told(after, wanted) if foreseen is None else _given(foreseen.values, foreseen.sd)
    if advice.do == "tune" and advice.string is not None and advice.hertz is not None:
        return _told(resting(tracking.tuned(picture, advice.string, advice.hertz)), wanted, advice.string, advice.hertz)
    if advice.do == "springs" and len(advice.springs) > picture.settings.springs.sum():  # else it may lift or stay
        hung = spring_mask(picture.model.traits, len(advice.springs))
        return _told(tracking.changed(picture, replace(picture.settings, springs=hung)), wanted)
    if advice.do == "wedge":
        prop = array(np.nan if advice.gap is None else advice.gap)
        return _told(tracking.changed(picture, replace(picture.settings, prop=prop, block=array(np.nan))), wanted)
    return None


def _told(picture: Picture, wanted: Array, string: int | None = None, hertz: float = 0.0) -> Foretold:
    """Pitches and gap with what both rest points of the knife edge leave open; a string just set sounds as it was set.

    Of the linear Gaussian of all unknowns the pitch of that string is taken as read.
    """
    step = steps(picture)

    def values(hertz: Array, gap: Array) -> Array:
        return np.column_stack([cents_off(hertz, wanted), gap])

    states = expected(picture, fan(picture.mean, step))
    whole = values(states.hertz, states.gap)
    by = slopes(whole, step)
    covariance, middle = by @ picture.covariance @ by.T, whole[0]
    if string is not None:
        column = covariance[:, string] / (covariance[string, string] + BY_EAR**2)
        middle = middle + column * (float(cents_off(np.asarray(hertz), wanted[string])) - middle[string])
        covariance = covariance - np.outer(column, covariance[string])
    up, down = (expected(picture, picture.mean[None], way * MOMENT) for way in (1.0, -1.0))
    rub = (values(up.hertz, up.gap) - values(down.hertz, down.gap))[0] / (2.0 * MOMENT)
    if string is not None:
        rub[string] = 0.0
    variance = np.diag(covariance) + (rub * picture.model.friction) ** 2
    if np.isnan(picture.settings.prop).all():
        variance[-1] += RESTS**2
    sd = np.sqrt(np.maximum(variance, 0.0))
    return _given(middle, sd)


def _given(middle: Array, sd: Array) -> Foretold:
    """As data, from (S + 1) values and standard uncertainties."""
    cents, each = (tuple(float(v) for v in row[:-1]) for row in (middle, sd))
    return Foretold(cents, each, float(middle[-1]), float(sd[-1]))


def peg_of(course: Course, string: int, hertz: float) -> Peg:
    """Where a string stands, and where it will end when its peg is set to a pitch now.

    Its peg is right when the string is as long as it has to be in the end: with the claw at its place and the gap as
    wanted, or, where strings are only touched up, with the claw left alone. How far the pitch meant by that is known
    now is how far the pitch in the end is.

    Args:
        course: where the work stands.
        string: 0 = thinnest.
        hertz: pitch it is to be set to now [Hz].
    Returns: the peg.
    """
    seen = view(course)
    picture, wanted = seen.course.picture, course.goal.hertz
    to = float(cents_off(np.asarray(hertz), wanted[string]))
    step = steps(picture)
    at = fan(picture.mean, step)
    there, wound = _sounding_at(picture, at, string, wanted, _lengths_with_claw(course, picture, at))
    if not seen.propped and abs(to - there[0]) > SAME:
        there, wound = _sounding_at(picture, at, string, wanted, _lengths_as_claw_is(course, picture, at))
    now, spread = seen.now, sd_of(slopes(there[:, None], step)[0], picture)
    off = to - float(there[0])
    return Peg(string, float(now.cents[string]), float(now.stated[string]), to, off, spread, wound)


def _lengths_with_claw(course: Course, picture: Picture, at: Array) -> Array:
    """(B, S) unstretched, with claw and gap as wanted."""
    traits, settings, _ = lay_out(without_wedge(picture), at)
    tilt = tilt_for_gap(traits, settings, np.full(len(settings.claw), course.goal.gap))
    return np.asarray(balance_at(traits, settings, course.goal.hertz, tilt).settings.unstretched)


def _lengths_as_claw_is(course: Course, picture: Picture, at: Array) -> Array:
    """(B, S) unstretched, every string at its own pitch and the claw left alone."""
    _, _, rig = lay_out(picture, at)
    rig = at_pitch(rig, course.goal.hertz)
    return unstretched_lengths(rig, equilibrium(rig, start=picture.tilt))


def _sounding_at(picture: Picture, at: Array, string: int, wanted: Array, end: Array) -> tuple[Array, float]:
    """(B) cents of a string with its own peg as in the end and the others as they are; string to wind on [m]."""
    _, settings, rig = lay_out(picture, at)
    lengths = np.array(np.broadcast_to(settings.unstretched, end.shape))
    wound = float(lengths[0, string] - end[0, string])
    lengths[:, string] = end[:, string]
    rig = pegs_fixed(rig, lengths)
    heard = np.maximum(pitches(rig, equilibrium(rig, start=picture.tilt)), SILENT)
    return cents_off(heard, wanted)[:, string], wound
