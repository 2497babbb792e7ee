"""House specifications: what the shop holds itself to, in versions that never change; open visits held to them."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from setwright.bench.day import day_of
from setwright.bench.house import Specification, line_of, show_specification, specifications_of, specify, text_of
from setwright.bench.visits import edit_visit
from setwright.cli.words import number
from setwright.errors import InputError, SetwrightError, StaleEditError
from setwright.units.show import System
from setwright.web.frame import bench_of, page, refused, see, units, who
from setwright.web.routes import DO, Form, at
from setwright.web.typed import OTHER

EXAMPLE = """string height every string at fret 12 = 1.2 mm to 2.8 mm
relief held at 1 and 17, read at 8 = .005 in to .014 in
pitch every string = 0 c ± 2 c
octave error every string = at most 3 c, source: what most ears let pass
rear gap = 2.6 mm ± 0.25 mm"""


def _all(request: Request, status: int = 200, wrong: str = "", typed: dict[str, str] | None = None) -> Response:
    found = [
        (name, tuple(them)) for name, them in groupby(specifications_of(bench_of(request).shop), lambda it: it.name)
    ]
    return page(
        request, "specifications.html", status, found=found, wrong=wrong, typed=typed or {}, example=EXAMPLE
    )  # fmt: skip


def show_specifications(request: Request) -> Response:
    """All specifications with their versions."""
    return _all(request)


def take_specification(request: Request, form: Form) -> Response:
    """Keep a specification of a new name."""
    try:
        made = specify(
            bench_of(request).shop, form.text("name"), form.text("text"), form.text("note"), who(request), 0
        )  # fmt: skip
    except SetwrightError as error:
        status = 409 if isinstance(error, StaleEditError) else 422
        return _all(request, status, refused(error, units(request)), form.typed())
    return see(request, f"/specification/{made.id}", f"{made.name}: version {made.number} is kept.")


def _known(request: Request) -> Specification:
    try:
        return show_specification(bench_of(request).shop, request.path_params["specification"])
    except InputError:
        raise HTTPException(404, "There is no such specification; look at the list.") from None


def _one(request: Request, status: int = 200, wrong: str = "", typed: dict[str, str] | None = None) -> Response:
    shop, one = bench_of(request).shop, _known(request)
    versions = [it for it in specifications_of(shop) if it.name == one.name]
    lines = [_parts(item, units(request)) for item in one.items]
    return page(
        request, "specification.html", status, one=one, versions=versions, lines=lines, wrong=wrong,
        typed=typed or {"text": text_of(one.items)}, visits=day_of(shop).visits,
    )  # fmt: skip


def _parts(item: Any, system: System) -> tuple[str, str, str, str]:
    """What is read, its limits as they were written, in the reader's units where those are others, and their source."""
    about, _, rest = line_of(item).partition(" = ")
    limits, _, source = rest.partition(", source: ")
    ends = [number(end, "height", system) for end in (item.low, item.high) if end is not None]
    meant = " to ".join(ends) if item.kind == "length" and item.unit in OTHER[system] else ""
    return about, limits, meant, source


def show_one(request: Request) -> Response:
    """One version of a specification."""
    return _one(request)


def take_version(request: Request, form: Form) -> Response:
    """Keep the next version; the one it was made from stays as it is."""
    one = _known(request)
    try:
        made = specify(
            bench_of(request).shop, one.name, form.text("text"), form.text("note"), who(request), one.number
        )  # fmt: skip
    except SetwrightError as error:
        status = 409 if isinstance(error, StaleEditError) else 422
        return _one(request, status, refused(error, units(request)), form.typed())
    return see(request, f"/specification/{made.id}", f"{made.name}: version {made.number} is kept.")


def take_visit(request: Request, form: Form) -> Response:
    """Hold an open visit to this version, or to none."""
    one = _known(request)
    id, _, version = form.text("visit").partition(" ")
    try:
        if not (id and version.isascii() and version.isdigit() and len(version) < 9):
            raise InputError("no visit is chosen; choose one that is open.")
        held = "" if form.text("deed") == "none" else one.id
        kept = edit_visit(bench_of(request).shop, id, int(version), who(request), specification=held)
    except SetwrightError as error:
        status = 409 if isinstance(error, StaleEditError) else 422
        return _one(request, status, refused(error, units(request)))
    to = f"to {one.name}, version {one.number}" if kept.specification else "to no specification"
    return see(request, f"/specification/{one.id}", f"Visit {kept.number} is held {to}.")


ROUTES = [
    at("/specifications", show_specifications, take_specification, name="specifications", lead=(DO,)),
    at("/specification/{specification}", show_one, take_version, name="specification", lead=(DO,)),
    at("/specification/{specification}/visit", take=take_visit),
]
