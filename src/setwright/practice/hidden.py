"""What a practice instrument keeps to itself: effects no plan allows for, and how far the truth lies from what is told.

All sizes are workshop estimates, common practice, no source. Each is the size of the effect; where an instrument is
drawn, its own value lies within it.
"""

from __future__ import annotations

from dataclasses import fields

from setwright.frozen import frozen


@frozen
class Hidden:
    """Strengths of the hidden effects; 0 takes one away."""

    knife: float = 0.002  # N m, moment the knife edge holds without moving, besides what is told
    nut: float = 0.004  # 1, friction coefficient times wrap angle at the nut, besides what is told
    taper: float = 0.25  # 1, neck stiffer at the joint and softer at the nut by this share
    lean: float = 0.25  # 1, sideways bending stiffness of the neck over the upward one, turned over: 0 = rigid
    twist: float = 5.0  # 1, rise of the outer strings at the nut over their shift by sideways bending
    uneven: float = 0.03  # 1, spread of rate and initial tension from spring to spring
    seat: float = 3e-6  # m, how far a hook shifts in its seat
    thread: float = 4e-5  # m, slack in the thread of the claw screws
    peg: float = 3e-6  # m, string a tuner gives after it was turned down
    creep: float = 5e-5  # 1, strain by which a new string lengthens for good
    modulus: float = -3.0  # 1, relative change of stiffness per strain
    warmth: float = 1.0  # K, drift of the room over an hour
    edge: float = 2e-4  # m, radius of the knife edge
    mass: float = 0.003  # 1, spread of unit mass

    def scaled(self, factor: float) -> Hidden:
        """Every strength times a factor; 0 gives the ideal instrument."""
        return Hidden(**{f.name: getattr(self, f.name) * factor for f in fields(self)})


@frozen
class Spread:
    """Standard deviation of the truth about what is told; draws beyond two of them are not made."""

    rate: float = 0.15  # 1, rate of the springs
    initial: float = 0.20  # 1, initial tension
    free: float = 1e-3  # m, free length
    arm: float = 1e-3  # m, hooks, saddles, string ends, claw and centre of mass, each
    saddle: float = 2e-4  # m, height of a single saddle
    rear: float = 3e-4  # m, reach of the rear edge
    axial: float = 0.08  # 1, stretch and bending stiffness of a string
    behind: float = 5e-3  # m, string behind the nut
    neck: float = 0.30  # 1, stiffness of the neck
    bow: float = 1e-3  # 1/m, free bow of the neck
    line: float = 1e-3  # m, strings over the neutral axis

    def scaled(self, factor: float) -> Spread:
        """Every deviation times a factor; 0 gives the instrument as told."""
        return Spread(**{f.name: getattr(self, f.name) * factor for f in fields(self)})
