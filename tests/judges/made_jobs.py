"""Jobs made for tests: the text of both files is put together here, and the claw as found by the balance itself."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from setwright.bench.plans import problem_from
from setwright.instrument.files import instrument_from_bytes
from setwright.instrument.geometry import tilt_for_gap
from setwright.instrument.jobfile import Job, job_from_bytes, read_job
from setwright.instrument.predict import balance_at
from setwright.planning.targets import Problem

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
NINES = '[".009", ".011", ".016", ".024w", ".032w", ".042w"]'
TENS = '[".010", ".013", ".017", ".026w", ".036w", ".046w"]'
ELEVENS = '[".011", ".014", ".018", ".028w", ".038w", ".049w"]'
TWELVES = '[".012", ".016", ".024w", ".032w", ".042w", ".054w"]'
BASS_FIVE = '[".045w", ".065w", ".085w", ".105w", ".130w"]'
NO_SHIMS = '[{ kind = "strip", thickness = ".005 in" }]'


def demo(name: str) -> Problem:
    """The planner's problem of one of the jobs in examples/."""
    return problem_from(read_job(EXAMPLES / f"{name}.job.toml"))


def demo_names() -> list[str]:
    """All jobs in examples/."""
    return sorted(path.name.removesuffix(".job.toml") for path in EXAMPLES.glob("*.job.toml"))


def _table(name: str, values: dict[str, Any]) -> str:
    lines = [f"{key} = {value}" for key, value in values.items() if value is not None]
    return f"[{name}]\n" + "\n".join(lines) + "\n"


def job(instrument: dict[str, dict[str, Any]], tables: dict[str, dict[str, Any]]) -> Job:
    """A job from the tables of its two files; values are TOML text."""
    about = {"instrument": {"name": '"Made"', "scale": '"25 1/2 in"', "radius": '"12 in"'}}
    parts = {key: {**about.get(key, {}), **instrument.get(key, {})} for key in (*about, *instrument)}
    read = instrument_from_bytes("".join(_table(k, v) for k, v in parts.items()).encode(), "made.instrument.toml")
    first = {"job": {"title": '"made"', "instrument": '"made.instrument.toml"'}}
    text = "".join(_table(k, v) for k, v in {**first, **tables}.items())
    return job_from_bytes(text.encode(), "made.job.toml", read)


def floating(
    kind: str = "two-post knife edge",
    strings: str = TENS,
    springs: int = 3,
    spring_kind: str = "usual",
    gap: float = 2.4,
    instrument: dict[str, dict[str, Any]] | None = None,
    found: dict[str, Any] | None = None,
    **tables: dict[str, Any],
) -> Job:
    """A job on a floating bridge that stands at a gap [mm] as found, the claw where nominal springs hold it there."""
    parts = {**(instrument or {}), "bridge": {"kind": f'"{kind}"', **(instrument or {}).get("bridge", {})}}
    parts["springs"] = {"kind": f'"{spring_kind}"', **parts.get("springs", {})}
    stands = {"strings": strings, "bridge": '"floating"', "springs": springs, "rear_gap": f'"{gap} mm ± 0.1 mm"'}
    stands |= found or {}
    claw = claw_of(problem_from(job(parts, {"found": stands})), 1e-3 * gap)
    stands |= {"claw_distance": f'"{1e3 * claw:.2f} mm ± 0.2 mm"', **(found or {})}
    return job(parts, {"found": stands, **tables})


def claw_of(problem: Problem, gap: float) -> float:
    """Where the claw of the nominal instrument stands when its plate floats at a rear gap [m]."""
    settings, hertz = problem.found.settings, problem.found.hertz
    assert hertz is not None
    tilt = tilt_for_gap(problem.traits, settings, np.asarray(gap))
    return float(balance_at(problem.traits, settings, hertz, tilt).settings.claw.mean())


def certain(problem: Problem, share: float = 1e-6) -> Problem:
    """The same job with next to nothing uncertain about the instrument."""
    known = problem.known
    small = tuple(replace(part, sd=part.sd * share) for part in known.parts)
    return replace(problem, known=replace(known, parts=small, covariance=known.covariance * share**2))
