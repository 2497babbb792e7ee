"""Every page of the bench app, in an invented shop that is the same each time: for tests of all pages, and pictures.

Addresses are those the application itself answers under, so that a new page is walked without anybody thinking of it; a
new name in braces has to be filled here. On top come states of a page that differ in what they show.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

FLAT = -1.0  # mm, a plate that lies on the body; its strings are flat then
TODAY = date(2026, 6, 15)
BEGAN = datetime(2026, 6, 15, 9, 0)
SEED = 1
EXAMPLES = Path(__file__).resolve().parent.parent / "examples"
MOST = 40  # entries a visit is carried on by, to reach a step
OFF = (-14.0, -8.0, 3.0, 6.0, 9.0, 16.0)  # cents, strings as they are heard at first
STATES = (  # example; what its step is to be; what is heard, a share of OFF; rear gap from the wanted one [mm]
    ("kestrel-float", "protect", 1.0, 0.0), ("kestrel-float", "unhook", 1.0, 0.0),
    ("kestrel-float", "neck off", 1.0, 0.0), ("kestrel-float", "shim", 1.0, 0.0), ("kestrel-float", "pivots", 1.0, 0.0),
    ("kestrel-float", "hang springs", 1.0, 0.0), ("kestrel-float", "wedge", 1.0, -2.6),
    ("kestrel-float", "tune", 1.0, -2.6), ("curlew-low", "relief", 1.0, 0.0), ("curlew-low", "lengths", 1.0, 0.0),
    ("plover-dive", "claw", 1.0, 0.0), ("wigeon-reradius", "saddles", 1.0, 0.0), ("wigeon-reradius", "tune", 1.0, 0.0),
    ("dunlin-heavier", "strings on", 1.0, 0.0), ("dunlin-heavier", "read", 1.0, -0.3),
    ("dunlin-heavier", "claw", 1.0, -0.4), ("dunlin-heavier", "tune", 0.6, 0.0), ("dunlin-heavier", "done", 0.0, 0.0),
)  # fmt: skip
NO_PAGE = {
    "static",
    "_changes",
    "look",
    "file",
    "draft",
    "balance along",
}  # routes that answer with something else than a page
SAMPLE = {  # secret: the door of other benches is shown over TLS alone; here it is a page that says so
    "version": "x", "name": "paper.css", "drawing": "side", "kind": "all", "secret": "x",
}  # fmt: skip


@dataclass(frozen=True)
class Stop:
    """One page to be looked at."""

    name: str
    path: str


@dataclass
class Shop:
    """The invented shop. at: folder; ids: what stands in the braces of addresses."""

    at: str
    ids: dict[str, str] = field(default_factory=dict)


def make(folder: Path) -> Shop:
    """Make the shop, the same each time but for its ids.

    Args:
        folder: new.
    Returns: the shop.
    """
    from setwright.bench.demo_shop import make_demo
    from setwright.bench.house import specifications_of
    from setwright.bench.life import life_of
    from setwright.bench.shop import find_instruments

    make_demo(str(folder), SEED, TODAY, EXAMPLES)
    shop = Shop(str(folder))
    kestrel = next(one for one in find_instruments(shop.at) if "kestrel" in one.name.casefold())
    life = life_of(shop.at, kestrel.id)
    closed = next(one for one in life.visits if one.visit.state == "closed")
    still = next(one for one in life.visits if one.visit.state == "open")
    shop.ids = {
        **SAMPLE, "instrument": kestrel.id, "visit": still.visit.id, "closed": closed.visit.id,
        "specification": specifications_of(shop.at)[0].id,
    }  # fmt: skip
    return shop


def add_states(shop: Shop) -> list[Stop]:
    """Open visits that stand at every kind of step; they are added last, so that the day is not full of them.

    Args:
        shop: as made.
    Returns: their pages.
    """
    from setwright.bench.shop import add_job

    found = []
    for example, step, share, gap in STATES:
        visit = add_job(shop.at, str(EXAMPLES / f"{example}.job.toml"), owner="Ada Marsh").added.visit.id
        carry_on(shop.at, visit, step, share, gap)
        found.append(Stop(f"step, {example.partition('-')[0]}, {step}", f"/visit/{visit}/step"))
    knot = add_job(shop.at, str(EXAMPLES / "knot-too-weak.job.toml"), owner="Ada Marsh").added.visit.id
    return [
        *found,
        Stop("no plan", f"/visit/{knot}/plan"),
        Stop("listening, peg", found[-2].path.replace("/step", "/listening")),
    ]


def carry_on(shop: str, visit: str, until: str, share: float, gap: float) -> None:
    """Carry a visit on by what its steps say, until one of a kind stands there.

    Args:
        shop: folder.
        visit: its id.
        until: key of a step of the hardware, or what the balance advises.
        share: of `OFF`, how far off strings are heard.
        gap: rear gap that is read, from the wanted one [mm].
    Raises: LookupError where the work never comes to such a step.
    """
    from setwright.bench.at_hand import at_hand, deeds_of
    from setwright.bench.journals import InShop
    from setwright.web.step_drawing import amount_of

    job = InShop(shop, visit)
    for n in range(MOST):
        found = at_hand(job)
        now = found.next.step.key if found.next.step is not None else found.next.advice.do if found.next.advice else ""
        if now == until:
            return
        lines = [one.words(amount_of(one, "mm")) for one in deeds_of(found.next)]
        if now == "read" and found.next.advice is not None:
            wanted = found.job.want.rear_gap
            cents = [share * OFF[i % len(OFF)] - (300.0 if gap < FLAT else 0.0) for i in range(len(found.next.wanted))]
            lines = [f"read pitch string {i + 1} = {cents[i]:.1f} c" for i in found.next.advice.strings]
            if found.next.gauges and wanted is not None:
                lines.append(f"read rear gap = {wanted.si * 1e3 + gap:.2f} mm")
        if now == "tune":
            lines = [f"{one}, heard {one.rpartition('to ')[2]}" for one in lines]
        for line in lines:
            _keep(job, line.split(" ", 1), BEGAN + timedelta(minutes=n))
    raise LookupError(f"the work of {visit} comes to no step {until!r} within {MOST} steps; name another in STATES.")


def _keep(job: Any, words: list[str], when: datetime) -> None:
    from setwright.bench.journals import keep
    from setwright.errors import QuestionableError

    try:
        keep(job, words, who="Mara", when=when)
    except QuestionableError:
        keep(job, words, who="Mara", when=when, sure=True)


def routes(shop: Shop) -> list[tuple[str, str]]:
    """Name and address of every route that answers with a page, in the order of the application."""
    from starlette.routing import Route

    from setwright.web.app import application, bench

    app = application(bench(shop.at, b"k" * 32))
    return [
        (one.name, one.path)
        for one in app.routes
        if isinstance(one, Route)
        and "GET" in (one.methods or ())
        and one.name not in NO_PAGE
        and not one.path.endswith((".svg", ".pdf"))
    ]


def stops(shop: Shop, page: Any, address: str) -> Iterator[Stop]:
    """Every page there is, and some as they are otherwise.

    Args:
        shop: as made.
        page: of Playwright, of a browser somebody has signed in at; begins a lesson and a take by it.
        address: of the bench that serves the shop.
    Returns: the pages, each name once.
    Raises: LookupError for a name in braces that nothing is known for.
    """
    ids = {**shop.ids, "lesson": _lesson(page, address), "take": _take(page, address, shop.ids["visit"])}
    for name, path in routes(shop):
        yield Stop(name.replace("show_", "").replace("_", " "), filled(path, ids))
    yield Stop("visit, handed back", f"/visit/{ids['closed']}")
    yield Stop("sheet, handed back", f"/visit/{ids['closed']}/sheet")
    yield Stop("instruments, none", "/instruments?find=zzz")
    yield Stop("nothing there", "/nowhere")
    yield Stop("take in, known", f"/take-in?known={ids['instrument']}")


def filled(path: str, ids: dict[str, str]) -> str:
    """An address with its braces filled.

    Args:
        path: e.g. "/visit/{visit}/plan".
        ids: by the names in braces.
    Returns: the address.
    Raises: LookupError naming what is missing.
    """
    parts = []
    for part in path.split("/"):
        name = part[1:-1].partition(":")[0] if part[:1] == "{" else ""
        if name and name not in ids:
            raise LookupError(f"nothing is known to put for {{{name}}} of {path}; add it in devtools/walk.py.")
        parts.append(ids[name] if name else part)
    return "/".join(parts)


def _lesson(page: Any, address: str) -> str:
    page.goto(f"{address}/practice")
    page.fill("#seed", "3")
    page.click("button:has-text('Put it on the bench')")
    page.wait_for_url(f"{address}/practice/*")
    return str(page.url.rsplit("/", 1)[1])


def _take(page: Any, address: str, visit: str) -> str:
    """A recording of six strings, heard."""
    import numpy as np
    import soundfile

    from setwright.practice.sound import play
    from setwright.practice.takes import GUITAR, string_at

    parts = []
    for number in range(6, 0, -1):
        parts += [np.zeros(24_000), play(string_at(GUITAR, number, 0.0, OFF[number - 1]), number)]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, "six-strings.wav")
        soundfile.write(file, np.concatenate([*parts, np.zeros(24_000)]), 48_000, subtype="PCM_16")
        page.goto(f"{address}/visit/{visit}/listening")
        page.set_input_files("#recording", file)
        page.click("text=Hear it")
        page.wait_for_selector("tbody tr >> nth=5", timeout=120_000)
    return str(page.url.rsplit("/", 1)[1].partition("?")[0])
