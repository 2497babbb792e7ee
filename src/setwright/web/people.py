"""Who is at this bench. On this machine alone nobody signs in, but the journal should say who worked."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from setwright.bench.day import people_of, person_of
from setwright.errors import InputError
from setwright.web.frame import WHO, bench_of, keep, page, refused, see, units
from setwright.web.routes import Form, at
from setwright.web.security import signed


def on_this_bench(path: str) -> str:
    """A path that leads to a page of this bench and nowhere else.

    Args:
        path: as it came.
    Returns: it, or "/".
    """
    own = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable() and len(path) < 300
    return path if own else "/"


def show_who(request: Request) -> Response:
    """Ask who is at this browser."""
    to = on_this_bench(request.query_params.get("to", "/"))
    return page(request, "who.html", people=people_of(bench_of(request).shop), to=to, typed={}, wrong="")


def take_who(request: Request, form: Form) -> Response:
    """Note who it is, for everything done from now on."""
    bench = bench_of(request)
    to = on_this_bench(form.text("to", "/"))
    try:
        name = person_of(bench.shop, form.text("name") or form.text("known")).name
    except InputError as error:
        wrong = refused(error, units(request))
        shown = people_of(bench.shop)
        return page(request, "who.html", 422, people=shown, to=to, typed=form.typed(), wrong=wrong)
    answer = see(request, to, f"{name} is at this bench.")
    keep(answer, bench, WHO, signed(bench.key, f"who {bench.name}", name))
    return answer


ROUTES = [at("/who", show_who, take_who)]
