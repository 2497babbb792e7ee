"""What tells an open page that something changed: server-sent events, one short line each time.

The shop is looked at once a second while anybody listens, so that what another bench or the command line wrote is told
as well. A browser that lost the network comes back by itself and is told at once where things stand.
"""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator, Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from setwright.bench.day import mark_of, marks_of
from setwright.errors import SetwrightError
from setwright.web.frame import bench_of, who
from setwright.web.memory import one_for_all
from setwright.web.signin import AGAIN, still_in

EVERY = 1.0  # s between two looks at the shop
ALIVE = 15.0  # s, after which a line without meaning keeps the connection open
GONE = 20.0  # s after which somebody who listened no longer counts as present
MOST = 200  # pages that listen at the same time


class Presence:
    """Who has which visit open now."""

    def __init__(self) -> None:
        self._seen: dict[tuple[str, str], float] = {}
        self._looked: dict[str, tuple[float, Any]] = {}
        self.listening = 0

    def seen(self, visit: str, name: str) -> None:
        """Somebody has a visit open."""
        if name:
            self._seen[(visit, name)] = time.monotonic()

    def on(self, visit: str) -> tuple[str, ...]:
        """Who has a visit open, by name."""
        since = time.monotonic() - GONE
        self._seen = {key: at for key, at in self._seen.items() if at > since}
        return tuple(sorted(name for where, name in self._seen if where == visit))

    def look(self, visit: str, look: Callable[[], Any], fresh: bool = False) -> Any:
        """How far a visit is, or all open ones; many pages that listen share one look.

        Args:
            visit: its id, "" for all open ones.
            look: asks the shop.
            fresh: it is asked in any case, as for a page that was loaded just now.
        Returns: what it said, within the last second.
        """
        at, found = self._looked.get(visit, (-EVERY, None))
        if fresh or time.monotonic() - at >= 0.9 * EVERY:
            begun = time.monotonic()
            found = look()
            at, newest = self._looked.get(visit, (-EVERY, None))
            if at > begun:  # another look was begun later and is over already
                return newest
            if len(self._looked) > MOST:
                self._looked.clear()
            self._looked[visit] = (begun, found)
        return found


def presence(request: Request) -> Presence:
    """Who is present at this bench.

    Args:
        request: of a page.
    Returns: the same object for every request.
    """
    return one_for_all(request, "presence", Presence)


async def _changes(request: Request) -> Response:
    """Tell of every change of a visit, or of any open visit."""
    here = presence(request)
    if here.listening >= MOST:
        raise HTTPException(429, "Too many pages listen at once; close some, the others show changes when loaded.")
    visit = request.path_params.get("visit", "")
    if visit:
        await run_in_threadpool(_look, request, visit)  # refuses an unknown visit before the answer begins
    headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
    return StreamingResponse(_events(request, visit, here), media_type="text/event-stream", headers=headers)


def _look(request: Request, visit: str) -> Any:
    bench = bench_of(request)
    try:
        return mark_of(bench.shop, visit) if visit else marks_of(bench.shop)
    except SetwrightError as error:
        raise HTTPException(404, str(error)) from None


async def _events(request: Request, visit: str, here: Presence) -> AsyncIterator[str]:
    here.listening += 1
    name = who(request)
    last, told = None, time.monotonic()
    try:
        yield "retry: 2000\n\n"
        looked = time.monotonic()
        while not getattr(request.app.state, "leaving", False):
            if time.monotonic() - looked > AGAIN:
                looked = time.monotonic()
                if not await run_in_threadpool(still_in, request):
                    break
            if visit:
                here.seen(visit, name)
            now = await run_in_threadpool(here.look, visit, lambda: _look(request, visit), last is None)
            if now != last:
                kind, last = "start" if last is None else "change", now
                told = time.monotonic()
                yield f"event: {kind}\ndata: {json.dumps(_told(now))}\n\n"
            elif time.monotonic() - told > ALIVE:
                told = time.monotonic()
                yield ": here\n\n"
            await asyncio.sleep(EVERY)
    finally:
        here.listening -= 1


def _told(now: Any) -> str:
    """One word that is another one for every other state."""
    marks = now if isinstance(now, tuple) else (now,)
    return " ".join(f"{one.visit}:{one.version}:{one.entries}" for one in marks)


ROUTES = [Route("/changes", _changes), Route("/visit/{visit}/changes", _changes)]
