"""Every note of the fretboard: the instrument at rest, one string after the other held at every fret."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.geometry import crowns, pivot_line
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import Equilibrium, Rig
from setwright.physics.fretting.capo import put_capo
from setwright.physics.fretting.floating import FloatingNotes, fretted_notes_floating
from setwright.physics.pitch import cents
from setwright.physics.strings import first_partial
from setwright.telling import Tell, untold

PLACES = (0.05, 0.95)  # share of the way between two frets
DEPTHS = (0.0, 2e-3)  # m
CAPO_PLACE = 0.8  # share of the way to its fret, as near as it goes without muting; common practice, no source
AT_STOP = 1e-9  # rad, nearer to a stop than this the plate rests on it


def fretted(
    traits: Traits,
    settings: Settings,
    rig: Rig,
    state: Equilibrium,
    ends: str = "pinned",
    frets: Sequence[int] | None = None,
    tell: Tell = untold,
) -> FloatingNotes:
    """Cents error of every string at every fret, plate and neck settling with the held string.

    A fixed or blocked plate cannot follow; then only the neck does.

    Args:
        traits: the instrument.
        settings: its settings.
        rig: (B) its rigs.
        state: (B) at rest, or held at a tilt; strings taut.
        ends: stiffness at the ends: "pinned", "clamped" or "clamped-pinned".
        frets: numbers of the frets wanted, N of them; all when left out. Crowns beyond the last of them are not looked
            at: they change no cents, but whether one chokes a note is then not told [1].
        tell: takes the share of the work that is done, now and then; what it raises ends the work.
    Returns: the notes, (B, S, N).
    """
    place, depth = (_over(v) for v in _finger(traits))
    crown_x, crown_y = rig_crowns(traits, settings, state, max(frets) if frets else None)
    load = _by_hand(rig, state)
    return fretted_notes_floating(rig, state, crown_x, crown_y, place, depth, ends, frets, load, tell)


@frozen
class CapoNotes:
    """Notes with a capo on."""

    off: Array  # (B, S) cents, open string with the capo against the tempered note of its fret; sharp > 0
    notes: FloatingNotes  # (B, S, N), frets counted from the capo, cents from the string that it leaves


def fretted_with_capo(
    traits: Traits,
    settings: Settings,
    rig: Rig,
    state: Equilibrium,
    fret: int,
    ends: str = "pinned",
    grips: bool = False,
) -> CapoNotes:
    """Notes with a capo on: all strings pressed down behind its fret, as deep as a finger would, pegs left alone.

    Args:
        traits: the instrument.
        settings: its settings.
        rig: (B) its rigs.
        state: (B) at rest without the capo; strings taut.
        fret: where the capo is, 1 to the last but one [1].
        ends: as of `fretted`.
        grips: whether nothing slides under the capo once it is on.
    Returns: how far off every string goes, and every note beyond the capo.
    Raises: RangeError for a fret that leaves none beyond it.
    """
    place, depth = _finger(traits)
    load = _by_hand(rig, state)
    capo = put_capo(rig, state, *rig_crowns(traits, settings, state), fret, CAPO_PLACE, depth[..., None], load, grips)
    crown_x, crown_y = (v[..., fret:] for v in rig_crowns(traits, settings, capo.rest))
    notes = fretted_notes_floating(capo.rig, capo.rest, crown_x, crown_y, _over(place), _over(depth), ends, None, load)
    before = first_partial(state.tension, state.length, rig.unit_mass, rig.axial, rig.bending, ends)
    return CapoNotes(cents(notes.open_hertz, before) - 100.0 * fret, notes)


def _finger(traits: Traits) -> tuple[Array, Array]:
    """Place and depth of the finger; drawn instruments come from a Gaussian, whose tails hold fingers no hand has."""
    playing = traits.playing
    return np.clip(playing.finger_place, *PLACES), np.clip(playing.finger_depth, *DEPTHS)


def _by_hand(rig: Rig, state: Equilibrium) -> Array:
    """(B) moment of a plate that no stop holds: it is held by hand, and stays held while a string is pressed [N m]."""
    low = (state.tilt <= rig.tilt_low + AT_STOP) & (state.contact >= 0.0)
    high = (state.tilt >= rig.tilt_high - AT_STOP) & (state.contact <= 0.0)
    return np.where(low | high, 0.0, state.contact)


def rig_crowns(traits: Traits, settings: Settings, state: Equilibrium, last: int | None = None) -> tuple[Array, Array]:
    """Crowns under every string's centre line, from the pivot line at that string's saddle, as the rig counts.

    Args:
        traits: the instrument.
        settings: its settings.
        state: (B) at rest.
        last: fret beyond which none is wanted, None for all [1].
    Returns: x, y (B, S, N) [m], N frets from the first.
    """
    x, y = crowns(traits, settings, state.tilt, state.bow, range(1, (last or traits.fretboard.frets) + 1))
    base = pivot_line(traits, settings, traits.bridge.saddle_z) - 0.5 * traits.strings.diameter
    return x - np.asarray(traits.bridge.pivot_x)[..., None, None], y - base[..., None]


def _over(value: Array) -> Array:
    """() or (B,) -> (B, 1, 1), to go with strings and frets."""
    return np.asarray(value)[..., None, None]
