"""What is believed of pitches and gap as they stand, and where the work has to end: what a step is decided by."""

from __future__ import annotations

import math
from functools import cache, cached_property

import numpy as np

from setwright.frozen import frozen, replace
from setwright.instrument.geometry import edge_gap, tilt_for_gap
from setwright.instrument.predict import balance_at
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import Rig, at_pitch, equilibrium, pegs_fixed, pitches, repeat
from setwright.physics.pitch import cents
from setwright.planning.course import Course
from setwright.planning.scenes import MISHEARD, SILENT, fan, slopes, value_of
from setwright.planning.tracking import Expected, Picture, expected, firm, lay_out, steps, without_wedge

DRAWS = 2000
TINY = 1e-9  # m or cents, nothing is known better
WANDERS = 0.3  # cents a pitch may change by itself until the instrument is handed over; common practice, no source
RESTS = 5.5e-6  # m, the same of the gap of a plate that floats, practice instruments (docs/rounds.md); no other source


def sd_of(by: Array, picture: Picture) -> float:
    """Standard uncertainty of something.

    Args:
        by: (N) its derivatives by every unknown of the picture.
        picture: what is believed.
    Returns: the standard uncertainty, in the unit of the thing.
    """
    return math.sqrt(max(float(by @ picture.covariance @ by), 0.0))


@frozen
class Here:
    """What is believed of pitches and gap as they stand."""

    cents: Array  # (S) from the wanted pitch
    gap: float  # m
    covariance: Array  # (S + 1, S + 1) cents and m, with what may change until the instrument is handed over
    stated: Array  # (S + 1) standard uncertainties as they stand this minute: cents, then the gap's [m]
    apart: Array  # (S) cents by which strings just heard stand over what the model alone says
    by: Array  # (S + 1, N) by every unknown of the picture
    chance: float  # of all inside
    pitch_chance: float  # of every pitch
    gap_chance: float

    @property
    def sd(self) -> Array:
        """(S + 1) standard uncertainties of what is handed over: cents, then the gap's [m]."""
        return np.asarray(np.sqrt(np.maximum(np.diag(self.covariance), 0.0)))


def here(course: Course, states: Expected | None = None) -> Here:
    """Pitches and gap as believed now, and the chance that all are inside.

    Args:
        course: where the work stands.
        states: of rest at the fan of the picture's unknowns; None: they are worked out.
    Returns: the beliefs.
    """
    picture, goal = course.picture, course.goal
    step = steps(picture)
    if states is None:
        states = expected(picture, fan(picture.mean, step))
    values = np.column_stack([cents_off(states.hertz, goal.hertz), states.gap])
    by = slopes(values, step)
    covariance = by @ picture.covariance @ by.T
    apart, covariance = _as_heard(picture, values[0, :-1] + cents(goal.hertz, 1.0), covariance)
    covariance[-1, -1] += RESTS**2 if np.isnan(picture.settings.prop).all() else 0.0
    stated = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    covariance[range(len(goal.hertz)), range(len(goal.hertz))] += WANDERS**2
    off, gap = values[0, :-1] + apart, float(values[0, -1])
    limit = np.append(np.full(len(off), goal.pitch_tolerance), goal.gap_tolerance)
    centre = np.append(off, gap - goal.gap)
    scale = np.append(np.ones(len(off)), 1e-3)
    root = np.linalg.cholesky(covariance / np.outer(scale, scale) + 1e-9 * np.eye(len(scale)))
    draws = centre + (normal_points(DRAWS, len(scale)) @ root.T) * scale
    fits = np.abs(draws) <= limit
    pitch, whole = np.all(fits[:, :-1], axis=1), np.all(fits, axis=1)
    chances = float(whole.mean()), float(pitch.mean()), float(fits[:, -1].mean())
    return Here(off, gap, covariance, stated, apart, by, *chances)


@cache
def within(off: float, sd: float, room: float) -> float:
    """Chance that what is believed to be so far off lies inside its tolerance.

    Args:
        off: from the middle of the tolerance.
        sd: standard uncertainty of that.
        room: half the tolerance, all in one unit.
    Returns: [1].
    """
    wide = math.sqrt(2.0) * max(sd, TINY)
    return 0.5 * (math.erf((off + room) / wide) - math.erf((off - room) / wide))


@cache
def normal_points(count: int, dimensions: int) -> Array:
    """Points spread evenly under a standard normal density: an additive recurrence, turned by Box and Muller (1958).

    The steps are powers of the root of x^(d + 1) = x + 1, which leave no direction out (the golden ratio for d = 1).

    Args:
        count: of points, even; half of them mirror the others, so that their mean is none.
        dimensions: of each.
    Returns: (count, dimensions), the same array each time.
    """
    pairs = max((dimensions + 1) // 2, 4)  # fewer lie less evenly
    root = 2.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (2 * pairs + 1))
    even = (0.5 + np.outer(np.arange(1, count // 2 + 1), root ** -np.arange(1.0, 2 * pairs + 1))) % 1.0
    size, turn = np.sqrt(-2.0 * np.log1p(-even[:, :pairs])), 2.0 * np.pi * even[:, pairs:]
    half = np.hstack([size * np.cos(turn), size * np.sin(turn)])[:, :dimensions]
    points = np.vstack([half, -half])
    points.flags.writeable = False
    return points


def _as_heard(picture: Picture, says: Array, covariance: Array) -> tuple[Array, Array]:
    """Where strings stand that were heard as they stand: between the model and the ear.

    A pitch lies off the model by what the model leaves out, the same each time it is heard, and is heard with the
    tuner's own uncertainty. With variance h of the first and g of the second, of n readings at once, the pitch is
    m + h / (h + g) (mean heard - m), and what was uncertain of m stays with the share g / (h + g) (linear Gaussian).

    Args:
        picture: what is believed.
        says: (S) pitches of the model, cents over 1 Hz.
        covariance: (S + 1, S + 1) of pitches and gap by the model alone.
    Returns: (S) cents over the model; the covariance.
    """
    apart, left, own = np.zeros(len(says)), np.ones(len(covariance)), np.zeros(len(covariance))
    scene = picture.scenes[-1] if picture.scenes and not picture.fresh else None
    for i in range(len(says)):
        some = [one for one in (scene.seen if scene else ()) if one.kind == "pitch" and one.string == i]
        some = [one for one in some if 0.0 < one.own < one.sd < MISHEARD]
        if some:
            heard = float(np.mean([value_of(one) for one in some]))
            g = float(np.mean([one.own**2 for one in some])) / len(some)
            h = min(one.sd**2 - one.own**2 for one in some)
            apart[i], left[i], own[i] = h / (h + g) * (heard - says[i]), g / (h + g), h * g / (h + g)
    return apart, covariance * np.outer(left, left) + np.diag(own)


def cents_off(hertz: Array, wanted: Array) -> Array:
    """How far pitches are off.

    Args:
        hertz: (..., S) [Hz]; a slack string counts as one of a hertz.
        wanted: (S) [Hz].
    Returns: (..., S) [cents].
    """
    return cents(np.maximum(hertz, SILENT), wanted)


@frozen
class End:
    """The wanted end state of the most likely instrument: plate free at the gap, every string at pitch."""

    lengths: Array  # (S) m
    claw_out: float  # turns out from where the claw stands
    claw_sd: float  # turns
    by: Array  # (N) turns out by every unknown of the picture


def _bare(picture: Picture, states: Expected | None) -> tuple[Traits, Settings, Rig]:
    """The fan of the picture's unknowns laid out without a wedge: as it was laid out already, where there is none."""
    if states is not None and np.isnan(picture.settings.prop).all():
        return states.traits, states.settings, states.rig
    return lay_out(without_wedge(picture), fan(picture.mean, steps(picture)))


def end_state(course: Course, states: Expected | None = None) -> End:
    """Pegs and claw of the wanted end.

    Args:
        course: where the work stands.
        states: at the fan of the picture's unknowns; None: they are worked out.
    Returns: lengths, claw and its standard uncertainty.
    """
    picture, goal = course.picture, course.goal
    step = steps(picture)
    traits, settings, _ = _bare(picture, states)
    tilt = tilt_for_gap(traits, settings, np.full(len(settings.claw), goal.gap))
    done = balance_at(traits, settings, goal.hertz, tilt).settings
    out = (done.claw - settings.claw).mean(axis=-1) / np.asarray(traits.claw.lead)
    by = slopes(out, step)
    return End(done.unstretched[0], float(out[0]), sd_of(by, picture), by)


def gap_at_pitch(course: Course, states: Expected | None = None) -> tuple[float, float]:
    """Rear gap once every string is at pitch, the claw left alone.

    Args:
        course: where the work stands.
        states: at the fan of the picture's unknowns; None: they are worked out.
    Returns: gap and standard uncertainty [m].
    """
    picture, goal = course.picture, course.goal
    step = steps(picture)
    traits, settings, rig = _bare(picture, states)
    rig = at_pitch(rig, goal.hertz)
    state = equilibrium(rig, start=picture.tilt)
    gap = edge_gap(traits, settings, state.tilt).mean(axis=-1)
    by = slopes(gap, step)
    return float(gap[0]), sd_of(by, picture)


@frozen
class View:
    """A course as a step is decided by it; what follows from it is worked out once, when it is asked for."""

    course: Course
    states: Expected | None = None  # of rest at the fan of the picture's unknowns

    @cached_property
    def now(self) -> Here:
        """What is believed of pitches and gap."""
        return here(self.course, self.states)

    @cached_property
    def end(self) -> End:
        """Pegs and claw of the wanted end."""
        return end_state(self.course, self.states)

    @cached_property
    def gap_at_pitch(self) -> tuple[float, float]:
        """Rear gap once every string is at pitch, the claw left alone, and its standard uncertainty [m]."""
        return gap_at_pitch(self.course, self.states)

    @cached_property
    def alone(self) -> tuple[Array, Array]:
        """(S) pitch of every string once its own peg is as at the end [Hz], (S) cents it is off that now."""
        return each_at(self.course, self.end.lengths)

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
    picture = firm(course.picture)
    states = expected(picture, fan(picture.mean, steps(picture)))
    return View(replace(course, picture=replace(picture, tilt=float(states.tilt[0]))), states)


def sounding(picture: Picture, lengths: Array, laid: Rig | None = None) -> Array:
    """Pitches of the most likely instrument with given pegs.

    Args:
        picture: the instrument.
        lengths: (B, S) unstretched lengths [m].
        laid: (1) rig of the most likely instrument; None: it is laid out.
    Returns: (B, S) [Hz].
    """
    one = lay_out(picture, picture.mean[None])[2] if laid is None else laid
    rig = pegs_fixed(repeat(one, len(lengths)), lengths)
    return pitches(rig, equilibrium(rig, start=picture.tilt))


def each_at(course: Course, lengths: Array) -> tuple[Array, Array]:
    """Every string once its own peg is right, the others as they are.

    Args:
        course: where the work stands.
        lengths: (S) of the right pegs [m].
    Returns: (S) pitches then [Hz]; (S) cents every string is off that now.
    """
    picture = course.picture
    _, settings, one = lay_out(picture, picture.mean[None])
    now = settings.unstretched[0]
    many = np.tile(now, (len(now) + 1, 1))
    many[range(1, len(now) + 1), range(len(now))] = lengths
    hertz = sounding(picture, many, one)
    there = np.maximum(np.diagonal(hertz[1:]), SILENT)
    return there, cents_off(hertz[0], there)


def shown_with(course: Course, lengths: Array) -> Array:
    """What the most likely instrument shows with given pegs.

    Args:
        course: where the work stands.
        lengths: (B, S) unstretched [m].
    Returns: (B, S + 1) pitches from the wanted ones [cents], last the rear gap [m].
    """
    traits, settings, rig = lay_out(course.picture, course.picture.mean[None])
    rig = pegs_fixed(repeat(rig, len(lengths)), lengths)
    state = equilibrium(rig, start=course.picture.tilt)
    gap = edge_gap(traits, settings, state.tilt).mean(axis=-1)
    return np.column_stack([cents_off(pitches(rig, state), course.goal.hertz), gap])
