"""Instruments of the shop, and the life of one: visits, as found and as left, parts, photos, what is open."""

from __future__ import annotations

from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from setwright.bench.attachments import attach, attachment_in
from setwright.bench.history import since_last
from setwright.bench.life import Life, life_of
from setwright.bench.owners import edit_instrument, edit_owner, find_owners
from setwright.bench.shop import find_instruments
from setwright.cli.history_terms import U, amount, name, shown
from setwright.errors import InputError, SetwrightError, StaleEditError
from setwright.frozen import frozen
from setwright.web.frame import bench_of, page, refused, see, units, who
from setwright.web.memory import Memory, one_for_all
from setwright.web.routes import Form, at

LIVES = 1000  # visits whose journals are remembered
LARGEST = 25_000_000  # bytes of a photo with its form
KNOWN = ("name", "maker", "model", "serial", "colour")
OWNED = ("name", "contact", "note")
SHOWN = ("image/", "audio/")  # what a browser may show of a file; all else is given as a file
SEALED = "default-src 'none'; img-src 'self'; media-src 'self'; style-src 'unsafe-inline'; sandbox"


def show_instruments(request: Request) -> Response:
    """All instruments, or those that are looked for."""
    find = request.query_params.get("find", "").strip()
    try:
        found, wrong = find_instruments(bench_of(request).shop, find), ""
    except InputError as error:
        found, wrong = (), refused(error, units(request))
    return page(request, "instruments.html", 422 if wrong else 200, found=found, find=find, wrong=wrong)


def _life(request: Request) -> Life:
    chosen = request.cookies.get("setwright_units")
    try:
        return life_of(
            bench_of(request).shop, request.path_params["instrument"], units(request) if chosen else None,
            keeping=one_for_all(request, "lives", lambda: Memory(LIVES)).get,
        )  # fmt: skip
    except InputError as error:
        raise HTTPException(404, str(error)) from None


def _page(
    request: Request, life: Life, status: int = 200, wrong: str = "", typed: dict[str, str] | None = None
) -> Response:
    said = typed if typed is not None else {key: getattr(life.instrument, key) for key in KNOWN}
    owners = find_owners(bench_of(request).shop)
    drift = _drift(request, life) if len(life.visits) > 1 else None
    return page(request, "instrument.html", status, life=life, wrong=wrong, typed=said, owners=owners, drift=drift)


@frozen
class Drift:
    """What changed by itself between the last two visits. rows: what, as left, as found, change; still: how many
    readings show no change."""

    since: str
    rows: tuple[tuple[str, str, str, str], ...]
    still: int


def _drift(request: Request, life: Life) -> Drift | None:
    """What changed since the last visit, None where nothing was read alike at both."""
    system = units(request)
    found = since_last(bench_of(request).shop, life.instrument.id)
    if not found.changes:
        return None
    rows = []
    for one in sorted((one for one in found.changes if one.seen), key=lambda one: one.key):
        moved = amount(one.change, "cents" if one.key.kind == "pitch" else one.key.kind, U * one.sd, system)
        rows.append((name(one.key), shown(one.key, one.before, system), shown(one.key, one.now, system), moved))
    return Drift(found.before.came, tuple(rows), len(found.changes) - len(rows))


def show_instrument(request: Request) -> Response:
    """The life of an instrument."""
    return _page(request, _life(request))


def take_instrument(request: Request, form: Form) -> Response:
    """Change what is known of an instrument."""
    life, bench = _life(request), bench_of(request)
    changes: dict[str, Any] = {key: form.text(key) for key in (*KNOWN, "owner") if key in form.typed()}
    try:
        version = form.number("version")
        kept = edit_instrument(bench.shop, life.instrument.id, version, who(request), **changes)
    except SetwrightError as error:
        return _page(
            request,
            life,
            409 if isinstance(error, StaleEditError) else 422,
            refused(error, units(request)),
            form.typed(),
        )
    return see(request, f"/instrument/{kept.id}", "What is known of it is kept.")


def take_owner(request: Request, form: Form) -> Response:
    """Change what is known of the owner of an instrument."""
    life, bench = _life(request), bench_of(request)
    if life.owner is None:
        raise HTTPException(409, "This instrument has no owner any more; look at it again.")
    changes = {key: form.text(key) for key in OWNED if key in form.typed()}
    try:
        edit_owner(bench.shop, life.owner.id, form.number("version"), who(request), **changes)
    except SetwrightError as error:
        return _page(request, life, 409 if isinstance(error, StaleEditError) else 422, refused(error, units(request)))
    return see(request, f"/instrument/{life.instrument.id}", "What is known of the owner is kept.")


def take_photo(request: Request, form: Form) -> Response:
    """Keep a photo with the instrument; where it was taken, and by what, is taken out of it."""
    life = _life(request)
    path = f"/instrument/{life.instrument.id}"
    wrong = kept_photo(request, form, instrument=life.instrument.id)
    if wrong:
        return _page(request, life, 422, wrong)
    return see(request, f"{path}#photos", "The photo is kept.")


def kept_photo(request: Request, form: Form, visit: str = "", instrument: str = "") -> str:
    """Keep the photo of a form.

    Args:
        request: that brought it.
        form: with the file "photo".
        visit, instrument: which it belongs to.
    Returns: why it was not kept, "" where it was.
    """
    photo = form.file("photo")
    if photo is None:
        return "No photo is chosen; choose one, JPEG, PNG or WebP."
    file = (photo.filename or "").replace("\\", "/").rpartition("/")[2]
    try:
        attach(bench_of(request).shop, "photo", file, photo.file, visit, instrument, who(request))
    except InputError as error:
        return refused(error, units(request))
    return ""


def show_file(request: Request) -> Response:
    """A file that is kept; what is in it is never run."""
    try:
        found, content = attachment_in(bench_of(request).shop, request.path_params["file"])
    except InputError as error:
        raise HTTPException(404, str(error)) from None
    may = found.media_type.startswith(SHOWN)
    kind = found.media_type if may or found.media_type == "application/pdf" else "application/octet-stream"
    plain = "".join(sign if sign.isascii() and (sign.isalnum() or sign in "._- ") else "_" for sign in found.name)
    headers = {
        "content-security-policy": SEALED, "cache-control": "private, max-age=31536000, immutable",
        "content-disposition": f'{"inline" if may else "attachment"}; filename="{plain}"',
    }  # fmt: skip
    return Response(content, headers=headers, media_type=kind)


ROUTES = [
    at("/instruments", show_instruments, name="instruments"),
    at("/instrument/{instrument}", show_instrument, take_instrument, name="instrument"),
    at("/instrument/{instrument}/owner", take=take_owner),
    at("/instrument/{instrument}/photo", take=take_photo, largest=LARGEST),
    at("/file/{file}", show_file, name="file"),
]
