"""Who may come in from the shop's network: benches that were let in, and people who signed in with their PIN.

On the machine itself none of this stands in the way: there the bench answers under the loopback's names only.
"""

from __future__ import annotations

import time

from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection, Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from setwright.bench import signin
from setwright.bench.pairing import NOBODY, Known, known
from setwright.bench.signin import Worker, workers_of
from setwright.errors import InputError, SetwrightError, TooOftenError
from setwright.web.frame import Bench, bench_of, keep, known_of, page, refused, units
from setwright.web.routes import Form
from setwright.web.security import LARGEST_COOKIE, SEAT, Refusals, new_seat, signed

DEVICE, SITTING = "setwright_bench", "setwright_sitting"  # cookies: this bench, and who sits at it
OPEN = ("/static/", "/pair/")  # what whoever is in the network may ask for
SIGN_IN = "/who"
AGAIN = 5.0  # s between two looks whether a stream or a socket may stay open
STRANGER = "This bench is not let in. Ask a lead to let it in, in the settings of a bench that is."
NOT_SIGNED = "Nobody is signed in at this bench; sign in and do it again."
SHUT = "The shop cannot be reached just now; try again in a moment."


class Gate:
    """Lets in only benches the shop knows, and from those only people who signed in."""

    def __init__(self, app: ASGIApp, bench: Bench, refusals: Refusals) -> None:
        self.app = app
        self.bench = bench
        self.refusals = refusals

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        try:
            found = await run_in_threadpool(who_asks, self.bench, scope)
        except SetwrightError as error:
            await run_in_threadpool(self.refusals.tell, str(error), scope)
            await _close(scope, receive, send, PlainTextResponse(SHUT, 503), SHUT)
            return
        scope.setdefault("state", {})["known"] = found
        path: str = scope["path"]
        if path.startswith(OPEN) or found.sitting is not None or (found.device is not None and path == SIGN_IN):
            await self.app(scope, self._watched(scope, receive, send), send)
            return
        reason = STRANGER if found.device is None else NOT_SIGNED
        if found.device is not None and scope.get("method") in ("GET", "HEAD"):
            answer: Response = RedirectResponse(f"{SIGN_IN}?to={_quoted(path)}", 303)
        else:
            await run_in_threadpool(self.refusals.tell, reason, scope)
            answer = await run_in_threadpool(self._door, scope, reason)
        await _close(scope, receive, send, answer, reason)

    def _door(self, scope: Scope, reason: str) -> Response:
        """The page that says why nobody comes in; nothing of the shop stands on it."""
        if scope["type"] == "websocket":
            return PlainTextResponse(reason, 403)
        return page(Request(scope), "stranger.html", 403, reason=reason, again=scope["method"] in ("GET", "HEAD"))

    def _watched(self, scope: Scope, receive: Receive, send: Send) -> Receive:
        """A socket is closed soon after its bench was shut out or its reader signed out."""
        if scope["type"] != "websocket":
            return receive
        looked = time.monotonic()

        async def watched() -> Message:
            nonlocal looked
            message = await receive()
            if message["type"] == "websocket.receive" and time.monotonic() - looked > AGAIN:
                looked = time.monotonic()
                if not await run_in_threadpool(still_in, HTTPConnection(scope)):
                    await send({"type": "websocket.close", "code": 1008, "reason": NOT_SIGNED})
                    return {"type": "websocket.disconnect", "code": 1008}
            return message

        return watched


async def _close(scope: Scope, receive: Receive, send: Send, answer: Response, reason: str) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008, "reason": reason})
    else:
        await answer(scope, receive, send)


def _quoted(path: str) -> str:
    from urllib.parse import quote

    return quote(path, safe="/")


def who_asks(bench: Bench, scope: Scope) -> Known:
    """The bench and the person a request comes from.

    Args:
        bench: what the app works on.
        scope: of the request.
    Returns: them, as far as they are known.
    Raises: InputError, FileFormatError where the shop cannot be read.
    """
    key, seat = (_cookie(scope, name) for name in (DEVICE, SITTING))
    if not key or scope["path"].startswith("/static/"):
        return NOBODY
    works = not scope["path"].endswith("/changes")  # a page that only listens does not keep anybody signed in
    return known(bench.shop, key, seat, works=works)


def _cookie(scope: Scope, name: str) -> str:
    said = HTTPConnection(scope).cookies.get(name, "")
    return said if said.isascii() and len(said) < LARGEST_COOKIE else ""


def still_in(request: HTTPConnection) -> bool:
    """Whether a bench is still let in, and the same person still signed in there.

    Args:
        request: of a stream or a socket that stays open.
    Returns: True or False; always True on the machine itself.
    """
    bench = bench_of(request)
    if not bench.secure:
        return True
    before = known_of(request).sitting
    key, seat = (_cookie(request.scope, name) for name in (DEVICE, SITTING))
    now = known(bench.shop, key, seat, works=False).sitting
    return now is not None and before is not None and (now.worker.id, now.began) == (before.worker.id, before.began)


def show_sign_in(request: Request, to: str) -> Response:
    """Who works here, or the PIN of one of them.

    Args:
        request: of the page.
        to: where it goes on from here.
    Returns: the page.
    """
    return _asked(request, request.query_params.get("person", ""), to)


def _asked(request: Request, person: str, to: str, status: int = 200, wrong: str = "") -> Response:
    people = workers_of(bench_of(request).shop)
    chosen: Worker | None = next((one for one in people if one.id == person), None)
    lengths = (signin.LEAST, signin.MOST)
    return page(
        request, "signin.html", status, people=people, chosen=chosen, to=to, wrong=wrong, lengths=lengths,
        digits=signin.CODE, first_lead=chosen is not None and chosen.role == signin.LEAD and not chosen.pin,
    )  # fmt: skip


def take_sign_in(request: Request, form: Form, to: str) -> Response:
    """Sign somebody in at this bench; browser and bench get names of their own anew.

    Args:
        request: that brought the form.
        form: person, pin; where it is the first, the PIN again and the code of a lead.
        to: where it goes on from here.
    Returns: the way there, or the page with what was wrong.
    """
    bench, device = bench_of(request), known_of(request).device
    assert device is not None  # the gate lets nobody else come here
    try:
        person, pin, again, code = (form.text(name) for name in ("person", "pin", "again", "code"))
        _, key = signin.sign_in(bench.shop, device, person, pin, again, code)
    except InputError as error:
        status = 429 if isinstance(error, TooOftenError) else 422
        return _asked(request, form.text("person"), to, status, refused(error, units(request)))
    answer = RedirectResponse(to, 303)
    hold(answer, SITTING, key, None)
    keep(answer, bench, SEAT, signed(bench.key, "seat", new_seat()))
    return answer


def take_sign_out(request: Request, form: Form) -> Response:
    """Sign out whoever sits here."""
    bench, here = bench_of(request), known_of(request)
    answer = RedirectResponse(SIGN_IN, 303)
    if here.device is not None:
        signin.sign_out(bench.shop, here.device, "" if here.sitting is None else here.sitting.worker.name)
    answer.delete_cookie(SITTING)
    keep(answer, bench, SEAT, signed(bench.key, "seat", new_seat()))
    return answer


def hold(answer: Response, name: str, secret: str, seconds: int | None) -> None:
    """Let the browser of a bench keep a secret: out of reach of scripts, over TLS only, never sent from other pages.

    Args:
        answer: that carries it.
        name: of the cookie.
        secret: it.
        seconds: None until the browser is closed.
    """
    answer.set_cookie(name, secret, seconds, httponly=True, samesite="strict", secure=True)
