"""All drawings of a plan: the side view, and of a knife edge its balance and how far the arm goes."""

from __future__ import annotations

from pathlib import Path

from setwright.bench.balance_drawing import balance_drawing, ranges_drawing
from setwright.bench.side_drawing import side_drawing
from setwright.bench.standing import SAMPLES, on_the_bench
from setwright.instrument.jobfile import Job
from setwright.planning.plan import Plan
from setwright.sheets.dimensions import NARROW
from setwright.telling import Tell, untold, within
from setwright.units.show import System


def plan_drawings(
    job: Job, plan: Plan, system: System, samples: int = SAMPLES, seed: int = 0, tell: Tell = untold,
    narrow: bool = False,
) -> dict[str, str]:  # fmt: skip
    """Draw a plan to scale.

    Args:
        job: as read from its file.
        plan: of the same job.
        system: "inch" or "mm".
        samples: how many instruments that this one may be are tried [1].
        seed: of their randomness [1].
        tell: takes the share of the work that is done; what it raises ends the work.
        narrow: whether the side view is drawn once more for a phone, as "-side-view-narrow".
    Returns: SVG documents by the names of their files, which begin with that of the job.
    Raises: ContradictionError where the found readings cannot all be true.
    """
    bench = on_the_bench(job, True, samples, seed, plan.best.end, within(tell, 0.0, 0.6))
    tell(0.6)
    stem = Path(job.file).name.removesuffix(".toml").removesuffix(".job")
    out = {f"{stem}-side-view.svg": side_drawing(bench, plan, system)}
    if narrow:
        out[f"{stem}-side-view-narrow.svg"] = side_drawing(bench, plan, system, NARROW)
    tell(0.8)
    if job.instrument.bridge.knife_edge:
        out[f"{stem}-balance.svg"] = balance_drawing(bench, plan, system)
        out[f"{stem}-ranges.svg"] = ranges_drawing(bench, plan, system)
    return out
