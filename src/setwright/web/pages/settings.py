"""Settings of this browser: units, paper or slate. They are kept as cookies; nothing of it is in the shop. From here
leads come to people, benches and what happened."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from setwright.web.frame import GROUND, GROUNDS, UNITS, at_bench, bench_of, keep, page, see
from setwright.web.routes import Form, at

SYSTEMS = {"": "those each job is written in", "mm": "millimetres and newtons", "inch": "inches, thou and pounds"}
GROUND_WORDS = {"": "as this machine is set", "paper": "paper, for bright light", "slate": "slate, for a dark shop"}
CHOICES = (
    ("units", UNITS, "Units", SYSTEMS, ("inch", "mm")),
    ("ground", GROUND, "Ground", GROUND_WORDS, GROUNDS),
)


def show_settings(request: Request) -> Response:
    """What this browser is set to."""
    now = {name: request.cookies.get(cookie, "") for name, cookie, *_ in CHOICES}
    return page(request, "settings.html", choices=CHOICES, now=now, at_bench=at_bench(request))


def take_settings(request: Request, form: Form) -> Response:
    """Keep what was chosen; what is none of the choices is as the machine has it."""
    bench = bench_of(request)
    answer = see(request, "/settings", "Kept for this browser.")
    for name, cookie, _, _, known in CHOICES:
        chosen = form.text(name)
        if chosen in known:
            keep(answer, bench, cookie, chosen)
        else:
            answer.delete_cookie(cookie)
    return answer


ROUTES = [at("/settings", show_settings, take_settings, name="settings")]
