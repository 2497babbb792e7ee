"""Listening: the microphone, what it hears written down, and recordings that are sent to be heard."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from setwright.bench.heard_take import HeardTake, hear_take
from setwright.bench.hearing import write_down
from setwright.bench.live import write_note
from setwright.bench.shop import Shown
from setwright.cli.hear import kinds_of
from setwright.cli.hear_table import HEAD, note_row
from setwright.cli.words import sentence
from setwright.errors import QuestionableError, SetwrightError
from setwright.web import ear
from setwright.web.ear import ears_of, marks_for, plain_marks
from setwright.web.frame import page, refused, seat_of_request, see, source, units, visit_of, who
from setwright.web.inline import inline
from setwright.web.routes import Form, at
from setwright.web.takes import Taken, takes_of

LARGEST = 250_000_000  # bytes of a recording with its form; an hour of 24 bits at 22 kHz, 25 minutes at 48 kHz
KINDS = (("open", "open strings"), ("harmonic", "harmonics at fret 12"), ("fretted", "fretted notes"))
NOTHING = "No recording is chosen; choose one: wav, flac, ogg, opus, mp3, aiff or caf."
NOT_HEARD = "Nothing was heard yet; play a string and let it ring."


def show_listening(request: Request) -> Response:
    """The page of the microphone."""
    return _page(request, visit_of(request))


def _page(request: Request, shown: Shown, status: int = 200, wrong: str = "") -> Response:
    marks = marks_for(request, shown.visit.id)
    files = [one for one in shown.attachments if one.kind == "recording"]
    return page(
        request, "listening.html", status, shown=shown, marks=plain_marks(marks), files=files, wrong=wrong,
        kinds=KINDS,
    )  # fmt: skip


def take_recording(request: Request, form: Form) -> Response:
    """Begin to hear a recording that was sent."""
    shown = visit_of(request)
    found = form.file("recording")
    if found is None:
        return _page(request, shown, 422, NOTHING)
    job = source(request, shown)
    try:
        played = kinds_of(" ".join(form.texts("played")) or None)
        key = takes_of(request).add(
            shown.visit.id, found.filename or "", found.file, lambda path, tell: hear_take(job, path, played, tell)
        )
    except SetwrightError as error:
        return _page(request, shown, 422, refused(error, units(request)))
    return see(request, f"/visit/{shown.visit.id}/take/{key}")


def take_note(request: Request, form: Form) -> Response:
    """Write the last note of a page's microphone down; the page shows the answer."""
    shown = visit_of(request)
    played = ears_of(request).played(seat_of_request(request), shown.visit.id, form.text("ear"))
    if played is None:
        return JSONResponse({"wrong": NOT_HEARD}, 422)
    name = f"string-{played.string}-{datetime.now():%Y%m%d-%H%M%S}.wav" if form.ticked("record") else ""
    try:
        kept = write_note(source(request, shown), played, name, form.ticked("sure"), who(request))
    except SetwrightError as error:
        asks = isinstance(error, QuestionableError)
        return JSONResponse({"wrong": refused(error, units(request)), "ask": asks}, 422)
    number = kept[0].number
    back = f"/visit/{shown.visit.id}/strike/{number}?to=listening"
    return JSONResponse({"said": f"#{number} is kept: {kept[0].text.partition(', recorded')[0]}.", "back": back})


def _taken(request: Request, shown: Shown) -> tuple[str, Taken]:
    key = request.path_params["take"]
    found = takes_of(request).get(shown.visit.id, key)
    if found is None:
        raise HTTPException(404, "This recording is not here any more; send it again on the page Listening.")
    return key, found


def show_take(request: Request) -> Response:
    """A recording: how far it is heard, or what was heard."""
    shown = visit_of(request)
    return _take_page(request, shown, *_taken(request, shown))


def _take_page(
    request: Request, shown: Shown, key: str, taken: Taken, status: int = 200, wrong: str = ""
) -> Response:  # fmt: skip
    if taken.wrong is not None:
        if not isinstance(taken.wrong, SetwrightError):
            raise taken.wrong
        wrong = refused(taken.wrong, units(request))
    heard = taken.heard
    return page(
        request, "take.html", status, shown=shown, key=key, taken=taken, wrong=wrong,
        told=told_of(heard) if heard is not None else None, head=HEAD,
        drawing=inline(heard.drawing) if heard is not None and heard.drawing else "",
    )  # fmt: skip


def told_of(take: HeardTake) -> dict[str, Any]:
    """A take in words.

    Args:
        take: as heard.
    Returns: rows of its table; doubts and what was left out by time; remarks; whether anything can be written.
    """
    good = [one for one in take.hearing.notes if one.note.refused is None]
    out = [one for one in take.hearing.notes if one.note.refused is not None]
    return {
        "rows": [note_row(one, take.reference) for one in good],
        "doubts": [(note_row(one, take.reference)[0], one.doubt) for one in good if one.doubt],
        "left": [(note_row(one, take.reference)[0], one.note.refused) for one in out],
        "remarks": [sentence(one) for one in (*take.hearing.missing, *take.hearing.remarks)],
        "some": any(one.string is not None and not one.doubt for one in good),
    }


def take_take(request: Request, form: Form) -> Response:
    """Write what was heard in a recording down, or put it aside."""
    shown = visit_of(request)
    key, taken = _taken(request, shown)
    back = f"/visit/{shown.visit.id}/listening"
    if form.text("do") != "write":
        takes_of(request).drop(key)
        return see(request, back, "The recording is put aside.")
    if taken.heard is None:
        return _take_page(request, shown, key, taken, 409, "It is not heard to its end yet; wait a little.")
    try:
        kept = write_down(
            taken.heard.hearing, source(request, shown), who=who(request), recording=str(taken.path)
        )  # fmt: skip
    except SetwrightError as error:
        return _take_page(request, shown, key, taken, 422, refused(error, units(request)))
    takes_of(request).drop(key)
    left = f" {kept.left} in doubt stayed out." if kept.left else ""
    many = len(kept.entries)
    return see(request, back, f"{many} reading{'' if many == 1 else 's'} written, with the recording.{left}")


ROUTES = [
    *ear.ROUTES,
    at("/visit/{visit}/listening", show_listening, take_recording, largest=LARGEST, name="listening"),
    at("/visit/{visit}/listening/note", take=take_note),
    at("/visit/{visit}/take/{take}", show_take, take_take, name="take"),
]
