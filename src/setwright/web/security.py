"""What keeps strangers out: signed cookies, the token in every form, whose host and origin is answered, headers."""

from __future__ import annotations

import hashlib
import hmac
import logging
import re
import secrets
import threading
import time
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Callable, Sequence
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from setwright.errors import SetwrightError

LOG = logging.getLogger("setwright.web")
LOOPBACK = ("localhost", "127.0.0.1", "[::1]")
SEAT = "setwright_seat"  # cookie: this browser, so that a form of one cannot be sent by another
LARGEST_COOKIE = 4000
POLICY = (
    "default-src 'self'; img-src 'self' blob:; media-src 'self' blob:; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "microphone=(self), camera=(), geolocation=(), payment=(), usb=()",
}
FEW, MINUTE, KINDS = 5, 60.0, 200  # refusals of a kind that are told in so many seconds, and kinds kept apart
_SAFE = ("GET", "HEAD")
_SEAT = re.compile(r"[A-Za-z0-9_-]{22}")


def signed(key: bytes, purpose: str, text: str) -> str:
    """A text that only this shop's bench can have written, fit for a cookie.

    Args:
        key: of the bench.
        purpose: what it is for; a text signed for another purpose is not taken.
        text: any.
    Returns: signs of the alphabet of base 64 and a point.
    """
    body = urlsafe_b64encode(text.encode("utf-8", "replace")).decode().rstrip("=")
    return f"{body}.{_mac(key, purpose, body)}"


def unsigned(key: bytes, purpose: str, text: str | None) -> str | None:
    """The text that was signed.

    Args:
        key: of the bench.
        purpose: what it was signed for.
        text: as it came back, or None.
    Returns: the text; None where nothing came or somebody else wrote it.
    """
    if not text or len(text) > LARGEST_COOKIE or not text.isascii():
        return None
    body, _, mac = text.rpartition(".")
    if not hmac.compare_digest(mac, _mac(key, purpose, body)):
        return None
    return urlsafe_b64decode(body + "=" * (-len(body) % 4)).decode("utf-8")


def _mac(key: bytes, purpose: str, body: str) -> str:
    digest = hmac.new(key, f"{purpose}:{body}".encode(), hashlib.sha256).digest()
    return urlsafe_b64encode(digest[:18]).decode()


def new_seat() -> str:
    """A name for a browser that comes for the first time.

    Returns: 22 signs by chance.
    """
    return secrets.token_urlsafe(16)


def seat_of(key: bytes, cookie: str | None) -> str | None:
    """The browser a cookie names.

    Args:
        key: of the bench.
        cookie: as it came, or None.
    Returns: its name; None where the bench did not give it.
    """
    seat = unsigned(key, "seat", cookie)
    return seat if seat is not None and _SEAT.fullmatch(seat) else None


def token_of(key: bytes, seat: str) -> str:
    """What every form of a browser carries.

    Args:
        key: of the bench.
        seat: name of the browser.
    Returns: the token.
    """
    return _mac(key, "form", seat)


def is_token(key: bytes, seat: str | None, token: str) -> bool:
    """Whether a form came from a page this bench gave to this browser.

    Args:
        key: of the bench.
        seat: name of the browser, or None.
        token: as the form carried it.
    Returns: True or False.
    """
    return seat is not None and hmac.compare_digest(token.encode("utf-8", "replace"), token_of(key, seat).encode())


class Refusals:
    """Tells the terminal and the shop what was refused, a few of a kind each minute, so that nobody fills either."""

    def __init__(self, note: Callable[[str], None]) -> None:
        self._note = note
        self._lock = threading.Lock()
        self._since: dict[str, tuple[float, int]] = {}

    def tell(self, reason: str, scope: Scope) -> None:
        """Tell of one.

        Args:
            reason: why it was refused.
            scope: of what was refused.
        """
        with self._lock:
            now, known = time.monotonic(), self._since.get(reason)
            since, count = known if known is not None and now - known[0] < MINUTE else (now, 0)
            self._since[reason] = (since, count + 1)
            if len(self._since) > KINDS:
                self._since.clear()
        if count >= FEW:
            return
        client = scope.get("client")
        what = f"{scope.get('method', 'socket')} {shown_path(scope['path'])} from {client[0] if client else 'nowhere'}"
        more = "; more of this kind within the minute are not told" if count == FEW - 1 else ""
        LOG.warning("refused: %s: %s%s", what, reason, more)
        try:
            self._note(f"{what}: {reason}{more}")
        except SetwrightError as error:
            LOG.warning("this could not be noted in the shop: %s", error)


def shown_path(path: str) -> str:
    """A path as a log may hold it.

    Args:
        path: as it came.
    Returns: its beginning without what cannot be printed, and without the secret of a way in.
    """
    said = "/pair/..." if path.startswith("/pair/") else path[:100]
    return "".join(sign if sign.isprintable() and sign != " " else "?" for sign in said)


class Guard:
    """Answers only whom it may: a known host, a page of its own; puts the headers on what is answered.

    A name of another host that leads to this machine is refused, and so is a form or a socket opened by a page from
    elsewhere, whatever cookies come with it.
    """

    def __init__(self, app: ASGIApp, hosts: Sequence[str], refusals: Refusals) -> None:
        self.app = app
        self.hosts = frozenset(hosts)
        self.refusals = refusals

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        reason = self._reason(scope, headers)
        if reason:
            await run_in_threadpool(self.refusals.tell, reason, scope)
        if reason and scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008, "reason": reason})
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    out.setdefault(name, value)
                out.setdefault("cache-control", "no-store")
            await send(message)

        if reason:
            await PlainTextResponse(reason, 403)(scope, receive, with_headers)
        else:
            await self.app(scope, receive, with_headers)

    def _reason(self, scope: Scope, headers: Headers) -> str:
        """Why nothing is answered, or ""."""
        host = headers.get("host", "")
        if _name(host) not in self.hosts:
            return "This bench answers under its own name only; open the address it printed when it started."
        if any("\ud800" <= sign <= "\udfff" for sign in scope["path"]):
            return "This address is no text; open the bench's own pages."
        if scope["type"] == "http" and scope["method"] in _SAFE:
            return ""
        origin = headers.get("origin")
        if origin is None:
            elsewhere = scope["type"] == "websocket" or headers.get("sec-fetch-site", "same-origin") != "same-origin"
        else:
            elsewhere = not _same(origin, scope["scheme"], host)
        return "This was sent by a page from elsewhere; open the bench's own page and do it there." if elsewhere else ""


def _same(origin: str, scheme: str, host: str) -> bool:
    """Whether a page is one of the bench's own."""
    try:
        said = urlsplit(origin)
    except ValueError:
        return False
    return (said.scheme, said.netloc) == ("https" if scheme in ("https", "wss") else "http", host)


def _name(host: str) -> str:
    """A host without its port."""
    name, colon, port = host.rpartition(":")
    return name if colon and port.isdigit() and (not name.count(":") or name[:1] == "[") else host
