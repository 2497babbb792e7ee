"""The door: the address a lead shows to another bench, opened there once."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from setwright.bench.pairing import is_open, let_in
from setwright.errors import InputError
from setwright.web.frame import YEAR, bench_of, page, refused, units
from setwright.web.routes import Form, at
from setwright.web.signin import DEVICE, SIGN_IN, hold

USED = "This way in was used, is too old or was never given; ask a lead for a new one."


def _secret(request: Request) -> str:
    """The end of the address, where it still serves."""
    bench, secret = bench_of(request), request.path_params["secret"]
    if not bench.secure or not is_open(bench.shop, secret):
        raise HTTPException(404, USED)
    return str(secret)


def show_door(request: Request) -> Response:
    """Ask what this bench is called. Looking uses nothing up: whatever previews addresses may look."""
    _secret(request)
    return page(request, "pair.html", typed={}, wrong="")


def take_door(request: Request, form: Form) -> Response:
    """Let this bench in."""
    bench, secret = bench_of(request), _secret(request)
    try:
        made = let_in(bench.shop, secret, form.text("name"))
    except InputError as error:
        return page(request, "pair.html", 422, typed=form.typed(), wrong=refused(error, units(request)))
    if made is None:
        raise HTTPException(404, USED)
    answer = RedirectResponse(SIGN_IN, 303)
    hold(answer, DEVICE, made[1], YEAR)
    return answer


ROUTES = [at("/pair/{secret}", show_door, take_door)]
