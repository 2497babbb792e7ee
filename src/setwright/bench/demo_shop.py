"""An invented shop to look at: the demo instruments, their invented owners, a visit a year, and the work that is open.

All names are invented; addresses are of example.net, which belongs to nobody (RFC 2606). The same seed and day make the
same shop but for its ids.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256
from pathlib import Path
from random import Random

from setwright.bench.demo_visits import (
    LEANED,
    air_on,
    finished_moved,
    looked_over,
    opened_lines,
    yearly_job,
    yearly_lines,
)
from setwright.bench.handed import plain
from setwright.bench.house import items_of
from setwright.bench.journals import JOB_END, JOURNAL_END, belongs
from setwright.bench.paper import Desk, sheet_of
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.jobfile import Job, read_job
from setwright.records import specifications, supplies
from setwright.records.edits import add, edit
from setwright.records.entries import live
from setwright.records.jobs import Added, JobFiles, add_job, files_of
from setwright.records.rows import Owner, Person, Visit
from setwright.records.shop import Work, new_shop, stamp

NAME = "Weir Lane Bench"
EXAMPLES = Path(__file__).resolve().parents[3] / "examples"
OWNERS = (  # name, how to reach them, note; one for each demo job in the order of their names
    ("Cora Holt", "cora.holt@example.net", "plays with the fingers"),
    ("Dag Fenn", "dag.fenn@example.net", ""),
    ("Ada Marsh", "ada.marsh@example.net", "calls before fetching it"),
    ("Ines Brook", "ines.brook@example.net", ""),
    ("Ulf Reedham", "ulf.reedham@example.net", "two more of this kind at home"),
    ("Dag Fenn", "dag.fenn@example.net", ""),
    ("Moss & Söhne", "moss@example.net", "hires them out; bill by the quarter"),
    ("Wren Åkerholm", "wren.akerholm@example.net", "left-handed"),
)
LOOKS = (  # maker, model, serial number, colour; invented
    ("Saltmarsh", "Four", "SM-0417", "walnut"), ("Fenland", "Dunlin", "F 2214", "sea green"),
    ("Fenland", "Kestrel", "F 1873", "sand"), ("Fenland", "Knot", "F 3002", "black"),
    ("Tidewrack", "Lapwing", "0093", "red, much played"), ("Tidewrack", "Plover", "0121", "white"),
    ("Saltmarsh", "Eight", "SM-0988", "natural"), ("Saltmarsh", "Six", "SM-0551", "sunset"),
)  # fmt: skip
HOUSE = """string height every string at fret 12 = 1.2 mm to 2.8 mm
relief held at 1 and 17, read at 8 = .005 in to .014 in
pitch every string = 0 c ± 2 c
octave error every string = 0 c ± 3 c, source: what most ears let pass
"""
PARTS = (  # name, unit, how many came
    ("string set .009", "set", 6), ("string set .010", "set", 12), ("string set, bass", "set", 2),
    ("string set, eight", "set", 4), ("spring, usual", "piece", 8), ("spring, strong", "piece", 2),
    ("strip shim .020 in", "piece", 5), ("strip shim .030 in", "piece", 3), ("nut blank", "piece", 0),
)  # fmt: skip
SHIM_030 = 7  # which of them
_SETS = {"curlew": 2, "knot": 0, "lapwing": 0, "sanderling": 3}  # which set an instrument takes, else .010


@frozen
class Demo:
    """A demo shop made. where: as messages name it."""

    where: str
    name: str
    instruments: int
    visits: int
    open_visits: int
    entries: int


@frozen
class _Example:
    """A demo job with the bytes of its files."""

    stem: str
    job: Job
    job_bytes: bytes
    instrument_name: str
    instrument: bytes


def make_demo(at: str, seed: int = 1, today: date | None = None, examples: str | Path | None = None) -> Demo:
    """Make the invented shop.

    Args:
        at: new folder, or URL of an empty database.
        seed: all of chance, 0 or more.
        today: the day it is to be looked at; None for today.
        examples: folder of the demo jobs, None for the one beside the source.
    Returns: what was made.
    Raises: InputError where the demo jobs are not there, or the place is not empty; nothing is left then.
    """
    if seed < 0:
        raise InputError(f"--seed {seed}: a seed is a whole number from 0.")
    folder = EXAMPLES if examples is None else Path(examples)
    found = _read(folder)
    finished = (folder / f"kestrel-finished{JOURNAL_END}").read_bytes()
    with new_shop(at, NAME) as shop, shop.writing("Ada") as work:
        counts = _fill(work, found, finished, Random(seed), today or date.today())
        return Demo(shop.place.shown, NAME, len(found), *counts)


def _read(folder: Path) -> list[_Example]:
    """The demo jobs, by name."""
    paths = sorted(folder.glob(f"*{JOB_END}"))
    if len(paths) != len(OWNERS) or not (folder / f"kestrel-finished{JOURNAL_END}").is_file():
        raise InputError(
            f"{folder} holds no demo jobs; name the folder examples of Setwright's source with --examples FOLDER."
        )
    out = []
    for path in paths:
        job = read_job(path)
        home = path.parent / job.instrument_path
        out.append(_Example(path.name.removesuffix(JOB_END), job, path.read_bytes(), home.name, home.read_bytes()))
    return out


def _fill(work: Work, found: Sequence[_Example], finished: bytes, chance: Random, today: date) -> tuple[int, int, int]:
    """Everything in the shop; how many visits, open ones and entries."""
    begun = today - timedelta(days=3 * 365 + 60)
    then = _on(work, begun, 8)
    for name in ("Ada", "Ben Hale"):
        add(then, Person("", 1, name, then.now, None))
    house = specifications.specify(then, "house", items_of(HOUSE), "to begin with").id
    shelf = tuple(supplies.add_part(then, name, unit).id for name, unit, _ in PARTS)
    for part, (_, _, count) in zip(shelf, PARTS, strict=True):
        if count:
            supplies.move_stock(then, part, count, "came")
    _air(work, begun, today, chance)
    owners: dict[str, Owner] = {}
    made: list[Added] = []
    for one, (name, contact, note), look in zip(found, OWNERS, LOOKS, strict=True):
        years = chance.randint(1, 3)
        first = _on(work, today - timedelta(days=365 * years + chance.randint(35, 60)), 8)
        if name not in owners:
            owners[name] = add(first, Owner("", 1, name, contact, note, first.now, ""))
        life = _Life(work, one, owners[name], look, house, shelf)
        life.live(finished, chance, today, years)
        made += life.made
    return len(made), sum(one.visit.state == "open" for one in made), sum(one.entries for one in made)


@dataclass
class _Life:
    """The life of one instrument, as it is made up. made: its visits so far."""

    work: Work
    example: _Example
    owner: Owner
    look: tuple[str, str, str, str]
    house: str
    shelf: tuple[str, ...]
    made: list[Added] = field(default_factory=list)

    def live(self, finished: bytes, chance: Random, today: date, years: int) -> None:
        """A look-over each year, then what is open now."""
        one, name = self.example, self.example.stem.partition("-")[0]
        strings = _SETS.get(name, 1)
        for back in range(years, 0, -1):
            day = today - timedelta(days=365 * back + chance.randint(0, 30))
            lines = yearly_lines(one.job, datetime.combine(day, time(9, 5)), chance)
            self._closed(day, yearly_job(one.job_bytes), lines, "yearly", (strings,))
        if name == "kestrel":
            day = today - timedelta(days=chance.randint(280, 320))
            self._closed(day, one.job_bytes, finished_moved(finished, day), "floating", (strings, SHIM_030))
            self._visit(today, looked_over(one.job_bytes), opened_lines(today, chance, LEANED), "look over")
        elif name != "sanderling":  # that one is at home
            day = today - timedelta(days=chance.randint(0, 6))
            self._visit(day, one.job_bytes, opened_lines(day, chance), "set-up")

    def _closed(self, day: date, job: bytes, lines: str, kind: str, used: Sequence[int]) -> None:
        added = self._visit(day, job, lines, kind)
        for part in used:
            supplies.move_stock(_on(self.work, day, 10), self.shelf[part], -1, "used", added.visit.id)
        over = _on(self.work, day + timedelta(days=1), 16)
        if kind == "floating":
            _handed(over, added.visit)
        closed = edit(over, added.visit, state="closed", handed_back=over.now)
        self.made[-1] = replace(added, visit=closed)

    def _visit(self, day: date, job: bytes, lines: str, kind: str) -> Added:
        one, then = self.example, _on(self.work, day, 9)
        stem = f"{one.stem.partition('-')[0]}-{day:%Y-%m}"
        files = JobFiles(
            f"{stem}{JOB_END}", job, one.instrument_name, one.instrument, f"{stem}{JOURNAL_END}", lines.encode()
        )
        known = self.made[0].instrument.id if self.made else ""
        added = add_job(then, files, instrument=known, kind=kind, check=belongs)
        if not known:
            about = dict(zip(("maker", "model", "serial", "colour"), self.look, strict=True))
            added = replace(added, instrument=edit(then, added.instrument, owner=self.owner.id, **about))
        added = replace(added, visit=edit(then, added.visit, specification=self.house))
        self.made.append(added)
        return added


def _air(work: Work, begun: date, today: date, chance: Random) -> None:
    """Two readings a month: warm and damp in summer."""
    for days in range(0, (today - begun).days, 15):
        day = begun + timedelta(days=days)
        warm, damp = air_on(day, chance)
        written = f"{warm:.0f} C, {damp:.0f} %"
        supplies.note_climate(_on(work, day, 9), f"{day} 09:00:00", round(warm) + 273.15, round(damp) / 100.0, written)


def _handed(work: Work, visit: Visit) -> None:
    """The sheet that went with it."""
    from setwright.sheets.sheet import PARTS as EVERY
    from setwright.sheets.sheet import render

    job, journal = files_of(work, visit)
    data = sheet_of(job, live(journal.entries), Desk(NAME), plan=False)
    pdf = render(data)
    supplies.attach(work, "sheet", f"visit-{visit.number}.sheet.pdf", io.BytesIO(pdf), visit=visit.id)
    for part in EVERY:
        supplies.hand_over(work, visit.id, part, plain(data), sha256(pdf).hexdigest())


def _on(work: Work, day: date, hour: int) -> Work:
    """The same writing as if it were another day."""
    return replace(work, now=stamp(datetime.combine(day, time(hour), UTC)))
