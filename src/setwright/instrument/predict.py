"""readings = predict(traits, settings): the one forward model."""

from __future__ import annotations

from typing import Any

import numpy as np

from setwright.frozen import frozen, replace
from setwright.instrument.geometry import (
    LOWER_STOPS,
    UPPER_STOPS,
    build_rig,
    claw_axis,
    crowns,
    edge_gap,
    nut_contact,
    saddle_contact,
    stops,
    tilt_limits,
    with_lengths,
)
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Mask, Traits
from setwright.physics.balance import (
    Equilibrium,
    Rig,
    at_pitch,
    claw_for_tilt,
    equilibrium,
    pitches,
    settled_at,
    unstretched_lengths,
)
from setwright.physics.frets import fret_position
from setwright.physics.neck import relief as neck_relief


@frozen
class Predicted:
    """What gauges, rules and ears would show. B is absent for an unbatched instrument."""

    tilt: Array  # (B) rad
    bow: Array  # (B) 1/m
    pitch: Array  # (B, S) Hz, first partial of the open string; 0 when slack
    tension: Array  # (B, S) N
    rear_gap: Array  # (B, 2) m, treble and bass end
    front_gap: Array  # (B, 2) m
    contact: Array  # (B) N m, > 0 pressing on the lower stop, < 0 on the upper
    stiffness: Array  # (B) N m/rad, pegs fixed
    stiffness_retuned: Array  # (B) N m/rad, every string brought back to pitch
    heights: Array  # (B, S, F) m, underside over the crowns of `frets`
    frets: tuple[int, ...]
    claw: Array  # (B, 2) m

    def height(self, fret: int) -> Array:
        """(B, S) string height at a fret [m]."""
        return self.heights[..., self.frets.index(fret)]


def predict(
    traits: Traits,
    settings: Settings,
    frets: tuple[int, ...] | None = None,
    moment: float | Array = 0.0,
    start: float | Array = 0.0,
) -> Predicted:
    """Readings of an instrument with its screws and pegs in a given state.

    Args:
        traits: the instrument; fields with or without a batch axis.
        settings: pegs as unstretched lengths [m].
        frets: where string heights are wanted [1]; default 1, 12, 17 and the last.
        moment: () or (B) moment on the plate by arm or friction, > 0 lifts the rear [N m].
        start: () or (B) tilt from which the plate rolls [rad].
    Returns: the readings.
    Raises: RangeError where the stops leave no room.
    """
    rig = build_rig(traits, settings)
    return read_off(traits, settings, rig, equilibrium(rig, moment, start), frets)


def read_off(
    traits: Traits, settings: Settings, rig: Rig, state: Equilibrium, frets: tuple[int, ...] | None = None
) -> Predicted:
    """Readings in a given state of plate and neck.

    Args:
        traits: the instrument.
        settings: its settings.
        rig: (B) its rigs.
        state: (B) the state.
        frets: where string heights are wanted [1].
    Returns: the readings.
    """
    batched = not _plain(traits, settings, rig)
    pitch = pitches(rig, state)
    tight = pitch > 0.0
    held = at_pitch(rig, np.where(tight, pitch, np.nan))
    wanted = tuple(dict.fromkeys(frets or (1, 12, 17, traits.fretboard.frets)))
    out: dict[str, Any] = {
        "tilt": state.tilt,
        "bow": state.bow,
        "pitch": pitch,
        "tension": state.tension,
        "rear_gap": np.broadcast_to(edge_gap(traits, settings, state.tilt), (rig.batch, 2)),
        "front_gap": np.broadcast_to(edge_gap(traits, settings, state.tilt, front=True), (rig.batch, 2)),
        "contact": state.contact,
        "stiffness": state.stiffness,
        "stiffness_retuned": settled_at(held, state.tilt).stiffness,
        "heights": string_heights(traits, settings, state.tilt, state.bow, wanted),
        "claw": np.broadcast_to(settings.claw, (rig.batch, 2)),
    }
    if not batched:
        out = {name: value[0] for name, value in out.items()}
    return Predicted(frets=wanted, **out)


def string_heights(traits: Traits, settings: Settings, tilt: Array, bow: Array, frets: tuple[int, ...]) -> Array:
    """Underside of every open string over the crowns of some frets.

    Args:
        traits: the instrument.
        settings: its settings.
        tilt: (B) [rad].
        bow: (B) [1/m].
        frets: their numbers [1].
    Returns: (B, S, F) [m].
    """
    x0, y0 = nut_contact(traits, settings, bow)
    x1, y1 = saddle_contact(traits, settings, tilt)
    crown_x, crown_y = crowns(traits, settings, tilt, bow, frets)
    slope = (y1 - y0) / (x1 - x0)
    return np.asarray(y0[..., None] + slope[..., None] * (crown_x - x0[..., None]) - crown_y)


def relief(traits: Traits, bow: Array, low: int, read: int, high: int) -> Array:
    """Relief under a named convention: gap between the chord over two crowns and the crown of a fret between them.

    Args:
        traits: the instrument.
        bow: (B) [1/m].
        low: fret held near the nut [1].
        read: fret read [1].
        high: fret held near the body [1].
    Returns: (B) [m].
    """
    scale = traits.fretboard.scale
    a, c, b = (fret_position(scale, n) for n in (low, read, high))
    return np.asarray(neck_relief(a, c, b, traits.neck.joint_x, bow))


@frozen
class Tuned:
    """An instrument brought to pitch."""

    settings: Settings
    rig: Rig
    state: Equilibrium


def tune(traits: Traits, settings: Settings, hertz: Array, start: float | Array = 0.0) -> Tuned:
    """Bring every string to a pitch, the plate moving as it will.

    Args:
        traits: the instrument.
        settings: all but the pegs.
        hertz: (S) or (B, S) first partials [Hz].
        start: () or (B) [rad].
    Returns: settings with the pegs' unstretched lengths, rig and state. `state.stiffness` is that of the balance with
        every string brought back to pitch: not above zero means the plate runs away on retuning.
    """
    rig = at_pitch(build_rig(traits, settings), hertz)
    state = equilibrium(rig, start=start)
    return Tuned(with_pegs(traits, settings, rig, state), rig, state)


def tune_at(traits: Traits, settings: Settings, hertz: Array, tilt: Array | float) -> Tuned:
    """Bring every string to a pitch with the plate held at a tilt.

    Args:
        traits: the instrument.
        settings: all but the pegs.
        hertz: (S) or (B, S) first partials [Hz].
        tilt: () or (B) [rad].
    Returns: as `tune`; `state.contact` is the moment that holds the plate there.
    """
    rig = at_pitch(build_rig(traits, settings), hertz)
    state = settled_at(rig, tilt)
    return Tuned(with_pegs(traits, settings, rig, state), rig, state)


def with_pegs(traits: Traits, settings: Settings, rig: Rig, state: Equilibrium) -> Settings:
    """Settings whose pegs hold a state (unstretched lengths at the reference temperature).

    Args:
        traits: the instrument.
        settings: its settings.
        rig: (B) its rigs.
        state: (B) the state.
    Returns: the settings.
    """
    length = unstretched_lengths(rig, state)
    return with_lengths(traits, settings, length[0] if _plain(traits, settings, rig) else length)


def _plain(traits: Traits, settings: Settings, rig: Rig) -> bool:
    """Whether neither traits nor settings carry a batch axis."""
    return rig.batch == 1 and np.ndim(tilt_limits(traits, settings)[0]) == 0


@frozen
class Balanced:
    """Claw found for a wanted tilt, strings at pitch."""

    settings: Settings
    reached: Mask  # (B)
    state: Equilibrium


def balance_at(
    traits: Traits, settings: Settings, hertz: Array, tilt: Array | float, moment: Array | float = 0.0
) -> Balanced:
    """Set claw and pegs so that the plate rests at a tilt with every string at pitch.

    Args:
        traits: the instrument.
        settings: all but pegs and claw; the claw's skew is kept.
        hertz: (S) or (B, S) first partials [Hz].
        tilt: () or (B) [rad].
        moment: () or (B) left over for a stop to carry, > 0 presses on the lower one [N m].
    Returns: settings, whether the balance exists, and the state. Claw limits are not applied.
    """
    rig = at_pitch(build_rig(traits, settings), hertz)
    axis_x, axis_y = (np.broadcast_to(np.asarray(a)[..., None], rig.claw_x.shape) for a in claw_axis(traits))
    answer = claw_for_tilt(rig, tilt, axis_x, axis_y, moment)
    plain = _plain(traits, settings, rig)
    claw = settings.claw + (answer.shift[0] if plain else answer.shift[:, None])
    moved = replace(settings, claw=claw)
    return Balanced(with_pegs(traits, moved, rig, answer.state), answer.reached, answer.state)


def stop_names(traits: Traits, settings: Settings) -> tuple[str, str]:
    """Which stop ends the plate's way down and which its way up (of an unbatched instrument).

    Args:
        traits: the instrument.
        settings: its settings.
    Returns: names of the lower and the upper stop.
    """
    if not traits.bridge.knife_edge:
        return "fixed bridge", "fixed bridge"
    lower, upper = stops(traits, settings)
    low = int(np.argmax([float(v) for v in lower]))
    high = int(np.argmin([float(v) for v in upper]))
    return LOWER_STOPS[low], UPPER_STOPS[high]
