"""How a page is hung on an address: a function that shows it and, where it has a form, one that takes the form.

Handlers are plain functions on threads of their own, since what they ask of the bench is work for the processor. What
takes a form can only be reached with the token of the bench's own page and within the size the page allows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import Message

from setwright.frozen import frozen
from setwright.web.frame import bench_of, may_lead, seat_of_request
from setwright.web.security import is_token

USUAL = 256_000  # bytes of a form
FIELDS = 1000
TOKEN = "token"  # name of the field in every form
SECRET = (TOKEN, "pin", "again", "old")  # fields that are not shown again
LOOK, DO = "GET", "POST"
EXPIRED = "This page is from another browser or an older run; go back, load it again, and send it once more."


@frozen
class Form:
    """A form as it came. fields: name and text, in their order; files: name and upload."""

    fields: tuple[tuple[str, str], ...]
    files: tuple[tuple[str, UploadFile], ...] = ()

    def text(self, name: str, otherwise: str = "") -> str:
        """What stands in a field, without blanks around it; the last where there are several."""
        return next((text.strip() for key, text in reversed(self.fields) if key == name), otherwise)

    def texts(self, name: str) -> list[str]:
        """All that came under a name, in its order."""
        return [text.strip() for key, text in self.fields if key == name]

    def ticked(self, name: str) -> bool:
        """Whether a box was ticked."""
        return bool(self.text(name))

    def number(self, name: str) -> int | None:
        """A whole number of up to eight digits from a field, None where none stands in it."""
        text = self.text(name)
        return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else None

    def file(self, name: str) -> UploadFile | None:
        """The file under a name, None where none was chosen."""
        return next((one for key, one in self.files if key == name and one.filename), None)

    def typed(self) -> dict[str, str]:
        """Everything typed, to be shown again beside what was wrong; never what is secret."""
        return {key: text for key, text in self.fields if key not in SECRET}


Show = Callable[[Request], Response]
Take = Callable[[Request, Form], Response]


def at(
    path: str, show: Show | None = None, take: Take | None = None, largest: int = USUAL, name: str = "",
    lead: Sequence[str] = (),
) -> Route:  # fmt: skip
    """A page at an address.

    Args:
        path: e.g. "/visit/{visit}/readings".
        show: answers GET; changes nothing.
        take: answers POST: does it, then sends the reader to a page with `frame.see`.
        largest: bytes its form may have.
        name: of the route; otherwise that of the function.
        lead: methods that only a lead may use: LOOK, DO or both.
    Returns: the route.
    """
    methods = [name for name, there in (("GET", show), ("POST", take)) if there]

    async def answer(request: Request) -> Response:
        if {"HEAD": "GET"}.get(request.method, request.method) in lead:
            await run_in_threadpool(_lead_only, request)
        if request.method == "POST" and take is not None:
            return await _taken(request, take, largest)
        assert show is not None
        return await run_in_threadpool(show, request)

    made = Route(path, answer, methods=methods, name=name or (show or take).__name__)  # type: ignore[union-attr]
    made.lead_only = frozenset(lead)  # type: ignore[attr-defined]  # what a test, and the page of rights, look at
    return made


def _lead_only(request: Request) -> None:
    if not may_lead(request):
        raise HTTPException(403, "Only a lead may do this; ask one, or sign in as one.")


async def _taken(request: Request, take: Take, largest: int) -> Response:
    limited(request, largest)
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in ("application/x-www-form-urlencoded", "multipart/form-data"):
        raise HTTPException(415, "Only a form can be sent here; open the page and use its form.")
    async with request.form(max_files=20, max_fields=FIELDS, max_part_size=largest) as came:
        form = _form(came)
        if not is_token(bench_of(request).key, seat_of_request(request), form.text(TOKEN)):
            raise HTTPException(403, EXPIRED)
        return await run_in_threadpool(take, request, form)


def _form(came: FormData) -> Form:
    fields = tuple((key, value) for key, value in came.multi_items() if isinstance(value, str))
    files = tuple((key, value) for key, value in came.multi_items() if isinstance(value, UploadFile))
    return Form(fields, files)


def limited(request: Request, largest: int) -> None:
    """Let no more come in than is allowed, whatever the header says.

    Args:
        request: before its body is read.
        largest: bytes.
    Raises: HTTPException 413 at once, or while the body is read.
    """
    said = f"This is larger than the {largest // 1000} kB that can be sent here; send less."
    length = request.headers.get("content-length", "")
    if length.isdigit() and int(length) > largest:
        raise HTTPException(413, said)
    receive: Any = request._receive
    count = 0

    async def counted() -> Message:
        nonlocal count
        message: Message = await receive()
        count += len(message.get("body", b""))
        if count > largest:
            raise HTTPException(413, said)
        return message

    request._receive = counted
