"""Benches of the shop's network: let another one in, and shut one out."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from setwright.bench.pairing import MINUTES, Invitation, benches, invite, shut
from setwright.errors import InputError, SetwrightError
from setwright.sheets.qr import qr_drawing
from setwright.web.frame import at_bench, bench_of, page, refused, see, units, who
from setwright.web.routes import DO, LOOK, Form, at

ALONE = (
    "this bench is reached from this machine only; start it with setwright bench --shop-network, then others can come "
    "in."
)


def _all(request: Request, status: int = 200, wrong: str = "", way: Invitation | None = None) -> Response:
    found = benches(bench_of(request).shop)
    drawn = "" if way is None else qr_drawing(way.address)
    return page(request, "benches.html", status, found=found, wrong=wrong, way=way, drawn=drawn, minutes=MINUTES)


def show_benches(request: Request) -> Response:
    """All benches that were ever let in."""
    return _all(request)


def take_bench(request: Request, form: Form) -> Response:
    """Open a way in for one bench, or shut one out. The way in stands on this answer alone: the shop keeps its hash."""
    bench, me, here = bench_of(request), who(request), at_bench(request)
    try:
        if form.text("deed") == "shut":
            out = shut(bench.shop, form.text("bench"), me, here)
            return see(request, "/benches", f"{out.name} is shut out.")
        if not bench.secure:
            raise InputError(ALONE)
        return _all(request, way=invite(bench.shop, bench.base, me, device=here))
    except SetwrightError as error:
        return _all(request, 422, refused(error, units(request)))


ROUTES = [at("/benches", show_benches, take_bench, lead=(LOOK, DO))]
