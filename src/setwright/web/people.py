"""Who is at this bench. On the machine itself whoever has no PIN only says who they are; elsewhere people sign in."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from setwright.bench.day import people_of, person_of
from setwright.bench.signin import Worker, check_try, worker_named
from setwright.errors import InputError, TooOftenError
from setwright.web import signin
from setwright.web.frame import WHO, bench_of, page, refused, say_who, see, units
from setwright.web.routes import Form, at


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
    return signin.show_sign_in(request, to) if bench_of(request).secure else _asked(request, to)


def _asked(
    request: Request, to: str, status: int = 200, typed: dict[str, str] | None = None, wrong: str = "",
    pin_of: Worker | None = None,
) -> Response:  # fmt: skip
    people = people_of(bench_of(request).shop)
    return page(request, "who.html", status, people=people, to=to, typed=typed or {}, wrong=wrong, pin_of=pin_of)


def take_who(request: Request, form: Form) -> Response:
    """Note who it is, for everything done from now on."""
    bench = bench_of(request)
    to = on_this_bench(form.text("to", "/"))
    if bench.secure:
        return signin.take_sign_in(request, form, to)
    said = form.text("name") or form.text("known")
    known = worker_named(bench.shop, said)
    try:
        if known is not None and known.pin:
            if not form.text("pin"):
                return _asked(request, to, pin_of=known)
            check_try(bench.shop, known.id, form.text("pin"))
        name = person_of(bench.shop, said).name
    except InputError as error:
        status = 429 if isinstance(error, TooOftenError) else 422
        asks = known if known is not None and known.pin else None
        return _asked(request, to, status, form.typed(), refused(error, units(request)), asks)
    answer = see(request, to, f"{name} is at this bench.")
    say_who(answer, bench, name, "" if known is None else known.pin)
    return answer


def take_leave(request: Request, form: Form) -> Response:
    """Note that nobody is at this browser any more."""
    if bench_of(request).secure:
        return signin.take_sign_out(request, form)
    answer = RedirectResponse("/who", 303)
    answer.delete_cookie(WHO)
    return answer


ROUTES = [at("/who", show_who, take_who), at("/who/leave", take=take_leave)]
