"""What will happen: an instrument as found, some screws turned, with the pegs left alone and after retuning."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.bench.as_read import as_read, tilts_as_found
from setwright.bench.plans import problem_from
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.geometry import build_rig, with_lengths
from setwright.instrument.jobfile import Job
from setwright.instrument.predict import Predicted, predict, read_off, relief, tune
from setwright.instrument.prior import Prior, Uncertain, prior, vary
from setwright.instrument.settings import ATTITUDES, Settings
from setwright.instrument.traits import Array, Traits, array
from setwright.physics.balance import equilibrium, pegs_fixed, unstretched_lengths
from setwright.physics.pitch import cents
from setwright.planning.bands import drawn_with_room
from setwright.planning.found import AsFound, settle_found
from setwright.planning.solve import as_batch
from setwright.planning.targets import spring_mask

SAMPLES = 256
COVER = 0.95
ROD_TRUST = 0.5  # standard uncertainty of a rod's response as a share, until learned; common practice, no source
SLACK = 1e-9  # m, rounding forgiven at the end of a screw's room
Pair = tuple[float, float]


@frozen
class Changes:
    """What is changed. Turns count from as found; strings are counted from 1, the thinnest."""

    claw: Pair = (0.0, 0.0)  # turns in (tighter), treble and bass screw
    springs: int | None = None  # number on in the end
    pivots: Pair = (0.0, 0.0)  # turns up, treble and bass
    saddle_height: tuple[tuple[int, float], ...] = ()  # string, turns up
    saddle_length: tuple[tuple[int, float], ...] = ()  # string, turns back
    strip: float = 0.0  # m, strip shim laid in at the heel end; negative: taken out
    rod: float = 0.0  # turns tighter
    pegs: tuple[tuple[int, float], ...] = ()  # string, Hz it is set to, one after the other
    attitude: str | None = None
    temperature: float | None = None  # K
    wedge: float | None = None  # m, rear gap at which a wedge props the plate


@frozen
class Banded:
    """A reading: value of the most likely instrument, and the half width that holds 95 % of those it may be."""

    value: float
    half_width: float


@frozen
class Shown:
    """What gauges, rules and ears would show in one state."""

    rear_gap: tuple[Banded, Banded]  # m, treble and bass end
    tilt: Banded  # rad
    pitch: tuple[Banded, ...]  # cents from the pitch before; a slack string: nan
    hertz: tuple[float, ...]  # Hz; 0 when slack
    height: tuple[Banded, ...]  # m at `fret`
    fret: int
    relief: Banded  # m, held at `hold`, read at `read`
    hold: tuple[int, int]
    read: int
    tension: tuple[Banded, ...]  # N
    total: Banded  # N
    contact: Banded  # N m on the body (> 0) or on the upper stop (< 0)
    stiffness: Banded  # N m/rad, pegs left alone
    stiffness_retuned: Banded  # N m/rad, every string brought back to pitch


@frozen
class WhatIf:
    """Before, after with the pegs left alone, after every string was retuned."""

    title: str
    instrument: str
    knife_edge: bool
    before: Shown
    pegs_fixed: Shown
    retuned: Shown
    remarks: tuple[str, ...]


@frozen
class _Bench:
    """The instrument and those it may be, the most likely one first."""

    traits: Traits
    before: Settings  # pegs as found; claw where each of them balances as found
    claw_shift: Array  # (B, 2) m, what that took
    start: Array  # rad
    hertz: Array  # (S) Hz as found
    fret: int
    hold: tuple[int, int]
    read: int


def what_if(job: Job, changes: Changes, samples: int = SAMPLES, seed: int = 0) -> WhatIf:
    """Predict what some turns would do to the instrument as found.

    Args:
        job: its [found] table is what counts.
        changes: what is turned, laid in, taken out.
        samples: how many instruments that this one may be are tried [1].
        seed: of their randomness [1].
    Returns: the readings before and after.
    Raises: InputError for a change the instrument cannot take, or strings not at pitch; ContradictionError where the
        found readings cannot all be true.
    """
    if job.found.state != "at pitch":
        raise InputError(
            f"{job.file}: the strings were {job.found.state} as found, so that nothing tells how the plate stands; "
            'read the instrument at pitch and write state = "at pitch".'
        )
    found = settle_found(problem_from(job))
    settings = changed_settings(job, found.problem.traits, found.problem.found.settings, changes)
    bench = _on_the_bench(job, found, changes, settings, samples, seed)
    before = _rest(bench, bench.before, bench.start)
    base = before.pitch
    fixed, held, wanted = _turn(bench, settings, changes)
    retuned = tune(bench.traits, held, wanted, start=fixed.tilt)
    after = read_off(bench.traits, retuned.settings, retuned.rig, retuned.state, (bench.fret,))
    return WhatIf(
        title=job.title,
        instrument=job.instrument.name,
        knife_edge=job.instrument.bridge.knife_edge,
        before=_shown(bench, before, base),
        pegs_fixed=_shown(bench, fixed, base),
        retuned=_shown(bench, after, base),
        remarks=(*found.remarks, *_remarks(job, changes, fixed, after, found.problem.traits.strings.breaking)),
    )


def changed_settings(job: Job, traits: Traits, settings: Settings, changes: Changes) -> Settings:
    """The screws after the changes; pegs as they are.

    Args:
        job: for its spring patterns and messages.
        traits: the instrument, unbatched.
        settings: before.
        changes: what is changed.
    Returns: the settings.
    Raises: InputError for a change the instrument cannot take.
    """
    b = traits.bridge
    if not b.knife_edge:
        _only_fixed(changes)
    if changes.attitude is not None and changes.attitude not in ATTITUDES:
        raise InputError(f"{changes.attitude!r} is no attitude; there are: {', '.join(ATTITUDES)}.")
    claw = settings.claw - np.array(changes.claw) * float(traits.claw.lead)
    pivots = settings.pivot_rise + np.array(changes.pivots) * float(b.pivot_lead)
    rise = settings.saddle_rise + _by_string(changes.saddle_height, traits) * float(b.height_lead)
    back = settings.saddle_back + _by_string(changes.saddle_length, traits) * float(b.length_lead)
    strip = float(settings.strip) + changes.strip
    if any(changes.claw):
        _within("the claw", claw, traits.claw.travel, "from the wall")
    if any(changes.pivots):
        _within("a pivot", b.pivot_y + pivots, b.pivot_range, "over the body top")
    if changes.saddle_height:
        _within("a saddle", rise, b.height_range, "from where it stands")
    if changes.saddle_length:
        _within("a saddle", back, b.length_range, "from where it stands")
    if strip < -SLACK:
        raise InputError("no strip shim of that thickness lies in the pocket; take out at most what is in there.")
    return replace(
        settings,
        claw=claw,
        springs=settings.springs if changes.springs is None else _springs(traits, changes.springs),
        pivot_rise=pivots,
        saddle_rise=rise,
        saddle_back=back,
        strip=array(max(strip, 0.0)),
        rod=array(float(settings.rod) + changes.rod),
        attitude=changes.attitude or settings.attitude,
        temperature=settings.temperature if changes.temperature is None else changes.temperature,
        prop=settings.prop if changes.wedge is None else array(changes.wedge),
    )


def _only_fixed(changes: Changes) -> None:
    asked = {
        "claw": any(changes.claw), "springs": changes.springs is not None, "pivots": any(changes.pivots),
        "wedge": changes.wedge is not None,
    }  # fmt: skip
    for name, yes in asked.items():
        if yes:
            raise InputError(f"a fixed bridge has no {name}; leave that change out.")


def _springs(traits: Traits, count: int) -> Array:
    if count == 0:
        return np.zeros(traits.springs.rate.shape[-1])
    if count not in traits.springs.patterns:
        known = ", ".join(str(n) for n in sorted(traits.springs.patterns))
        raise InputError(f"this bridge has no places for {count} springs; there are patterns for {known}.")
    return spring_mask(traits, count)


def _by_string(given: tuple[tuple[int, float], ...], traits: Traits) -> Array:
    """(S) turns, from pairs of string and turns."""
    out = np.zeros(traits.string_count)
    for string, turns in given:
        out[_index(string, traits)] += turns
    return out


def _index(string: int, traits: Traits) -> int:
    if not 1 <= string <= traits.string_count:
        raise InputError(f"there is no string {string}; strings run from 1, the thinnest, to {traits.string_count}.")
    return string - 1


def _within(what: str, place: Array, limits: Array, where: str) -> None:
    """Refuse a screw turned beyond its room."""
    low, high = limits[..., 0], limits[..., 1]
    off = np.maximum(np.maximum(low - place, place - high), 0.0)
    worst = int(np.argmax(off))
    if off[worst] > SLACK:
        ends = [float(np.broadcast_to(end, off.shape)[worst]) * 1e3 for end in (low, high)]
        raise InputError(
            f"{what} would stand {place[worst] * 1e3:+.2f} mm {where}; its room is {ends[0]:+.2f} to "
            f"{ends[1]:+.2f} mm, so turn less."
        )


def _on_the_bench(job: Job, found: AsFound, changes: Changes, after: Settings, samples: int, seed: int) -> _Bench:
    """Instruments that this one may be, the most likely one first, each with its pegs as found."""
    problem = found.problem
    known = _with_rod(problem.known) if changes.rod else problem.known
    rng = np.random.default_rng(seed)
    before = problem.found.settings

    def cases(deviations: Array) -> tuple[tuple[Traits, Settings], ...]:
        traits = vary(problem.traits, known, deviations)
        return (traits, before), (traits, after)

    drawn = drawn_with_room(known, samples, rng, cases)
    deviations = np.concatenate([known.mean[None], drawn])
    traits = vary(problem.traits, known, deviations)
    settings = as_batch(problem.found.settings, samples + 1)
    hertz = problem.found.hertz
    assert hertz is not None
    tilt = tilts_as_found(found, traits, settings, rng)
    balanced = as_read(found, traits, settings, tilt)
    bend = job.found.relief
    heights = job.found.string_height
    return _Bench(
        traits=traits,
        before=balanced,
        claw_shift=balanced.claw - settings.claw,
        start=tilt,
        hertz=hertz,
        fret=12 if heights is None else heights.fret,
        hold=(1, 17) if bend is None else bend.hold,
        read=8 if bend is None else bend.read,
    )


def _with_rod(known: Prior) -> Prior:
    """The same knowledge, and that a truss rod's response is assumed until it is learned."""
    part = Uncertain(
        "neck.rod_per_turn", "response of the truss rod", "neck.rod_per_turn", None, "factor", ROD_TRUST, "N m/turn",
        "assumed until learned",
    )  # fmt: skip
    if any(p.name == part.name for p in known.parts):
        return known
    count = len(known.parts)
    covariance = np.zeros((count + 1, count + 1))
    covariance[:count, :count] = known.covariance
    covariance[count, count] = part.sd**2
    return replace(prior((*known.parts, part)), mean=np.append(known.mean, 0.0), covariance=covariance)


def _rest(bench: _Bench, settings: Settings, start: Array) -> Predicted:
    return predict(bench.traits, settings, (bench.fret,), start=start)


def _turn(bench: _Bench, settings: Settings, changes: Changes) -> tuple[Predicted, Settings, Array]:
    """Turn everything: readings with the pegs left alone, settings with them, and the pitches wanted in the end."""
    count = len(bench.start)
    many = replace(as_batch(settings, count), unstretched=bench.before.unstretched)
    many = replace(many, claw=many.claw + bench.claw_shift)
    rig = build_rig(bench.traits, many)
    wanted = bench.hertz.copy()
    pegs = rig.unstretched.copy()
    state = equilibrium(rig, start=bench.start)
    for string, hertz in changes.pegs:
        index = _index(string, bench.traits)
        wanted[index] = hertz
        open_peg = pegs.copy()
        open_peg[:, index] = np.nan
        goal = np.full_like(pegs, np.nan)
        goal[:, index] = hertz
        held = replace(pegs_fixed(rig, open_peg), hertz=goal)
        state = equilibrium(held, start=state.tilt)
        pegs[:, index] = unstretched_lengths(held, state)[:, index]
    done = with_lengths(bench.traits, many, pegs)
    return read_off(bench.traits, done, pegs_fixed(rig, pegs), state, (bench.fret,)), done, wanted


def _band(values: Array) -> Banded:
    """The first value, and how far 95 % of the others lie from their median."""
    rest = values[1:][np.isfinite(values[1:])]
    width = float(np.quantile(np.abs(rest - np.median(rest)), COVER)) if rest.size else 0.0
    return Banded(float(values[0]), width)


def _each(values: Array) -> tuple[Banded, ...]:
    return tuple(_band(values[:, i]) for i in range(values.shape[1]))


def _shown(bench: _Bench, read: Predicted, base: Array) -> Shown:
    """Readings of a batch as values with bands; pitches against those before."""
    heard = (read.pitch > 0.0) & (base > 0.0)
    off = np.where(heard, cents(np.where(heard, read.pitch, 1.0), np.where(heard, base, 1.0)), np.nan)
    treble, bass = _each(read.rear_gap)
    bow = relief(bench.traits, read.bow, bench.hold[0], bench.read, bench.hold[1])
    return Shown(
        rear_gap=(treble, bass),
        tilt=_band(read.tilt),
        pitch=_each(off),
        hertz=tuple(float(hz) for hz in read.pitch[0]),
        height=_each(read.height(bench.fret)),
        fret=bench.fret,
        relief=_band(bow),
        hold=bench.hold,
        read=bench.read,
        tension=_each(read.tension),
        total=_band(read.tension.sum(axis=1)),
        contact=_band(read.contact),
        stiffness=_band(read.stiffness),
        stiffness_retuned=_band(read.stiffness_retuned),
    )


def _remarks(job: Job, changes: Changes, fixed: Predicted, after: Predicted, breaking: Array) -> list[str]:
    """What must be said beside the numbers."""
    out = []
    if changes.rod:
        out.append(
            "How much this truss rod does is assumed until it has been learned: turn a quarter turn at most, wait, "
            "retune and read again."
        )
    load = np.maximum(fixed.tension[0], after.tension[0]) / breaking
    limit = job.limits.stress.si
    out += [
        f"String {i + 1} would carry {100 * load[i]:.0f} % of its breaking load, {100 * limit:.0f} % is the limit."
        for i in np.flatnonzero(load > limit)
    ]
    slack = [str(i + 1) for i, hz in enumerate(fixed.pitch[0]) if hz <= 0.0]
    if slack:
        out.append(f"Slack before retuning: string {', '.join(slack)}.")
    if not job.instrument.bridge.knife_edge:
        return out
    if after.contact[0] == 0.0 and after.stiffness_retuned[0] <= 0.0:
        out.append("The plate runs away on retuning: it does not come to rest there. Use more or stronger springs.")
    for words, sign in (("rests on its lower stop", 1.0), ("rests on its upper stop", -1.0)):
        pressed = sign * after.contact > 0.0
        share = float(np.mean(pressed[1:])) if len(pressed) > 1 else 0.0
        if pressed[0]:
            out.append(f"Once retuned the plate {words}.")
        elif share >= 0.025:
            out.append(f"In {100 * share:.0f} of 100 instruments this one may be, the plate {words} once retuned.")
    return out
