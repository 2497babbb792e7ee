"""A visit: whose instrument it is, what is wished, its journal, parts and photos, the air; handing it back."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from setwright.bench.climate import note_climate, shown
from setwright.bench.parts import parts_of, parts_returned, parts_used
from setwright.bench.shop import Shown
from setwright.bench.visits import edit_visit, hand_back, open_again
from setwright.errors import InputError, SetwrightError, StaleEditError
from setwright.web.frame import bench_of, page, refused, see, units, visit_of, who
from setwright.web.pages.instrument import LARGEST, kept_photo
from setwright.web.routes import Form, at


def _page(request: Request, found: Shown, status: int = 200, wrong: str = "", typed: Any = None) -> Response:
    system = units(request)
    return page(
        request, "visit.html", status, shown=found, wrong=wrong, stock=parts_of(bench_of(request).shop),
        air=[(one.at, ", ".join(part for part in shown(one, system) if part)) for one in found.climate],
        typed=typed or {"wish": found.visit.wish, "kind": found.visit.kind},
    )  # fmt: skip


def show_visit(request: Request) -> Response:
    """The visit."""
    return _page(request, visit_of(request))


def _done(request: Request, form: Form, do: Callable[[Shown], object], said: str, to: str = "") -> Response:
    """Do something to a visit, or show the visit with why it was not done."""
    found = visit_of(request)
    try:
        do(found)
    except SetwrightError as error:
        status = 409 if isinstance(error, StaleEditError) else 422
        return _page(request, found, status, refused(error, units(request)), form.typed())
    return see(request, to or f"/visit/{found.visit.id}", said)


def take_wish(request: Request, form: Form) -> Response:
    """Change the wish and the kind of job."""
    wish = form.text("wish").replace("\r\n", "\n")
    kind = form.text("kind")
    return _done(
        request, form,
        lambda it: edit_visit(
            bench_of(request).shop, it.visit.id, form.number("version"), who(request), wish=wish, kind=kind
        ),
        "The wish is kept.",
    )  # fmt: skip


def take_part(request: Request, form: Form) -> Response:
    """Note parts used in the visit, or brought back from it."""
    count = form.number("count") or 0
    move = parts_returned if form.text("move") == "returned" else parts_used
    return _done(
        request, form,
        lambda it: move(bench_of(request).shop, form.text("part"), count, it.visit.id, who(request)), "Noted.",
    )  # fmt: skip


def take_air(request: Request, form: Form) -> Response:
    """Note temperature and humidity."""
    return _done(
        request, form,
        lambda it: note_climate(
            bench_of(request).shop, form.text("temperature"), form.text("humidity"), it.visit.id, who(request)
        ),
        "The air is noted.",
    )  # fmt: skip


def take_photo(request: Request, form: Form) -> Response:
    """Keep a photo with the visit."""
    found = visit_of(request)
    wrong = kept_photo(request, form, visit=found.visit.id)
    if wrong:
        return _page(request, found, 422, wrong)
    return see(request, f"/visit/{found.visit.id}#photos", "The photo is kept.")


def take_back(request: Request, form: Form) -> Response:
    """Hand the instrument back."""

    def do(it: Shown) -> object:
        return hand_back(
            bench_of(request).shop, it.visit.id, _day(form.text("recheck")), form.number("version"), who(request)
        )  # fmt: skip

    return _done(request, form, do, "Handed back.")


def take_again(request: Request, form: Form) -> Response:
    """Open a visit that was closed too early."""
    return _done(
        request, form,
        lambda it: open_again(bench_of(request).shop, it.visit.id, form.number("version"), who(request)),
        "Open again.",
    )  # fmt: skip


def _day(text: str) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{text[:40]!r} is no day; write it as 2027-05-30.") from None


ROUTES = [
    at("/visit/{visit}", show_visit, name="visit"),
    at("/visit/{visit}/wish", take=take_wish),
    at("/visit/{visit}/part", take=take_part),
    at("/visit/{visit}/air", take=take_air),
    at("/visit/{visit}/photo", take=take_photo, largest=LARGEST),
    at("/visit/{visit}/back", take=take_back),
    at("/visit/{visit}/again", take=take_again),
]
