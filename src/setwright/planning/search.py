"""The plan: branches solved, the good ones ranked by chance and minutes, the way there chosen, the steps written."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.errors import NoPlanError
from setwright.instrument.geometry import edge_gap
from setwright.instrument.predict import predict
from setwright.instrument.traits import Array
from setwright.planning.bands import Ensemble, carry_out, narrowing, target_lines
from setwright.planning.branches import Branch, weigh
from setwright.planning.choices import choices
from setwright.planning.figures import figures
from setwright.planning.found import AsFound, settle_found
from setwright.planning.plan import Effect, Option, Plan, Rejected, Way
from setwright.planning.rounds import Outcome, Path, path, practise
from setwright.planning.solve import rounded, solve
from setwright.planning.steps import steps
from setwright.planning.targets import Problem

TRIED = 3  # branches whose bands are worked out
WAY_SAMPLES = 192
LIFTS = (1.0, 2 / 3, 1 / 3)  # shares of the wanted gap at which the wedge may stand


def make_plan(problem: Problem, samples: int = 512, seed: int = 0) -> Plan:
    """The whole answer for a job.

    Args:
        problem: the job as read.
        samples: instruments the bands are made of [1].
        seed: of the randomness [1].
    Returns: best option, runner-up, and why the rest fail.
    Raises: ContradictionError where the found readings cannot be true together; NoPlanError where nothing holds, with the
        nearest miss.
    """
    found = settle_found(problem)
    problem = found.problem
    branches = choices(problem)
    moved = np.array([b.pivots for b in branches])
    solved, step = rounded(problem, solve(problem, branches), moved)
    good, bad = weigh(problem, branches, solved, step)
    if not good:
        raise NoPlanError(_no_plan(bad))
    options = [_option(problem, branch, samples, seed) for branch in good[:TRIED]]
    options.sort(key=lambda o: (-round(o.chance_second, 1), o.minutes))
    best, second = options[0], options[1] if len(options) > 1 else None
    remarks = (*found.remarks, *_unread(problem))
    return Plan(problem.title, problem.instrument, best, second, tuple(bad), len(branches), remarks, _as_found(found))


def _no_plan(bad: list[Rejected]) -> str:
    nearest = bad[0]
    return f"no plan exists: the nearest miss is {nearest.label}: {nearest.reason}"


def _unread(problem: Problem) -> list[str]:
    read = {r.quantity for r in problem.found.readings}
    out = []
    if "string height" not in read and problem.targets.heights is not None:
        out.append("string heights were not read as found: saddle turns rest on the usual height of this bridge")
    if problem.found.hertz is None:
        out.append("the instrument was not at pitch as found: springs and levers rest on the catalogue alone")
    return out


def _option(problem: Problem, branch: Branch, samples: int, seed: int) -> Option:
    many = carry_out(problem, branch, samples, seed)
    tried = ways(problem, branch, seed)
    chosen, outcome, route, prop = tried[0]
    of, values = _key_quantity(problem, many)
    work = steps(problem, branch, many, outcome, route, prop)
    others = tuple(way for way, *_ in tried[1:])
    minutes = sum(s.minutes for s in work) + (chosen.tunings - problem.wanted.string_count) * 0.5
    lines = target_lines(problem, branch, many, outcome)
    still = float(np.prod([line.chance for line in lines if line.quantity in ("string height", "up-bend")] or [1.0]))
    return Option(
        branch.label,
        work,
        lines,
        (replace(chosen, minutes=minutes), *others),
        figures(problem, branch, many),
        outcome.first * min(still, 1.0),
        outcome.second * min(still, 1.0),
        minutes,
        narrowing(problem.known, many.deviations, values, of),
    )


def _key_quantity(problem: Problem, many: Ensemble) -> tuple[str, Array]:
    if many.claw.size:
        return "claw position", many.claw
    return "string height", many.heights.mean(axis=1)


def ways(problem: Problem, branch: Branch, seed: int) -> list[tuple[Way, Outcome, Path, float]]:
    """Ways of getting there, the recommended one first.

    Args:
        problem: the job.
        branch: the plan's branch.
        seed: of the randomness [1].
    Returns: way, outcome, path and wedge gap [m] of each.
    """
    traits, end = problem.wanted, branch.settings
    slack = np.full(traits.string_count, np.nan)
    gap = float(edge_gap(traits, end, np.asarray(branch.tilt)).mean())
    plans: list[tuple[str, float, Array]] = []
    if problem.targets.mode == "floating":
        names = ("wedge at the wanted gap", "wedge at two thirds of the gap", "wedge at a third of the gap")
        plans += [(name, share * gap, slack) for name, share in zip(names, LIFTS, strict=True)]
        plans.append(("no wedge, interim pitches", float("nan"), slack))
    elif problem.targets.mode == "fixed":
        plans.append(("straight to pitch", float("nan"), slack))
    elif problem.targets.mode == "blocked":
        plans.append(("plate blocked", float("nan"), slack))
    else:
        plans.append(("plate resting on the body", float("nan"), slack))
    if problem.found.hertz is not None and not problem.new_strings:
        plans += [(name + ", strings left near pitch", prop, problem.found.settings.unstretched) for name, prop, _ in plans[:1]]
    out = [_way(problem, branch, name, prop, start, seed) for name, prop, start in plans]
    out.sort(key=lambda w: (not w[0].allowed, -round(w[0].chance, 1), round(w[0].tunings), w[0].peak))
    return out


def _way(
    problem: Problem, branch: Branch, name: str, prop: float, start: Array, seed: int
) -> tuple[Way, Outcome, Path, float]:
    settings = replace(branch.settings, prop=np.asarray(prop))
    route = path(problem, settings, start)
    outcome = practise(problem, branch.settings, prop, start, route, WAY_SAMPLES, seed)
    limits = problem.limits
    allowed, reason = True, ""
    if route.peak > limits.peak:
        allowed = False
        reason = f"a string would stand {route.peak:.0f} c above its final pitch, allowed are {limits.peak:.0f} c"
    elif route.stress > limits.stress:
        allowed = False
        reason = f"a string would carry {route.stress:.0%} of its breaking load, allowed are {limits.stress:.0%}"
    pitches = tuple((s + 1, hz) for s, hz in zip(route.order, route.hertz, strict=True))
    minutes = outcome.tunings * 0.5 + outcome.claw_settings
    way = Way(name, outcome.tunings, outcome.claw_settings, max(route.peak, 0.0), route.stress, outcome.second, minutes,
              allowed, reason, pitches)  # fmt: skip
    return way, outcome, route, prop


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
        out.append(Effect("string height", f"string {i + 1} at fret {problem.targets.height_fret}", None, float(h), "height"))
    return tuple(out)
