"""Scenes: one state of the instrument in which something was read, and what its readings should show.

A scene's unknowns are the deviations of the traits (P), what every peg holds (S), how far the claw stands from where it
is noted, and the tilt of the plate: L = P + S + 2 numbers. The tilt is unknown beside all else: of a free plate the
moment left over is 0 within the friction of its knife edge; of one on a stop the tilt is the stop's. Written so, no
reading depends on the balance in a bent way, and stops and a free plate are the same code.

What a peg holds is an unstretched length, but it is carried as the pitch the string has in a state that is remembered
with it (its mark: tilt and bow when it was last tuned). That pitch is what was heard; the length that goes with it
depends on stretch stiffness and on the string behind the nut, which are known poorly. In pitches the two do not mix.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Literal

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.geometry import build_rig, edge_gap
from setwright.instrument.prior import Prior, vary
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import Rig, lengths_at, pegs_fixed, pitches, settled_at
from setwright.physics.pitch import CENTS_PER_LOG

Kind = Literal["pitch", "rear gap", "claw"]
FARTHEST = 6.0  # standard uncertainties from the nominal, beyond which no trait is taken to lie
FINEST_MOMENT = 1e-3  # N m, least uncertainty of a balance
STOP_SLACK = 2e-4  # rad, standard uncertainty of the tilt at a stop that is touched
STEEPEST = 0.4  # rad, no plate tilts farther
SILENT = 1.0  # Hz, a lower "pitch" is that of a slack string
FREE, LOWER, UPPER, OPEN = 0, -1, 1, 2
MISHEARD = 100.0  # cents, a pitch nearer to what is expected is not a wrong one


@frozen
class Seen:
    """One reading."""

    kind: Kind
    value: float  # Hz, m, m
    sd: float  # cents for a pitch, else m
    string: int = 0  # of a pitch; 0 = thinnest
    entry: int = 0  # number of the entry it was read in, for naming it
    own: float = 0.0  # cents, the share of a pitch's sd that is the tuner's own and not the model's


@frozen
class Scene:
    """One state and what was read in it."""

    settings: Settings  # as noted
    pegs: tuple[int, ...]  # which peg variable holds each string
    turns: int  # how many settings of the claw came before
    seen: tuple[Seen, ...]
    stop: int  # FREE, LOWER, UPPER; OPEN: nothing is said about the balance
    tilt: float  # rad, where it is believed to have been
    told: bool = True  # whether its readings tell which stop it touched, or only what was believed


@frozen
class Model:
    """The nominal instrument and what scales its deviations."""

    traits: Traits
    known: Prior
    friction: float  # N m, standard uncertainty of the moment the knife edge holds back


def lay_out(
    model: Model, settings: Settings, at: Array, mark_tilt: Array, mark_bow: Array
) -> tuple[Traits, Settings, Rig]:
    """Instruments, settings and rigs for given unknowns.

    Args:
        model: the nominal instrument.
        settings: as noted, with or without a batch axis.
        at: (B, P + S + 1) deviations, pegs [cents over 1 Hz at their marks], true less noted claw place [m].
        mark_tilt: (S) or (B, S) [rad].
        mark_bow: (S) or (B, S) [1/m].
    Returns: batches of traits, settings (pegs as lengths), rigs with the pegs fixed.
    """
    count = len(model.known.parts)
    bound = FARTHEST * np.array([part.sd for part in model.known.parts])
    traits = vary(model.traits, model.known, np.clip(at[:, :count], -bound, bound))
    settings = replace(settings, claw=settings.claw + at[:, -1:])
    rig = build_rig(traits, settings)
    hertz = np.exp(at[:, count:-1] / CENTS_PER_LOG)
    lengths = lengths_at(rig, hertz, mark_tilt, mark_bow)
    return traits, replace(settings, unstretched=lengths), pegs_fixed(rig, lengths)


def value_of(one: Seen) -> float:
    """A reading on the scale it is compared on: cents over 1 Hz, or metres."""
    return float(CENTS_PER_LOG * np.log(max(one.value, SILENT))) if one.kind == "pitch" else one.value


def targets(scene: Scene, friction: float) -> tuple[Array, Array]:
    """Values and standard uncertainties of a scene's rows: its readings, then its balance.

    Args:
        scene: the scene.
        friction: of the knife edge [N m].
    Returns: two (R + 1); the balance of an OPEN scene has no weight (inf).
    """
    last = {FREE: max(friction, FINEST_MOMENT), OPEN: np.inf}.get(scene.stop, STOP_SLACK)
    return np.array([*map(value_of, scene.seen), 0.0]), np.array([*(one.sd for one in scene.seen), last])


def shown(model: Model, scene: Scene, at: Array, mark_tilt: Array, mark_bow: Array) -> Array:
    """What a scene's rows should show.

    Args:
        model: the nominal instrument.
        scene: the scene.
        at: (B, L) unknowns.
        mark_tilt: (S) of its pegs [rad].
        mark_bow: (S) of its pegs [1/m].
    Returns: (B, R + 1) cents over 1 Hz, metres; last the moment left over [N m], or the tilt off its stop [rad].
    """
    return shown_together(model, (scene,), (at,), ((mark_tilt, mark_bow),))[0]


def shown_together(
    model: Model, scenes: Sequence[Scene], at: Sequence[Array], marks: Sequence[tuple[Array, Array]]
) -> list[Array]:
    """`shown` of several scenes in one go.

    Args:
        model: the nominal instrument.
        scenes: the scenes.
        at: of each, (B, L) unknowns.
        marks: of each, (S) tilt [rad] and bow [1/m] of its pegs.
    Returns: of each, (B, R + 1).
    """
    out: list[Array] = [np.empty(0)] * len(scenes)
    for attitude in dict.fromkeys(scene.settings.attitude for scene in scenes):
        which = [i for i, scene in enumerate(scenes) if scene.settings.attitude == attitude]
        counts = [len(at[i]) for i in which]
        whole = np.concatenate([at[i] for i in which])
        settings = _stacked([scenes[i].settings for i in which], counts)
        tilts, bows = (np.repeat(np.stack([marks[i][k] for i in which]), counts, axis=0) for k in (0, 1))
        traits, settings, rig = lay_out(model, settings, whole[:, :-1], tilts, bows)
        tilt = np.clip(whole[:, -1], -STEEPEST, STEEPEST)
        state = settled_at(rig, tilt)
        hertz = CENTS_PER_LOG * np.log(np.maximum(pitches(rig, state), SILENT))
        gap, claw = edge_gap(traits, settings, tilt).mean(axis=-1), settings.claw.mean(axis=-1)
        every = np.column_stack([hertz, gap, claw, state.contact, tilt - rig.tilt_low, tilt - rig.tilt_high])
        ends = np.cumsum(counts)
        for i, end, count in zip(which, ends, counts, strict=True):
            out[i] = every[end - count : end].take(_columns(scenes[i], hertz.shape[-1]), axis=1)
    return out


def _columns(scene: Scene, strings: int) -> list[int]:
    """Which columns a scene shows: those of its readings, last that of its balance or its stop."""
    other = {"rear gap": strings, "claw": strings + 1}
    last = {LOWER: strings + 3, UPPER: strings + 4}.get(scene.stop, strings + 2)
    return [*(one.string if one.kind == "pitch" else other[one.kind] for one in scene.seen), last]


def _stacked(settings: list[Settings], counts: list[int]) -> Settings:
    """One batch of settings; what differs from scene to scene gets the batch axis."""
    first = settings[0]
    names = [
        f.name
        for f in fields(first)
        if f.name not in ("attitude", "temperature", "unstretched")
        and any(getattr(one, f.name) is not getattr(first, f.name) for one in settings)
    ]
    each = {name: np.repeat(np.stack([getattr(one, name) for one in settings]), counts, axis=0) for name in names}
    return replace(first, **each)  # type: ignore[arg-type]


def fan(middle: Array, step: Array) -> Array:
    """Places for derivatives.

    Args:
        middle: (N) where they are wanted.
        step: (N) sizes of the steps.
    Returns: (2 N + 1, N) the middle, a step up and a step down in every direction.
    """
    shift = np.diag(step)
    return np.concatenate([middle[None], middle + shift, middle - shift])


def slopes(values: Array, step: Array) -> Array:
    """Derivatives from values at a `fan`.

    Args:
        values: (2 N + 1, ...) results there.
        step: (N) its steps.
    Returns: (..., N).
    """
    count = len(step)
    rise = values[1 : count + 1] - values[count + 1 :]
    return np.moveaxis(rise / (2.0 * step.reshape(-1, *(1,) * (values.ndim - 1))), 0, -1)
