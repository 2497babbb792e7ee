"""Parts of the shop and their stock: what came, what was counted, what is new."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from setwright.bench.parts import add_part, parts_came, parts_counted, parts_of
from setwright.errors import SetwrightError
from setwright.web.frame import bench_of, counted, page, refused, see, units, who
from setwright.web.routes import Form, at

UNITS = ("piece", "set", "pair", "m", "ml")


def _page(request: Request, status: int = 200, wrong: str = "", typed: dict[str, str] | None = None) -> Response:
    stock = parts_of(bench_of(request).shop)
    return page(request, "parts.html", status, stock=stock, wrong=wrong, typed=typed or {}, units=UNITS)


def show_parts(request: Request) -> Response:
    """All parts."""
    return _page(request)


def take_parts(request: Request, form: Form) -> Response:
    """Note that parts came or were counted, or that there is a new one."""
    shop, name, deed = bench_of(request).shop, who(request), form.text("deed")
    count = form.number("count")
    try:
        if deed == "new":
            part = add_part(shop, form.text("name"), form.text("unit") or UNITS[0], name)
            if count:
                part = parts_came(shop, part.id, count, name)
        else:
            move = parts_came if deed == "came" else parts_counted
            part = move(shop, form.text("part"), -1 if count is None else count, name)
    except SetwrightError as error:
        return _page(request, 422, refused(error, units(request)), form.typed())
    return see(request, "/parts", f"{part.name}: {counted(part.stock, part.unit)} in stock.")


ROUTES = [at("/parts", show_parts, take_parts, name="parts")]
