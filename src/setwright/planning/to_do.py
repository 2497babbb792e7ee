"""The work on screws, shims, springs and strings as data, light to load: `hardware` finds it."""

from __future__ import annotations

from setwright.frozen import frozen
from setwright.instrument.settings import Settings
from setwright.planning.plan import Step
from setwright.planning.targets import Problem


@frozen
class Hardware:
    """What has to be turned before strings and claw are balanced."""

    problem: Problem
    settings: Settings  # of the most likely instrument once all of it is done
    steps: tuple[Step, ...]  # in order; the claw among them where the plate is not to float
    gap: float  # m, rear gap at the end; nan on a fixed bridge
