"""How a practice instrument stands when it is handed over: decked, its claw set so that it is decked at pitch too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import cos, exp, pi, sin
from random import Random
from typing import Any

from setwright.errors import InputError
from setwright.practice.body import Body, draw, draw_body
from setwright.practice.hidden import Hidden, Spread
from setwright.practice.physics import Stage, State, settle_neck, slopes, stops, tilt_at
from setwright.practice.strings import strain_at

PRELOAD = (0.25, 0.8)  # N m, with which a decked plate lies on the body at pitch
FLAT = (460.0, 540.0)  # cents, a new set that was only put on
ROOM = 5e-4  # m, the claw keeps from both ends of its screws
DRAWS = 80
LIKELY = (3, 4, 2, 5)  # numbers of springs, the usual one first


def at_pitch(body: Body, state: State, hertz: Sequence[float], grips: Sequence[float]) -> State:
    """Wind every string to a pitch with the plate held where it stands.

    Args:
        body: the instrument.
        state: gives tilt and the room.
        hertz: (S) first partials [Hz].
        grips: (S) how far the nut holds each, -1 to 1 [1].
    Returns: the state, neck settled.
    """
    grown, soft = 1.0 + body.warmth.string * state.warm, 1.0 - body.warmth.soft * state.warm
    for _ in range(12):
        stage = Stage(body, state)
        whole, main = [], []
        for w, f, hold, (_, length, _) in zip(
            body.wires, hertz, grips, stage.pulls(state.tilt, state.bow, state.side), strict=True
        ):
            axial = w.axial * soft
            need = 4.0 * length * length * f * f * w.unit_mass / grown
            strain = 0.0
            for _ in range(30):
                tension = need / (1.0 + strain) - pi * pi * w.bending * soft / (length * length)
                strain = strain_at(w, tension, axial)
            beyond = (length + w.tail) / (1.0 + strain)
            behind = w.behind / (1.0 + strain_at(w, tension * exp(hold * w.grip), axial))
            main.append(beyond / grown)
            whole.append((beyond + behind) / grown)
        before = state.bow
        state = replace(state, whole=tuple(whole), main=tuple(main))
        _, bow, side = settle_neck(Stage(body, state), state.tilt, state.bow, state.side)
        state = replace(state, bow=bow, side=side)
        if abs(bow - before) < 1e-9:
            break
    return state


def claw_for(body: Body, state: State, preload: float) -> float | None:
    """Claw distance at which the springs that hang outdo the strings by a moment, at the tilt of the state.

    Args:
        body: the instrument.
        state: strings wound, neck settled.
        preload: [N m].
    Returns: [m], None where the screws do not reach.
    """

    def left(claw: float) -> float:
        return slopes(Stage(body, replace(state, claw=claw)), state.tilt, state.bow, state.side).t - preload

    near, far = body.plate.claw_range
    near, far = near + ROOM, far - ROOM
    if left(near) < 0.0 or left(far) > 0.0:
        return None
    for _ in range(45):
        middle = 0.5 * (near + far)
        near, far = (middle, far) if left(middle) > 0.0 else (near, middle)
    return 0.5 * (near + far)


def _blank(body: Body, warm: float) -> State:
    """Decked, strings off: enough to measure paths."""
    low, _ = stops(body.plate, None)
    length = []
    for w in body.wires:
        x = body.plate.pivot_x + w.aft * cos(low) - w.up * sin(low) - w.nut_x
        length.append(x + w.tail)
    whole = tuple(one + w.behind for one, w in zip(length, body.wires, strict=True))
    places = (0.0,) * len(body.places)
    return State(whole, tuple(length), 0.0, (), places, None, "playing", warm, low, 0.0, 0.0)


def _stands(body: Body, blank: State, hertz: Sequence[float], goal: dict[str, Any], rng: Random) -> State | None:
    """The instrument decked at pitch; None where no number of springs does, or where the goal is out of reach."""
    grips = [rng.uniform(-0.8, 0.8) for _ in body.wires]
    decked = at_pitch(body, blank, hertz, grips)
    afloat = replace(blank, tilt=tilt_at(body.plate, float(goal["rear_gap"])))
    if not blank.tilt < afloat.tilt < stops(body.plate, None)[1]:
        return None
    afloat = at_pitch(body, afloat, hertz, grips)
    preload = rng.uniform(*PRELOAD)
    counts = [n for n in LIKELY if n in body.patterns] + sorted(set(body.patterns) - set(LIKELY))
    for count in counts:
        hung = body.patterns[count]
        claw = claw_for(body, replace(decked, hung=hung), preload)
        if claw is not None and claw_for(body, replace(afloat, hung=hung), 0.0) is not None:
            return replace(decked, hung=hung, claw=claw)
    return None


def begin(
    told: dict[str, Any], goal: dict[str, Any], new_set: bool, rng: Random, hidden: Hidden, spread: Spread
) -> tuple[Body, State]:
    """Draw the true instrument and put it on the bench.

    Args:
        told: nominal, as in the line protocol.
        goal: of the line protocol.
        new_set: a new set, only just put on, some 500 cents flat; else the old set at pitch.
        rng: source of chance.
        hidden: strengths of the hidden effects.
        spread: how far the truth lies from what is told.
    Returns: the instrument and how it stands; not yet at rest.
    Raises: InputError where nothing near what is told can be decked at pitch and float at the goal.
    """
    hertz = [float(f) for f in goal["hz"]]
    for _ in range(DRAWS):
        body = draw_body(told, spread, hidden, rng)
        blank = _blank(body, draw(rng, 1.0) if hidden.warmth else 0.0)
        state = _stands(body, blank, hertz, goal, rng)
        if state is None:
            continue
        if new_set:
            flat = [f * 2.0 ** (-rng.uniform(*FLAT) / 1200.0) for f in hertz]
            state = at_pitch(body, state, flat, [0.0] * len(flat))
        return body, state
    raise InputError(
        f"told: none of {DRAWS} instruments near it lies decked at pitch and can float at the goal's rear gap; tell "
        "other springs, another claw or another goal."
    )
