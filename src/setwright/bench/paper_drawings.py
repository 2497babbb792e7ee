"""The drawings of a job for pages of their own behind the shop's: as it was found and as it is planned, to scale."""

from __future__ import annotations

from collections.abc import Callable

from setwright.bench.balance_drawing import balance_drawing, ranges_drawing
from setwright.bench.heard_notes import read_with_heard
from setwright.bench.heights import heights_drawing, heights_of
from setwright.bench.journals import Source
from setwright.bench.notes import notes_drawing, notes_of
from setwright.bench.paper import titled
from setwright.bench.plans import plan_job, preferred_system
from setwright.bench.side_drawing import side_drawing
from setwright.bench.standing import SAMPLES, on_the_bench
from setwright.errors import CalledOffError, SetwrightError
from setwright.sheets.sheet import Drawing, Paper
from setwright.sheets.sheet_room import DRAWN
from setwright.telling import Tell, each, untold, within
from setwright.units.show import System


def drawings_of_job(
    job: Source, units: System | None = None, samples: int = SAMPLES, paper: Paper = "a4", tell: Tell = untold
) -> tuple[Drawing, ...]:
    """Everything that can be drawn of a job: side view, balance and ranges of a knife edge, string heights, cents.

    Args:
        job: path of the job file, or a visit in a shop.
        units: "inch" or "mm"; None for those the job is written in.
        samples: how many instruments that this one may be are tried [1].
        paper: "a4" or "letter", they are printed on.
        tell: takes the share of the work that is done, often; what it raises ends the work.
    Returns: the drawings; one that these readings do not allow is left out.
    Raises: FileFormatError, InputError, QuestionableError for files that cannot be used; ContradictionError,
        NoPlanError where there is nothing to draw.
    """
    read = read_with_heard(job)[0]
    system: System = units or ("inch" if preferred_system(read) == "inch" else "mm")
    plan = plan_job(read, tell=within(tell, 0.0, 0.45))
    room, end = DRAWN[paper], plan.best.end
    bench = on_the_bench(read, True, samples, 0, end, within(tell, 0.45, 0.5))
    wanted: list[Callable[[Tell], str]] = [lambda _: side_drawing(bench, plan, system)]
    if read.instrument.bridge.knife_edge:
        wanted += [lambda _: balance_drawing(bench, plan, system), lambda _: ranges_drawing(bench, plan, system)]
    wanted += [
        lambda told: heights_drawing(heights_of(read, plan=True, samples=samples, end=end, tell=told), system, room),
        lambda told: notes_drawing(notes_of(read, plan=True, samples=samples, end=end, tell=told), system, room),
    ]
    out = []
    for draw, told in each(within(tell, 0.5, 1.0), wanted):
        try:
            svg = draw(told)
        except CalledOffError:
            raise
        except SetwrightError:
            continue
        out.append(titled(svg))
    return tuple(out)
