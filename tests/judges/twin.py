"""An instrument told in our own numbers, and its exact twin: the planner's own physics, traits drawn from the prior.

On the twin the model is true by construction, so what is learned can be held against what is so: bands and z-scores.
"""

from __future__ import annotations

import copy
from dataclasses import replace
from typing import Any

import numpy as np

from setwright.bench.guided import Told, as_found, done_step, told
from setwright.instrument.geometry import build_rig, edge_gap, has_room, tilt_for_gap, tilt_limits
from setwright.instrument.predict import balance_at, tune_at
from setwright.instrument.prior import draw, vary
from setwright.instrument.told import believed
from setwright.instrument.traits import Array, array
from setwright.physics.balance import equilibrium, pegs_fixed, pitches, unstretched_lengths
from setwright.planning.course import Course
from setwright.planning.guide import Advice, next_step
from setwright.planning.outlook import end_state
from setwright.planning.targets import spring_mask
from setwright.planning.tracking import firm, resting

HERTZ = [329.628, 246.942, 195.998, 146.832, 110.0, 82.407]  # equal temperament on A4 = 440 Hz
TUNER, NOISE, GAUGE, RULE, COUNTING = 0.5, 0.3, 5e-5, 1e-4, 0.015  # cents, cents, m, m, turns
PRELOAD = (0.1, 0.5)  # N m, with which it lies decked at pitch
GREETING: dict[str, Any] = {
    "hello": "instrument",
    "protocol": 1,
    "strings": 6,
    "told": {
        "scale": 0.640,
        "frets": 22,
        "strings": {
            "f": HERTZ,
            "back": [0.155, 0.130, 0.105, 0.080, 0.055, 0.038],
            "capstan": [0.0, 0.1, 0.2, 0.3, 0.4, 0.5],
            "dia": [2.54e-4, 3.30e-4, 4.32e-4, 6.60e-4, 9.14e-4, 1.168e-3],
            "mu0": [3.96e-4, 6.69e-4, 1.145e-3, 2.26e-3, 4.28e-3, 6.82e-3],
            "EA": [10100.0, 17100.0, 29300.0, 19900.0, 24300.0, 31000.0],
            "EI": [4.1e-5, 1.17e-4, 3.4e-4, 1.57e-4, 2.36e-4, 3.83e-4],
        },
        "nut": {
            "locked": False,
            "slot": [1.5e-3, 1.5e-3, 1.55e-3, 1.6e-3, 1.65e-3, 1.7e-3],
            "z": [0.0175, 0.0106, 0.0037, -0.0032, -0.0101, -0.0170],
        },
        "fretboard": {"y": 0.0125, "radius_nut": 0.24, "radius_end": 0.30, "crown": 0.0011},
        "neck": {
            "angle": 0.0, "x_mouth": 0.39, "y_mouth": -0.016, "lever_shim": 0.07, "pocket": 0.076, "x_joint": 0.39,
            "kappa0": 0.002, "h": 0.012, "EI": 310.0, "rod_moment": 2.0, "rod_per_turn": 1.5,
        },
        "bridge": {
            "pivot_x": 0.6275, "pivot_y": [0.0066, 0.0064], "pivot_z": [-0.028, 0.027], "pivot_lead": 7e-4,
            "saddle": [
                [0.0140, 0.0087], [0.0148, 0.0095], [0.0157, 0.0100], [0.0145, 0.0101], [0.0153, 0.0099],
                [0.0163, 0.0093],
            ],
            "saddle_z": [0.026, 0.0156, 0.0052, -0.0052, -0.0156, -0.026],
            "height_lead": 5e-4, "height_range": [-0.004, 0.004], "length_lead": 8e-4, "length_range": [-0.006, 0.008],
            "anchor": [
                [0.0200, -0.030], [0.0201, -0.030], [0.0202, -0.030], [0.0203, -0.030], [0.0204, -0.030],
                [0.0205, -0.030],
            ],
            "clamped": False, "rear": [0.030, -0.004], "rear_z": [-0.031, 0.029], "deck_y": 0.0,
            "block_aft": [0.012, -0.040], "cavity_aft": 0.026, "block_fore": [0.0, -0.040], "cavity_fore": -0.030,
            "mass": 0.3, "cg": [0.008, -0.012],
        },
        "springs": {
            "k": 3450.0, "F0": 12.0, "lfree": 0.068, "k_closed": 2e5,
            "hooks": [
                [0.006, -0.038, -0.022], [0.006, -0.038, -0.011], [0.006, -0.038, 0.0], [0.006, -0.038, 0.011],
                [0.006, -0.038, 0.022],
            ],
            "claw_z": [-0.0225, -0.0112, 0.0, 0.0112, 0.0225],
            "patterns": {"2": [1, 3], "3": [0, 2, 4], "5": [0, 1, 2, 3, 4]},
        },
        "claw": {
            "x_wall": 0.5425, "y": -0.0315, "angle": 0.0, "lead": 1.5e-3, "d_ref": 0.017, "d_range": [0.002, 0.036],
            "screw_z": [-0.018, 0.017],
        },
        "friction": {"knife": 0.001},
        "thermal": {"T_ref": 293.15, "alpha_string": 1.15e-5, "alpha_body": 4e-6, "beta_E": 2.6e-4},
        "gauges": {
            "pitch_sd": NOISE, "pitch_res": 0.0, "gap_sd": GAUGE, "gap_res": 0.0, "claw_sd": RULE, "claw_res": 0.0,
        },
    },
    "goal": {"rear_gap": 2.6e-3, "gap_tolerance": 2.5e-4, "cents_tolerance": 2.0, "hz": HERTZ, "attitude": "playing"},
    "job": {"found": "thinner", "wanted": "usual"},
}  # fmt: skip


def greeting() -> dict[str, Any]:
    """A fresh copy of the first line."""
    return copy.deepcopy(GREETING)


class Twin:
    """One drawn instrument that answers as the line protocol does. It keeps state: every command changes it."""

    def __init__(self, seed: int, first: dict[str, Any] | None = None) -> None:
        self.rng = np.random.default_rng(seed)
        self.job: Told = told(greeting() if first is None else first)
        self.known = believed(self.job.traits)
        self.traits, self.deviations, self.settings, self.tilt = self._drawn()
        self.hertz = np.zeros(self.job.traits.string_count)
        self.counts = {"tune": 0, "claw": 0, "read": 0}
        self.peak = -np.inf  # cents over the wanted pitch
        self._roll()

    def _drawn(self):  # type: ignore[no-untyped-def]
        """A draw that lies decked at pitch with its claw inside its travel; the set at pitch or some 500 cents flat."""
        goal, noted = self.job.goal, self.job.settings
        while True:
            deviations = draw(self.known, 1, self.rng)[0]
            traits = vary(self.job.traits, self.known, deviations)
            if not has_room(traits, noted):
                continue
            low = float(tilt_limits(traits, noted)[0])
            decked = balance_at(traits, noted, goal.hertz, low, self.rng.uniform(*PRELOAD))
            claw = float(decked.settings.claw.mean())
            near, far = traits.claw.travel
            if near + 1e-3 < claw < far - 1e-3:
                break
        flat = 0.0 if self.rng.random() < 0.5 else self.rng.normal(-500.0, 20.0, goal.hertz.size)
        start = replace(noted, claw=decked.settings.claw)
        return traits, deviations, tune_at(traits, start, goal.hertz * 2.0 ** (flat / 1200.0), low).settings, low

    def _roll(self) -> None:
        rig = pegs_fixed(build_rig(self.traits, self.settings), self.settings.unstretched)
        held = self.job.knife * self.rng.standard_normal()
        state = equilibrium(rig, held, start=np.clip(self.tilt, rig.tilt_low, rig.tilt_high))
        self.tilt, self.hertz = float(state.tilt[0]), pitches(rig, state)[0]
        over = 1200.0 * np.log2(np.maximum(self.hertz, 1.0) / self.job.goal.hertz)
        self.peak = max(self.peak, float(over.max()))

    def gap_now(self) -> float:
        """The true rear gap."""
        return float(edge_gap(self.traits, self.settings, np.array([self.tilt])).mean())

    def claw_needed(self) -> float:
        """Turns out from where the claw stands to where it has to end."""
        loose = replace(self.settings, prop=array(np.nan))
        tilt = tilt_for_gap(self.traits, loose, array(self.job.goal.gap))
        done = balance_at(self.traits, loose, self.job.goal.hertz, tilt).settings
        return float((done.claw - self.settings.claw).mean() / self.traits.claw.lead)

    def pitch(self, string: int) -> float:
        self.counts["read"] += 1
        return float(self.hertz[string - 1] * 2.0 ** (self.rng.normal(0.0, NOISE) / 1200.0))

    def tune(self, string: int, hz: float) -> float:
        self.counts["tune"] += 1
        aimed = np.full(self.hertz.size, np.nan)
        aimed[string - 1] = hz * 2.0 ** (self.rng.normal(0.0, TUNER) / 1200.0)
        pegs = np.where(np.isnan(aimed), self.settings.unstretched, np.nan)
        rig = replace(pegs_fixed(build_rig(self.traits, self.settings), pegs), hertz=aimed[None])
        state = equilibrium(rig, start=np.clip(self.tilt, rig.tilt_low, rig.tilt_high))
        pegs[string - 1] = unstretched_lengths(rig, state)[0, string - 1]
        self.settings = replace(self.settings, unstretched=pegs)
        self._roll()
        return self.pitch(string)

    def claw(self, turns: float) -> None:
        self.counts["claw"] += 1
        moved = (turns + self.rng.normal(0.0, COUNTING)) * float(self.traits.claw.lead)
        self.settings = replace(self.settings, claw=self.settings.claw - moved)
        self._roll()

    def gap(self) -> float:
        self.counts["read"] += 1
        return self.gap_now() + self.rng.normal(0.0, GAUGE)

    def claw_distance(self) -> float:
        self.counts["read"] += 1
        return float(self.settings.claw.mean()) + self.rng.normal(0.0, RULE)

    def wedge(self, m: float | None) -> None:
        self.settings = replace(self.settings, prop=array(np.nan if m is None else m))
        self._roll()

    def springs(self, n: int) -> None:
        self.settings = replace(self.settings, springs=spring_mask(self.traits, n))
        self._roll()

    def attitude(self, name: str) -> None:
        self.settings = replace(self.settings, attitude=name)
        self._roll()

    def bar(self, rad: float) -> None:
        """No step asks for it."""
        raise AssertionError(rad)

    def off(self) -> Array:
        """True cents from the wanted pitches."""
        return np.asarray(1200.0 * np.log2(np.maximum(self.hertz, 1.0) / self.job.goal.hertz))


def until_the_claw(twin: Twin, job: Told) -> tuple[Course, Advice]:
    """The work on a twin as far as its claw is to be set for the first time: where it stands, and the advice."""
    course = as_found(job, twin)
    for _ in range(40):
        advice = next_step(course)
        if advice.do == "claw":
            return course, advice
        course = done_step(job, twin, course, advice)
    raise AssertionError("the claw is never set")


def floating_twin(seed: int) -> Twin:
    """A twin as its work should end: plate free at its gap, every string at pitch."""
    twin = Twin(seed)
    loose = replace(twin.settings, prop=array(np.nan))
    twin.tilt = float(tilt_for_gap(twin.traits, loose, array(twin.job.goal.gap)))
    twin.settings = balance_at(twin.traits, loose, twin.job.goal.hertz, twin.tilt).settings
    twin.peak = -np.inf
    twin._roll()
    return twin


def claw_score(course: Course, twin: Twin) -> float:
    """Need of the claw as believed less as it truly is, in its own standard uncertainties."""
    end = end_state(replace(course, picture=resting(firm(course.picture))))
    return float((end.claw_out - twin.claw_needed()) / end.claw_sd)


def trait_scores(course: Course, twin: Twin) -> Array:
    """(P) deviations as believed less the true ones, in their standard uncertainties."""
    known = course.picture.known()
    return np.asarray((known.mean - twin.deviations) / np.sqrt(np.diag(known.covariance)))
