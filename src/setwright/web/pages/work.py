"""Long work of a visit that goes on beside the pages: it is called off here, and allowed again."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from setwright.web.frame import bench_of, see, visit_of, who
from setwright.web.routes import Form, at


def take_work(request: Request, form: Form) -> Response:
    """Call work off, or let it be begun again; then back to the page that asks for it."""
    shown, name = visit_of(request), request.path_params["work"]
    memory, here = bench_of(request).memory, f"/visit/{shown.visit.id}"
    back = form.text("back")
    if not back.startswith(f"{here}/") or not back.isprintable():
        back = here
    if form.text("do") == "off":
        memory.call_off(name, who(request))
    if form.text("do") == "begin":
        memory.allow(name)
    return see(request, back)


ROUTES = [at("/visit/{visit}/work/{work}", take=take_work, name="work")]
