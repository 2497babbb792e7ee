"""Octave errors of the plan: where every saddle has to stand along the string, strings at pitch."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.instrument.notes import fretted
from setwright.instrument.predict import tune_at
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import Equilibrium, Rig
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.planning.targets import Problem

OCTAVE_FRET = 12


def octave_errors(traits: Traits, settings: Settings, rig: Rig, state: Equilibrium) -> Array:
    """Note held at fret 12 against the octave of the open string, sharp > 0.

    Args:
        traits: the instrument(s).
        settings: its settings.
        rig: (B) its rigs.
        state: (B) at rest, strings taut.
    Returns: (B, S) [cents].
    """
    return fretted(traits, settings, rig, state, frets=(OCTAVE_FRET,)).cents[..., 0]


def bias_as_found(problem: Problem, tilt: float) -> Array | None:
    """Octave errors as read less those predicted for the found state.

    The finger, the crowns and the strings' stiffness are known only roughly; what was read as found tells their sum,
    and a saddle's move changes it by a known amount. Where it was not read, the octaves are taken to have been right.

    Args:
        problem: the job, its instrument in line with the other found readings.
        tilt: of the plate as found [rad].
    Returns: (S) [cents]; None where the strings were not at pitch or there is no fret 12.
    """
    found = problem.found
    if found.hertz is None or problem.traits.fretboard.frets < OCTAVE_FRET:
        return None
    read = np.zeros(problem.traits.string_count) if found.octave is None else found.octave
    tuned = tune_at(problem.traits, found.settings, found.hertz, tilt)
    return np.asarray(read - octave_errors(problem.traits, found.settings, tuned.rig, tuned.state)[0])


def octaves_planned(problem: Problem, settings: Settings, tilt: float) -> Array:
    """Octave errors the most likely instrument would show, strings at pitch.

    Args:
        problem: the job, with its octave bias.
        settings: unbatched.
        tilt: [rad].
    Returns: (S) [cents].
    """
    tuned = tune_at(problem.wanted, settings, problem.targets.hertz, tilt)
    bias = 0.0 if problem.octave_bias is None else problem.octave_bias
    return np.asarray(octave_errors(problem.wanted, settings, tuned.rig, tuned.state)[0] + bias)


def saddles_for_octave(problem: Problem, settings: Settings, tilt: Array) -> Settings:
    """Saddles moved along the strings towards the wanted octave errors, as far as their travel goes: one Newton step.

    d cents / d back = -CENTS_PER_LOG / L: the held note has half the length, so that the open string loses half as much
    (derived here; -2.67 cents/mm at 648 mm).

    Args:
        problem: the job.
        settings: fields (C, ...).
        tilt: (C) [rad].
    Returns: settings with `saddle_back` (C, S).
    """
    traits, t = problem.wanted, problem.targets
    tuned = tune_at(traits, settings, t.hertz, tilt)
    bias = 0.0 if problem.octave_bias is None else problem.octave_bias
    error = octave_errors(traits, settings, tuned.rig, tuned.state) + bias - t.octave
    back = settings.saddle_back + error * tuned.state.length / CENTS_PER_LOG
    return replace(settings, saddle_back=np.clip(back, *traits.bridge.length_range))
