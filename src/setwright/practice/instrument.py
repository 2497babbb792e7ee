"""The practice instrument as a hand and a gauge meet it: commands, readings, and what they cost.

Chance comes from the seed alone. The room drifts and new strings stretch with the minutes the commands take.
"""

from __future__ import annotations

from dataclasses import replace
from math import exp, isfinite, log2
from random import Random
from typing import Any

from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.practice.body import Body
from setwright.practice.hidden import Hidden, Spread
from setwright.practice.physics import DOWN, Rest, State, gap_at, held_at, rest, stops, tilt_at
from setwright.practice.start import begin
from setwright.practice.winding import wind

HEARD_FROM = 20.0  # Hz; a string below it flaps
HIGHEST = 2000.0  # Hz
UNDER = 8.0  # cents, a string that must come down goes this far under and is brought up again
STRAIGHT = 10.0  # cents, a smaller way down is gone straight
LOOSE_BELOW = 0.3  # N, a wedge pressed by less falls free
SETTLES_IN = 4.0  # minutes, a new string
DRIFTS_IN = 30.0  # minutes, the room
MOST_TURNS = 20.0
MOST_BAR = 0.5  # rad
COUNTED = ("tune", "claw", "read")


@frozen
class Verdict:
    """What `done` says. The errors are true values, wedge out, in the goal's attitude; no gauge stands between."""

    passed: bool
    gap_error: float  # m
    cents: tuple[float, ...]
    counts: dict[str, int]
    readings: int
    minutes: float
    peak_cents_above_target: float  # of any string after any command; not while the bar is held


class Practice:
    """One practice instrument on the bench. It keeps state: every command changes it."""

    def __init__(
        self, hello: dict[str, Any], seed: int, hidden: Hidden | None = None, spread: Spread | None = None
    ) -> None:
        """Draw the instrument.

        Args:
            hello: first line of the line protocol: told, goal, job, limits, minutes.
            seed: all of chance.
            hidden: strengths of the hidden effects, None for the usual ones.
            spread: how far the truth lies from what is told, None for the usual.
        Raises: FileFormatError where a part of the line is missing; InputError where nothing near it can stand.
        """
        strength = Hidden() if hidden is None else hidden
        try:
            told, self._goal = hello["told"], hello["goal"]
            self._gauges = {name: float(value) for name, value in told["gauges"].items()}
            self._limits = {name: int(hello["limits"][name]) for name in COUNTED}
            self._minutes_of = {name: float(value) for name, value in hello["minutes"].items()}
            new_set = hello["job"]["found"] != hello["job"]["wanted"]
            self._targets = tuple(float(f) for f in self._goal["hz"])
            self._attitude = str(self._goal["attitude"])
            wanted = (float(self._goal["rear_gap"]), float(self._goal["gap_tolerance"]))
            self._wanted = (*wanted, float(self._goal["cents_tolerance"]))
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise FileFormatError(
                f"hello: {type(error).__name__} at {error}; give told, goal, job, limits and minutes of the protocol."
            ) from None
        if self._attitude not in DOWN:
            raise FileFormatError(f"hello: goal.attitude {self._attitude!r} is unknown; give one of {', '.join(DOWN)}.")
        chance = Random(f"{seed} traits")
        self._body, state = begin(told, self._goal, new_set, chance, strength, Spread() if spread is None else spread)
        self._rng = Random(f"{seed} bench")
        self._drift = strength.warmth * self._rng.uniform(-1.0, 1.0)
        self._warm = state.warm
        self._reserve = [strength.creep * self._rng.uniform(0.5, 1.0) * new_set for _ in self._body.wires]
        self._slack = [0.0] * len(self._body.wires)  # m of string a tuner has still to give
        self._turned = state.claw  # m, where the claw screws were turned to
        self._counts = dict.fromkeys(COUNTED, 0)
        self._minutes, self._settled, self._peak, self._over = 0.0, 0.0, float("-inf"), False
        self._now = rest(self._body, state)
        self._keep(self._now)

    @property
    def truth(self) -> Rest:
        """The true instrument as it stands, for tests and for showing afterwards."""
        return self._now

    @property
    def body(self) -> Body:
        """What the instrument really is, for showing afterwards."""
        return self._body

    def pitch(self, string: int) -> float:
        """Pluck and read; 0 = slack [Hz].

        Args:
            string: 1 is the thinnest [1].
        """
        i = self._string(string)
        self._spend("read", "pitch")
        return self._heard(i)

    def tune(self, string: int, hz: float) -> float:
        """Turn the peg until the tuner shows a pitch, as well as a person can; what is heard then [Hz].

        A string that must come down far goes a little under and is brought up again.

        Args:
            string: 1 is the thinnest [1].
            hz: [Hz].
        """
        i = self._string(string)
        if not HEARD_FROM <= _number(hz, "hz") <= HIGHEST:
            raise InputError(f"hz is {hz:g}; a string is tuned to {HEARD_FROM:g} to {HIGHEST:g} Hz.")
        self._spend("tune", "tune")
        stop = hz * 2.0 ** (self._rng.gauss(0.0, self._gauges["tuner_stop"]) / 1200.0)
        self._now = rest(self._body, self._advanced(self._now.state))
        before = self._now.hertz[i]
        fall = 1200.0 * log2(before / stop) if before > 0.0 else 0.0
        if fall > STRAIGHT:
            self._now = wind(self._body, self._now, i, stop * 2.0 ** (-UNDER / 1200.0))
        self._now = wind(self._body, self._now, i, stop)
        down = 0.0 < fall <= STRAIGHT
        self._slack[i] = self._body.hidden.peg * self._rng.random() if down else 0.0
        self._keep(self._now)
        return self._heard(i)

    def claw(self, turns: float) -> None:
        """Turn both claw screws; positive = in = tighter.

        Args:
            turns: [turn].
        """
        if abs(_number(turns, "turns")) > MOST_TURNS:
            raise InputError(f"turns is {turns:g}; the claw takes -{MOST_TURNS:g} to {MOST_TURNS:g} at once.")
        plate = self._body.plate
        wanted = self._turned - plate.claw_lead * turns
        near, far = plate.claw_range
        if not near <= wanted <= far:
            raise InputError(
                f"the claw would come to {wanted * 1000:.1f} mm from the wall; its screws reach from {near * 1000:.1f} "
                f"to {far * 1000:.1f} mm, turn less."
            )
        self._spend("claw", "claw")
        self._turned, slack = wanted, 0.5 * self._body.hidden.thread
        true = min(max(self._now.state.claw, wanted - slack), wanted + slack)
        self._move(claw=true)

    def gap(self) -> float:
        """Read the rear gap over the body top [m]."""
        self._spend("read", "gap")
        return self._read(gap_at(self._body.plate, self._now.state.tilt), "gap")

    def claw_distance(self) -> float:
        """Read the distance of the hook line to the cavity wall [m]."""
        self._spend("read", "claw_distance")
        return self._read(self._now.state.claw, "claw")

    def wedge(self, m: float | None) -> None:
        """Put a one-sided wedge under the rear edge, or take it out.

        Args:
            m: gap it props at [m], None out.
        """
        if m is not None:
            low, high = stops(self._body.plate, None)
            least, most = (gap_at(self._body.plate, tilt) for tilt in (low, high))
            if not least < _number(m, "m") <= most:
                raise InputError(
                    f"a wedge of {m * 1000:.2f} mm does not go under the rear edge; give more than "
                    f"{least * 1000:.2f} and up to {most * 1000:.2f} mm."
                )
        self._spend(None, "wedge")
        self._move(wedge=m)

    def wedge_loose(self) -> bool:
        """Whether the wedge falls free."""
        wedge = self._now.state.wedge
        if wedge is None:
            raise InputError("there is no wedge under the plate; put one in first.")
        self._spend("read", "wedge_loose")
        force = self._now.contact / self._body.plate.rear[0]
        on_it = self._now.at_stop and self._now.state.tilt <= tilt_at(self._body.plate, wedge) + 1e-9
        return not (on_it and force >= LOOSE_BELOW)

    def bar(self, rad: float) -> None:
        """Push or pull the bar until the plate has turned, and let go; the stops may end it sooner.

        Args:
            rad: turn of the plate, > 0 = rear edge up = a dive [rad].
        """
        if abs(_number(rad, "rad")) > MOST_BAR:
            raise InputError(f"rad is {rad:g}; the bar takes -{MOST_BAR:g} to {MOST_BAR:g} rad.")
        self._spend(None, "bar")
        state = self._advanced(self._now.state)
        given = tuple(whole + slack for whole, slack in zip(state.whole, self._slack, strict=True))
        self._slack = [0.0] * len(given)
        out = held_at(self._body, replace(state, whole=given), state.tilt + rad)
        self._now = rest(self._body, out.state)
        self._keep(self._now)

    def springs(self, n: int) -> None:
        """Hang another number of springs.

        Args:
            n: [1].
        """
        if isinstance(n, bool) or not isinstance(n, int) or n not in self._body.patterns:
            known = ", ".join(str(one) for one in sorted(self._body.patterns))
            raise InputError(f"n is {n!r}; this instrument takes {known} springs.")
        self._spend(None, "springs")
        self._move(hung=self._body.patterns[n])

    def attitude(self, name: str) -> None:
        """Lay the instrument another way.

        Args:
            name: playing, flat, upright or face_down.
        """
        if not isinstance(name, str) or name not in DOWN:
            raise InputError(f"is: {name!r} is no attitude; give one of {', '.join(DOWN)}.")
        self._spend(None, "attitude")
        self._move(attitude=name)

    def done(self) -> Verdict:
        """Hand it back: judged by its true values, wedge out, in the goal's attitude. Nothing can follow."""
        self._spend(None, "done")
        last = rest(self._body, replace(self._advanced(self._now.state), wedge=None, attitude=self._attitude))
        self._now = last
        self._keep(last)
        wanted, room, cents_room = self._wanted
        error = gap_at(self._body.plate, last.state.tilt) - wanted
        cents = tuple(1200.0 * log2(max(f, 1e-3) / goal) for f, goal in zip(last.hertz, self._targets, strict=True))
        passed = abs(error) <= room and all(abs(c) <= cents_room for c in cents)
        self._over = True
        counts = {name: self._counts[name] for name in ("tune", "claw")}
        return Verdict(passed, error, cents, counts, self._counts["read"], self._minutes, self._peak)

    def _spend(self, counted: str | None, what: str) -> None:
        """Minutes and counts of a command; refused when there are none left."""
        if self._over:
            raise InputError("the instrument has been handed back; nothing can follow done.")
        if counted is not None:
            if self._counts[counted] >= self._limits[counted]:
                raise InputError(
                    f"the limit of {self._limits[counted]} commands that {counted} is reached; only done is left."
                )
            self._counts[counted] += 1
        self._minutes += self._minutes_of.get(what, 0.0)

    def _advanced(self, state: State) -> State:
        """The state after the minutes since: the room has drifted, new strings have stretched."""
        warm = self._warm + self._drift * (1.0 - exp(-self._minutes / DRIFTS_IN))
        whole, main = list(state.whole), list(state.main)
        for i, held in enumerate(self._reserve):
            if held > 0.0 and self._now.hertz[i] > 0.0:
                left = held * exp(-(self._minutes - self._settled) / SETTLES_IN)
                whole[i] *= 1.0 + held - left
                main[i] *= 1.0 + held - left
                self._reserve[i] = left
        self._settled = self._minutes
        return replace(state, warm=warm, whole=tuple(whole), main=tuple(main))

    def _move(self, **changes: Any) -> None:
        self._now = rest(self._body, replace(self._advanced(self._now.state), **changes))
        self._keep(self._now)

    def _keep(self, now: Rest) -> None:
        """Note the highest any string has been over its target."""
        for sounds, goal in zip(now.hertz, self._targets, strict=True):
            if sounds > 0.0:
                self._peak = max(self._peak, 1200.0 * log2(sounds / goal))

    def _string(self, number: int) -> int:
        count = len(self._body.wires)
        if isinstance(number, bool) or not isinstance(number, int) or not 1 <= number <= count:
            raise InputError(f"string {number!r} does not exist; the strings are 1 to {count}, 1 the thinnest.")
        return number - 1

    def _heard(self, i: int) -> float:
        """What the tuner shows: the true pitch with its noise, in steps of its resolution from the goal's pitch."""
        sounds = self._now.hertz[i]
        if sounds < HEARD_FROM:
            return 0.0
        cents = 1200.0 * log2(sounds / self._targets[i]) + self._rng.gauss(0.0, self._gauges["pitch_sd"])
        return float(self._targets[i] * 2.0 ** (_stepped(cents, self._gauges["pitch_res"]) / 1200.0))

    def _read(self, true: float, gauge: str) -> float:
        noisy = true + self._rng.gauss(0.0, self._gauges[f"{gauge}_sd"])
        return _stepped(noisy, self._gauges[f"{gauge}_res"])


def _stepped(value: float, step: float) -> float:
    """The nearest mark of a gauge."""
    return step * round(value / step) if step > 0.0 else value


def _number(value: Any, name: str) -> float:
    """A finite number, or a sentence."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise InputError(f"{name} is {value!r}; give one finite number.")
    return float(value)
