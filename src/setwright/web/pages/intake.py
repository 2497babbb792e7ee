"""Taking in: whose it is, what it is, what is wished, and the readings as found."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any, Literal

from starlette.requests import Request
from starlette.responses import Response

from setwright.bench import intake
from setwright.bench.intake import Doubt, Intake, NotTakenError
from setwright.bench.owners import instrument_in
from setwright.bench.shop import find_instruments
from setwright.bench.visits import as_left
from setwright.errors import InputError
from setwright.web.frame import bench_of, page, see, units, who
from setwright.web.routes import Form, at

MOST = 30  # instruments that can be chosen on the page; others are looked for on their own page


def show_intake(request: Request) -> Response:
    """The form, with an instrument chosen where the address names one."""
    chosen = next((f"{how}:{id}" for how in ("known", "like") if (id := request.query_params.get(how))), "")
    typed = {"what": chosen, "unit": "in" if units(request) == "inch" else "mm"}
    return _page(request, 200, typed | _left(request, chosen), {})


def _left(request: Request, chosen: str) -> dict[str, str]:
    """How one that was here before was left, to begin with; readings are taken anew."""
    how, _, id = chosen.partition(":")
    try:
        stood = as_left(bench_of(request).shop, id) if how == "known" else None
    except InputError:
        return {}
    if stood is None:
        return {}
    bridge = stood.bridge if stood.bridge in intake.BRIDGES else ""
    return {
        "found.strings": " ".join(stood.strings), "found.tuning": stood.tuning, "found.bridge": bridge,
        "found.springs": str(stood.springs) if stood.springs else "",
    }  # fmt: skip


def _page(
    request: Request, status: int, typed: Mapping[str, str], doubts: Mapping[str, Doubt], sure: Collection[str] = ()
) -> Response:
    bench = bench_of(request)
    how, _, id = typed.get("what", "").partition(":")
    listed = [(one.id, one.name, one.owner) for one in find_instruments(bench.shop)[:MOST]]
    if how in ("known", "like") and id not in {one[0] for one in listed}:
        try:
            one = instrument_in(bench.shop, id)
            listed.insert(0, (one.id, one.name, ""))
            typed = {**typed, "what": f"{how}:{one.id}"}
        except InputError:
            typed = {**typed, "what": ""}
    groups = (
        ("found", "As found", intake.FOUND),
        ("want", "As wanted; what is left empty stays as found", intake.WANT),
    )
    return page(
        request, "intake.html", status, typed=typed, doubts=doubts, sure=sure, listed=listed, groups=groups,
        instrument=intake.INSTRUMENT, patterns=intake.patterns().bridges,
    )  # fmt: skip


def take_intake(request: Request, form: Form) -> Response:
    """Take it in, or show what is wrong with everything that was typed still there."""
    typed = form.typed()
    how, _, named = form.text("what").partition(":")
    source: Literal["new", "like", "known"] = "known" if how == "known" else "like" if how == "like" else "new"
    given: dict[str, Any] = {
        "source": source, "typed": {key: typed.get(key, "") for key in intake.BOXES}, "owner": form.text("owner"),
        "contact": form.text("contact"), "wish": form.text("wish"), "unit": "in" if typed.get("unit") == "in" else "mm",
        "sure": frozenset(form.texts("sure")), "pattern" if source == "new" else "instrument": named,
    }  # fmt: skip
    try:
        added = intake.take_in(bench_of(request).shop, Intake(**given), who(request))
    except NotTakenError as error:
        doubts = {"what" if key == "pattern" else key: doubt for key, doubt in error.doubts.items()}
        return _page(request, 422, typed, doubts, given["sure"])
    except InputError as error:
        return _page(request, 422, typed, {"": Doubt(str(error))})
    return see(request, f"/visit/{added.visit.id}", f"{added.instrument.name} is taken in.")


ROUTES = [at("/take-in", show_intake, take_intake, name="intake")]
