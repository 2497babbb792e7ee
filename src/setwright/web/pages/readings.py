"""Readings typed fast: every place with what was read last and what is wanted, a bare number in the unit beside it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from setwright.bench.journals import Kept, made
from setwright.bench.readings_sheet import Group, Habit, Sheet, Spot, checked, habit_of, readings_sheet, said_of
from setwright.bench.shop import Shown
from setwright.bench.together import keep_all, take_back
from setwright.cli.words import note, number, signed_cents
from setwright.errors import InputError, QuestionableError, SetwrightError
from setwright.frozen import frozen, replace
from setwright.units import show_value
from setwright.units.show import System
from setwright.web.frame import page, refused, remembered, see, source, units, visit_of, who
from setwright.web.routes import Form, at
from setwright.web.typed import OTHER, UNITS, completed, unit_of

SHOWN = 12  # entries of the journal below the fields
VERBS = ("note", "read", "did")
MOST = 40  # numbers struck at once
_CONFIRM = re.compile(r" \(?or confirm it with the word sure behind it\)?")
HABIT = ("fret", "low", "at", "high")


@frozen
class Field:
    """A field as a page shows it."""

    spot: Spot
    name: str
    unit: str
    units: tuple[str, ...]
    was: str
    when: str
    wanted: str
    typed: str = ""
    wrong: str = ""
    ask: bool = False  # unlikely: may be confirmed
    sure: bool = False

    @property
    def id(self) -> str:
        """Its name without blanks."""
        return self.name.replace(" ", "-")


@frozen
class Shelf:
    """A group as a page shows it. unit: the one its fields share, "" where they differ."""

    group: Group
    fields: tuple[Field, ...]
    unit: str
    units: tuple[str, ...]
    gauge: str

    @property
    def id(self) -> str:
        """Its key without blanks."""
        return self.group.key.replace(" ", "-")


def show_readings(request: Request) -> Response:
    """The fields."""
    return _page(request, visit_of(request), request.query_params)


def take_readings(request: Request, form: Form) -> Response:
    """Keep what was typed into one group: all of it, or nothing and what is wrong beside the field."""
    shown = visit_of(request)
    sheet = _sheet(request, shown, form.typed())
    group = next((one for one in sheet.groups if one.key == form.text("group")), None)
    if group is None:
        raise InputError("these readings belong to no group of this instrument; load the page again.")
    kept, wrong = keep_spots(request, shown, sheet, group.spots, form)
    if not kept:
        if not wrong:
            wrong = {"": ("nothing is typed; write at least one reading.", False)}
        return _page(request, shown, form.typed(), form, wrong, 422)
    query = _query(sheet)
    back = f"/visit/{shown.visit.id}/readings{query}#{group.key.replace(' ', '-')}"
    return see(request, back, said_kept(kept), undo(shown, kept, "readings"))


def take_line(request: Request, form: Form) -> Response:
    """Keep one entry in the words of the journal: a note, or what has no field."""
    shown = visit_of(request)
    verb = form.text("verb")
    if verb not in VERBS:
        raise InputError("choose whether it is a note, was read, or was done.")
    sheet = _sheet(request, shown, {})
    try:
        entry = made(sheet.job, [verb, form.text("words")], who(request), form.ticked("sure line"))
    except SetwrightError as error:
        ask = isinstance(error, QuestionableError)
        wrong = {"line": (asked_words(error, units(request)), ask)}
        return _page(request, shown, {}, form, wrong, 422)
    kept = keep_all(source(request, shown), [entry], who(request))
    return see(request, f"/visit/{shown.visit.id}/readings#last", said_kept(kept), undo(shown, kept, "readings"))


def keep_spots(
    request: Request, shown: Shown, sheet: Sheet, spots: Sequence[Spot], form: Form, after: int | None = None
) -> tuple[tuple[Kept, ...], dict[str, tuple[str, bool]]]:
    """Keep what a form brought for some places; nothing where anything of it is wrong.

    Args:
        request: with the form.
        shown: the visit.
        sheet: its places.
        spots: those that were asked for.
        form: fields named by `name_of`.
        after: as `keep_all`.
    Returns: what was kept, and what was wrong by the name of its field.
    """
    system = units(request)
    entries, wrong = [], {}
    for spot in spots:
        name = name_of(spot)
        text = form.text(name)
        if not text:
            continue
        unit = unit_of(spot.kind, form.text(f"unit {name}") or form.text("unit"), system)
        gauge = form.text("gauge")
        words = said_of(spot, completed(text, unit), gauge)
        try:
            entries.append(made(sheet.job, [words], who(request), form.ticked(f"sure {name}")))
        except SetwrightError as error:
            wrong[name] = (asked_words(error, system), isinstance(error, QuestionableError))
    if wrong or not entries:
        return (), wrong
    return keep_all(source(request, shown), entries, who(request), after), {}


def asked_words(error: Exception, system: System) -> str:
    """What was wrong with a value; where it may be confirmed there is a box for that.

    Args:
        error: of Setwright.
        system: "inch" or "mm".
    Returns: sentences.
    """
    return _CONFIRM.sub("", refused(error, system))


def name_of(spot: Spot) -> str:
    """The name of the field of a place."""
    return f"v {spot.words}"


def said_kept(kept: Sequence[Kept]) -> str:
    """One sentence about what was kept."""
    first, last = kept[0].entry, kept[-1].entry
    if len(kept) == 1:
        return f"#{first.number} is kept: {first.verb} {first.text}."
    return f"#{first.number} to #{last.number} are kept."


def undo(shown: Shown, kept: Sequence[Kept], to: str) -> str:
    """Where a form takes back what was kept, and the page it leads to."""
    numbers = ",".join(str(one.entry.number) for one in kept)
    return f"/visit/{shown.visit.id}/strike/{numbers}?to={to}"


def take_strike(request: Request, form: Form) -> Response:
    """Strike entries."""
    shown = visit_of(request)
    numbers = _numbers(request.path_params["numbers"])
    reason = " ".join(form.text("reason").split()) or "taken back"
    take_back(source(request, shown), numbers, who(request), reason)
    to = request.query_params.get("to", "")
    told = ", ".join(f"#{one}" for one in numbers)
    path = f"/visit/{shown.visit.id}/{to if to in ('step', 'readings', 'listening') else 'readings'}"
    return see(request, path, f"Struck: {told}. What was written stays readable in the journal.")


def _numbers(text: str) -> list[int]:
    parts = text.split(",")
    if len(parts) > MOST or not all(one.isascii() and one.isdigit() and len(one) < 7 and int(one) for one in parts):
        raise HTTPException(404, "These are no numbers of entries; go back to the readings.")
    return [int(one) for one in parts]


def look(request: Request) -> Response:
    """Whether one reading could be kept, as a small answer for the field it is being typed into."""
    shown = visit_of(request)
    system = units(request)
    words = request.query_params.get("words", "")[:200]
    try:
        sheet = _sheet(request, shown, request.query_params)
        spot = sheet.spot(words)
        unit = unit_of(spot.kind, request.query_params.get("unit", ""), system)
        text = request.query_params.get("text", "")[:200]
        entry = made(sheet.job, [said_of(spot, completed(text, unit), request.query_params.get("gauge", "")[:60])])
    except SetwrightError as error:
        return JSONResponse({"wrong": asked_words(error, system), "ask": isinstance(error, QuestionableError)})
    value = entry.value
    assert value is not None
    return JSONResponse({"read": shown_value(value.kind, value.si, spot, system)})


def shown_value(kind: str, si: float, spot: Spot, system: System) -> str:
    """A value in the reader's units."""
    if kind == "length":
        return number(si, "height", system)
    if kind == "cents":
        return f"{signed_cents(si, 0.1)} c"
    return show_value(si, kind, system)


def _sheet(request: Request, shown: Shown, asked: object) -> Sheet:
    """The places, taken as the page was asked for."""
    whole = remembered(request, shown.visit.id, "readings", lambda: readings_sheet(source(request, shown)))
    habit = _habit(whole, asked)
    if habit == whole.habit:
        return whole
    checked(whole.job, habit)
    make = remembered
    return make(request, shown.visit.id, f"readings {habit}", lambda: readings_sheet(source(request, shown), habit))


def _habit(sheet: Sheet, asked: object) -> Habit:
    """How readings are taken: as chosen on the page, else as the job has it."""
    get = getattr(asked, "get")  # noqa: B009  query or form
    usual = habit_of(sheet.job)
    if not any(get(name) for name in HABIT):
        return usual
    values = {}
    for name in HABIT:
        text = str(get(name) or "").strip()
        if text and not (text.isascii() and text.isdigit() and len(text) < 4):
            raise InputError(f"{text[:20]!r} is no number of a fret; write for instance 12.")
        values[name] = int(text) if text else getattr(usual, name)
    return Habit(**values, straightedge=bool(get("edge")), sides=bool(get("sides")))


def _query(sheet: Sheet) -> str:
    habit = sheet.habit
    if habit == habit_of(sheet.job):
        return ""
    pairs: list[tuple[str, object]] = [(name, getattr(habit, name)) for name in HABIT]
    pairs += [("edge", 1)] * habit.straightedge + [("sides", 1)] * habit.sides
    return "?" + urlencode(pairs)


def _page(
    request: Request, shown: Shown, asked: object, form: Form | None = None,
    wrong: dict[str, tuple[str, bool]] | None = None, status: int = 200,
) -> Response:  # fmt: skip
    odd = ""
    try:
        sheet = _sheet(request, shown, asked)
    except SetwrightError as error:
        odd, status = refused(error, units(request)), 422
        sheet = _sheet(request, shown, {})
    system = units(request)
    groups = [with_notes(one, sheet) for one in sheet.groups]
    shelves = [shelf(one, system, form if form and form.text("group") == one.key else None, wrong or {})
               for one in groups]  # fmt: skip
    return page(
        request, "readings.html", status, shown=shown, sheet=sheet, shelves=shelves, odd=odd, query=_query(sheet),
        nothing=(wrong or {}).get("", ("", False))[0], tried=form.text("group") if form else "",
        line=(wrong or {}).get("line", ("", False)), form=form, verbs=VERBS, last=sheet.last[:SHOWN],
        more=max(0, len(sheet.last) - SHOWN),
    )  # fmt: skip


def with_notes(group: Group, sheet: Sheet) -> Group:
    """A group whose strings are named with the notes they are wanted at.

    Args:
        group: of the sheet.
        sheet: of a job.
    Returns: e.g. "string 3, G3" in place of "string 3".
    """
    notes = {f"string {i + 1}": note(one.si, sheet.reference) for i, one in enumerate(sheet.job.want.tuning)}
    spots = (replace(one, label=f"{one.label}, {notes[one.label]}" if one.label in notes else one.label)
             for one in group.spots)  # fmt: skip
    return replace(group, spots=tuple(spots))


def shelf(group: Group, system: System, form: Form | None, wrong: dict[str, tuple[str, bool]]) -> Shelf:
    """A group with its fields.

    Args:
        group: its places.
        system: "inch" or "mm".
        form: what was typed into it, None where nothing was.
        wrong: by the name of a field.
    Returns: as the template shows it.
    """
    fields = tuple(field(one, system, form, wrong) for one in group.spots)
    kinds = {one.kind for one in group.spots}
    kind = next(iter(kinds)) if len(kinds) == 1 else ""
    unit = unit_of(kind, form.text("unit") if form else "", system) if kind else ""
    return Shelf(group, fields, unit, UNITS.get(kind, ()), form.text("gauge") if form else "")


def field(spot: Spot, system: System, form: Form | None, wrong: dict[str, tuple[str, bool]]) -> Field:
    """A place as a field, with what was read last and what is wanted.

    Args:
        spot: the place.
        system: "inch" or "mm".
        form: what was typed, None where nothing was.
        wrong: by the name of a field.
    Returns: the field.
    """
    name = name_of(spot)
    was, when = _was(spot, system)
    chosen = (form.text(f"unit {name}") or form.text("unit")) if form else ""
    said, ask = wrong.get(name, ("", False))
    typed, sure = (form.text(name), form.ticked(f"sure {name}")) if form else ("", False)
    return Field(spot, name, unit_of(spot.kind, chosen, system), UNITS.get(spot.kind, ()), was, when,
                 _wanted(spot, system), typed, said, ask, sure)  # fmt: skip


def _was(spot: Spot, system: System) -> tuple[str, str]:
    """What was read last, and when."""
    if spot.last is None:
        return ("", "") if spot.found is None else (_as_found(spot, system), "as found")
    value = spot.last.heard or spot.last.value
    assert value is not None
    return shown_value(value.kind, value.si, spot, system), f"#{spot.last.number}, {spot.last.when:%H:%M}"


def _as_found(spot: Spot, system: System) -> str:
    """What the job says, as it was written; a length written in the other system in the reader's."""
    found = spot.found
    assert found is not None
    if found.written.unit not in OTHER[system]:
        return found.written.text
    return number(found.si, "height", system, found.band if found.stated else None)


def _wanted(spot: Spot, system: System) -> str:
    if spot.wanted is None:
        return ""
    if spot.kind == "pitch":
        return f"{show_value(spot.wanted, 'pitch')} ± {spot.tolerance:g} c"
    kind = "cents" if spot.kind == "cents" else "height"
    return number(spot.wanted, kind, system, spot.tolerance)


ROUTES = [
    at("/visit/{visit}/readings", show_readings, take_readings, name="readings"),
    at("/visit/{visit}/readings/look", look),
    at("/visit/{visit}/line", None, take_line),
    at("/visit/{visit}/strike/{numbers}", None, take_strike),
]
