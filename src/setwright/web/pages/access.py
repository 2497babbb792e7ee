"""Who works here and what they may do, one's own PIN, and what happened about coming in."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from setwright.bench import signin
from setwright.bench.audit import MOST, audit_of
from setwright.bench.day import person_of
from setwright.bench.owners import person_left
from setwright.bench.signin import ROLES, check_try, worker_named, workers_of
from setwright.cli.access_words import changed_words, event_words
from setwright.errors import InputError, SetwrightError, TooOftenError
from setwright.web.frame import at_bench, bench_of, known_of, page, refused, say_who, see, units, who
from setwright.web.routes import DO, LOOK, Form, at

NO_PIN = (
    "{} has no PIN yet and could not sign in as a lead; give them a code and let them sign in once as a technician, "
    "which sets it."
)


def _people(
    request: Request, status: int = 200, wrong: str = "", typed: dict[str, str] | None = None,
    code: signin.Code | None = None,
) -> Response:  # fmt: skip
    people = workers_of(bench_of(request).shop)
    return page(request, "people.html", status, people=people, roles=ROLES, wrong=wrong, typed=typed or {}, code=code)


def show_people(request: Request) -> Response:
    """Who works here."""
    return _people(request)


def take_people(request: Request, form: Form) -> Response:
    """Add somebody, change what they may do, give a code, take away a PIN, or note that they left."""
    bench, me, here = bench_of(request), who(request), at_bench(request)
    person, deed = form.text("person"), form.text("deed")
    try:
        if deed == "add":
            said = f"{person_of(bench.shop, form.text('name')).name} works here."
        elif deed == "role":
            role = form.text("role")
            found = next((one for one in workers_of(bench.shop) if one.id == person), None)
            if bench.secure and role == signin.LEAD and found is not None and not found.pin:
                raise InputError(NO_PIN.format(found.name))
            one = signin.set_role(bench.shop, person, role, me, here)
            said = f"{one.name} is a {one.role}."
        elif deed == "pin":
            said = f"{signin.set_pin(bench.shop, person, '', me, here).name} has no PIN any more."
        elif deed == "code":  # it stands on this answer alone
            return _people(request, code=signin.give_code(bench.shop, person, me, here))
        elif deed == "left":
            said = f"{person_left(bench.shop, person, me).name} works here no more."
        else:
            raise InputError("nothing was chosen; press one of the buttons.")
    except SetwrightError as error:
        return _people(request, 422, refused(error, units(request)), form.typed())
    return see(request, "/people", said)


def _pin(request: Request, status: int = 200, wrong: str = "") -> Response:
    me = worker_named(bench_of(request).shop, who(request))
    if me is None:
        raise HTTPException(404, "Nobody is at this bench yet; say who you are first.")
    return page(request, "pin.html", status, me=me, wrong=wrong, lengths=(signin.LEAST, signin.MOST))


def show_pin(request: Request) -> Response:
    """One's own PIN."""
    return _pin(request)


def take_pin(request: Request, form: Form) -> Response:
    """Set one's own PIN, by the one before where there is one."""
    bench, here = bench_of(request), known_of(request).device
    me = worker_named(bench.shop, who(request))
    if me is None:
        raise HTTPException(404, "Nobody is at this bench yet; say who you are first.")
    try:
        if form.text("pin") != form.text("again"):
            raise InputError("the two PINs are not the same; type it twice.")
        signin.checked_pin(form.text("pin"))
        if me.pin:
            check_try(bench.shop, me.id, form.text("old"), here)
        now = signin.set_pin(bench.shop, me.id, form.text("pin"), me.name, at_bench(request))
    except InputError as error:
        return _pin(request, 429 if isinstance(error, TooOftenError) else 422, refused(error, units(request)))
    if bench.secure:
        return see(request, "/who", "Your PIN is set; sign in with it.")
    answer = see(request, "/settings", "Your PIN is set.")
    say_who(answer, bench, me.name, now.pin)
    return answer


def show_audit(request: Request) -> Response:
    """What happened, the last first."""
    before = request.query_params.get("before", "")
    found = audit_of(bench_of(request).shop, before=before if before.isalnum() and before.isascii() else "")
    events = [(one, event_words(one)) for one in found.events]
    changes = [(one, changed_words(one)) for one in found.changes]
    return page(request, "audit.html", events=events, changes=changes, more=len(events) == MOST)


ROUTES = [
    at("/people", show_people, take_people, lead=(LOOK, DO)),
    at("/pin", show_pin, take_pin),
    at("/audit", show_audit, lead=(LOOK,)),
]
