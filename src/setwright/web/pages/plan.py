"""The plan: job card of what is done, the runner-up, and why the rest fails; drawn to scale, before and after."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Sequence
from dataclasses import replace

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from setwright.bench.heard_notes import read_with_heard
from setwright.bench.plan_drawings import plan_drawings
from setwright.bench.plans import plan_job, preferred_system
from setwright.bench.shop import Shown
from setwright.cli.plan_rows import PlanRows, plan_rows
from setwright.cli.words import sentence, spelled
from setwright.errors import NoPlanError, SetwrightError
from setwright.frozen import frozen
from setwright.telling import Tell, untold, within
from setwright.units.show import System
from setwright.web.frame import behind, bench_of, page, refused, remembered, source, units, visit_of
from setwright.web.routes import at

DRAWINGS = {
    "side-view": "From the side, as found in thin line, after the work in thick line",
    "balance": "Forces on the plate, and what they turn it with",
    "ranges": "How far the arm goes",
}
NARROW = "side-view-narrow"  # the first of them for a phone
WAITS = (
    "The plan is being worked out",
    "Every combination of shims, springs and ways is tried on many instruments that this one may be. That takes a few "
    "seconds.",
)
PLANNING = 0.8  # share of the work; the rest is drawing
KINDS = 6  # kinds of failure told where nothing will do
_NUMBER = re.compile(r"[\d.{}+-]+")


@frozen
class Planned:
    """A plan in words, and its drawings by the end of their names."""

    rows: PlanRows
    drawings: dict[str, str]


@frozen
class Wanted:
    """A plan that is asked for. key: everything it depends on; most entries of the journal change nothing of that."""

    key: tuple[str, ...]
    system: System
    make: Callable[[Tell], Planned]


def _wanted(request: Request, shown: Shown) -> Wanted:
    job, said = remembered(request, shown.visit.id, "job heard", lambda: read_with_heard(source(request, shown)))
    system = units(request, preferred_system(job))

    def make(tell: Tell) -> Planned:
        plan = plan_job(job, tell=within(tell, 0.0, PLANNING))
        plan = replace(plan, remarks=(*plan.remarks, *said))
        found = plan_drawings(job, plan, system, tell=within(tell, PLANNING, 1.0), narrow=True)
        ends = {end: svg for end in (*DRAWINGS, NARROW) for name, svg in found.items() if name.endswith(f"-{end}.svg")}
        return Planned(plan_rows(plan, system), ends)

    digest = hashlib.sha256(repr(job).encode()).hexdigest()
    return Wanted((bench_of(request).shop, "plan", shown.visit.id, system, digest), system, make)


def show_plan(request: Request) -> Response:
    """The plan, or that it is being worked out."""
    shown = visit_of(request)
    step = f"/visit/{shown.visit.id}/step", "To the step at hand"
    try:
        wanted = _wanted(request, shown)
        planned = behind(request, shown, wanted.key, wanted.make, WAITS, step)
    except SetwrightError as error:
        return no_plan(request, shown, error)
    if isinstance(planned, Response):
        return planned
    drawings = [(end, told) for end, told in DRAWINGS.items() if end in planned.drawings]
    return page(request, "plan.html", shown=shown, plan=planned.rows, drawings=drawings, narrow=NARROW)


def no_plan(request: Request, shown: Shown, error: SetwrightError) -> Response:
    """Why there is no plan, and the nearest misses.

    Args:
        request: of the page.
        shown: the visit.
        error: as the bench raised it.
    Returns: the page.
    """
    system = units(request)
    tried = error.misses if isinstance(error, NoPlanError) else ()
    return page(request, "no_plan.html", 422, shown=shown, words=refused(error, system), misses=alike(tried, system))


def alike(misses: Sequence[tuple[str, str]], system: System) -> list[tuple[str, str, list[str]]]:
    """What fails, by reasons that differ in their numbers only.

    Args:
        misses: name and reason, nearest first.
        system: "inch" or "mm".
    Returns: the nearest of each kind, its reason, and the names of the others; at most `KINDS` kinds.
    """
    kinds: dict[str, list[tuple[str, str]]] = {}
    for name, why in misses:
        kinds.setdefault(_NUMBER.sub("#", why), []).append((name, why))
    out = []
    for first, *others in list(kinds.values())[:KINDS]:
        names = [spelled(name, system) for name, _ in others]
        out.append((spelled(first[0], system), sentence(spelled(first[1], system)), names))
    return out


def show_drawing(request: Request) -> Response:
    """A drawing of the plan."""
    shown = visit_of(request)
    wanted = _wanted(request, shown)
    planned = bench_of(request).memory.get(wanted.key, lambda: wanted.make(untold))
    if request.path_params["drawing"] not in planned.drawings:
        raise HTTPException(404, "There is no such drawing of this plan.")
    return Response(planned.drawings[request.path_params["drawing"]], media_type="image/svg+xml")


ROUTES = [
    at("/visit/{visit}/plan", show_plan, name="plan"),
    at("/visit/{visit}/plan/{drawing}.svg", show_drawing, name="plan drawing"),
]
