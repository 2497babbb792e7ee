"""What every page is drawn in: templates, the reader's units and ground, who it is, what was just said."""

from __future__ import annotations

import json
from collections.abc import Callable, Hashable
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from setwright.bench.day import mark_of
from setwright.bench.pairing import NOBODY, Known
from setwright.bench.signin import LEAD, workers_of
from setwright.bench.source import InShop
from setwright.cli import words
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.telling import Tell, untold
from setwright.units.show import System
from setwright.web.beside import worker
from setwright.web.memory import Memory, Off
from setwright.web.security import SEAT, new_seat, seat_of, signed, token_of, unsigned
from setwright.web.static import Shelf

if TYPE_CHECKING:
    from setwright.bench.shop import Shown

HERE = Path(__file__).parent
YEAR = 365 * 24 * 3600  # s, how long a browser keeps what its reader chose
SAID, WHO, UNITS, GROUND = "setwright_said", "setwright_who", "setwright_units", "setwright_ground"
GROUNDS = ("paper", "slate")
LONGEST = 400  # letters of what is said after a form was taken
PLACES = (  # what the head of every page leads to, where there is such a page
    ("/", "Day"), ("/take-in", "Take in"), ("/instruments", "Instruments"), ("/parts", "Parts"),
    ("/specifications", "House specifications"), ("/history", "History"), ("/practice", "Practice"),
    ("/settings", "Settings"),
)  # fmt: skip
OF_VISIT = (  # and the head of a visit's pages
    ("", "Visit"), ("/step", "Step"), ("/readings", "Readings"), ("/plan", "Plan"), ("/listening", "Listening"),
    ("/balance", "Balance"), ("/sheet", "Sheet"),
)  # fmt: skip
_WORKERS = worker("behind")
FIELD = Markup('<input type="hidden" name="token" value="{}">')
T = TypeVar("T")


@frozen
class Bench:
    """What the app works on. shop: folder or URL, as `bench` functions take it; shown: as pages name it, without a
    password; key: signs cookies and forms; name: of the shop; hosts: names under which it answers; secure: it is
    reached over TLS only, in the shop's network, by benches that were let in; base: where those find it; fingerprint:
    of its certificate."""

    shop: str
    shown: str
    key: bytes
    name: str
    hosts: tuple[str, ...]
    memory: Memory
    shelf: Shelf
    secure: bool = False
    base: str = ""
    fingerprint: str = ""


@frozen
class Reader:
    """Who reads a page. units: None where they were not chosen; ground: "paper", "slate" or "" by the machine; who: ""
    where it was not said; token: for the forms of this browser."""

    units: System | None
    ground: str
    who: str
    token: str


class Typed(dict[str, str]):
    """What was typed, by the name of its field; "" in a field that did not come."""

    def __missing__(self, name: str) -> str:
        return ""


def bench_of(request: HTTPConnection) -> Bench:
    """The bench a request came to.

    Args:
        request: of a page or a socket.
    Returns: the bench.
    """
    found: Bench = request.app.state.bench
    return found


def seat_of_request(request: HTTPConnection) -> str | None:
    """The browser a request came from, None where it is not known."""
    seat = seat_of(bench_of(request).key, request.cookies.get(SEAT))
    return None if seat is None else _bound(request, seat)


def _bound(request: HTTPConnection, seat: str) -> str:
    """A browser and who sits there, so that no form of before a sign-in serves after it."""
    sitting = known_of(request).sitting
    return seat if sitting is None else f"{seat} {sitting.worker.id} {sitting.began}"


def known_of(request: HTTPConnection) -> Known:
    """The bench a request came from and who sits at it, in the shop's network; nobody on the machine itself."""
    found: Known = request.scope.get("state", {}).get("known", NOBODY)
    return found


def who(request: HTTPConnection) -> str:
    """The name of the one at this browser; give it to every function of `bench` that asks who works.

    Args:
        request: of a page or a socket.
    Returns: the name, "" where it was not said.
    """
    if bench_of(request).secure:
        sitting = known_of(request).sitting
        return "" if sitting is None else sitting.worker.name
    return said_who(request)[0]


def said_who(request: HTTPConnection) -> tuple[str, str]:
    """Who was said to be at this browser on the machine itself, and when the PIN was set that was typed then.

    Args:
        request: of a page.
    Returns: name, time; "" for what was not said.
    """
    bench = bench_of(request)
    name, _, pin = (unsigned(bench.key, f"who {bench.name}", request.cookies.get(WHO)) or "").partition("\0")
    return name, pin


def say_who(answer: Response, bench: Bench, name: str, pin: str) -> None:
    """Let the browser keep who is at it.

    Args:
        answer: that carries it.
        bench: whose it is.
        name: of the one there.
        pin: when the PIN was set that was typed, or "".
    """
    text = f"{name}\0{pin}" if pin else name
    keep(answer, bench, WHO, signed(bench.key, f"who {bench.name}", text))


def at_bench(request: HTTPConnection) -> str:
    """The name of the bench a request came from, "" on the machine itself."""
    device = known_of(request).device
    return "" if device is None else device.name


def may_lead(request: HTTPConnection) -> bool:
    """Whether the one at this browser may do what only a lead may.

    In a shop that has no lead, whoever is at the machine itself may.

    Args:
        request: of a page.
    Returns: True or False.
    Raises: InputError, FileFormatError where the shop cannot be read.
    """
    bench = bench_of(request)
    if bench.secure:
        sitting = known_of(request).sitting
        return sitting is not None and sitting.worker.role == LEAD
    leads = [one for one in workers_of(bench.shop) if one.role == LEAD]
    name, pin = said_who(request)
    return not leads or any(one.name == name and one.pin in ("", pin) for one in leads)


def units(request: HTTPConnection, otherwise: str = "mm") -> System:
    """The system of units of the reader.

    Args:
        request: of a page or a socket.
        otherwise: where the reader chose none, e.g. that of the job (`job.units`).
    Returns: "inch" or "mm".
    """
    return "inch" if (_chosen(request, UNITS, ("inch", "mm")) or otherwise) == "inch" else "mm"


def _chosen(request: HTTPConnection, cookie: str, known: tuple[str, ...]) -> str:
    found = request.cookies.get(cookie, "")
    return found if found in known else ""


@lru_cache(maxsize=1)
def environment() -> Environment:
    """The templates: every text is data unless a template says `|safe` of our own SVG."""
    made = Environment(
        loader=FileSystemLoader(HERE / "templates"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, auto_reload=False,
    )  # fmt: skip
    made.filters["sentence"] = words.sentence
    made.filters["when"] = shown_time
    made.filters["counted"] = counted
    made.filters["entry"] = entry_words
    return made


def shown_time(text: str | None) -> str:
    """A time as pages show it, by the clock of the bench.

    Args:
        text: as the shop keeps it; None or "" where there is none.
    Returns: e.g. "2026-11-30 09:55".
    """
    if text and text.endswith("Z"):
        return datetime.fromisoformat(text).astimezone().strftime("%Y-%m-%d %H:%M")
    return (text or "")[:16].replace("T", " ")


def entry_words(entry: Any) -> str:
    """An entry of the journal as pages show it: without the word that confirmed an unlikely value.

    Args:
        entry: with its `verb` and `text`.
    Returns: e.g. "read rear gap = 2.4 mm".
    """
    return f"{entry.verb} {entry.text if entry.verb == 'note' else entry.text.removesuffix(' sure')}"


def counted(many: int, unit: str) -> str:
    """How many of a part.

    Args:
        many: of them; below zero where more went than were counted.
        unit: they are counted by.
    Returns: e.g. "1 set", "2 sets", "−3 pieces", "250 ml".
    """
    ending = "s" if unit in ("piece", "set", "pair") and abs(many) != 1 else ""
    return f"{many} {unit}{ending}".replace("-", "−")


def page(request: Request, template: str, status: int = 200, **data: Any) -> HTMLResponse:
    """A page.

    Args:
        request: that asked for it.
        template: its file in templates/.
        status: of the answer.
        data: for the template, beside what `frame.html` gets here: `reader`, `bench`, `places`, `here`, `static`,
            `said`. `typed` may lack fields: they are empty.
    Returns: the page.
    """
    bench = bench_of(request)
    if "typed" in data:
        data["typed"] = Typed(data["typed"])
    seat = seat_of_request(request)
    fresh = None if seat is not None else new_seat()
    seat = seat or _bound(request, str(fresh))
    chosen: Any = _chosen(request, UNITS, ("inch", "mm")) or None
    reader = Reader(chosen, _chosen(request, GROUND, GROUNDS), who(request), token_of(bench.key, seat))
    outside = bench.secure and known_of(request).sitting is None
    told = unsigned(bench.key, "said", request.cookies.get(SAID))
    known = request.app.state.paths
    text = environment().get_template(template).render(
        {
            "reader": reader, "bench": bench, "here": request.url.path, "static": bench.shelf.address,
            "said": json.loads(told) if told else None, "token": lambda: FIELD.format(reader.token),
            "lead": lambda: may_lead(request), "base": "door.html" if outside else "frame.html",
            "places": [one for one in PLACES if one[0] in known],
            "of_visit": [one for one in OF_VISIT if f"/visit/{{visit}}{one[0]}" in known],
        } | data
    )  # fmt: skip
    answer = HTMLResponse(text, status)
    if fresh is not None:
        keep(answer, bench, SEAT, signed(bench.key, "seat", fresh))
    if told:
        answer.delete_cookie(SAID)
    return answer


def see(request: Request, path: str, said: str = "", again: str = "") -> Response:
    """Send the reader to a page after a form was taken.

    Args:
        request: that brought the form.
        path: of the page, on this bench.
        said: one sentence the page shows, e.g. what was kept.
        again: path of a form that takes it back, for a button "undo" beside it; "" for none.
    Returns: the answer, 303.
    """
    answer = RedirectResponse(path, 303)
    if said:
        bench = bench_of(request)
        told = json.dumps({"words": said[:LONGEST], "again": again}, ensure_ascii=False)
        text = signed(bench.key, "said", told)
        answer.set_cookie(SAID, text, 60, httponly=True, samesite="strict", secure=bench.secure)
    return answer


def keep(answer: Response, bench: Bench, name: str, value: str) -> None:
    """Let the browser keep something for a year.

    Args:
        answer: that carries it.
        bench: whose it is.
        name: of the cookie.
        value: of it.
    """
    answer.set_cookie(name, value, YEAR, httponly=True, samesite="strict", secure=bench.secure)


def refused(error: Exception, system: System) -> str:
    """What was wrong, as a page says it.

    Args:
        error: of Setwright.
        system: "inch" or "mm".
    Returns: sentences.
    """
    return words.sentence(words.spelled(" ".join(str(error).split()), system))


def visit_of(request: Request) -> Shown:
    """The visit a page is about, by the {visit} in its path.

    Args:
        request: of the page.
    Returns: the visit with what belongs to it.
    Raises: HTTPException 404 where there is none.
    """
    from setwright.bench.shop import show_visit  # what it loads would keep the first answer waiting

    try:
        return show_visit(bench_of(request).shop, request.path_params["visit"])
    except InputError as error:
        raise HTTPException(404, str(error)) from None


def source(request: Request, shown: Shown) -> InShop:
    """The job of a visit, as functions of `bench` take it.

    Args:
        request: of the page.
        shown: the visit.
    Returns: the source.
    """
    return InShop(bench_of(request).shop, shown.visit.id)


def behind(
    request: Request, shown: Shown, key: Hashable, make: Callable[[Tell], T], told: tuple[str, str],
    elsewhere: tuple[str, str],
) -> T | Response:  # fmt: skip
    """What takes seconds, worked out beside the pages; as long as it is not there, a page that says how far it is.

    All pages that ask for the same share it. It may be called off on any of them; then they say so, and how to begin it
    again.

    Args:
        request: of the page.
        shown: the visit.
        key: everything it depends on, e.g. `key_of`.
        make: works it out; it is given what takes the share that is done, and what it raises is remembered too.
        told: heading and sentence of the page that waits.
        elsewhere: where to go meanwhile, and in what words.
    Returns: it, or the page that waits.
    Raises: what `make` raises.
    """
    memory = bench_of(request).memory
    if memory.known(key):
        return memory.get(key, lambda: make(untold))
    found = memory.go_on(key, make, _WORKERS)
    again = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return page(
        request, "work_waits.html", shown=shown, title=told[0], told=told[1], off=isinstance(found, Off), work=found,
        again=again, elsewhere=elsewhere,
    )  # fmt: skip


def remembered(request: HTTPConnection, visit: str, what: str, make: Callable[[], T]) -> T:
    """What was worked out before for a visit as far as it is now, or worked out now.

    Args:
        request: of the page.
        visit: whole id.
        what: name of what is worked out, with everything it depends on beside the visit, e.g. "plan mm".
        make: works it out; what it raises is remembered too.
    Returns: it.
    Raises: what `make` raises.
    """
    return bench_of(request).memory.get(key_of(request, visit, what), make)


def key_of(request: HTTPConnection, visit: str, what: str) -> Hashable:
    """What is worked out for a visit as far as it is now, in the memory of the bench.

    Args:
        request, visit, what: as of `remembered`.
    Returns: its key.
    """
    shop = bench_of(request).shop
    return shop, what, mark_of(shop, visit)
