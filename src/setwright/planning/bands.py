"""Bands: the plan carried out on many instruments that this one may be."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from setwright.errors import ContradictionError
from setwright.frozen import frozen
from setwright.instrument.geometry import build_rig, edge_gap, has_room, saddle_contact
from setwright.instrument.predict import balance_at, relief, string_heights, tune_at
from setwright.instrument.prior import Prior, draw, vary
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import lifting_bend, swing
from setwright.physics.frets import radius_across
from setwright.planning.branches import Branch
from setwright.planning.found import found_tilt
from setwright.planning.octave import octave_errors, octaves_planned
from setwright.planning.plan import Kind, Narrow, TargetLine
from setwright.planning.rounds import Outcome
from setwright.planning.solve import as_batch, needed_preload, up_bend_at, wanted_tilt
from setwright.planning.targets import Problem
from setwright.telling import Tell, untold, within

DRAWS = 8  # rounds of drawing
LEAST_FACTOR = 0.2  # of a nominal stiffness, mass or friction, below which no instrument is drawn
UNREAD = 3.0  # cents, standard uncertainty of an octave nobody read; common practice, no source
EAR = 0.5  # cents, of one read by ear or tuner
WORTH = 0.08  # share of a variance below which knowing a trait better is not worth a reading


@frozen
class Ensemble:
    """The end state on n instruments, reached by the chosen way."""

    deviations: Array  # (n, P)
    heights: Array  # (n, S) m at the wanted fret
    up: Array  # (n) cents of the wanted string, empty when none is wanted
    lift: Array  # (n) least bend of any string that lifts a decked plate, cents; empty when not decked
    octave: Array  # (n, S) cents, before the last touch by ear; empty where it cannot be told
    claw: Array  # (n) m, where the claw has to stand; empty where that is no question
    outcome: Outcome


def spread(values: Array) -> float:
    """Half width that holds 95 % of the values about their median.

    Args:
        values: (n).
    Returns: half width in the unit of the values; 0 for no values.
    """
    finite = values[np.isfinite(values)]
    if not finite.size:
        return 0.0
    return float(np.quantile(np.abs(finite - np.median(finite)), 0.95))


def possible(problem: Problem, end: Settings, samples: int, seed: int) -> Array:
    """Draw instruments that this one may be, leaving out those whose plate has no room between its stops.

    The Gaussian of what is known also holds a few that cannot be built, such as pivots lower than the plate is thick.

    Args:
        problem: the job.
        end: how the instrument shall stand, unbatched.
        samples: n [1].
        seed: of the randomness [1].
    Returns: deviations (n, P).
    Raises: ContradictionError where hardly any of them could be built.
    """
    found = problem.found.settings

    def instruments(deviations: Array, wanted: bool) -> Traits:
        return vary(problem.wanted if wanted else problem.traits, problem.known, deviations, wanted)

    return drawn_with_room(
        problem.known, samples, np.random.default_rng(seed),
        lambda d: ((instruments(d, False), found), (instruments(d, True), end)),
    )  # fmt: skip


def drawn_with_room(
    known: Prior,
    samples: int,
    rng: np.random.Generator,
    cases: Callable[[Array], tuple[tuple[Traits, Settings], ...]],
) -> Array:
    """Draw deviations, keeping those whose plate has room between its stops in every case.

    The tails of a Gaussian also hold necks and springs of next to no stiffness; they are left out too.

    Args:
        known: what is known.
        samples: n [1].
        rng: source of randomness.
        cases: from deviations (m, P) to instruments (m) and unbatched settings in which there must be room.
    Returns: deviations (n, P).
    Raises: ContradictionError where hardly any has room.
    """
    kept = np.empty((0, len(known.parts)))
    factors = np.array([part.kind == "factor" for part in known.parts], dtype=np.bool_)
    for _ in range(DRAWS):
        deviations = draw(known, samples, rng)
        room = np.all(deviations[:, factors] > LEAST_FACTOR - 1.0, axis=1)
        for traits, settings in cases(deviations):
            room &= has_room(traits, as_batch(settings, samples))
        kept = np.concatenate([kept, deviations[room]])
        if len(kept) >= samples:
            return kept[:samples]
    raise ContradictionError(
        "most instruments that fit what was written have no room for the plate between its stops; "
        "measure pivot height, depth of the plate's edges and the cavity, and write them in the instrument file"
    )


def claw_needed(problem: Problem, branch: Branch, deviations: Array) -> Array:
    """Where the claw would have to stand on each of n instruments for the wanted rest.

    Args:
        problem: the job.
        branch: one that holds.
        deviations: (n, P).
    Returns: (n) [m], mean of both screws; nan where no place does; empty where the claw is no question.
    """
    t = problem.targets
    if t.mode not in ("floating", "decked", "dive-only"):
        return np.empty(0)
    n = len(deviations)
    traits = vary(problem.wanted, problem.known, deviations, wanted=True)
    settings = as_batch(branch.settings, n)
    tilt = wanted_tilt(traits, settings, t, np.full(n, _gap(problem, branch)))
    load: Array | float = 0.0 if t.mode == "floating" else needed_preload(traits, settings, t, tilt)
    answer = balance_at(traits, settings, t.hertz, tilt, load)
    return np.where(answer.reached, answer.settings.claw.mean(axis=-1), np.nan)


def _gap(problem: Problem, branch: Branch) -> float:
    return float(edge_gap(problem.wanted, branch.settings, np.asarray(branch.tilt)).mean())


def gather(
    problem: Problem, deviations: Array, claw: Array, outcome: Outcome, seed: int, tell: Tell = untold
) -> Ensemble:
    """What the outcome of a way shows besides gap and pitch.

    Args:
        problem: the job.
        deviations: (n, P).
        claw: (n) as `claw_needed`.
        outcome: of the way, on the same instruments.
        seed: of the randomness of readings [1].
        tell: takes the share of the work that is done.
    Returns: the end states.
    """
    tell(0.0)
    t = problem.targets
    traits, many, rest = outcome.traits, outcome.settings, outcome.rest
    heights = string_heights(traits, many, rest.tilt, rest.bow, (t.height_fret,))[..., 0]
    rig = build_rig(traits, many)
    up, lift = np.empty(0), np.empty(0)
    if t.up_bend is not None:
        up = swing(rig, rest).up[:, t.up_bend.string]
    if t.mode in ("decked", "dive-only"):
        lift = lifting_bend(rig, rest).min(axis=1)
    octave = np.empty((0, 0))
    if problem.octave_bias is not None:
        octave = octaves_as_left(problem, outcome, deviations, seed, within(tell, 0.5, 1.0))
    return Ensemble(deviations, heights, up, lift, octave, claw, outcome)


def octaves_as_left(problem: Problem, outcome: Outcome, deviations: Array, seed: int, tell: Tell = untold) -> Array:
    """Octave errors as left on n instruments: as read, and what the plan changes on each of them.

    Args:
        problem: the job.
        outcome: of the chosen way on these instruments.
        deviations: (n, P) of them.
        seed: of the reading's randomness [1].
        tell: takes the share of the work that is done.
    Returns: (n, S) [cents].
    """
    tell(0.0)
    found, n = problem.found, len(deviations)
    assert found.hertz is not None
    before = vary(problem.traits, problem.known, deviations)
    many = as_batch(found.settings, n)
    tuned = tune_at(before, many, found.hertz, found_tilt(before, many, problem))
    after = build_rig(outcome.traits, outcome.settings)
    tell(0.2)
    change = octave_errors(outcome.traits, outcome.settings, after, outcome.rest)
    tell(0.6)
    change -= octave_errors(before, many, tuned.rig, tuned.state)
    read = 0.0 if found.octave is None else found.octave
    spread = UNREAD if found.octave_sd is None else np.hypot(found.octave_sd, EAR)
    noise = np.random.default_rng(seed).standard_normal(change.shape)
    return np.asarray(read + spread * noise + change)


def target_lines(problem: Problem, branch: Branch, many: Ensemble) -> tuple[TargetLine, ...]:
    """Every target with what the plan gives.

    Args:
        problem: the job.
        branch: the plan's branch.
        many: the end states.
    Returns: the lines.
    """
    outcome = many.outcome
    t, s = problem.targets, branch.settings
    out: list[TargetLine] = []
    gap = _gap(problem, branch)
    if problem.wanted.bridge.knife_edge:
        goal = t.gap if t.mode in ("floating", "blocked") else None
        width = t.gap_tolerance if goal is not None else None
        out.append(_line("rear gap", "", "length", goal, width, None, gap, outcome.gap))
    state_heights = string_heights(problem.wanted, s, branch.state.tilt, branch.state.bow, (t.height_fret,))
    now = state_heights[0, :, 0] if state_heights.ndim == 3 else state_heights[:, 0]
    for i, value in enumerate(now):
        goal = None if branch.wanted_heights is None else float(branch.wanted_heights[i])
        width = None if goal is None else t.height_tolerance
        place = f"string {i + 1} at fret {t.height_fret}"
        out.append(_line("string height", place, "height", goal, width, None, float(value), many.heights[:, i]))
    if t.radius is not None:
        out.append(_radius(problem, s, branch))
    if t.relief is not None:
        out.append(_relief(problem, branch, outcome))
    out += [
        _line("pitch", f"string {i + 1}", "cents", 0.0, t.pitch_tolerance, None, 0.0, outcome.off[:, i])
        for i in range(len(t.hertz))
    ]
    if t.octave_tolerance is not None and many.octave.size:
        out += _octaves(problem, branch, many)
    if t.up_bend is not None:
        value = float(_up(problem, branch))
        hit = many.up >= t.up_bend.cents - t.up_bend_tolerance
        inside = value >= t.up_bend.cents - t.up_bend_tolerance
        place = f"string {t.up_bend.string + 1}, at least"
        out.append(TargetLine("up-bend", place, "cents", t.up_bend.cents, t.up_bend_tolerance, None, value,
                              spread(many.up), bool(inside), float(hit.mean())))  # fmt: skip
    if many.lift.size:
        out.append(_lift(many, t.holds_bend))
    return tuple(out)


def _up(problem: Problem, branch: Branch) -> float:
    bend = problem.targets.up_bend
    assert bend is not None
    one = as_batch(branch.settings, 1)
    return float(up_bend_at(problem.wanted, one, problem.targets.hertz, np.array([branch.tilt]), bend.string)[0])


def _octaves(problem: Problem, branch: Branch, many: Ensemble) -> list[TargetLine]:
    t = problem.targets
    now = octaves_planned(problem, branch.settings, branch.tilt)
    return [
        _line(
            "octave error", f"string {i + 1}", "cents", t.octave, t.octave_tolerance, None, float(v), many.octave[:, i]
        )
        for i, v in enumerate(now)
    ]


def _lift(many: Ensemble, wanted: float) -> TargetLine:
    value, holds = float(np.median(many.lift)), many.lift >= wanted
    quantity, place = "bend that lifts the plate", "any string, at least"
    return TargetLine(
        quantity, place, "cents", wanted, 0.0, None, value, spread(many.lift), value >= wanted, float(holds.mean())
    )


def _radius(problem: Problem, settings: Settings, branch: Branch) -> TargetLine:
    radius, _ = radius_across(problem.wanted.bridge.saddle_z, _saddle_tops(problem, settings, branch))
    wanted = problem.targets.radius
    assert wanted is not None
    tolerance = problem.targets.radius_tolerance
    value = float(radius)
    return TargetLine("radius at the saddles", "", "length", wanted, tolerance, None, value, 0.02 * wanted,
                      abs(value - wanted) <= tolerance, 1.0)  # fmt: skip


def _relief(problem: Problem, branch: Branch, outcome: Outcome) -> TargetLine:
    wanted = problem.targets.relief
    assert wanted is not None
    low, high = wanted.hold
    value = float(relief(problem.wanted, branch.state.bow, low, wanted.read, high).reshape(-1)[0])
    values = relief(outcome.traits, outcome.rest.bow, low, wanted.read, high)
    place = f"fret {wanted.read}, held at {low} and {high}"
    return _line("relief", place, "thou", wanted.value, wanted.tolerance, None, value, values)


def _saddle_tops(problem: Problem, settings: Settings, branch: Branch) -> Array:
    y = saddle_contact(problem.wanted, settings, np.asarray(branch.tilt))[1]
    return np.asarray(y).reshape(-1)


def _line(
    quantity: str,
    place: str,
    kind: Kind,
    wanted: float | None,
    tolerance: float | None,
    found: float | None,
    predicted: float,
    values: Array,
) -> TargetLine:
    if wanted is None or tolerance is None:
        return TargetLine(quantity, place, kind, None, None, found, predicted, spread(values), True, 1.0)
    hit = np.abs(values - wanted) <= tolerance
    inside = abs(predicted - wanted) <= tolerance * (1.0 + 1e-9)
    return TargetLine(
        quantity, place, kind, wanted, tolerance, found, predicted, spread(values), inside, float(hit.mean())
    )


def narrowing(known: Prior, deviations: Array, values: Array, of: str, most: int = 5) -> tuple[Narrow, ...]:
    """Which traits make the band of a quantity, largest share first.

    The share is the part of the variance that a straight-line fit on the trait (all its elements) takes away: what
    knowing it exactly would remove.

    Args:
        known: names the traits.
        deviations: (n, P).
        values: (n) of the quantity.
        of: what the quantity is called.
        most: how many are wanted [1].
    Returns: the largest.
    """
    good = np.isfinite(values)
    if np.count_nonzero(good) < 20 or float(np.var(values[good])) == 0.0:
        return ()
    y = values[good] - values[good].mean()
    groups: dict[str, list[int]] = {}
    for i, part in enumerate(known.parts):
        groups.setdefault(part.path, []).append(i)
    out = []
    for columns in groups.values():
        x = deviations[good][:, columns]
        x = x - x.mean(axis=0)
        fit = x @ np.linalg.lstsq(x, y, rcond=1e-9)[0]
        part = known.parts[columns[0]]
        name = part.label.split(", string ")[0]
        share = max(0.0, float(1.0 - np.var(y - fit) / np.var(y)) - len(columns) / y.size)
        out.append(Narrow(name, share, of, part.sd, part.unit if part.kind == "offset" else "share", part.source))
    out.sort(key=lambda n: -n.share)
    return tuple(n for n in out[:most] if n.share >= WORTH)
