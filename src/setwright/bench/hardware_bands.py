"""How sure the effects of hardware steps are, without carrying the whole plan out.

The steps themselves are worked out for the most likely instrument. Here the state they lead to, strings at pitch and
the plate as it shall stand, is worked out on many instruments that this one may be; the balance itself is not gone
through, so this takes some hundredths of a second.
"""

from __future__ import annotations

import numpy as np

from setwright.frozen import frozen, replace
from setwright.instrument.geometry import neck_angle
from setwright.instrument.predict import string_heights, tune_at
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.neck import line_rise
from setwright.planning.bands import octaves_as_left, possible
from setwright.planning.plan import Effect
from setwright.planning.rounds import Outcome, turned_out
from setwright.planning.solve import as_batch, wanted_tilt
from setwright.planning.targets import Problem
from setwright.planning.to_do import Hardware

SAMPLES = 256
HELD = 0.95  # share of the instruments a band holds


@frozen
class _End:
    """The end of the work on n instruments. tilt: (n) rad, as it shall stand."""

    deviations: Array
    traits: Traits
    settings: Settings
    tilt: Array


def with_bands(todo: Hardware, seed: int = 0) -> Hardware:
    """Hardware whose steps tell how sure their effects are.

    Args:
        todo: without bands.
        seed: of the randomness [1].
    Returns: the same, its effects with the half width that holds 95 % of the instruments this one may be; without one
        where nothing varies.
    """
    quantities = {one.quantity for step in todo.steps for one in step.effects}
    if not quantities:
        return todo
    end, bands = _end(todo, seed), dict[tuple[str, str], float]()
    if "string height" in quantities:
        bands |= _heights(todo.problem, end)
    if "octave error" in quantities:
        bands |= _octaves(todo.problem, end, seed)
    if {"neck angle", "line of the neck at the bridge"} & quantities:
        bands |= _neck(todo.problem, end)
    if "tilt" in quantities:
        bands[("tilt", "")] = _spread(end.tilt)
    steps = tuple(replace(step, effects=tuple(_banded(one, bands) for one in step.effects)) for step in todo.steps)
    return replace(todo, steps=steps)


def _banded(one: Effect, bands: dict[tuple[str, str], float]) -> Effect:
    return replace(one, half_width=bands.get((one.quantity, one.place)) or None)


def _end(todo: Hardware, seed: int) -> _End:
    """Instruments drawn, their plate as it shall stand."""
    problem, t = todo.problem, todo.problem.targets
    deviations = possible(problem, todo.settings, SAMPLES, seed)
    traits, many = turned_out(problem, todo.settings, deviations)
    tilt = wanted_tilt(traits, many, t, np.full(SAMPLES, todo.gap))
    return _End(deviations, traits, many, np.array(np.broadcast_to(tilt, SAMPLES)))


def _heights(problem: Problem, end: _End) -> dict[tuple[str, str], float]:
    fret = problem.targets.height_fret
    state = tune_at(end.traits, end.settings, problem.targets.hertz, end.tilt).state
    many = string_heights(end.traits, end.settings, state.tilt, state.bow, (fret,))[..., 0]
    return {("string height", f"string {i + 1} at fret {fret}"): _spread(many[:, i]) for i in range(many.shape[1])}


def _octaves(problem: Problem, end: _End, seed: int) -> dict[tuple[str, str], float]:
    none, nothing = np.empty(0), np.empty(0, dtype=np.bool_)
    tuned = tune_at(end.traits, end.settings, problem.targets.hertz, end.tilt)
    left = Outcome(end.traits, tuned.settings, tuned.state, none, none, nothing, none, nothing, 0.0)
    many = octaves_as_left(problem, left, end.deviations, seed)
    return {("octave error", f"string {i + 1}"): _spread(many[:, i]) for i in range(many.shape[1])}


def _neck(problem: Problem, end: _End) -> dict[tuple[str, str], float]:
    """What the shim turns the neck by, and how far that lifts its line at the bridge."""
    found = as_batch(problem.found.settings, SAMPLES)
    angle = np.broadcast_to(neck_angle(end.traits, end.settings) - neck_angle(end.traits, found), SAMPLES)
    saddle_x = np.mean(np.asarray(end.traits.bridge.pivot_x)[..., None] + end.traits.bridge.saddle_aft, axis=-1)
    rise = np.broadcast_to(line_rise(angle, saddle_x - end.traits.neck.mouth_x), SAMPLES)
    return {("neck angle", ""): _spread(angle), ("line of the neck at the bridge", ""): _spread(rise)}


def _spread(values: Array) -> float:
    """As `bands.spread`, of numbers alone: numpy's median and quantile would load more than the whole next step."""
    count = len(values)
    ordered = np.sort(values)
    off = np.sort(np.abs(values - 0.5 * (ordered[(count - 1) // 2] + ordered[count // 2])))
    return float(np.interp(HELD * (count - 1), np.arange(count), off))
