"""The bar test of a job: does the instrument as found come back to pitch, and if not, what to look at first."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.bench.plans import problem_from
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.geometry import build_rig
from setwright.instrument.jobfile import Job
from setwright.instrument.predict import balance_at, tune_at
from setwright.instrument.traits import Array
from setwright.physics.balance import Equilibrium, Rig, at_pitch, settled_at
from setwright.planning.diagnosis import Cause, Diagnosis, diagnose
from setwright.planning.found import found_tilt, settle_found

CAUTIONS = (
    "Mind your eyes: a string may break at either end of the bar's way.",
    "Lead the bar back by hand; never let the plate snap back.",
)
NORMAL = "A cent or two between the two rest points is normal."
FOREIGN = (
    "No mixture of these causes gives what was read: read again, and look whether the bar went as far as it goes, both "
    "ways, and whether the plate or a spring rubs."
)


@frozen
class BarTest:
    """What was read, what holds the strings, and what to do in which order."""

    title: str
    tolerance: float  # cents
    dive: tuple[float, ...]  # cents against before, from string 1
    pull: tuple[float, ...]
    comes_back: bool  # every string within the tolerance of before, after both
    diagnosis: Diagnosis
    remedies: tuple[str, ...]  # none where it comes back
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]


def bar_test(job: Job, dive: Array, pull: Array, sd: float = 0.5, tolerance: float = 2.0) -> BarTest:
    """What a bar test says about the instrument as found.

    Args:
        job: its [found] table is what counts; the plate floats, strings at pitch.
        dive: (S) open strings after a dive and return, against before [c].
        pull: (S) after a pull and return, against before [c].
        sd: standard uncertainty of one reading [c].
        tolerance: what counts as back at pitch [c].
    Returns: causes and remedies; patterns are those of the most likely instrument.
    Raises: InputError where the plate does not float at pitch or the readings cannot be used; ContradictionError where
        the found readings cannot all be true.
    """
    rig, state = _floating(job)
    found = diagnose(rig, state, dive, pull, sd, tolerance)
    back = bool(max(np.abs(dive).max(), np.abs(pull).max()) <= tolerance)
    return BarTest(
        title=job.title,
        tolerance=tolerance,
        dive=tuple(float(c) for c in dive),
        pull=tuple(float(c) for c in pull),
        comes_back=back,
        diagnosis=found,
        remedies=() if back else _remedies(found),
        remarks=(NORMAL,) if found.fits else (NORMAL, FOREIGN),
        cautions=CAUTIONS,
    )


def _floating(job: Job) -> tuple[Rig, Equilibrium]:
    """The most likely instrument, floating at pitch as it was read."""
    problem = settle_found(problem_from(job)).problem
    hertz = problem.found.hertz
    if job.found.state != "at pitch" or problem.found.mode != "floating" or hertz is None:
        raise InputError(
            f"{job.file}: found {problem.found.mode}, strings {job.found.state}; the bar test is for a plate found "
            "floating with every string at pitch, so set it up and write that state down under [found] first."
        )
    tilt = found_tilt(problem.traits, problem.found.settings, problem)
    settings = tune_at(problem.traits, problem.found.settings, hertz, tilt).settings
    claw = balance_at(problem.traits, settings, hertz, tilt).settings.claw
    rig = at_pitch(build_rig(problem.traits, replace(settings, claw=claw)), hertz)
    state = settled_at(rig, tilt)
    return rig, replace(state, contact=np.where(np.abs(state.contact) < 1e-5, 0.0, state.contact))


def _remedies(found: Diagnosis) -> tuple[str, ...]:
    """What to do, in the trade's order: what is quickest and cannot do harm first."""
    out = []
    stretch, slot, knife = ([c for c in found.causes if c.kind == k] for k in ("stretch", "slot", "knife"))
    if strings := _named(stretch):
        out.append(f"{strings}: flat both ways. Stretch in, check the winding and the clamp, tune, test again.")
    if strings := _named(slot):
        out.append(
            f"{strings}: held at nut or tree. Pull the string behind the nut: if the pitch jumps back, clean, ease or "
            "lubricate that slot; it cannot be put back. If nothing jumps, look at the saddle."
        )
    if strings := _named(knife):
        out.append(
            f"{strings}: look for a block or spring that rubs in its cavity, then for a loose post, then at the knife "
            "edge itself; the pitches do not tell these apart. Strings slack before a pivot is touched."
        )
    return tuple(out)


def _named(causes: list[Cause]) -> str:
    """The causes that matter, as the head of a sentence; "" where none does."""
    sure = [c for c in causes if c.matters != "no"]
    if not sure:
        return ""
    if sure[0].string is None:
        return "The plate" if sure[0].matters == "yes" else "Perhaps the plate"
    each = ", ".join(f"{c.string}{'' if c.matters == 'yes' else ' (perhaps)'}" for c in sure)
    return f"String {each}" if len(sure) == 1 else f"Strings {each}"
