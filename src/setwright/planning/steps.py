"""From as found and the chosen end state to the steps between: amounts, effects, what to read."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace

import numpy as np

from setwright.instrument.geometry import edge_gap, neck_angle, pivot_line, tilt_for_gap
from setwright.instrument.predict import predict, relief, string_heights, tune, tune_at
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array
from setwright.physics.neck import line_rise
from setwright.physics.pitch import cents
from setwright.planning.bands import Ensemble, spread
from setwright.planning.branches import Branch
from setwright.planning.found import found_tilt
from setwright.planning.moves import Move
from setwright.planning.octave import octaves_planned
from setwright.planning.order import order_of_work
from setwright.planning.plan import Amount, Effect, Expected, Step
from setwright.planning.rounds import LEAD, Hand, Path
from setwright.planning.solve import as_batch, wanted_tilt
from setwright.planning.targets import Problem

FIXED = {  # where there is no plate
    "protect": ("Protect the finish round the bridge", ""),
    "slacken": ("Slacken all strings", "all strings hang loose"),
    "read again": ("Read pitches and string heights", ""),
}
SIDES = ("treble", "bass")
MOVED = 1e-9  # m, below which a screw has not moved
SAME_GAP = 1e-5  # m, blocks that stand alike
TUNING_MINUTES = 0.5  # one string once


def changes(problem: Problem, branch: Branch, hand: Hand) -> tuple[list[str], set[str]]:
    """Which moves the plan asks for, and what holds at the start.

    Args:
        problem: the job.
        branch: the plan's branch.
        hand: how the way is gone.
    Returns: keys of moves, facts.
    """
    found, end = problem.found.settings, branch.settings
    knife = problem.traits.bridge.knife_edge
    facts = {"neck fast", "springs hung", "plate at rest"}
    wanted = ["tune", "read again", "octave"]
    if problem.found.hertz is not None:
        facts.add("strings at pitch")
    moved = {
        "shim": branch.choice.shims != problem.found.shims,
        "pivots": bool(np.any(np.abs(end.pivot_rise - found.pivot_rise) > MOVED)),
        "relief": bool(abs(float(end.rod - found.rod)) > MOVED),
        "lengths": bool(np.any(np.abs(end.saddle_back - found.saddle_back) > MOVED)),
        "saddles": bool(np.any(np.abs(end.saddle_rise - found.saddle_rise) > MOVED)),
        "claw": knife and bool(np.any(np.abs(hand.claw - found.claw) > MOVED)),
        "hang springs": bool(np.any(end.springs != found.springs)),
        "strings on": problem.new_strings,
    }
    wanted += [key for key, yes in moved.items() if yes]
    if problem.found.hertz is not None and np.isnan(hand.start).any():
        wanted.append("slacken")  # the way starts from slack strings even where no move asks for it
    if moved["strings on"]:
        wanted.append("strings off")
    if moved["hang springs"]:
        wanted.append("unhook")
    done = {"pivots": "pivots set", "saddles": "saddles set", "claw": "claw set", "strings on": "strings fitted"}
    facts |= {fact for key, fact in done.items() if not moved[key]}
    if problem.found.mode != "blocked":
        facts.add("block out")
    elif not stays_blocked(problem, branch):
        wanted.append("unblock")
    if stays_blocked(problem, branch):
        facts |= {"plate held", "plate as it shall stay"}
    elif problem.targets.mode == "blocked":
        wanted.append("block")
    elif np.isfinite(hand.prop):
        wanted += ["wedge in", "claw to rest" if hand.by_ear else "wedge out"]
    else:
        facts |= {"plate held", "plate as it shall stay"}
    return wanted, facts


def stays_blocked(problem: Problem, branch: Branch) -> bool:
    """Whether the plate was found blocked where it shall be blocked.

    Args:
        problem: the job.
        branch: the plan's branch.
    Returns: True where block and pivots stay as they are.
    """
    found, end = problem.found.settings, branch.settings
    same = abs(float(end.block) - float(found.block)) < SAME_GAP and np.allclose(end.pivot_rise, found.pivot_rise)
    return problem.found.mode == "blocked" and problem.targets.mode == "blocked" and bool(same)


def steps(
    problem: Problem, branch: Branch, many: Ensemble, hand: Hand, way: Path, keys: Collection[str] | None = None
) -> tuple[Step, ...]:
    """The steps in order.

    Args:
        problem: the job.
        branch: the plan's branch.
        many: its ensemble, with the outcome of the chosen way.
        hand: how the way is gone.
        way: order and interim pitches.
        keys: of the moves that are written; None: all.
    Returns: the steps.
    """
    wanted, facts = changes(problem, branch, hand)
    write = _Writer(problem, branch, many, hand, way)
    return tuple(write.step(move) for move in order_of_work(wanted, facts) if keys is None or move.key in keys)


class _Writer:
    """Fills moves with the numbers of one plan, following the settings from as found to as left."""

    def __init__(self, problem: Problem, branch: Branch, many: Ensemble, hand: Hand, way: Path) -> None:
        self.problem, self.branch, self.many = problem, branch, many
        self.hand, self.way = hand, way
        found = problem.found.settings
        self.now = replace(found, unstretched=branch.settings.unstretched, attitude=problem.targets.attitude)
        self.fill: dict[str, Callable[[Step], Step]] = {
            "read as found": self._read_found,
            "shim": self._shim,
            "pivots": self._pivots,
            "hang springs": self._springs,
            "claw": self._claw,
            "claw to rest": self._claw_to_rest,
            "saddles": self._saddles,
            "lengths": self._lengths,
            "relief": self._relief,
            "wedge in": self._wedge,
            "block": self._wedge,
            "tune": self._tune,
            "read again": self._read,
            "octave": self._octave,
        }

    def step(self, move: Move) -> Step:
        title, stop = move.title, move.stop_when
        if not self.problem.wanted.bridge.knife_edge:
            title, stop = FIXED.get(move.key, (title, stop))
        plain = Step(move.key, title, minutes=move.minutes, cautions=move.cautions, needs=move.needs, stop_when=stop)
        fill = self.fill.get(move.key)
        return plain if fill is None else fill(plain)

    # what a settled instrument would show, plate held as it shall stand
    def _heights(self, settings: Settings) -> Array:
        t = self.problem.targets
        traits = self.problem.wanted
        tilt = self._held(settings)
        state = tune_at(traits, settings, t.hertz, tilt).state
        return np.asarray(string_heights(traits, settings, state.tilt, state.bow, (t.height_fret,))[0, :, 0])

    def _held(self, settings: Settings) -> Array:
        one = as_batch(settings, 1)
        gap = edge_gap(self.problem.wanted, self.branch.settings, np.asarray(self.branch.tilt)).mean()
        return np.asarray(wanted_tilt(self.problem.wanted, one, self.problem.targets, np.array([gap]))[0])

    def _move(self, **change: Array) -> tuple[Effect, ...]:
        """Change settings and say what that does to the outer strings' heights."""
        before = self._heights(self.now)
        self.now = replace(self.now, **change)  # type: ignore[arg-type]
        after = self._heights(self.now)
        fret = self.problem.targets.height_fret
        return tuple(
            Effect("string height", f"string {i + 1} at fret {fret}", float(before[i]), float(after[i]), "height",
                   spread(self.many.heights[:, i]), "at pitch, plate as it shall stand")
            for i in (0, len(before) - 1)
        )  # fmt: skip

    def _read_found(self, step: Step) -> Step:
        hertz = self.problem.found.hertz
        if hertz is None:
            return step
        return replace(
            step, why="what was found says how much to turn; a wrong reading here is carried through the plan"
        )

    def _shim(self, step: Step) -> Step:
        traits, end = self.problem.wanted, self.branch.settings
        before = neck_angle(traits, self.now)
        effects = self._move(strip=end.strip, wedge_shim=end.wedge_shim, flat=end.flat)
        angle = float(neck_angle(traits, self.now) - before)
        saddle_x = float(traits.bridge.pivot_x + traits.bridge.saddle_aft.mean())
        rise = float(line_rise(angle, saddle_x - float(traits.neck.mouth_x)))
        found = list(self.problem.found.shims)
        new = [s for s in self.branch.choice.shims if s not in found or found.remove(s)]  # type: ignore[func-returns-value]
        amounts = [Amount(f"{s.kind} shim at the heel end", s.thickness, "thou", "lay in") for s in new]
        amounts += [Amount(f"{s.kind} shim", s.thickness, "thou", "take out") for s in found]
        line = Effect("line of the neck at the bridge", "", 0.0, rise, "length", None, "rises")
        tilted = Effect("neck angle", "", 0.0, angle, "angle", None, "headstock back")
        title = "Lay the shim in the pocket" if new else "Take the shim out of the pocket"
        return replace(step, title=title, amounts=tuple(amounts), effects=(line, tilted, *effects))

    def _pivots(self, step: Step) -> Step:
        traits, end = self.problem.wanted, self.branch.settings
        rise = end.pivot_rise - self.problem.found.settings.pivot_rise
        lead = float(traits.bridge.pivot_lead)
        if abs(rise[0] - rise[1]) < MOVED:
            amounts: tuple[Amount, ...] = (_screw("both pivot screws", float(rise[0]), lead, "up", "down"),)
        else:
            amounts = tuple(
                _screw(f"{s} pivot screw", float(r), lead, "up", "down") for s, r in zip(SIDES, rise, strict=True)
            )
        effects = self._move(pivot_rise=end.pivot_rise)
        line = pivot_line(traits, end, traits.bridge.pivot_z)
        read = tuple(Expected("pivot height", f"{s} side", float(v), "length", None, None, "knife edge over body top")
                     for s, v in zip(SIDES, line, strict=True))  # fmt: skip
        return replace(step, amounts=amounts, effects=effects, read=read)

    def _springs(self, step: Step) -> Step:
        end = self.branch.settings
        places = [int(i) + 1 for i in np.flatnonzero(end.springs)]
        count = len(places)
        self.now = replace(self.now, springs=end.springs)
        title = f"Hook {count} springs" if count != 1 else "Hook one spring"
        text = "places " + ", ".join(str(p) for p in places) + ", counted from the treble side"
        return replace(step, title=title, amounts=(Amount(text, float(count), "count"),))

    def _claw(self, step: Step) -> Step:
        start, end = self.problem.found.settings.claw, self.hand.claw
        amounts = self._claw_amounts(start, end, None)
        self.now = replace(self.now, claw=end)
        read = self._claw_read(end)
        why = "so tight that the plate stays on its wedge while the strings come up" if self.hand.by_ear else ""
        title = "Turn both claw screws " + amounts[0].way
        return replace(step, title=title, amounts=amounts, read=read, why=why)

    def _claw_to_rest(self, step: Step) -> Step:
        lead = float(self.problem.wanted.claw.lead)
        width = spread(self.many.claw) / lead if self.many.claw.size else None
        amounts = self._claw_amounts(self.hand.claw, self.branch.settings.claw, width)
        self.now = replace(self.now, claw=self.branch.settings.claw)
        string = min(LEAD, self.problem.wanted.string_count - 1)
        hertz = float(self.problem.targets.hertz[string])
        gap = float(edge_gap(self.problem.wanted, self.branch.settings, np.asarray(self.branch.tilt)).mean())
        read = (
            Expected("pitch", f"string {string + 1}", hertz, "hertz", None, self.problem.targets.pitch_tolerance,
                     "listen to it while you turn"),
            Expected("rear gap", "", gap, "length", spread(self.many.outcome.gap), self.problem.targets.gap_tolerance),
            *self._claw_read(self.branch.settings.claw, None if width is None else width * lead),
        )  # fmt: skip
        stop = f"string {string + 1} is back at its own pitch: then all strings are, and the plate stands at its gap"
        return replace(step, amounts=amounts, read=read, effects=self._claw_effects(amounts[0].way), stop_when=stop)

    def _claw_amounts(self, start: Array, end: Array, width: float | None) -> tuple[Amount, ...]:
        lead = float(self.problem.wanted.claw.lead)
        inward = start - end
        if abs(inward[0] - inward[1]) < MOVED:
            return (_screw("both claw screws", float(inward[0]), lead, "in", "out", width),)
        return tuple(
            _screw(f"{s} claw screw", float(v), lead, "in", "out", width) for s, v in zip(SIDES, inward, strict=True)
        )

    def _claw_read(self, end: Array, width: float | None = None) -> tuple[Expected, ...]:
        how = "hook line to cavity wall"
        return tuple(
            Expected("claw distance", f"{side} screw", float(v), "length", width, None, how)
            for side, v in zip(SIDES, end, strict=True)
        )

    def _claw_effects(self, way: str) -> tuple[Effect, ...]:
        """What an eighth of a turn is worth once the plate carries itself, before retuning and at pitch."""
        t, traits, end = self.problem.targets, self.problem.wanted, self.branch.settings
        if t.mode != "floating":
            return ()
        turn = 0.125 * float(traits.claw.lead) * (1.0 if way == "out" else -1.0)
        further = replace(end, claw=end.claw + turn)
        base = predict(traits, end, start=self.branch.tilt)
        moved = predict(traits, further, start=self.branch.tilt)
        retuned = tune(traits, further, t.hertz, start=self.branch.tilt)
        gap0 = float(np.mean(base.rear_gap))
        gap1 = float(np.mean(moved.rear_gap))
        gap2 = float(edge_gap(traits, end, retuned.state.tilt).mean())
        up = cents(np.maximum(moved.pitch, 1e-3), np.maximum(base.pitch, 1e-3))
        eighth = f"an eighth of a turn {way}"
        least, most = sorted((float(up.min()), float(up.max())), key=abs)
        return (
            Effect("rear gap", "", gap0, gap2, "length", None, f"{eighth}, once every string is back at pitch"),
            Effect("rear gap", "", gap0, gap1, "length", None, f"{eighth}, before retuning"),
            Effect("pitch", "least of the strings", 0.0, least, "cents", None, f"{eighth}, before retuning"),
            Effect("pitch", "most of the strings", 0.0, most, "cents", None, f"{eighth}, before retuning"),
        )

    def _saddles(self, step: Step) -> Step:
        traits, end, found = self.problem.wanted, self.branch.settings, self.problem.found.settings
        lead = float(traits.bridge.height_lead)
        amounts = tuple(
            _screw(f"string {i + 1}", float(v), lead, "up", "down")
            for i, v in enumerate(end.saddle_rise - found.saddle_rise)
            if abs(v) > MOVED
        )
        effects = self._move(saddle_rise=end.saddle_rise)
        clean, why = self.problem.targets.clean, ""
        if clean is not None:
            low = "as low as stays clean and no lower" if self.problem.targets.lowest else "clean"
            why = f"{low}, struck with {clean.force:.2g} N at {100.0 * clean.place:.0f} % of the string from the saddle"
        return replace(step, amounts=amounts, effects=effects, why=why, minutes=step.minutes * len(amounts))

    def _lengths(self, step: Step) -> Step:
        end, found = self.branch.settings, self.problem.found.settings
        lead = float(self.problem.wanted.bridge.length_lead)
        amounts = tuple(
            _screw(f"string {i + 1}", float(v), lead, "back", "forward")
            for i, v in enumerate(end.saddle_back - found.saddle_back)
            if abs(v) > MOVED
        )
        before = octaves_planned(self.problem, self.now, float(self._held(self.now)))
        self.now = replace(self.now, saddle_back=end.saddle_back)
        after = octaves_planned(self.problem, self.now, float(self._held(self.now)))
        effects = tuple(
            Effect("octave error", a.what, float(before[i]), float(after[i]), "cents",
                   spread(self.many.octave[:, i]), "strings at pitch")
            for a in amounts for i in (int(a.what.split()[-1]) - 1,)
        )  # fmt: skip
        return replace(step, amounts=amounts, effects=effects, minutes=step.minutes * len(amounts))

    def _relief(self, step: Step) -> Step:
        """Counted for the tension as found: that of the end comes out when the strings are on."""
        found, wanted = self.problem.found, self.problem.targets.relief
        assert wanted is not None
        assert found.hertz is not None
        turns = float(self.branch.settings.rod - found.settings.rod)
        self.now = replace(self.now, rod=self.branch.settings.rod)
        tilt = found_tilt(self.problem.traits, found.settings, self.problem)
        as_found = replace(found.settings, rod=self.branch.settings.rod)
        bow = tune_at(self.problem.traits, as_found, found.hertz, tilt).state.bow
        value = float(relief(self.problem.traits, bow, wanted.hold[0], wanted.read, wanted.hold[1])[0])
        way = "tighter" if turns > 0 else "looser"
        place = f"fret {wanted.read}, held at {wanted.hold[0]} and {wanted.hold[1]}"
        return replace(
            step,
            title=f"Turn the truss rod {way}",
            amounts=(Amount("truss rod, by guess until its response is known", abs(turns), "turns", way, abs(turns)),),
            read=(Expected("relief", place, value, "thou", None, wanted.tolerance, "strings at pitch as found"),),
            stop_when="the relief reads this, however many turns that took",
        )

    def _wedge(self, step: Step) -> Step:
        gap = self.hand.prop if step.key == "wedge in" else float(self.branch.settings.block)
        tilt = tilt_for_gap(self.problem.wanted, self.branch.settings, np.asarray(gap))
        effect = Effect("tilt", "", None, float(tilt), "angle")
        return replace(step, amounts=(Amount("rear gap", float(gap), "length", "to"),), effects=(effect,))

    def _tune(self, step: Step) -> Step:
        final = self.problem.targets.hertz
        amounts = tuple(
            Amount(f"string {s + 1}", hz, "hertz", "to", None, float(cents(hz, final[s])))
            for s, hz in zip(self.way.order, self.way.hertz, strict=True)
        )
        why = (
            "all land on their own pitch together when the last one is up"
            if self.problem.wanted.bridge.knife_edge
            else ""
        )
        read = tuple(
            Expected(
                "pitch", f"string {s + 1}", hz, "hertz", None, self.problem.targets.pitch_tolerance, "as it is set"
            )
            for s, hz in zip(self.way.order, self.way.hertz, strict=True)
        )
        return replace(step, amounts=amounts, read=read, why=why, minutes=TUNING_MINUTES * len(amounts))

    def _read(self, step: Step) -> Step:
        t, traits, end = self.problem.targets, self.problem.wanted, self.branch.settings
        read: list[Expected] = []
        how = f"at pitch, {t.attitude}"
        if traits.bridge.knife_edge:
            gap = float(edge_gap(traits, end, np.asarray(self.branch.tilt)).mean())
            tolerance = t.gap_tolerance if t.mode == "floating" else None
            read.append(Expected("rear gap", "", gap, "length", spread(self.many.outcome.gap), tolerance, how))
        for i, hz in enumerate(t.hertz):
            width = spread(self.many.outcome.off[:, i])
            read.append(
                Expected("pitch", f"string {i + 1}", 0.0, "cents", width, t.pitch_tolerance, f"against {hz:.2f} Hz")
            )
        heights = self._heights(end)
        for i in range(len(heights)) if t.clean is not None else (0, len(heights) - 1):
            tolerance = t.height_tolerance if t.heights is not None else None
            width = spread(self.many.heights[:, i])
            place = f"string {i + 1} at fret {t.height_fret}"
            read.append(Expected("string height", place, float(heights[i]), "height", width, tolerance, how))
        return replace(step, read=tuple(read))

    def _octave(self, step: Step) -> Step:
        t = self.problem.targets
        why = "" if self.problem.found.octave is not None else "octaves were not read as found: set them by ear"
        read: tuple[Expected, ...] = ()
        if self.many.octave.size:
            now = octaves_planned(self.problem, self.branch.settings, self.branch.tilt)
            read = tuple(
                Expected("octave error", f"string {i + 1}", float(v), "cents", spread(self.many.octave[:, i]),
                         t.octave_tolerance, "held at fret 12 against the open string")
                for i, v in enumerate(now)
            )  # fmt: skip
        return replace(step, why=why, read=read)


def _screw(what: str, motion: float, lead: float, plus: str, minus: str, width: float | None = None) -> Amount:
    turns = motion / lead
    return Amount(what, abs(turns), "turns", plus if motion > 0 else minus, width, None, abs(turns))
