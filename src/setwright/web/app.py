"""The application: the pages of all modules in `pages`, what stands before them, and errors as pages."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, suppress

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route, WebSocketRoute
from starlette.types import Receive, Scope, Send

from setwright.bench.audit import note
from setwright.bench.opening import held, opened
from setwright.errors import FileFormatError, NoPlanError, SetwrightError, StaleEditError, TooOftenError
from setwright.web import live, pairing, people, static
from setwright.web.frame import HERE, OF_VISIT, PLACES, Bench, page, refused, units
from setwright.web.memory import Memory
from setwright.web.security import LOOPBACK, Guard, Refusals
from setwright.web.signin import Gate

LOG = logging.getLogger("setwright.web")
TITLES = {
    403: "Not from here", 404: "There is no such page", 405: "Not this way", 409: "Changed meanwhile",
    413: "Too large", 415: "Not a form", 422: "Not taken", 429: "Too often", 500: "A fault of the bench",
}  # fmt: skip
ALWAYS = [*(path for path, _ in PLACES), *(f"/visit/{{visit}}{path}" for path, _ in OF_VISIT)]
IDLE = 0.5  # s
TOLD = (400, 403, 405, 413, 415, 429)  # refusals that are told to the terminal and noted in the shop
BROKEN = (
    "The bench app made a mistake here; what was kept before is kept. Go back and try again; if it happens again, the "
    "terminal the bench was started in says more."
)
UNKNOWN = {404: "Nothing is at this address; go back to the day.", 405: "This address does not take that."}


def bench(
    shop: str, key: bytes, hosts: Sequence[str] = LOOPBACK, secure: bool = False, base: str = "", fingerprint: str = ""
) -> Bench:
    """What the app works on.

    Args:
        shop: folder or URL.
        key: 32 bytes by chance, the same after the next start, or open pages cannot send their forms.
        hosts: names under which it answers, without port.
        secure: it is reached over TLS only, in the shop's network, by benches that were let in.
        base: where those find it, e.g. "https://192.168.1.7:8400".
        fingerprint: of its certificate.
    Returns: the bench.
    Raises: InputError, FileFormatError where the shop cannot be opened.
    """
    with opened(shop) as found:
        name, shown = found.name, found.place.shown
    return Bench(
        shop, shown, key, name, tuple(hosts), Memory(), static.shelf(HERE / "static"), secure, base, fingerprint
    )


def application(
    bench: Bench, routes: Sequence[BaseRoute] | None = None, later: Callable[[], Sequence[BaseRoute]] | None = None
) -> Starlette:
    """The bench app.

    Args:
        bench: what it works on.
        routes: its pages; all of them where None.
        later: gives more pages, which take a while to load: they are once the first page was answered, or asked for.
    Returns: the application, to be served or tested.
    """
    if routes is None:
        from setwright.web.pages import ROUTES

        routes = ROUTES
    pages = [*static.ROUTES, *people.ROUTES, *pairing.ROUTES, *live.ROUTES, *routes]
    refusals = Refusals(lambda words: note(bench.shop, "refused", words=words))
    gate = [Middleware(Gate, bench=bench, refusals=refusals)] if bench.secure else []
    wanted, there = asyncio.Event(), asyncio.Event()

    @asynccontextmanager
    async def alive(app: Starlette) -> AsyncIterator[None]:
        with held(bench.shop):
            loading = None if later is None else asyncio.create_task(_load(app, later, wanted, there))
            yield
            bench.memory.stop()
            if loading is not None:
                loading.cancel()

    made = Starlette(
        routes=pages,
        middleware=[
            Middleware(Guard, hosts=bench.hosts, refusals=refusals),
            *gate,
            Middleware(GZipMiddleware, minimum_size=800),
        ],
        exception_handlers={HTTPException: _refuse, SetwrightError: _refuse, Exception: _fault},
        lifespan=alive,
    )
    nothing = made.router.default

    async def patient(scope: Scope, receive: Receive, send: Send) -> None:
        """What no page is found for, before all are loaded, waits for them."""
        if later is None or there.is_set():
            await nothing(scope, receive, send)
            return
        wanted.set()
        await there.wait()
        await made.router.app(scope, receive, send)

    made.router.default = patient
    made.router.redirect_slashes = False
    made.state.bench = bench
    made.state.refusals = refusals
    made.state.paths = frozenset(ALWAYS) if later is not None else _paths(pages)
    return made


async def _load(
    app: Starlette, later: Callable[[], Sequence[BaseRoute]], wanted: asyncio.Event, there: asyncio.Event
) -> None:
    """Bring in the pages that take a while, when one of them is asked for or nobody has been waiting for a moment."""
    with suppress(TimeoutError):
        await asyncio.wait_for(wanted.wait(), IDLE)
    try:
        more = await run_in_threadpool(later)
        known = _paths(app.router.routes)
        app.router.routes.extend(one for one in more if not _paths([one]) <= known)
        app.state.paths = _paths(app.router.routes)
    except Exception as error:
        LOG.error("some pages could not be loaded", exc_info=error)
    finally:
        there.set()


def _paths(routes: Sequence[BaseRoute]) -> frozenset[str]:
    return frozenset(one.path for one in routes if isinstance(one, Route | WebSocketRoute))


def status_of(error: Exception) -> int:
    """The status of an answer that refuses.

    Args:
        error: why.
    Returns: e.g. 422.
    """
    if isinstance(error, HTTPException):
        return error.status_code
    if isinstance(error, TooOftenError):
        return 429
    return 409 if isinstance(error, StaleEditError) else 422


async def _refuse(request: Request, error: Exception) -> Response:
    """Say in one sentence on a page what was wrong."""
    status = status_of(error)
    if isinstance(error, HTTPException):
        usual = UNKNOWN.get(status, BROKEN if status >= 500 else "")
        said = usual if error.detail in ("", "Not Found", "Method Not Allowed") else refused(error_of(error), "mm")
    else:
        said = refused(error, units(request))
    if status in TOLD:
        await run_in_threadpool(request.app.state.refusals.tell, said, request.scope)
    misses = error.misses if isinstance(error, NoPlanError) else ()
    if isinstance(error, FileFormatError):
        LOG.warning("%s %s: %s", request.method, request.url.path, error)
    return await run_in_threadpool(_page, request, status, said, misses)


def error_of(error: HTTPException) -> Exception:
    """The sentence of an HTTP error alone."""
    return Exception(error.detail)


def _page(request: Request, status: int, said: str, misses: Sequence[tuple[str, str]] = ()) -> Response:
    title = TITLES.get(status, "Not taken")
    return page(request, "error.html", status, title=title, words=said, misses=misses)


async def _fault(request: Request, error: Exception) -> Response:
    LOG.error("%s %s", request.method, request.url.path, exc_info=error)
    return _page(request, 500, BROKEN)
