"""The microphone of a page: blocks of sound come in over a socket, what is heard goes back at once.

A block is the number of the block and the rate [Hz] in four bytes each, a whole number and a float, then its samples as
floats of four bytes, little-endian. Before the first one the page sends the token of its forms. What is lost on the way
is seen from the numbers, told, and not heard across. Blocks that wait are heard together.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import secrets
import struct
import threading
import time
from collections import OrderedDict
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection
from starlette.routing import WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from setwright.bench.at_hand import at_hand
from setwright.bench.journals import InShop
from setwright.bench.live import Ear, Marks, Played, marks_of, plain
from setwright.bench.shop import show_visit
from setwright.errors import SetwrightError
from setwright.web.frame import bench_of, remembered, seat_of_request
from setwright.web.memory import one_for_all
from setwright.web.security import is_token

HEAD = struct.Struct("<If")
LARGEST = 8192  # samples of a block
MOST = 8  # pages that listen at the same time
KEPT = 32  # ears whose last note is still there
WAITING = 400  # blocks that may wait
AHEAD = 30.0  # s of sound that may come faster than it sounds
FASTER = 1.2  # times as fast as it sounds, that sound may come in the long run
PATIENCE = 20.0  # s until the first word, and between two blocks
RATES = (8000.0, 192000.0)  # Hz
POLICY, UNREADABLE, LATER, AWAY = 1008, 1007, 1013, 1001  # codes of closing, RFC 6455 section 7.4.1 and its registry


class RefusedError(Exception):
    """Why a socket is closed. code: of closing."""

    def __init__(self, code: int, reason: str) -> None:
        super().__init__(reason)
        self.code = code


class Listener:
    """The ear of one page, and how much of the sound reached it."""

    def __init__(self, marks: Marks) -> None:
        self.marks = marks
        self.ear: Ear | None = None
        self.next: int | None = None
        self.lost = 0
        self.lock = threading.Lock()

    def hear(self, blocks: list[tuple[int, float, bytes]]) -> dict[str, Any] | None:
        """Hear what came.

        Args:
            blocks: number, rate [Hz] and samples of each, in the order they came.
        Returns: what the page shows; None where it is too little yet.
        Raises: SetwrightError for sound that cannot be heard.
        """
        import numpy as np

        shown = None
        with self.lock:
            for number, rate, raw in blocks:
                if self.ear is None:
                    self.ear = Ear(rate, self.marks)
                if self.next is not None and number != self.next:
                    self.lost += max(number - self.next, 0)
                    self.ear.begin_anew()
                self.next = number + 1
                shown = self.ear.push(np.frombuffer(raw, dtype="<f4").astype(np.float64)) or shown
        return None if shown is None else {"n": self.next, "lost": self.lost} | plain(shown)

    def aim(self, marks: Marks) -> None:
        """Listen for something else from now on."""
        with self.lock:
            self.marks = marks
            if self.ear is not None:
                self.ear.aim(marks)

    def played(self) -> Played | None:
        """The last note; None before the first."""
        with self.lock:
            return None if self.ear is None else self.ear.played


class Ears:
    """Pages that listen, and those that did a while ago."""

    def __init__(self) -> None:
        self.listening = 0
        self._kept: OrderedDict[tuple[str, str, str], Listener] = OrderedDict()

    def add(self, seat: str, visit: str, listener: Listener) -> str:
        """Keep an ear; returns the name by which its page asks for it."""
        name = secrets.token_urlsafe(12)
        self._kept[(seat, visit, name)] = listener
        while len(self._kept) > KEPT:
            self._kept.popitem(last=False)
        return name

    def played(self, seat: str | None, visit: str, name: str) -> Played | None:
        """The last note of an ear of this browser; None where there is none."""
        found = self._kept.get((seat or "", visit, name))
        return None if found is None else found.played()


def ears_of(request: HTTPConnection) -> Ears:
    """The ears of this bench.

    Args:
        request: of a page or a socket.
    Returns: the same object for every request.
    """
    return one_for_all(request, "ears", Ears)


def marks_for(request: HTTPConnection, visit: str) -> Marks:
    """What is listened for in a visit as far as it is now.

    Args:
        request: of a page or a socket.
        visit: whole id.
    Returns: the marks.
    Raises: SetwrightError where its files cannot be used.
    """
    job = InShop(bench_of(request).shop, visit)

    def look() -> Marks:
        return marks_of(job, lambda: remembered(request, visit, "at hand", lambda: at_hand(job)))

    return remembered(request, visit, "marks", look)


async def _ear(socket: WebSocket) -> None:
    """Listen for a page until it goes."""
    await socket.accept()
    ears = ears_of(socket)
    if ears.listening >= MOST:
        await _close(socket, LATER, "Too many pages listen at once; stop one of them.")
        return
    ears.listening += 1
    try:
        await _listen(socket, ears)
    except RefusedError as refused:
        await _close(socket, refused.code, str(refused))
    except SetwrightError as error:
        await _close(socket, UNREADABLE, str(error))
    except WebSocketDisconnect:
        pass
    finally:
        ears.listening -= 1


async def _close(socket: WebSocket, code: int, reason: str) -> None:
    """Close a socket that may be closed already; a reason has up to 123 bytes."""
    with contextlib.suppress(RuntimeError, WebSocketDisconnect):
        await socket.close(code, reason.encode()[:120].decode("utf-8", "ignore"))


async def _listen(socket: WebSocket, ears: Ears) -> None:
    seat = seat_of_request(socket)
    word = await _received(socket)
    token = word.get("text") or ""
    if not is_token(bench_of(socket).key, seat, token):
        raise RefusedError(POLICY, "This page is from another browser or an older run; load it again.")
    visit = await run_in_threadpool(_visit, socket)
    listener = Listener(await run_in_threadpool(marks_for, socket, visit))
    name = ears.add(seat or "", visit, listener)
    await socket.send_text(json.dumps({"ear": name, "marks": plain_marks(listener.marks)}))
    queue: asyncio.Queue[tuple[int, float, bytes]] = asyncio.Queue(WAITING)
    coming = asyncio.create_task(_take_in(socket, queue, listener, visit))
    hearing = asyncio.create_task(_hear(socket, queue, listener))
    done, rest = await asyncio.wait((coming, hearing), return_when=asyncio.FIRST_COMPLETED)
    for task in rest:
        task.cancel()
    await asyncio.gather(*rest, return_exceptions=True)
    for task in done:
        task.result()


def _visit(socket: WebSocket) -> str:
    return show_visit(bench_of(socket).shop, socket.path_params["visit"]).visit.id


async def _received(socket: WebSocket) -> dict[str, Any]:
    """What the page sends next.

    Raises: WebSocketDisconnect when it is gone; RefusedError when it says nothing.
    """
    try:
        message: dict[str, Any] = dict(await asyncio.wait_for(socket.receive(), PATIENCE))
    except TimeoutError:
        raise RefusedError(AWAY, "Nothing was heard from this page any more; press Listen again.") from None
    if message["type"] == "websocket.disconnect":
        raise WebSocketDisconnect(message.get("code") or 1000)
    return message


async def _take_in(
    socket: WebSocket, queue: asyncio.Queue[tuple[int, float, bytes]], listener: Listener, visit: str
) -> None:
    """Take in blocks; what is no block ends it."""
    begun, seconds, first = time.monotonic(), 0.0, 0.0
    while True:
        message = await _received(socket)
        if message.get("text") is not None:  # the page saw a change of the journal
            marks = await run_in_threadpool(marks_for, socket, visit)
            await run_in_threadpool(listener.aim, marks)
            await socket.send_text(json.dumps({"marks": plain_marks(marks)}))
            continue
        number, rate, raw = _block(message.get("bytes") or b"")
        if first and rate != first:
            raise RefusedError(UNREADABLE, "The rate of the microphone changed; press Listen again.")
        first = rate
        seconds += len(raw) / 4 / rate
        if seconds > FASTER * (time.monotonic() - begun) + AHEAD:
            raise RefusedError(POLICY, "More sound came than can have sounded; load the page again.")
        if not queue.full():  # what does not fit is lost, as its number will tell
            queue.put_nowait((number, rate, raw))


def _block(message: bytes) -> tuple[int, float, bytes]:
    """Number, rate and samples of a block."""
    raw = message[HEAD.size :]
    if len(message) <= HEAD.size or len(raw) % 4 or len(raw) > 4 * LARGEST:
        raise RefusedError(UNREADABLE, "This is no block of sound; load the page again.")
    number, rate = HEAD.unpack_from(message)
    if not RATES[0] <= rate <= RATES[1]:
        raise RefusedError(UNREADABLE, f"The microphone runs at {rate:.0f} Hz; 8 to 192 kHz can be heard, set it so.")
    return number, rate, raw


async def _hear(socket: WebSocket, queue: asyncio.Queue[tuple[int, float, bytes]], listener: Listener) -> None:
    """Hear what waits, tell the page, and so on."""
    while True:
        blocks = [await queue.get()]
        while not queue.empty():
            blocks.append(queue.get_nowait())
        shown = await run_in_threadpool(listener.hear, blocks)
        if shown is not None:
            await socket.send_text(json.dumps(shown))


def plain_marks(marks: Marks) -> dict[str, Any]:
    """Marks as the page draws them.

    Args:
        marks: what is listened for.
    Returns: data for JSON.
    """
    return {
        "own": list(marks.own), "names": list(marks.names), "tolerance": marks.tolerance, "peg": marks.peg,
        "to": marks.to,
    }  # fmt: skip


ROUTES = [WebSocketRoute("/visit/{visit}/ear", _ear)]
