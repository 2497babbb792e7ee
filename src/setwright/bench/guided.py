"""The whole balance of an instrument that answers: asked step by step, told everything it shows.

The instrument may be a practice instrument, a test rig or another program behind the line protocol (`bench/link.py`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from setwright.bench.answers import Answering, Checked
from setwright.errors import FileFormatError, InputError, RangeError
from setwright.frozen import frozen
from setwright.instrument.document import shown
from setwright.instrument.geometry import tilt_limits
from setwright.instrument.settings import Fewest, Settings
from setwright.instrument.told import believed, traits_told
from setwright.instrument.traits import Traits, array
from setwright.planning import course, tracking, weighing
from setwright.planning.course import Course, Goal, pitch_heard
from setwright.planning.guide import Advice, next_step
from setwright.planning.scenes import SILENT, Seen
from setwright.planning.targets import spring_mask
from setwright.planning.tracking import KNIFE

GAPS, CLAWS = 2, 2  # readings of rear gap and claw beside every hearing of a free plate
MOST = 200  # steps, after which the work is given up
NAMES = {"playing": "playing", "flat": "on its back", "upright": "upright", "face_down": "face down"}


@frozen
class Told:
    """The first line of the protocol, ready for work."""

    traits: Traits
    goal: Goal
    settings: Settings
    pitch_sd: float  # cents, the tuner's own
    gap_sd: float  # m
    claw_sd: float  # m
    knife: float  # N m


def told(hello: Any) -> Told:
    """Take in the first line of an instrument.

    Args:
        hello: the decoded object.
    Returns: nominal instrument, goal, noted settings, gauges.
    Raises: FileFormatError naming what is missing.
    """
    if not isinstance(hello, dict) or hello.get("hello") != "instrument":
        raise FileFormatError('the first line is no greeting of an instrument: expected {"hello": "instrument", ...}')
    if hello.get("protocol") != 1:
        raise FileFormatError(f"the instrument speaks protocol {hello.get('protocol')!r}; known is 1")
    traits = traits_told(hello.get("told"))
    try:
        wanted, gauges = hello["goal"], hello["told"]["gauges"]
        goal = Goal(
            hertz=array(wanted["hz"]),
            pitch_tolerance=float(wanted["cents_tolerance"]),
            gap=float(wanted["rear_gap"]),
            gap_tolerance=float(wanted["gap_tolerance"]),
            attitude=NAMES[wanted.get("attitude", "playing")],
        )
        reference = float(hello["told"]["claw"]["d_ref"])
        knife = max(KNIFE, float(hello["told"].get("friction", {}).get("knife", 0.0)))
        spread = {name: _spread(gauges, name) for name in ("pitch", "gap", "claw")}
    except (KeyError, TypeError, ValueError) as error:
        raise FileFormatError(
            f"the first line lacks {error}; it must give goal, gauges and the claw's distance"
        ) from None
    if goal.hertz.shape != (traits.string_count,):
        raise FileFormatError(f"goal.hz: expected {traits.string_count} pitches, got {goal.hertz.size}")
    settings = _noted(traits, reference, _springs(hello.get("job")))
    return Told(traits, goal, settings, spread["pitch"], spread["gap"], spread["claw"], knife)


def wanting(job: Told, fewest: Fewest) -> Told:
    """The same job, its way chosen for something.

    Args:
        job: from `told`.
        fewest: what there is to be least of.
    Returns: the job.
    """
    return replace(job, goal=replace(job.goal, fewest=fewest))


def _spread(gauges: dict[str, Any], name: str) -> float:
    """Standard uncertainty of one reading: the gauge's own and half its resolution as a rectangle (JCGM 100 F.2.2)."""
    return float(np.hypot(float(gauges[f"{name}_sd"]), float(gauges[f"{name}_res"]) / np.sqrt(12.0)))


def _springs(job: Any) -> int | None:
    """How many springs the first line says hang there; None where it does not say."""
    if job is not None and not isinstance(job, dict):
        raise FileFormatError(f"the first line has {shown(job)} for job; give an object, or leave it out.")
    springs = (job or {}).get("springs")
    if springs is not None and (isinstance(springs, bool) or not isinstance(springs, int)):
        raise FileFormatError(f"the first line has {shown(springs)} for job.springs; give a whole number.")
    return springs


def _noted(traits: Traits, reference: float, springs: int | None) -> Settings:
    places, count = traits.springs.hook_aft.size, traits.string_count
    patterns = traits.springs.patterns
    hanging = springs if springs in patterns else 3 if 3 in patterns else min(patterns)
    hung = np.zeros(places)
    hung[list(patterns[hanging])] = 1.0
    none = array(np.nan)
    return Settings(
        unstretched=np.full(count, np.nan), claw=np.full(2, reference), springs=hung, pivot_rise=np.zeros(2),
        saddle_rise=np.zeros(count), saddle_back=np.zeros(count), strip=array(0.0), wedge_shim=array(0.0),
        flat=array(0.0), rod=array(0.0), slot_cut=np.zeros(count), prop=none, block=none,
        temperature=float(traits.thermal.reference),
    )  # fmt: skip


@frozen
class Done:
    """How the work went."""

    advice: Advice  # the last
    course: Course
    steps: tuple[Advice, ...]


def guided(job: Told, on: Answering, say: Callable[[Advice, Course], None] | None = None) -> Done:
    """Do the whole balance.

    Args:
        job: from `told`.
        on: the instrument.
        say: called with every step before it is done.
    Returns: the last step ("done" when all is inside) and where the work stands.
    Raises: InputError naming the answer that cannot be true.
    """
    taken: list[Advice] = []
    try:
        return _guided(job, on, taken, say)
    except RangeError as error:
        when = f"step {len(taken)}, {taken[-1].do}" if taken else "the first readings"
        raise InputError(
            f"no instrument near what is told answers so; an answer of {when}, cannot be true, read it again: {error}"
        ) from None


def _guided(job: Told, on: Answering, taken: list[Advice], say: Callable[[Advice, Course], None] | None) -> Done:
    now = as_found(job, on)
    for _ in range(MOST):
        advice = next_step(now)
        taken.append(advice)
        if say is not None:
            say(advice, now)
        if advice.do == "done":
            break
        now = done_step(job, on, now, advice)
    return Done(taken[-1], now, tuple(taken))


def as_found(job: Told, on: Answering) -> Course:
    """Everything as found, before anything is touched.

    Args:
        job: from `told`.
        on: the instrument.
    Returns: where the work stands.
    """
    count, heard = job.traits.string_count, Checked(on, job.goal.hertz)
    hertz = np.array([heard.pitch(i + 1) for i in range(count)])
    for i in np.flatnonzero(hertz <= SILENT):  # a slack string is brought to where it can be heard
        hertz[i] = heard.tune(int(i) + 1, float(job.goal.hertz[i]) * 2.0 ** (-500 / 1200))
    low = float(tilt_limits(job.traits, job.settings)[0])
    picture = tracking.begin(job.traits, believed(job.traits), job.settings, hertz, job.knife, low)
    seen = [pitch_heard(job.goal, i, float(f), job.pitch_sd) for i, f in enumerate(hertz)]
    seen += [Seen("rear gap", heard.gap(), job.gap_sd)]
    seen += [Seen("claw", heard.claw_distance(), job.claw_sd) for _ in range(3)]
    return course.taken_in(course.begun(picture, job.goal), tuple(seen))


def done_step(job: Told, on: Answering, now: Course, advice: Advice) -> Course:
    """One step done, and what it showed taken in.

    Args:
        job: from `told`.
        on: the instrument.
        now: where the work stands.
        advice: the step.
    Returns: where it stands then.
    """
    heard = Checked(on, job.goal.hertz)
    if advice.do == "read":
        return _read(job, heard, now, advice)
    if advice.do == "tune":
        assert advice.string is not None
        assert advice.hertz is not None
        hertz = heard.tune(advice.string + 1, advice.hertz)
        after = course.tuned(now, advice.string, hertz)
        return course.taken_in(after, (pitch_heard(job.goal, advice.string, hertz, job.pitch_sd),))
    if advice.do == "claw":
        assert advice.turns is not None
        on.claw(advice.turns)
        after = course.turned(now, advice.turns)
        place = Seen("claw", heard.claw_distance(), job.claw_sd)  # a wrong count shows at once
        return course.taken_in(after, (place,))
    settings = now.picture.settings
    if advice.do == "wedge":
        on.wedge(advice.gap)
        settings = replace(settings, prop=array(np.nan if advice.gap is None else advice.gap))
    elif advice.do == "springs":
        if not _hangs(on, advice):
            return replace(now, goal=replace(now.goal, fewest="minutes"))
        settings = replace(settings, springs=spring_mask(job.traits, len(advice.springs)))
    else:
        on.attitude(next(name for name, ours in NAMES.items() if ours == job.goal.attitude))
        settings = replace(settings, attitude=job.goal.attitude)
    return course.changed(now, settings)


def _hangs(on: Answering, advice: Advice) -> bool:
    """Whether the springs could be changed; an instrument that takes none off is balanced with all of them."""
    try:
        on.springs(len(advice.springs))
    except FileFormatError:
        raise
    except InputError:
        if advice.hung is not None and len(advice.springs) > advice.hung:
            raise  # one is off and does not come back
        return False
    return True


def _read(job: Told, on: Checked, now: Course, advice: Advice) -> Course:
    strings = advice.strings
    hertz = [(i, on.pitch(i + 1)) for i in strings]
    seen = [pitch_heard(job.goal, i, f, job.pitch_sd) for i, f in hertz if f > SILENT]
    gaps, claws = (GAPS, CLAWS) if now.free or weighing.is_off(now) else (0, 0)
    if advice.claw:
        gaps, claws = 0, CLAWS
    seen += [Seen("rear gap", on.gap(), job.gap_sd) for _ in range(gaps)]
    seen += [Seen("claw", on.claw_distance(), job.claw_sd) for _ in range(claws)]
    return course.taken_in(now, tuple(seen), plucked=strings)
