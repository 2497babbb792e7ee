"""The units a job is written in."""

from __future__ import annotations

from setwright.instrument.jobfile import Job
from setwright.instrument.quantities import Amount


def preferred_system(job: Job) -> str:
    """The system most lengths of a job are written in, shims and gauges of strings aside.

    Args:
        job: the job.
    Returns: "inch" or "mm"; mm when even.
    """
    once = {id(one.written): one.written.unit for one in _lengths(job)}  # a value may stand for both sides
    units = list(once.values())
    inches = sum(unit in ("in", "thou", "ft") for unit in units)
    return "inch" if inches > len(units) - inches else "mm"


def _lengths(job: Job) -> list[Amount]:
    found, want = job.found, job.want
    out: list[Amount] = []
    for pair in (found.claw_distance, found.rear_gap, found.pivot_height):
        out += pair or ()
    for heights in (found.string_height, want.string_height):
        out += heights.amounts if heights is not None else ()
    for bend in (found.relief, want.relief):
        out += [bend.value] if bend is not None else []
    return out + [one for one in (want.rear_gap, want.radius) if one is not None]
