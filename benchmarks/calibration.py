"""Whether what Setwright states on the way holds: beliefs about the present, and predictions of the next step."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from setwright.planning import tracking
from setwright.planning.course import Course
from setwright.planning.guide import Advice
from setwright.planning.lifting import on_its_wedge
from setwright.planning.outlook import RESTS
from setwright.planning.scenes import fan, slopes
from setwright.planning.tracking import Picture, expected, firm, resting, steps
from setwright.practice.instrument import Practice
from setwright.practice.physics import gap_at

BAND = 1.96  # standard uncertainties of 95 %
STOP = 0.5  # cents, of a hand at the tuner
MOMENT = 1e-3  # N m, step of the moment for its slope
SOUNDS = 1.0  # Hz
GIVEN = 2e-3  # mm, a gap stated closer is the wedge's own and says nothing


class Witness:
    """Stands beside the work, compares what is stated with the truth, and keeps the course."""

    def __init__(self, practice: Practice, first: dict[str, Any]) -> None:
        """Begin.

        Args:
            practice: the instrument, for its truth.
            first: its greeting.
        """
        self._practice = practice
        self._wanted = np.array(first["goal"]["hz"], dtype=float)
        self._held: dict[str, list[bool]] = {}
        self._ahead: tuple[str, int | None, np.ndarray, np.ndarray] | None = None
        self.course: list[str] = []

    def __call__(self, advice: Advice, course: Course) -> None:
        """Take in a step before it is done.

        Args:
            advice: the step.
            course: where the work stands.
        """
        truth, free = self._truth()
        if self._ahead is not None:
            kind, string, values, sd = self._ahead
            self._compare(kind, truth, values, sd, free, string)
        floats = course.free and np.isnan(course.picture.settings.prop).all()
        if advice.cents is not None and advice.cents_sd is not None and (all(course.heard) or floats):
            values = np.append(advice.cents, (advice.gap_now or 0.0) * 1e3)
            sd = np.append(advice.cents_sd, (advice.gap_sd or 0.0) * 1e3)
            kind = "at done" if advice.do == "done" else "on the way" if all(course.heard) else "without hearing"
            self._compare(f"believed {kind}", truth, values, sd, free, None)
        self._ahead = self._predict(advice, course)
        self.course.append(self._words(advice, truth))

    def held(self) -> dict[str, tuple[int, int]]:
        """Statements inside their 95 % bands, and all, by kind."""
        return {kind: (sum(some), len(some)) for kind, some in self._held.items()}

    def _truth(self) -> tuple[np.ndarray, bool]:
        """Cents off and gap [mm] as they truly are; whether the plate is free."""
        now = self._practice.truth
        cents = 1200.0 * np.log2(np.maximum(now.hertz, SOUNDS) / self._wanted)
        gap = gap_at(self._practice._body.plate, now.state.tilt)
        return np.append(cents, gap * 1e3), not now.at_stop

    def _compare(
        self, kind: str, truth: np.ndarray, values: np.ndarray, sd: np.ndarray, free: bool, string: int | None
    ) -> None:
        good = np.abs(truth - values) <= BAND * sd
        where = "plate free" if free else "on a stop"
        some = [bool(g) for i, g in enumerate(good[:-1]) if i != string]
        self._held.setdefault(f"{kind}, pitches, {where}", []).extend(some)
        if sd[-1] > GIVEN:
            self._held.setdefault(f"{kind}, gap, {where}", []).append(bool(good[-1]))

    def _predict(self, advice: Advice, course: Course) -> tuple[str, int | None, np.ndarray, np.ndarray] | None:
        """What the next step should show, by what is believed before it."""
        picture = resting(firm(course.picture))
        if advice.do == "claw" and advice.turns is not None:
            after = tracking.turned(picture, advice.turns)
            foreseen = on_its_wedge(after, self._wanted)
            if foreseen is None:
                return ("predicted before a claw setting", None, *self._spread(after))
            unit = np.append(np.ones(len(self._wanted)), 1e3)
            return ("predicted before a claw setting", None, foreseen.values * unit, foreseen.sd * unit)
        if advice.do == "tune" and advice.string is not None and advice.hertz is not None:
            after = tracking.tuned(picture, advice.string, advice.hertz)
            covariance = after.covariance.copy()
            place = after.parts + advice.string
            covariance[place, place] = STOP**2
            stated = self._spread(resting(replace(after, covariance=covariance)))
            return ("predicted before a tuning", advice.string, *stated)
        return None

    def _spread(self, picture: Picture) -> tuple[np.ndarray, np.ndarray]:
        """Cents and gap [mm] expected, and their standard uncertainties; the knife edge's friction included."""
        step = steps(picture)
        states = expected(picture, fan(picture.mean, step))
        values = self._values(states.hertz, states.gap)
        by = slopes(values, step)
        up, down = (expected(picture, picture.mean[None], way * MOMENT) for way in (1.0, -1.0))
        rub = (self._values(up.hertz, up.gap) - self._values(down.hertz, down.gap))[0] / (2.0 * MOMENT)
        variance = np.einsum("sn,nm,sm->s", by, picture.covariance, by) + (rub * picture.model.friction) ** 2
        if np.isnan(picture.settings.prop).all():
            variance[-1] += (RESTS * 1e3) ** 2
        return values[0], np.sqrt(np.maximum(variance, 0.0))

    def _values(self, hertz: np.ndarray, gap: np.ndarray) -> np.ndarray:
        cents = 1200.0 * np.log2(np.maximum(hertz, SOUNDS) / self._wanted)
        return np.column_stack([cents, gap * 1e3])

    def _words(self, advice: Advice, truth: np.ndarray) -> str:
        amount = {
            "tune": lambda: f"string {1 + (advice.string or 0)} to {advice.hertz or 0.0:.2f} Hz",
            "claw": lambda: f"{advice.turns or 0.0:+.2f} +- {advice.turns_sd or 0.0:.2f} turns",
            "wedge": lambda: "out" if advice.gap is None else f"{advice.gap * 1e3:.2f} mm",
        }.get(advice.do, lambda: "")()
        stated = ""
        if advice.cents is not None:
            gap, sd = (advice.gap_now or 0.0) * 1e3, (advice.gap_sd or 0.0) * 1e3
            stated = f"; chance {advice.chance:.2f}, believed {np.round(advice.cents, 1)} {gap:.2f} +- {sd:.2f} mm"
        return f"{advice.do} {amount}{stated}; true {np.round(truth[:-1], 1)} {truth[-1]:.2f} mm"
