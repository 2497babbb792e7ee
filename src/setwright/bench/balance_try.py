"""Trying a balance out: claw, springs, strings, tuning, pivots and attitude of the instrument as it is believed now.

Two states come of it: with the pegs left alone, and with every string brought to pitch. `tried` answers one setting by
the model itself; `balance_along` answers every place of the claw at once.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.bench.balance_drawing import pulls_on
from setwright.bench.believed import Believed
from setwright.bench.whatif import Banded, Changes, changed_settings
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.geometry import build_rig, claw_axis, edge_gap, has_room, pivot_line
from setwright.instrument.predict import stop_names
from setwright.instrument.prior import prior, vary
from setwright.instrument.settings import Settings
from setwright.instrument.string_sets import Gauge, string_parts, strings_from
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import (
    Equilibrium,
    Rig,
    at_pitch,
    equilibrium,
    pegs_fixed,
    pitches,
    repeat,
    swing,
    take,
    unstretched_lengths,
    with_claw_shift,
)
from setwright.physics.pitch import cents
from setwright.planning.bands import spread

FAINT = 1e-6  # N, below which nothing pulls
STILL = 1e-9  # N m, below which a stop presses on nothing
SEED = 17


@frozen
class Tries:
    """What is tried. changes: claw, springs, pivots, attitude, counted from as believed. hooks: places of springs, from
    1, in place of a number of springs. strings: another set. tuning: (S) what every string is brought to, from the
    thinnest; None for what is wanted [Hz]."""

    changes: Changes = Changes()
    hooks: tuple[int, ...] | None = None
    strings: tuple[Gauge, ...] | None = None
    tuning: tuple[float, ...] | None = None


@frozen
class Pull:
    """One of the pulls on the plate. moment: about the pivot, lifting the rear > 0 [N m]; force: None of a stop, whose
    place is not told [N]."""

    name: str
    force: Banded | None
    moment: Banded

    @property
    def arm(self) -> float | None:
        """How far its line passes from the pivot; None where no force is told [m]."""
        return None if self.force is None or self.force.value <= 0.0 else abs(self.moment.value) / self.force.value


@frozen
class Outcome:
    """One state. rest: "floats", "lower stop", "upper stop" or "runs away". stop: its name, "" where it floats. shares:
    of the instruments this one may be, how many float, rest on the lower and on the upper stop."""

    tilt: Banded  # rad
    gap: Banded  # m, mean of both ends
    cents: tuple[Banded, ...]  # from the pitch each string is to have; nan for a slack one
    hertz: tuple[float, ...]  # 0 for a slack string
    up: tuple[Banded, ...]  # cents the arm lifts a string; nan where it is slack
    down: tuple[Banded, ...]  # cents; minus infinity where the string goes slack
    total: Banded  # N, of all strings
    pulls: tuple[Pull, ...]  # strings, springs, weight and the stop, which takes up what the others leave over
    rest: str
    stop: str
    shares: tuple[float, float, float]


@frozen
class Tried:
    """What comes of it. alone: with the pegs left alone, None where nothing is known of them. claw: of both screws
    together [m]; turns: of them, in > 0, in all. stops: where the plate's way up and down ends."""

    title: str
    instrument: str
    when: str
    turns: tuple[float, float]
    claw: Banded
    travel: tuple[float, float]  # m, least and greatest distance of the claw
    springs: tuple[int, ...]  # places where one hangs, from 1
    strings: tuple[Gauge, ...]
    attitude: str
    wanted: tuple[float, ...]  # Hz
    tolerance: float  # cents
    gap: tuple[float, float] | None  # m, wanted and its tolerance
    before: float  # m, rear gap as believed now
    alone: Outcome | None
    retuned: Outcome
    stops: tuple[str, str]
    remarks: tuple[str, ...]


@frozen
class Laid:
    """The instruments as they stand with what is tried, the most likely one first (B)."""

    believed: Believed
    rig: Rig
    start: Array  # rad
    axis: tuple[Array, Array]  # of the claw's screws
    claw: Array  # m, of both screws together
    rear: tuple[Array, Array, Array]  # m, rear edge aft of and above the pivot line, that line over the body top
    wanted: Array  # (S) Hz
    pegs: bool
    plain: Traits
    noted: Settings
    remarks: tuple[str, ...]

    @property
    def lead(self) -> float:
        """Of the claw's screws [m per turn]."""
        return float(self.plain.claw.lead)

    @property
    def room(self) -> tuple[float, float]:
        """Turns both claw screws have from here: out (below 0) and in."""
        least, most = (float(one) for one in np.asarray(self.plain.claw.travel).reshape(-1)[:2])
        claw = self.noted.claw
        return min((float(claw.max()) - most) / self.lead, 0.0), max((float(claw.min()) - least) / self.lead, 0.0)


@frozen
class States:
    """States of C places of the claw on B instruments, place by place (C B). alone: None without known pegs."""

    alone: tuple[Rig, Equilibrium] | None
    retuned: tuple[Rig, Equilibrium]


@frozen
class Worked:
    """What comes of a setting, with the instruments and states it was told from, so that it can be drawn."""

    laid: Laid
    at: States
    result: Tried


def laid_out(one: Believed, tries: Tries) -> Laid:
    """The instruments with what is tried.

    Args:
        one: the instrument now.
        tries: what is tried.
    Returns: all of them; those whose plate would have no room are left out.
    Raises: InputError for what this instrument cannot take.
    """
    settings = changed_settings(one.job, one.plain, one.noted, tries.changes)
    if tries.hooks is not None:
        settings = replace(settings, springs=_hung(one.plain, tries.hooks))
    wanted = one.wanted if tries.tuning is None else np.array(tries.tuning)
    if len(wanted) != one.plain.string_count:
        raise InputError(f"the tuning has {len(wanted)} notes, the instrument {one.plain.string_count} strings.")
    traits, plain, pegs, remarks = one.traits, one.plain, one.pegs, list(one.remarks)
    if tries.strings is not None:
        traits, plain = _restrung(one, tries.strings)
        pegs = False
        remarks.append("A new set holds no pitch yet: what comes is told with every string at pitch.")
    moved = replace(
        one.settings,
        claw=one.settings.claw + (settings.claw - one.noted.claw),
        springs=np.broadcast_to(settings.springs, one.settings.springs.shape),
        pivot_rise=one.settings.pivot_rise + (settings.pivot_rise - one.noted.pivot_rise),
        attitude=settings.attitude,
        temperature=settings.temperature,
    )
    count = len(one.start)
    room = np.broadcast_to(has_room(traits, moved), count)
    if not room[0]:
        raise InputError(
            "the plate would have no room between its stops: turn the pivots less, or lay the plate's edges and the "
            "cavity out as they were measured."
        )
    b = traits.bridge
    line = pivot_line(traits, moved, b.rear_z).mean(axis=-1)
    each = [np.broadcast_to(np.asarray(v), (count,))[room] for v in (*claw_axis(traits), b.rear_aft, b.rear_up, line)]
    return Laid(
        one, take(build_rig(traits, moved), room), one.start[room], (each[0], each[1]),
        np.broadcast_to(moved.claw, (count, 2)).mean(axis=1)[room], (each[2], each[3], each[4]), wanted, pegs, plain,
        settings, tuple(remarks),
    )  # fmt: skip


def _hung(plain: Traits, hooks: tuple[int, ...]) -> Array:
    places = plain.springs.hook_z.shape[-1]
    wrong = next((one for one in hooks if not 1 <= one <= places), None)
    if wrong is not None or len(set(hooks)) != len(hooks):
        told = f"there is no place {wrong} for a spring" if wrong is not None else "a place for a spring is named twice"
        raise InputError(f"{told}; places run from 1, on the treble side, to {places}, each once.")
    out = np.zeros(places)
    out[[one - 1 for one in hooks]] = 1.0
    return out


def _restrung(one: Believed, gauges: tuple[Gauge, ...]) -> tuple[Traits, Traits]:
    """The instruments with another set, as uncertain as its gauges leave it."""
    count = one.plain.string_count
    if len(gauges) != count:
        raise InputError(f"the set has {len(gauges)} strings, the instrument has {count}; name one gauge for each.")
    plain = replace(one.plain, strings=strings_from(gauges))
    known = prior(string_parts(gauges))
    sd = np.sqrt(np.diag(known.covariance))
    deviations = np.random.default_rng(SEED).standard_normal((len(one.start), len(sd))) * sd
    deviations[0] = 0.0
    return replace(one.traits, strings=vary(plain, known, np.maximum(deviations, -0.8)).strings), plain


def states(laid: Laid, further: Array, near: tuple[Array, Array] | None = None) -> States:
    """Where the plate comes to rest for some places of the claw.

    Args:
        laid: the instruments.
        further: (C) turns of both claw screws beyond what is tried, in > 0 [turns].
        near: (C B) tilts to roll from, alone and retuned, where they are known to lie near the rest that is reached
            from where the plate stands now; None to roll from there [rad].
    Returns: the states.
    """
    count, many = len(laid.start), len(further)
    rig = laid.rig if many == 1 else repeat(laid.rig, many)
    x, y = (np.broadcast_to(np.tile(a, many)[:, None], rig.claw_x.shape) for a in laid.axis)
    rig = with_claw_shift(rig, np.repeat(-further * laid.lead, count), x, y)
    start, alone = np.tile(laid.start, many), None
    if laid.pegs:
        state = equilibrium(rig, start=start if near is None else near[0])
        alone, start = (rig, state), state.tilt
    held = at_pitch(rig, laid.wanted)
    state = equilibrium(held, start=start if near is None else near[1])
    return States(alone, (pegs_fixed(held, unstretched_lengths(held, state)), state))


def figures(laid: Laid, rig: Rig, state: Equilibrium) -> dict[str, Array]:
    """What is told of a state, by name; each (C B) [rad, m, cents, N, N m].

    Args:
        laid: the instruments.
        rig: (C B) with pegs given.
        state: (C B) its rest.
    Returns: tilt, gap; cents, up and down with the number of the string behind; force and moment with the name of the
        pull behind; contact; nan for what a slack string has not.
    """
    aft, up, line = (np.tile(one, len(state.tilt) // len(laid.start)) for one in laid.rear)
    gap = line + aft * np.sin(state.tilt) + up * np.cos(state.tilt)
    out = {"tilt": state.tilt, "gap": np.round(gap, 9) + 0.0}  # a nanometre below nothing is nothing
    hertz = pitches(rig, state)
    tight = hertz > 0.0
    off = np.where(tight, cents(np.where(tight, hertz, 1.0), laid.wanted), np.nan)
    reach = swing(rig, state)
    for name, values in (("cents", off), ("up", reach.up), ("down", reach.down)):
        out |= {f"{name} {s + 1}": values[:, s] for s in range(values.shape[1])}
    for name, x, y, moment in pulls_on(rig, state):
        out |= {f"force {name}": np.hypot(x, y).sum(axis=-1) if np.ndim(x) > 1 else np.hypot(x, y)}
        out |= {f"moment {name}": moment}
    return out | {"contact": state.contact, "total": state.tension.sum(axis=1)}


def tried(one: Believed, tries: Tries) -> Tried:
    """What comes of a setting.

    Args:
        one: the instrument now.
        tries: what is tried.
    Returns: both states, with bands that hold 95 % of the instruments this one may be.
    Raises: InputError for what this instrument cannot take.
    """
    return worked(one, tries).result


def worked(one: Believed, tries: Tries) -> Worked:
    """The same, with what it was told from.

    Args:
        one: the instrument now.
        tries: what is tried.
    Returns: both states, the instruments in them, and what is told.
    Raises: InputError for what this instrument cannot take.
    """
    laid = laid_out(one, tries)
    at = states(laid, np.zeros(1))
    alone = None if at.alone is None else _outcome(laid, *at.alone)
    retuned = _outcome(laid, *at.retuned)
    job = one.job
    limits = np.asarray(laid.plain.claw.travel).reshape(-1)
    turns = tries.changes.claw
    result = Tried(
        title=job.title,
        instrument=job.instrument.name,
        when=one.when,
        turns=(float(turns[0]), float(turns[1])),
        claw=Banded(float(laid.claw[0]), spread(laid.claw[1:])),
        travel=(float(limits[0]), float(limits[1])),
        springs=tuple(int(i) + 1 for i in np.flatnonzero(laid.noted.springs)),
        strings=one.strings if tries.strings is None else tries.strings,
        attitude=laid.noted.attitude,
        wanted=tuple(float(hz) for hz in laid.wanted),
        tolerance=job.want.pitch_tolerance.si,
        gap=one.gap,
        before=_gap_now(one),
        alone=alone,
        retuned=retuned,
        stops=stop_names(laid.plain, laid.noted),
        remarks=(*laid.remarks, *_remarks(laid, at, alone)),
    )
    return Worked(laid, at, result)


def _gap_now(one: Believed) -> float:
    return float(edge_gap(one.plain, one.noted, one.start[0]).mean())


def _outcome(laid: Laid, rig: Rig, state: Equilibrium) -> Outcome:
    """One state of one place of the claw."""
    told = figures(laid, rig, state)
    count = rig.axial.shape[1]
    rest, stop = resting(laid, state)
    pulls = tuple(
        Pull(name, banded(told[f"force {name}"]), banded(told[f"moment {name}"]))
        for name in ("strings", "springs", "weight")
        if told[f"force {name}"][0] > FAINT
    )
    if stop:
        pulls = (*pulls, Pull("stop", None, banded(told["contact"])))
    others = state.contact[1:] if len(state.contact) > 1 else state.contact
    shares = (float(np.mean(others == 0.0)), float(np.mean(others > 0.0)), float(np.mean(others < 0.0)))
    return Outcome(
        tilt=banded(told["tilt"]),
        gap=banded(told["gap"]),
        cents=tuple(banded(told[f"cents {s + 1}"]) for s in range(count)),
        hertz=tuple(float(hz) for hz in pitches(rig, state)[0]),
        up=tuple(banded(told[f"up {s + 1}"]) for s in range(count)),
        down=tuple(banded(told[f"down {s + 1}"]) for s in range(count)),
        total=banded(told["total"]),
        pulls=pulls,
        rest=rest,
        stop=stop,
        shares=shares,
    )


def banded(values: Array) -> Banded:
    """The first value, and how far 95 % of the others lie from their median.

    Args:
        values: (B), the most likely instrument first.
    Returns: both; half width 0 where none of the others is finite.
    """
    return Banded(float(values[0]), spread(values[1:]))


def resting(laid: Laid, state: Equilibrium, at: int = 0) -> tuple[str, str]:
    """How the plate rests.

    Args:
        laid: the instruments.
        state: (C B) of rest.
        at: which one [1].
    Returns: "floats", "lower stop", "upper stop" or "runs away", and the name of the stop.
    """
    contact = float(state.contact[at])
    if abs(contact) < STILL:
        return ("floats", "") if state.stiffness[at] > 0.0 else ("runs away", "")
    low, high = stop_names(laid.plain, laid.noted)
    if state.stiffness[at] <= 0.0:
        return "runs away", low if contact > 0.0 else high
    return ("lower stop", low) if contact > 0.0 else ("upper stop", high)


def _remarks(laid: Laid, at: States, alone: Outcome | None) -> list[str]:
    """What must be said beside the numbers."""
    out: list[str] = []
    limit = laid.believed.job.limits.stress.si
    most = at.retuned[1].tension[0]
    if at.alone is not None:
        most = np.maximum(most, at.alone[1].tension[0])
    load = most / laid.plain.strings.breaking
    out += [
        f"String {i + 1} would carry {100 * load[i]:.0f} % of its breaking load, {100 * limit:.0f} % is the limit: "
        "keep your face away from a tight string, and choose another gauge or pitch."
        for i in np.flatnonzero(load > limit)
    ]
    slack = [] if alone is None else [str(i + 1) for i, hz in enumerate(alone.hertz) if hz <= 0.0]
    if slack:
        out.append(f"Slack with the pegs left alone: string {', '.join(slack)}.")
    return out
