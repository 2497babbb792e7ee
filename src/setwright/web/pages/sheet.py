"""The set-up sheet: what goes on paper, read on the page first; its PDF; that it was handed over."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from setwright.bench.handed import hand_over, mark_of_data
from setwright.bench.paper import Desk, sheet_of_job
from setwright.bench.paper_drawings import drawings_of_job
from setwright.bench.shop import Shown
from setwright.errors import InputError, SetwrightError, StaleEditError
from setwright.frozen import frozen
from setwright.sheets.sheet import PARTS, Paper, Part, SheetData, render
from setwright.telling import Tell, untold
from setwright.web.frame import UNITS, behind, key_of, page, refused, remembered, see, source, units, visit_of, who
from setwright.web.routes import Form, at

KINDS: dict[str, tuple[Part, ...]] = {"all": PARTS} | {part: (part,) for part in PARTS}
CALLED = {"all": "All three", "owner": "Owner's page", "shop": "Shop's page", "tag": "Tag for the case"}
ASKED = ("owner", "case", "recheck", "address", "link", "paper", "plain", "drawn")  # fields of what the desk adds
DRAWN = "The drawings are being made", "The instrument is drawn to scale from all sides, as found and as planned."
LONGEST, LINES = 300, 6  # letters of a field, lines of an address
STALE = "Something was written down since this sheet was shown; look at it again, then hand it over."


@frozen
class Asked:
    """What the desk adds, on which paper. plan: with what was planned and not done; drawn: with all drawings."""

    desk: Desk
    paper: Paper = "a4"
    plan: bool = True
    drawn: bool = False


def _asked(typed: Mapping[str, str]) -> Asked:
    """What was typed, understood.

    Raises: InputError.
    """
    for name in ("owner", "case", "address", "link"):
        said = typed.get(name, "")
        if len(said) > LONGEST:
            raise InputError(f"{name}: {len(said)} letters are too many; up to {LONGEST} fit on the sheet.")
        if not all(sign.isprintable() or (name == "address" and sign in "\r\n") for sign in said):
            raise InputError(f"{name}: there are signs in it that cannot be printed; type it again.")
    lines = tuple(line.strip() for line in typed.get("address", "").splitlines() if line.strip())
    if len(lines) > LINES:
        raise InputError(f"address: {len(lines)} lines are too many; up to {LINES} fit on the sheet.")
    desk = Desk(
        address=lines, case=typed.get("case", ""), owner=typed.get("owner", ""), recheck=_day(typed.get("recheck", "")),
        link=typed.get("link", ""),
    )  # fmt: skip
    return Asked(
        desk, "letter" if typed.get("paper") == "letter" else "a4", not typed.get("plain"), bool(typed.get("drawn"))
    )


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise InputError(f"look again on: {text[:40]!r} is no day; write it as 2027-05-30.") from None


def _typed(request: Request) -> dict[str, str]:
    return {name: request.query_params.get(name, "").strip() for name in ASKED}


def _wanted(request: Request, shown: Shown, asked: Asked) -> tuple[str, Callable[[Tell], SheetData]]:
    """The name of what goes on paper, and how it is worked out."""
    system = units(request) if request.cookies.get(UNITS) else None

    def make(tell: Tell) -> SheetData:
        it = source(request, shown)
        pages = drawings_of_job(it, system, paper=asked.paper, tell=tell) if asked.drawn else ()
        return sheet_of_job(it, desk=asked.desk, units=system, plan=asked.plan, drawings=pages)

    return f"sheet {system} {asked!r}", make


def _data(request: Request, shown: Shown, asked: Asked) -> SheetData:
    """What goes on paper, as far as the visit is now."""
    what, make = _wanted(request, shown, asked)
    return remembered(request, shown.visit.id, what, lambda: make(untold))


def _page(
    request: Request, shown: Shown, typed: dict[str, str], status: int = 200, wrong: str = "", kind: str = "all"
) -> Response:
    data = None
    try:
        data = _data(request, shown, _asked(typed))
    except SetwrightError as error:
        status, wrong = max(status, 422), wrong or refused(error, units(request))
    query = urlencode({name: typed[name] for name in ASKED if typed.get(name)})
    files = {one.sha256: one.id for one in shown.attachments if one.kind == "sheet"}
    return page(
        request, "sheet.html", status, shown=shown, data=data, typed=typed, wrong=wrong, query=query, kinds=CALLED,
        kind=kind, asked=ASKED, mark="" if data is None else mark_of_data(data),
        handed=[(CALLED[one.kind], one.handed_over, one.who, files.get(one.sha256, "")) for one in shown.sheets],
    )  # fmt: skip


def show_sheet(request: Request) -> Response:
    """What would go on paper now; with all drawings that takes seconds."""
    shown, typed = visit_of(request), _typed(request)
    try:
        asked = _asked(typed)
        if asked.drawn:
            plain = f"/visit/{shown.visit.id}/sheet", "To the sheet without drawings"
            what, make = _wanted(request, shown, asked)
            found = behind(request, shown, key_of(request, shown.visit.id, what), make, DRAWN, plain)
            if isinstance(found, Response):
                return found
    except SetwrightError as error:
        return _page(request, shown, typed, 422, refused(error, units(request)))
    return _page(request, shown, typed)


def show_pdf(request: Request) -> Response:
    """A part of the sheet, or all of it, as PDF; nothing is noted by that."""
    shown, kind = visit_of(request), request.path_params["kind"]
    if kind not in KINDS:
        raise HTTPException(404, f"There is no such part of the sheet; there are: {', '.join(KINDS)}.")
    asked = _asked(_typed(request))
    pdf = render(_data(request, shown, asked), asked.paper, KINDS[kind])
    how = "attachment" if request.query_params.get("save") else "inline"
    name = f"visit-{shown.visit.number}-{kind}.sheet.pdf"
    return Response(pdf, headers={"content-disposition": f'{how}; filename="{name}"'}, media_type="application/pdf")


def take_sheet(request: Request, form: Form) -> Response:
    """Note that it was handed over, and keep its PDF with the visit."""
    shown = visit_of(request)
    kind, typed = form.text("kind"), {name: form.text(name) for name in ASKED}
    try:
        if kind not in KINDS:
            raise InputError("no part of the sheet is chosen; choose what is handed over.")
        asked = _asked(typed)
        data = _data(request, shown, asked)
        if form.text("mark") != mark_of_data(data):
            raise StaleEditError(STALE, {}, {})
        hand_over(source(request, shown), data, render(data, asked.paper, KINDS[kind]), KINDS[kind], who=who(request))
    except SetwrightError as error:
        status = 409 if isinstance(error, StaleEditError) else 422
        return _page(request, shown, typed, status, refused(error, units(request)), kind if kind in KINDS else "all")
    return see(
        request, f"/visit/{shown.visit.id}/sheet", f"{CALLED[kind]}: handed over; the PDF is kept with the visit."
    )


ROUTES = [
    at("/visit/{visit}/sheet", show_sheet, take_sheet, name="sheet"),
    at("/visit/{visit}/sheet/{kind}.pdf", show_pdf, name="sheet as PDF"),
]
