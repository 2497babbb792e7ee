"""The plan: branches solved, the good ones ranked by chance and minutes, the way there chosen, the steps written."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.errors import NoPlanError
from setwright.instrument.geometry import edge_gap
from setwright.instrument.predict import predict
from setwright.instrument.traits import Array, Mask
from setwright.planning.bands import Ensemble, claw_needed, gather, narrowing, possible, target_lines
from setwright.planning.branches import Branch, weigh
from setwright.planning.choices import choices
from setwright.planning.clean_band import clean_lines, with_spare
from setwright.planning.figures import figures
from setwright.planning.found import AsFound, settle_found
from setwright.planning.plan import Effect, End, Option, Plan, Rejected, Way
from setwright.planning.rounds import Hand, Path, path, practise
from setwright.planning.solve import rounded, solve, to_steps
from setwright.planning.steps import TUNING_MINUTES, stays_blocked, steps
from setwright.planning.targets import Problem
from setwright.telling import Tell, each, untold, within

TRIED = 2  # branches whose bands are worked out
FEWER = 160  # instruments a runner-up is worked out on
WAY_SAMPLES = 64
CLOSED_SAMPLES = 24  # the same for a way that is closed
MISS_MINUTES = 15.0  # another round; quoted by the trade for one retune of a floating bridge (common practice)
SURE = 0.02  # share of the instruments this may be that a tight claw may still miss


def make_plan(problem: Problem, samples: int = 512, seed: int = 0) -> Plan:
    """The whole answer for a job.

    Args:
        problem: the job as read.
        samples: instruments the bands are made of [1].
        seed: of the randomness [1].
    Returns: best option, runner-up, and why the rest fail.
    Raises: ContradictionError where the found readings cannot be true together; NoPlanError where nothing holds,
        with the nearest miss.
    """
    return plan_as_found(settle_found(problem), samples, seed)


def plan_as_found(found: AsFound, samples: int = 512, seed: int = 0, tell: Tell = untold) -> Plan:
    """The whole answer for a job whose instrument agrees with what was found already.

    Args:
        found: from `settle_found`.
        samples: instruments the bands are made of [1].
        seed: of the randomness [1].
        tell: takes the share of the work that is done, often; what it raises ends the work.
    Returns: as `make_plan`.
    Raises: NoPlanError where nothing holds, with the nearest miss.
    """
    problem, good, bad = that_hold(found, seed, tell=within(tell, 0.0, 0.25))
    few = min(samples, FEWER)
    options = [
        _option(problem, branch, few if i else samples, seed, mine)
        for i, (branch, mine) in enumerate(each(within(tell, 0.25, 0.75), good))
    ]
    order = sorted(range(len(options)), key=lambda i: _preference(problem, options[i], good[i]))
    if order[0]:
        options[order[0]] = _option(problem, good[order[0]], samples, seed, within(tell, 0.75, 1.0))
    options = [options[i] for i in order]
    best, second = options[0], options[1] if len(options) > 1 else None
    remarks = (*found.remarks, *_unread(problem))
    return Plan(
        problem.title, problem.instrument, best, second, tuple(bad), len(choices(problem)), remarks, _as_found(found)
    )


def that_hold(
    found: AsFound, seed: int = 0, most: int = TRIED, tell: Tell = untold
) -> tuple[Problem, list[Branch], list[Rejected]]:
    """The branches that hold on the most likely instrument, without bands.

    Args:
        found: from `settle_found`.
        seed: of the randomness [1].
        most: how many good branches are wanted [1].
        tell: takes the share of the work that is done.
    Returns: the job with what its saddles have to spare, the best of the good branches, and those that fail.
    Raises: NoPlanError where nothing holds, with the nearest miss.
    """
    tell(0.0)
    problem = with_spare(found.problem, seed)
    branches = choices(problem)
    moved = np.array([b.pivots for b in branches])
    exact = solve(problem, branches, within(tell, 0.1, 0.6))
    solved, step = rounded(problem, exact, moved, within(tell, 0.6, 0.9))
    tell(0.9)
    good, bad = weigh(problem, branches, solved, step, most)
    if not good:
        raise NoPlanError(_no_plan(bad), tuple((r.label, r.reason) for r in bad))
    return problem, good, bad


def _preference(problem: Problem, option: Option, branch: Branch) -> float:
    """Minutes, what a miss would cost on top, and a minute for every kind of thing that is changed."""
    choice, found = branch.choice, problem.found
    changed = (choice.shims != found.shims) + (choice.springs != int(found.settings.springs.sum())) + choice.pivots
    return option.minutes + MISS_MINUTES * (1.0 - option.chance_second) + int(changed)


def _no_plan(bad: list[Rejected]) -> str:
    nearest = bad[0]
    return f"no plan exists: the nearest miss is {nearest.label}: {nearest.reason}"


def _unread(problem: Problem) -> list[str]:
    read = {r.quantity for r in problem.found.readings}
    out = []
    if "string height" not in read and problem.targets.sets_heights:
        out.append("string heights were not read as found: saddle turns rest on the usual height of this bridge")
    if problem.found.hertz is None:
        out.append("the instrument was not at pitch as found: springs and levers rest on the catalogue alone")
    return out


def _option(problem: Problem, branch: Branch, samples: int, seed: int, tell: Tell) -> Option:
    deviations = possible(problem, branch.settings, samples, seed)
    tell(0.03)
    claw = claw_needed(problem, branch, deviations)
    if problem.targets.mode in ("decked", "dive-only"):
        branch = pressed(problem, branch, claw)
    hands = ways(problem, branch, claw)
    routes = [(name, hand, _route(problem, branch, hand)) for name, hand in hands]
    some = deviations[:WAY_SAMPLES]
    ways_told = each(within(tell, 0.1, 0.4), routes)
    tried = [_way(problem, branch, *route, some, seed, mine) for route, mine in ways_told]
    best = min(range(len(tried)), key=lambda i: _rank(tried[i]))
    told = within(tell, 0.4, 0.7)
    outcome = practise(problem, branch.settings, routes[best][1], routes[best][2], deviations, seed, told)
    many = gather(problem, deviations, claw, outcome, seed, within(tell, 0.7, 0.8))
    tell(0.8)
    work = steps(problem, branch, many, routes[best][1], routes[best][2])
    minutes = sum(s.minutes for s in work) + (outcome.tunings - problem.wanted.string_count) * TUNING_MINUTES
    chosen = replace(tried[best], minutes=minutes, tunings=outcome.tunings, chance=outcome.second)
    tell(0.87)
    lines = (*target_lines(problem, branch, many), *clean_lines(problem, branch, many, seed))
    also = [line.chance for line in lines if line.quantity not in ("pitch", "rear gap", "string height")]
    high: Mask = np.ones(samples, dtype=np.bool_)
    if branch.wanted_heights is not None:
        high = np.all(np.abs(many.heights - branch.wanted_heights) <= problem.targets.height_tolerance, axis=1)
    still = min(also, default=1.0)
    return Option(
        branch.label,
        work,
        lines,
        (chosen, *(w for i, w in enumerate(tried) if i != best)),
        figures(problem, branch, many, within(tell, 0.92, 1.0)),
        float((outcome.good & high).mean()) * still,
        float((outcome.again & high).mean()) * still,
        minutes,
        narrowing(problem.known, deviations, *_key_quantity(many)),
        _end(problem, branch),
    )


def _end(problem: Problem, branch: Branch) -> End:
    hertz = tuple(float(one) for one in problem.targets.hertz)
    return End(branch.settings, branch.tilt, float(branch.state.bow[0]), hertz)


def _key_quantity(many: Ensemble) -> tuple[Array, str]:
    if many.claw.size:
        return many.claw, "claw position"
    return many.heights.mean(axis=1), "string height"


def pressed(problem: Problem, branch: Branch, needed: Array) -> Branch:
    """The claw of a decked plate set so tight that it holds the wanted bend on nearly all instruments this may be.

    Args:
        problem: the job.
        branch: one that holds.
        needed: (n) claw distance that just holds [m].
    Returns: the branch with the tighter claw, as far as the screws go.
    """
    safe = float(np.quantile(needed[np.isfinite(needed)], SURE))
    found, claw = problem.found.settings.claw, problem.wanted.claw
    now = float(branch.settings.claw.mean())
    if safe >= now:
        return branch
    step = branch.claw_step * float(claw.lead)
    turns = np.floor((safe - float(found.mean())) / step)
    tight = np.maximum(found + turns * step, claw.travel[0])
    return replace(branch, settings=replace(branch.settings, claw=tight))


def ways(problem: Problem, branch: Branch, needed: Array) -> list[tuple[str, Hand]]:
    """Ways of getting there.

    Args:
        problem: the job.
        branch: the plan's branch.
        needed: (n) claw distance for the wanted rest, over what the instrument may be [m].
    Returns: name and manner of each.
    """
    traits, end = problem.wanted, branch.settings
    slack = np.full(traits.string_count, np.nan)
    if problem.targets.mode != "floating":
        name = {"fixed": "straight to pitch", "blocked": "plate blocked"}.get(problem.targets.mode, "plate on the body")
        held = [(name, Hand(float("nan"), end.claw, slack, False))]
        if _kept_near_pitch(problem, branch):
            near_pitch = replace(held[0][1], start=problem.found.settings.unstretched)
            held.append((f"{name}, strings kept near pitch", near_pitch))
        return held
    gap = float(edge_gap(traits, end, np.asarray(branch.tilt)).mean())
    tight = _tight_claw(problem, branch, needed)
    out = [("wedge, claw tight, then claw out by ear", Hand(gap, tight, slack, True))]
    lead = problem.wanted.claw.lead
    close = to_steps(end.claw, problem.found.settings.claw, lead, branch.claw_step)
    out += [(f"wedge at {share} of the gap, claw by computation", Hand(part * gap, close, slack, False))
            for share, part in (("the whole", 1.0), ("two thirds", 2 / 3), ("a third", 1 / 3))]  # fmt: skip
    out.append(("no wedge, interim pitches, claw by computation", Hand(float("nan"), close, slack, False)))
    if _kept_near_pitch(problem, branch):
        near = problem.found.settings.unstretched
        out.append(("wedge, strings kept near pitch, claw out by ear", Hand(gap, tight, near, True)))
    return out


def _kept_near_pitch(problem: Problem, branch: Branch) -> bool:
    """Whether nothing but the claw is turned, so that no string has to be let down."""
    found, end = problem.found.settings, branch.settings
    same = all(
        np.allclose(getattr(found, name), getattr(end, name), rtol=0.0, atol=1e-9)
        for name in ("springs", "pivot_rise", "saddle_rise", "saddle_back", "strip", "wedge_shim", "flat", "rod")
    )
    if problem.found.mode == "blocked" and not stays_blocked(problem, branch):
        return False  # the block comes out of slack strings only
    if problem.targets.mode != "floating":  # no wedge: the claw is turned on slack strings only
        same = same and np.allclose(end.claw, found.claw, rtol=0.0, atol=1e-9)
    return same and problem.found.hertz is not None and not problem.new_strings


def _tight_claw(problem: Problem, branch: Branch, needed: Array) -> Array:
    """Claw so far in that the plate stays on its wedge on nearly all instruments this may be."""
    found, claw = problem.found.settings.claw, problem.wanted.claw
    good = needed[np.isfinite(needed)]
    tight = float(np.quantile(good, SURE)) if good.size > 1 else float(good[0])  # np.quantile loads a lot at first
    safe = min(tight, float(branch.settings.claw.mean()) - branch.claw_step * float(claw.lead))
    if np.array_equal(branch.settings.springs, problem.found.settings.springs) and safe >= float(found.mean()):
        return found
    step = problem.limits.claw_step * float(claw.lead)
    return np.asarray(np.maximum(found + np.floor((safe - float(found.mean())) / step) * step, claw.travel[0]))


def _route(problem: Problem, branch: Branch, hand: Hand) -> Path:
    held = replace(branch.settings, prop=np.asarray(hand.prop), claw=hand.claw)
    return path(problem, held, hand.start)


def _rank(way: Way) -> tuple[bool, int, float]:
    return (not way.allowed, round(way.tunings), way.peak)


def _way(
    problem: Problem, branch: Branch, name: str, hand: Hand, route: Path, deviations: Array, seed: int, tell: Tell
) -> Way:
    limits = problem.limits
    allowed, reason = True, ""
    if route.peak > limits.peak:
        allowed = False
        reason = f"a string would stand {route.peak:.0f} c above its final pitch, allowed are {limits.peak:.0f} c"
    elif route.stress > limits.stress:
        allowed = False
        reason = f"a string would carry {route.stress:.0%} of its breaking load, allowed are {limits.stress:.0%}"
    outcome = practise(
        problem, branch.settings, hand, route, deviations if allowed else deviations[:CLOSED_SAMPLES], seed, tell
    )
    pitches = tuple((s + 1, hz) for s, hz in zip(route.order, route.hertz, strict=True))
    minutes = outcome.tunings * TUNING_MINUTES + outcome.claw_settings
    turns, peak, chance = outcome.claw_settings, max(route.peak, 0.0), outcome.second
    return Way(name, outcome.tunings, turns, peak, route.stress, chance, minutes, allowed, reason, pitches)


def _as_found(found: AsFound) -> tuple[Effect, ...]:
    problem = found.problem
    if problem.found.hertz is None:
        return ()
    p = predict(problem.traits, problem.found.settings, frets=(problem.targets.height_fret,), start=found.tilt)
    out = []
    if problem.traits.bridge.knife_edge:
        out.append(Effect("rear gap", "", None, float(np.mean(p.rear_gap)), "length"))
        out.append(Effect("tilt", "", None, float(p.tilt), "angle"))
        out.append(Effect("preload", "", None, float(p.contact), "moment"))
    heights = np.asarray(p.heights)[:, 0]
    for i, h in enumerate(heights):
        out.append(
            Effect("string height", f"string {i + 1} at fret {problem.targets.height_fret}", None, float(h), "height")
        )
    return tuple(out)
