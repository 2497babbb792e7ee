"""The picture of one instrument in the middle of the work: what is believed after everything that was done and read.

Unknown together: the deviations of the traits from the nominal instrument, what every peg holds, and how far the claw
stands from where it is noted, carried as one Gaussian. What is done changes the noted settings and forgets what it
makes uncertain; what is read narrows the Gaussian (`explaining.read`).
"""

from __future__ import annotations

import math

import numpy as np

from setwright.errors import InputError
from setwright.frozen import frozen, replace
from setwright.instrument.geometry import edge_gap
from setwright.instrument.predict import tune_at
from setwright.instrument.prior import Prior, vary
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits, array
from setwright.physics.balance import (
    Equilibrium,
    Rig,
    equilibrium,
    pegs_fixed,
    pitches,
    repeat,
    unstretched_lengths,
)
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.planning import scenes
from setwright.planning.scenes import OPEN, SILENT, Model, Scene
from setwright.planning.turned_back import next_slip
from setwright.planning.unlike import Others, hung, others_of, shift_of, uneven

STEP = 0.05  # of a standard uncertainty, for the differences that make derivatives
PEG_STEP = 0.5  # cents
TILT_STEP = 1e-4  # rad
CLAW_STEP = 1e-5  # m
LOOSE = 500.0  # cents, standard uncertainty of what a peg holds that has just been turned, before the string is heard
CLAW_PLACE = 1e-3  # m, standard uncertainty of where the claw stands as noted, before it is read
KNIFE = 0.002  # N m, standard uncertainty of a knife edge nobody has said anything about; common practice, no source
BROUGHT_UP = 200.0  # cents from where it was found; a string brought up by more goes on stretching for a while
STRETCH, STRETCH_SD = -1.0, 1.5  # cents in the minutes a spring takes, standard uncertainty; common practice, no source
CLAW_SLIP = 1 / 48  # turn, standard uncertainty of a claw turn as counted; common practice, no source


@frozen
class Peg:
    """One setting of one string: the state its pitch is meant in, and about what that pitch is.

    after: the peg that was left alone while its string stretched; the unknown is then by how much.
    """

    tilt: float  # rad
    bow: float  # 1/m
    cents: float  # over 1 Hz
    after: int | None = None


@frozen
class Line:
    """A scene in straight lines about a place."""

    at: Array  # (L)
    values: Array  # (R + 1)
    by: Array  # (R + 1, L)
    formed: Array  # (L) where the derivatives were formed

    def shown(self, at: Array) -> Array:
        """(R + 1) what the rows show at another place (L)."""
        return self.values + self.by @ (at - self.at)


@frozen
class Answer:
    """Most likely value of everything that is unknown."""

    deviations: Array  # (P)
    pegs: Array  # cents over 1 Hz, every setting of every string
    slips: Array  # m, of the claw's place as first noted, then of every setting of it
    unlikes: Array  # m of claw, of every other number of springs that hung
    tilts: Array  # rad, of every scene

    @property
    def whole(self) -> Array:
        """All of it in one vector."""
        return np.concatenate([self.deviations, self.pegs, self.slips, self.unlikes, self.tilts])


@frozen
class Doubt:
    """A reading, or a turn of the claw, that does not fit all the rest and has been set aside."""

    kind: str  # "pitch", "rear gap", "claw", or "turn" of the claw
    scene: int  # which scene, or which setting of the claw
    value: float  # as read [Hz, m], or as counted less what fits [turns]
    fits: float  # what the rest says it was, in the same unit; 0 for a turn
    times: float  # standard uncertainties apart
    string: int = 0  # of a pitch
    entry: int = 0  # where it was noted


@frozen
class Pressed:
    """A plate that was found resting on a stop pressed on it: moment = value + slope (deviations - at) > 0."""

    value: float  # N m, as believed then
    at: Array  # (P) deviations it was believed at
    slope: Array  # (P) N m by every deviation


@frozen
class Picture:
    """What is believed of one instrument and its present state. N = P + S + 1 + K, K other numbers of springs hung."""

    model: Model
    mean: Array  # (N) deviations, pegs [cents over 1 Hz at their marks], true less noted claw place [m], unlikes [m]
    covariance: Array  # (N, N)
    settings: Settings  # as noted now
    now: tuple[int, ...]  # which peg variable holds each string
    tilt: float  # rad, where the plate is believed to rest
    pegs: tuple[Peg, ...]  # every setting of every string so far
    turns: int = 0  # settings of the claw so far
    scenes: tuple[Scene, ...] = ()
    lines: tuple[Line | None, ...] = ()
    answer: Answer | None = None  # where the next search starts
    pressed: tuple[Pressed, ...] = ()  # while the plate has not been found free
    fresh: bool = True  # nothing has been read since something was last changed
    doubts: tuple[Doubt, ...] = ()
    bare: Picture | None = None  # as it was before the last scene: its readings have not told anything yet
    others: tuple[Others, ...] = ()  # numbers of springs that hung beside the first

    @property
    def parts(self) -> int:
        """P, the number of uncertain traits."""
        return len(self.model.known.parts)

    @property
    def claw(self) -> int:
        """Where in `mean` the claw's place stands."""
        return self.parts + len(self.now)

    @property
    def unlike(self) -> int | None:
        """Where in `mean` it stands how unlike the first springs the present pull; None where they are the first."""
        place = others_of(self.others, self.settings)
        return None if place is None else self.claw + 1 + place

    @property
    def marks(self) -> tuple[Array, Array]:
        """(S) tilt [rad] and (S) bow [1/m] in which the pegs' pitches are meant."""
        return marks_of(self, self.now)

    def known(self) -> Prior:
        """What is known of the traits alone."""
        count = self.parts
        return replace(self.model.known, mean=self.mean[:count], covariance=self.covariance[:count, :count])


@frozen
class Expected:
    """State and readings of a batch of instruments."""

    traits: Traits
    settings: Settings
    rig: Rig  # (B), pegs fixed
    tilt: Array  # (B) rad
    bow: Array  # (B) 1/m
    hertz: Array  # (B, S)
    gap: Array  # (B) m, mean of both ends
    contact: Array  # (B) N m


def marks_of(picture: Picture, which: tuple[int, ...]) -> tuple[Array, Array]:
    chosen = [picture.pegs[i] for i in which]
    return np.array([p.tilt for p in chosen]), np.array([p.bow for p in chosen])


def begin(traits: Traits, known: Prior, settings: Settings, hertz: Array, friction: float, tilt: float) -> Picture:
    """The picture before anything was done, from the pitches first heard.

    Args:
        traits: nominal, with the strings that are on.
        known: their deviations.
        settings: as noted.
        hertz: (S) pitches as heard [Hz].
        friction: standard uncertainty of the knife edge's moment [N m].
        tilt: where the plate rests [rad].
    Returns: the picture; the pitches themselves have still to be given to `read`.
    Raises: InputError for a slack string.
    """
    if not np.all(np.asarray(hertz) > SILENT):
        slack = int(np.argmin(np.asarray(hertz))) + 1
        raise InputError(f"string {slack} is slack: bring it to any pitch it can be heard at, then read again.")
    bow = float(tune_at(traits, settings, np.asarray(hertz), tilt).state.bow[0])
    cents = CENTS_PER_LOG * np.log(np.asarray(hertz))
    pegs = tuple(Peg(tilt, bow, float(c)) for c in cents)
    count = len(known.parts)
    mean = np.concatenate([known.mean, cents, [0.0]])
    covariance = np.diag(np.concatenate([np.zeros(count), np.full(len(cents), LOOSE**2), [CLAW_PLACE**2]]))
    covariance[:count, :count] = known.covariance
    return Picture(Model(traits, known, friction), mean, covariance, settings, tuple(range(len(cents))), tilt, pegs)


def lay_out(picture: Picture, at: Array) -> tuple[Traits, Settings, Rig]:
    """Instruments, their settings and rigs in the present state, for given unknowns.

    Where other springs hang than at first the claw stands where it would have to stand with the first ones.

    Args:
        picture: the instrument.
        at: (B, N) as `Picture.mean`.
    Returns: batches of traits, settings (pegs as lengths) and rigs with the pegs fixed.
    """
    here = at[:, : picture.claw + 1]
    if picture.unlike is not None:
        here = here.copy()
        here[:, -1] += at[:, picture.unlike]
    return scenes.lay_out(picture.model, picture.settings, here, *picture.marks)


def expected(picture: Picture, at: Array, moment: Array | float = 0.0) -> Expected:
    """State of rest and its readings for given unknowns.

    Args:
        picture: the instrument.
        at: (B, N) as `Picture.mean`.
        moment: () or (B) moment on the plate, > 0 lifts the rear [N m].
    Returns: the states.
    """
    traits, settings, rig = lay_out(picture, at)
    state = equilibrium(rig, moment, start=picture.tilt)
    gap = edge_gap(traits, settings, state.tilt).mean(axis=-1)
    return Expected(traits, settings, rig, state.tilt, state.bow, pitches(rig, state), gap, state.contact)


def without_wedge(picture: Picture) -> Picture:
    """The picture with the wedge out; where the plate rests is left as it was.

    Args:
        picture: what is believed.
    Returns: the picture.
    """
    return replace(picture, settings=replace(picture.settings, prop=array(np.nan)))


@frozen
class Held:
    """The most likely instrument with some strings held at pitches."""

    traits: Traits
    settings: Settings
    rig: Rig  # (B)
    state: Equilibrium  # (B)

    def lengths(self) -> Array:
        """(B, S) unstretched lengths of all strings [m]."""
        return np.where(np.isnan(self.rig.hertz), self.rig.unstretched, unstretched_lengths(self.rig, self.state))


def held(picture: Picture, hertz: Array) -> Held:
    """The most likely instrument with some strings brought to pitches, the other pegs left alone.

    Args:
        picture: what is believed.
        hertz: (B, S) pitches; nan where the peg stays [Hz].
    Returns: rigs and states of rest.
    """
    traits, settings, one = lay_out(picture, picture.mean[None])
    pegs = np.where(np.isnan(hertz), settings.unstretched, np.nan)
    rig = replace(pegs_fixed(repeat(one, len(hertz)), pegs), hertz=hertz)
    return Held(traits, settings, rig, equilibrium(rig, start=picture.tilt))


def most_likely(picture: Picture) -> Traits:
    """The most likely instrument.

    Args:
        picture: what is believed.
    Returns: its traits, without a batch axis.
    """
    return vary(picture.model.traits, picture.model.known, picture.mean[: picture.parts])


def steps(picture: Picture) -> Array:
    """(N) sizes of the steps for derivatives."""
    count = picture.parts
    sd = np.sqrt(np.maximum(np.diag(picture.covariance)[:count], 0.0))
    fixed = [PEG_STEP] * len(picture.now)
    return np.concatenate([np.maximum(STEP * sd, 1e-9), fixed, np.full(1 + len(picture.others), CLAW_STEP)])


def scene_steps(picture: Picture) -> Array:
    """(P + S + 2) the same for the unknowns of a scene, its tilt the last."""
    return np.append(steps(picture)[: picture.claw + 1], TILT_STEP)


def firm(picture: Picture) -> Picture:
    """The picture with everything cut off that would have lifted the plate from the stops it was found resting on.

    Mean and spread of the cut Gaussian are matched, for the one of these findings that cuts off most: they say nearly
    the same, and counted one by one they would be counted twice.

    Args:
        picture: as read.
    Returns: the picture to decide by; readings go on from the one that was given.
    """
    count = picture.parts
    tightest, least = None, 3.0
    for one in picture.pressed:
        spread = picture.covariance[:, :count] @ one.slope
        sd = float(np.sqrt(one.slope @ spread[:count]))
        moment = one.value + float(one.slope @ (picture.mean[:count] - one.at))
        if sd > 0.0 and moment / sd < least:
            tightest, least = (moment, sd, spread), moment / sd
    if tightest is None:
        return picture
    moment, sd, spread = tightest
    mean, share = cut_off(moment / sd)
    gain = spread / sd**2
    covariance = picture.covariance - np.outer(gain, gain) * sd**2 * (1.0 - share)
    return replace(picture, mean=picture.mean + gain * (sd * mean - moment), covariance=covariance)


def cut_off(mean: float) -> tuple[float, float]:
    """Mean and variance of a Gaussian of unit variance with everything below 0 cut off (inverse Mills ratio).

    Args:
        mean: before, in standard deviations; below -8 it is taken as -8 [1].
    Returns: mean and variance after, in the same unit [1].
    """
    mean = max(mean, -8.0)
    density = math.exp(-0.5 * mean * mean) / math.sqrt(2.0 * math.pi)
    ratio = density / (0.5 * math.erfc(-mean / math.sqrt(2.0)))
    return mean + ratio, max(1.0 - ratio * (mean + ratio), 0.01)


def tuned(picture: Picture, string: int, hertz: float) -> Picture:
    """A string has been tuned: what its peg holds is new, known only by the pitch that is heard next.

    Args:
        picture: before.
        string: 0 = thinnest.
        hertz: pitch it was brought to [Hz].
    Returns: the picture, the peg about this pitch in the state it was brought to, wide open.
    Raises: InputError for a string that was not heard.
    """
    if not hertz > SILENT:
        raise InputError(f"string {string + 1} was not heard after it was tuned: bring it to a pitch, then read again.")
    one = np.full((1, len(picture.now)), np.nan)
    one[0, string] = hertz
    state = held(firm(picture), one).state
    place = picture.parts + string
    mean, covariance = picture.mean.copy(), picture.covariance.copy()
    mean[place] = CENTS_PER_LOG * math.log(hertz)
    covariance[place, :] = covariance[:, place] = 0.0
    covariance[place, place] = LOOSE**2
    tilt = float(state.tilt[0])
    now = list(picture.now)
    now[string] = len(picture.pegs)
    pegs = (*picture.pegs, Peg(tilt, float(state.bow[0]), float(mean[place])))
    return replace(picture, mean=mean, covariance=covariance, now=tuple(now), pegs=pegs, tilt=tilt, fresh=True)


def turned(picture: Picture, turns: float) -> Picture:
    """Both claw screws have been turned; in is positive.

    Args:
        picture: before.
        turns: as counted [turns].
    Returns: the picture; a little less is known of the claw's place. By the first setting strings that were brought up
        have stretched, where that was not taken into account when springs were changed.
    """
    lead, claw = float(picture.model.traits.claw.lead), picture.claw
    covariance = picture.covariance.copy()
    covariance[claw, claw] += (CLAW_SLIP * lead) ** 2
    moved = replace(picture.settings, claw=picture.settings.claw - turns * lead)
    mean = picture.mean.copy()
    mean[claw] += next_slip(picture.scenes, picture.turns, moved.claw, lead)
    after = replace(picture, settings=moved, mean=mean, covariance=covariance, turns=picture.turns + 1, fresh=True)
    if any(peg.after is not None for peg in picture.pegs):
        return resting(after)
    return resting(_stretched(after))


def changed(picture: Picture, settings: Settings) -> Picture:
    """Anything else has been changed: wedge, springs, attitude.

    Args:
        picture: before.
        settings: as they are now; pegs are left to the picture.
    Returns: the picture; other springs than at first may pull otherwise than the model has it.
    """
    after = replace(picture, settings=settings, fresh=True)
    if hung(settings) != hung(picture.settings):
        after = _stretched(after)
    first = picture.scenes[0].settings if picture.scenes else settings
    if hung(settings) != hung(first) and after.unlike is None:
        after = _with_others(after, hung(first))
    return resting(after)


def _stretched(picture: Picture) -> Picture:
    """The picture some minutes later: strings that were brought up go on stretching, their pegs left alone."""
    mean, covariance = picture.mean.copy(), picture.covariance.copy()
    now, pegs = list(picture.now), list(picture.pegs)
    for string, peg in enumerate(picture.now):
        if pegs[peg].cents - pegs[string].cents > BROUGHT_UP:
            place = picture.parts + string
            mean[place] += STRETCH
            covariance[place, place] += STRETCH_SD**2
            now[string] = len(pegs)
            pegs.append(replace(pegs[peg], after=peg))
    return replace(picture, mean=mean, covariance=covariance, now=tuple(now), pegs=tuple(pegs))


def _with_others(picture: Picture, first: int) -> Picture:
    """The picture with one unknown more: how unlike the first springs the present ones pull, as a shift of the claw."""
    now = hung(picture.settings)
    share = uneven(first, now)
    if share == 0.0:
        return picture
    at = np.append(picture.mean[: picture.claw + 1], picture.tilt)
    shift = shift_of(picture.model, Scene(picture.settings, picture.now, picture.turns, (), OPEN, picture.tilt), at,
                     picture.marks, CLAW_STEP)  # fmt: skip
    if shift == 0.0:  # slack
        return picture
    other = Others(now, share * shift)
    size = len(picture.mean)
    covariance = np.zeros((size + 1, size + 1))
    covariance[:size, :size] = picture.covariance
    covariance[size, size] = other.sd**2
    return replace(picture, mean=np.append(picture.mean, 0.0), covariance=covariance, others=(*picture.others, other))


def resting(picture: Picture) -> Picture:
    """The picture with the plate rolled to where it is believed to rest now."""
    return replace(picture, tilt=float(expected(picture, picture.mean[None]).tilt[0]))
