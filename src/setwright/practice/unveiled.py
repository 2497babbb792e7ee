"""What a practice instrument hid, beside what was told."""

from __future__ import annotations

from random import Random
from statistics import fmean
from typing import Any, Literal

from setwright.frozen import frozen
from setwright.practice.body import Body, draw_body
from setwright.practice.hidden import Hidden, Spread

Kind = Literal["rate", "force", "length", "moment", "share", "temperature"]


@frozen
class Unveiled:
    """One trait, told and true; SI by its kind, a share as a plain ratio to what is told."""

    what: str
    kind: Kind
    told: float
    true: float


def unveiled(told: dict[str, Any], body: Body, warm: float) -> tuple[Unveiled, ...]:
    """Put the truth beside what was told.

    Args:
        told: the traits, as in the line protocol.
        body: the true instrument.
        warm: how far the room is over the reference [K].
    Returns: what tells most on the balance first.
    """
    plain = draw_body(told, Spread().scaled(0.0), Hidden().scaled(0.0), Random(0))
    coils = ((plain.coils, body.coils), ("rate", "initial", "free"))
    rate, initial, free = ([fmean(getattr(one, name) for one in side) for side in coils[0]] for name in coils[1])
    depth = [fmean(one.up for one in side) for side in (plain.places, body.places)]
    out = [
        Unveiled("spring rate", "rate", *rate),
        Unveiled("spring's initial pull", "force", *initial),
        Unveiled("spring's free length", "length", *free),
        Unveiled("spring hooks under the pivot", "length", -depth[0], -depth[1]),
        Unveiled("rear edge behind the pivot", "length", plain.plate.rear[0], body.plate.rear[0]),
        Unveiled("knife edge holds", "moment", plain.plate.friction, body.plate.friction),
        Unveiled("stiffness of the neck", "share", 1.0, body.stem.stiffness / plain.stem.stiffness),
    ]
    for i, (nominal, real) in enumerate(zip(plain.wires, body.wires, strict=True)):
        out.append(Unveiled(f"stiffness of string {i + 1}", "share", 1.0, real.axial / nominal.axial))
    for i, (nominal, real) in enumerate(zip(plain.wires, body.wires, strict=True)):
        if nominal.behind > 0.0:
            out.append(Unveiled(f"string {i + 1} behind the nut", "length", nominal.behind, real.behind))
    return (*out, Unveiled("room over the reference", "temperature", 0.0, warm))
