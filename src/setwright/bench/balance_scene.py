"""What is drawn of a balance that is tried out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.bench.balance_try import Laid, Outcome, Tried, Worked
from setwright.bench.believed import Believed
from setwright.bench.side_drawing import body, posture
from setwright.bench.standing import Standing
from setwright.instrument.geometry import build_rig, claw_axis
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Traits
from setwright.physics.balance import Equilibrium, at_pitch, settled_at
from setwright.physics.balance.rig import take
from setwright.planning.solve import as_batch
from setwright.sheets.tilting import Tilting, draw_tilting
from setwright.sheets.tried_bands import Pitch, Turning, draw_pitches, draw_turning
from setwright.units.pitch import note_name, note_number
from setwright.units.show import System


def outcome(result: Tried, state: str) -> Outcome:
    """The state that is shown.

    Args:
        result: what comes of it.
        state: "alone" for the pegs left alone, else with every string at pitch.
    Returns: it; with every string at pitch where nothing is known of the pegs.
    """
    return result.alone if state == "alone" and result.alone is not None else result.retuned


def balance_scene(worked: Worked, state: str, system: System, said: str, amount: str) -> str:
    """Draw the bridge with what is tried.

    Args:
        worked: what is tried, and what comes of it.
        state: "alone" or "retuned".
        system: "inch" or "mm".
        said: how the plate rests, in words.
        amount: what the claw does, in words.
    Returns: an SVG document.
    """
    laid, at, result = worked.laid, worked.at, worked.result
    one = laid.believed
    alone = state == "alone" and at.alone is not None
    tilted = at.alone[1] if alone and at.alone is not None else at.retuned[1]
    shown = outcome(result, state)
    now = _standing(one.plain, _of_first(one), one.start[0], one)
    then = _with_state(laid, tilted)
    x, y = (float(np.asarray(v).reshape(-1)[0]) for v in claw_axis(laid.plain))
    wanted = result.gap
    sheet = Tilting(
        title=f"{result.instrument}: the bridge from the bass side",
        about=f"Thin broken: as it is. Thick: as it comes. {said}",
        system=system,
        mirrored=one.job.instrument.handed == "left",
        body=body(then),
        now=posture(now),
        tried=posture(then),
        tilt=shown.tilt.value,
        per_turn=(-laid.lead * x, -laid.lead * y),
        gap=(shown.gap.value, shown.gap.half_width, result.before),
        slot=wanted,
        said=said,
        rests=wanted is not None and abs(shown.gap.value - wanted[0]) + shown.gap.half_width <= wanted[1],
        amount=amount,
    )
    return draw_tilting(sheet)


def _of_first(one: Believed) -> Settings:
    """The settings of the most likely instrument, its claw where the plate balances as believed."""
    shift = float(np.asarray(one.settings.claw).reshape(-1, 2)[0].mean() - one.noted.claw.mean())
    return replace(one.noted, claw=one.noted.claw + shift)


def _standing(plain: Traits, settings: Settings, tilt: float, one: Believed) -> Standing:
    many = as_batch(settings, 1)
    hertz = one.hertz if one.pegs else one.wanted
    rig = at_pitch(build_rig(plain, many), hertz)
    return Standing("now", plain, many, rig, settled_at(rig, tilt), hertz)


def _with_state(laid: Laid, state: Equilibrium) -> Standing:
    """The most likely instrument in the state it comes to."""
    claw = laid.noted.claw + (float(laid.claw[0]) - float(laid.noted.claw.mean()))
    many = as_batch(replace(laid.noted, claw=claw), 1)
    first = replace(
        state, tilt=state.tilt[:1], bow=state.bow[:1], tension=state.tension[:1], length=state.length[:1],
        lever=state.lever[:1], contact=state.contact[:1], stiffness=state.stiffness[:1],
    )  # fmt: skip
    return Standing("then", laid.plain, many, take(laid.rig, slice(0, 1)), first, laid.wanted)


def pitch_scene(result: Tried, state: str) -> str:
    """Draw all pitches with what is tried.

    Args:
        result: what comes of it.
        state: "alone" or "retuned".
    Returns: an SVG document.
    """
    shown = outcome(result, state)
    rows = [
        Pitch(f"{s + 1} {note_name(round(note_number(hz)))}", one.value, one.half_width)
        for s, (one, hz) in enumerate(zip(shown.cents, result.wanted, strict=True))
    ]
    return draw_pitches("Strings, in cents from their own pitches", rows, result.tolerance)


def turning_scene(result: Tried, state: str) -> str:
    """Draw the moments with what is tried.

    Args:
        result: what comes of it.
        state: "alone" or "retuned".
    Returns: an SVG document.
    """
    pulls = [one for one in outcome(result, state).pulls if one.name != "stop"]
    turning = [Turning(one.name, one.moment.value, one.moment.half_width) for one in pulls]
    return draw_turning("Moments about the pivot, end to end", turning)
