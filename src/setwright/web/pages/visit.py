"""A visit: whose instrument it is, what is wished, its journal; and closing it."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from setwright.web.frame import page, visit_of
from setwright.web.routes import at


def show_visit(request: Request) -> Response:
    """The visit."""
    return page(request, "visit.html", shown=visit_of(request))


ROUTES = [at("/visit/{visit}", show_visit, name="visit")]
