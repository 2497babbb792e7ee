"""Carries out the steps of a plan on an instrument, from nothing but the numbers that stand in the steps.

The statics come from physics.balance; nothing of the planner is called. Turning a peg until its string sounds as
written is: that string held at the pitch, every other one left at its own unstretched length. How much longer a warm
string is (docs/physics/balance, B22) is worked out here once more.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

import numpy as np

from setwright.instrument.geometry import build_rig
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import Rig, equilibrium, pegs_fixed, pitches, unstretched_lengths
from setwright.planning.plan import Amount, Step

SIDES = {"treble": (0,), "bass": (1,), "both": (0, 1)}
SIGN = {"in": -1.0, "out": 1.0, "up": 1.0, "down": -1.0, "lay in": 1.0, "take out": -1.0, "back": 1.0, "forward": -1.0,
        "tighter": 1.0, "looser": -1.0}  # fmt: skip
SHIMS = {"strip": "strip", "wedge": "wedge_shim", "flat": "flat"}


@dataclass
class Bench:
    """The instrument on the bench while a plan is carried out."""

    traits: Traits  # with the strings that are on
    new: Traits  # with the strings that will go on
    settings: Settings
    final: Array  # (S) Hz
    tilt: float
    peak: float = -np.inf  # cents over its final pitch that any string reached once work had begun
    load: float = 0.0  # largest share of a breaking load
    tunings: int = 0
    done: list[str] = field(default_factory=list)

    @property
    def grown(self) -> float:
        """A slack string now over the same string at the reference temperature, in which settings count."""
        thermal = self.traits.thermal
        return 1.0 + float(thermal.string_expansion) * (self.settings.temperature - float(thermal.reference))

    @property
    def rig(self) -> Rig:
        """The instrument as it is now, pegs left alone."""
        return pegs_fixed(build_rig(self.traits, self.settings), self.settings.unstretched * self.grown)

    def carry_out(self, steps: tuple[Step, ...]) -> None:
        """Do every step in turn."""
        for step in steps:
            self._do(step)
            self.done.append(step.key)
            if step.key not in ("read as found", "protect"):
                self._watch()

    def _do(self, step: Step) -> None:
        s = self.settings
        if step.key == "slacken":
            self.settings = replace(s, unstretched=np.full_like(self.final, np.nan))
        elif step.key == "strings on":
            self.traits = self.new
        elif step.key == "shim":
            for amount in step.amounts:
                name = SHIMS[amount.what.split()[0]]
                change = SIGN[amount.way] * amount.value
                self.settings = replace(self.settings, **{name: getattr(self.settings, name) + change})
        elif step.key == "pivots":
            self.settings = replace(
                s, pivot_rise=s.pivot_rise + self._sides(step, float(self.traits.bridge.pivot_lead))
            )
        elif step.key in ("claw", "claw to rest"):
            self.settings = replace(s, claw=s.claw + self._sides(step, float(self.traits.claw.lead)))
        elif step.key == "hang springs":
            (amount,) = step.amounts
            places = [int(n) - 1 for n in re.findall(r"\d+", amount.what)]
            assert len(places) == amount.value
            self.settings = replace(s, springs=np.isin(np.arange(s.springs.size), places).astype(float))
        elif step.key == "saddles":
            rise = s.saddle_rise.copy()
            for amount in step.amounts:
                rise[_string(amount)] += SIGN[amount.way] * amount.value * float(self.traits.bridge.height_lead)
            self.settings = replace(s, saddle_rise=rise)
        elif step.key == "lengths":
            back = s.saddle_back.copy()
            for amount in step.amounts:
                back[_string(amount)] += SIGN[amount.way] * amount.value * float(self.traits.bridge.length_lead)
            self.settings = replace(s, saddle_back=back)
        elif step.key == "relief":
            (amount,) = step.amounts
            self.settings = replace(s, rod=s.rod + SIGN[amount.way] * amount.value)
        elif step.key == "tune":
            for amount in step.amounts:
                self._turn_peg(_string(amount), amount.value)
        self._hold_plate(step)

    def _hold_plate(self, step: Step) -> None:
        """Wedge and block."""
        if step.key == "wedge in":
            self.settings = replace(self.settings, prop=np.asarray(step.amounts[0].value))
        elif step.key == "block":
            self.settings = replace(self.settings, block=np.asarray(step.amounts[0].value))
        elif step.key == "unblock":
            self.settings = replace(self.settings, block=np.asarray(np.nan))
        elif step.key in ("wedge out", "claw to rest"):
            self.settings = replace(self.settings, prop=np.asarray(np.nan))

    def _sides(self, step: Step, lead: float) -> Array:
        out = np.zeros(2)
        for amount in step.amounts:
            assert amount.kind == "turns"
            out[list(SIDES[amount.what.split()[0]])] += SIGN[amount.way] * amount.value * lead
        return out

    def _turn_peg(self, string: int, hertz: float) -> None:
        pegs, held = self.settings.unstretched.copy(), np.full_like(self.final, np.nan)
        pegs[string], held[string] = np.nan, hertz
        rig = replace(pegs_fixed(self.rig, pegs * self.grown), hertz=held[None])
        state = equilibrium(rig, start=self.tilt)
        pegs[string] = unstretched_lengths(rig, state)[0, string] / self.grown
        self.settings = replace(self.settings, unstretched=pegs)
        self.tunings += 1
        self._watch()

    def _watch(self) -> None:
        """Where the plate stands now, and how far every string is from its final pitch and from breaking."""
        rig = self.rig
        state = equilibrium(rig, start=self.tilt)
        self.tilt = float(state.tilt[0])
        heard = pitches(rig, state)[0]
        sounds = heard > 0.0
        if sounds.any():
            self.peak = max(self.peak, float((1200.0 * np.log2(heard[sounds] / self.final[sounds])).max()))
            self.load = max(self.load, float((state.tension[0] / self.traits.strings.breaking).max()))


def _string(amount: Amount) -> int:
    found = re.fullmatch(r"string (\d+)", amount.what)
    assert found is not None
    return int(found.group(1)) - 1
