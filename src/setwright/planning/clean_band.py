"""How sure a clean stroke is: what to keep in hand, and the chance of every string on the instruments this may be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.instrument.predict import tune_at
from setwright.instrument.prior import vary
from setwright.instrument.strokes import height_at, least_clearance, saddle_rise_to_clear
from setwright.instrument.traits import Array
from setwright.planning.bands import Ensemble, drawn_with_room, spread
from setwright.planning.branches import Branch
from setwright.planning.clean import wanted_strokes
from setwright.planning.plan import TargetLine
from setwright.planning.solve import as_batch, wanted_tilt
from setwright.planning.targets import Problem

SAMPLES = 128
SURE = 0.98  # share of the instruments on which a string told as lowest stays clean
HAIR = 1e-6  # m, a clearance that is still none


def with_spare(problem: Problem, seed: int) -> Problem:
    """The job with what every saddle has to stand above its lowest clean place, for what is not known.

    Neck, relief and every string's own height are known only as well as they were read. How far the lowest place of a
    saddle spreads is worked out on the instrument as found with the wanted strings at pitch; branches hardly change it.

    Args:
        problem: the job as found.
        seed: of the randomness [1].
    Returns: the job; as it was where no stroke has to stay clean.
    """
    if problem.targets.clean is None:
        return problem
    settings, t = problem.found.settings, problem.targets
    deviations = drawn_with_room(
        problem.known, SAMPLES, np.random.default_rng(seed),
        lambda d: ((vary(problem.wanted, problem.known, d, wanted=True), settings),),
    )  # fmt: skip
    traits, many = vary(problem.wanted, problem.known, deviations, wanted=True), as_batch(settings, SAMPLES)
    state = tune_at(traits, many, t.hertz, wanted_tilt(traits, many, t, None)).state
    strokes = wanted_strokes(problem, traits, many, state)
    _, share = height_at(strokes, t.height_fret)
    rise = saddle_rise_to_clear(strokes).clearance + _own_readings(problem, SAMPLES, seed) / share
    spare = np.quantile(rise, SURE, axis=0) - np.median(rise, axis=0)
    return replace(problem, spare=np.asarray(spare))


def _own_readings(problem: Problem, count: int, seed: int) -> Array:
    """(n, S) error of each string's own height as read: the ensemble holds only what all strings share [m]."""
    strings = problem.wanted.string_count
    sd = np.zeros(strings)
    for reading in problem.found.readings:
        if reading.quantity == "string height" and reading.string is not None:
            sd[reading.string] = reading.sd
    return np.asarray(sd * np.random.default_rng([seed, strings]).standard_normal((count, strings)))


def clean_lines(problem: Problem, branch: Branch, many: Ensemble, seed: int) -> tuple[TargetLine, ...]:
    """Least clearance of every string under the stroke that must stay clean, with its band and chance.

    Args:
        problem: the job.
        branch: the plan's branch.
        many: the end states.
        seed: of the randomness of readings [1].
    Returns: a line for every string; none where no stroke has to stay clean.
    """
    if problem.targets.clean is None:
        return ()
    outcome, fret = many.outcome, problem.targets.height_fret
    now = least_clearance(wanted_strokes(problem, problem.wanted, as_batch(branch.settings, 1), branch.state))
    strokes = wanted_strokes(problem, outcome.traits, outcome.settings, outcome.rest)
    _, share = height_at(strokes, fret)
    off = _own_readings(problem, len(many.deviations), seed) / share
    values = least_clearance(replace(strokes, saddle_y=strokes.saddle_y + off)).clearance
    return tuple(
        TargetLine(
            "least clearance", f"string {s + 1}, at least", "length", 0.0, 0.0, None, float(value),
            spread(values[:, s]), bool(value >= -HAIR), float(np.mean(values[:, s] >= 0.0)),
        )
        for s, value in enumerate(now.clearance[0])
    )  # fmt: skip
