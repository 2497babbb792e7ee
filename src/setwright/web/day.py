"""The shop's day: what is open, what is next on each, who is on what, what runs out."""

from __future__ import annotations

from datetime import date
from itertools import groupby
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from setwright.bench.day import Day, Mark, OpenVisit, day_of
from setwright.bench.source import InShop
from setwright.errors import SetwrightError
from setwright.frozen import frozen
from setwright.units.show import System
from setwright.web.beside import worker
from setwright.web.frame import bench_of, page, refused, units, who
from setwright.web.live import presence
from setwright.web.memory import work_of
from setwright.web.routes import at

if TYPE_CHECKING:
    from setwright.bench.due import Due

_WORKERS = worker("day")
WORKING = "Being worked out"


@frozen
class Line:
    """A visit on the day's page. next: what is next, in words; ready: False while that is being worked out."""

    visit: OpenVisit
    next: str
    ready: bool
    wrong: bool
    present: tuple[str, ...]


def show_day(request: Request) -> Response:
    """The day."""
    if not who(request) and not request.cookies:
        return RedirectResponse("/who", 303)
    bench = bench_of(request)
    day = day_of(bench.shop)
    lines = [_line(request, one) for one in day.visits]
    ordered = sorted(lines, key=lambda line: (_bench(line) == "", _bench(line).casefold()))
    benches = [(name, list(group)) for name, group in groupby(ordered, key=_bench)]
    due = _due(request, day)
    waits = due is None or any(not line.ready for line in lines)
    return page(request, "day.html", day=day, benches=benches, waits=waits, due=due or ())


def _due(request: Request, day: Day) -> tuple[Due, ...] | None:
    """What is to be looked at again, None while it is being worked out: that looks at every instrument's last visit."""
    bench, today = bench_of(request), date.today()
    key = (bench.shop, "due", today, day.changed, tuple(one.id for one in day.visits))

    def make() -> tuple[Due, ...]:
        from setwright.bench.due import due_of  # it loads half of planning

        return due_of(bench.shop, today)

    if not bench.memory.known(key):
        bench.memory.begin(key, make, _WORKERS)
        return None
    return bench.memory.get(key, make)


def _bench(line: Line) -> str:
    """Whose bench a visit is on: of the one who has it open, else of the last who wrote into its journal."""
    return line.present[0] if line.present else line.visit.who


def _line(request: Request, visit: OpenVisit) -> Line:
    """What is next on a visit, where it is known; else it is worked out behind."""
    bench = bench_of(request)
    system = units(request)
    present = presence(request).on(visit.id)
    key = (bench.shop, f"next line {system}", Mark(visit.id, visit.version, visit.entries))
    source = InShop(bench.shop, visit.id)
    if not bench.memory.known(key):
        bench.memory.begin(key, lambda: _next(request, source, system), _WORKERS)
        return Line(visit, WORKING, False, False, present)
    words, wrong = bench.memory.get(key, lambda: _next(request, source, system))
    return Line(visit, words, True, wrong, present)


def _next(request: Request, source: InShop, system: System) -> tuple[str, bool]:
    """What is next in words, and whether something is wrong."""
    from setwright.bench.next_step import next_of  # a third of the time the app takes to start
    from setwright.web.words import next_words

    try:
        return next_words(next_of(source, None, work_of(request))[1], system), False
    except SetwrightError as error:
        return refused(error, system), True


ROUTES = [at("/", show_day, name="day")]
