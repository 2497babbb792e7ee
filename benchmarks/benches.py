"""Several benches at work on one shop, each a process: what they were told is kept, and what is kept afterwards.

Each writes readings into a visit all of them share and into its own, edits the one owner, moves parts from a shelf to
another and uses parts, and looks whether the shelves still hold together what they held. An edit is based on what the
bench last saw of the owner, so most come too late and must be refused with both values.
"""

from __future__ import annotations

import json
import multiprocessing
import random
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import chain
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import select

from setwright.errors import SetwrightError, StaleEditError
from setwright.records import supplies
from setwright.records.check import check
from setwright.records.edits import edit, get
from setwright.records.jobs import JobFiles, add_job
from setwright.records.journal_text import parse
from setwright.records.kept import append, journal_of
from setwright.records.rows import Owner, Visit
from setwright.records.shop import Shop, Work, open_shop
from setwright.records.tables import CHANGE, STOCK_MOVEMENT

EXAMPLES = Path(__file__).resolve().parents[1] / "examples"
BEGIN = datetime(2026, 11, 25, 15)
STOCK = 1_000_000  # pieces on the first shelf
PATIENCE = 120.0  # s until all benches have begun
WAYS = {
    "reading into the shared visit": 5, "reading into its own visit": 5, "edit of the owner": 5,
    "parts from shelf to shelf": 2, "parts used": 2, "look": 3,
}  # fmt: skip
REFUSED = "edit refused"
Kept = list[tuple[Any, ...]]


@dataclass(frozen=True)
class Setting:
    """What the benches work on. visits: the shared one, then one for each bench. shelves: two, and the parts that are
    used."""

    at: str
    owner: str
    visits: tuple[str, ...]
    shelves: tuple[str, ...]


@dataclass
class Answer:
    """What one bench was told. entries: visit, number, text; edits: version, contact; refused: contact; moved: shelf,
    count, stock afterwards. seconds: way -> of each writing or look. faults: what should not have been."""

    entries: Kept = field(default_factory=list)
    edits: Kept = field(default_factory=list)
    refused: Kept = field(default_factory=list)
    moved: Kept = field(default_factory=list)
    seconds: dict[str, list[float]] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)


def job_files(journal: bytes = b"") -> JobFiles:
    """A job of the examples."""
    job, instrument = "kestrel-float.job.toml", "kestrel.instrument.toml"
    raw = ((EXAMPLES / name).read_bytes() for name in (job, instrument))
    return JobFiles(job, next(raw), instrument, next(raw), "kestrel-float.journal.txt", journal)


def prepared(at: str, benches: int) -> Setting:
    """Put into a shop what the benches work on.

    Args:
        at: of the shop.
        benches: how many there will be.
    Returns: the setting.
    """
    with open_shop(at) as shop, shop.writing("Ada") as work:
        added = [add_job(work, job_files(), "Ada Lark") for _ in range(benches + 1)]
        shelves = [supplies.add_part(work, f"spring, {where}").id for where in ("drawer", "wall", "used")]
        supplies.move_stock(work, shelves[0], STOCK, "came")
        assert added[0].owner is not None
        return Setting(at, added[0].owner.id, tuple(one.visit.id for one in added), tuple(shelves))


class Bench:
    """One bench."""

    def __init__(self, shop: Shop, setting: Setting, number: int, seed: int) -> None:
        self.shop, self.setting, self.number = shop, setting, number
        self.chance = random.Random(1000 * seed + number)
        self.answer = Answer()
        self.count = 0
        self.seen = self.owner()
        self.lengths: Counter[str] = Counter()

    def owner(self) -> Owner:
        with self.shop.reading() as work:
            return get(work, Owner, self.setting.owner)

    def work(self, seconds: float) -> None:
        """Do one thing after the other until the time is over."""
        end = time.monotonic() + seconds
        doing = (self.shared, self.own, self.edit, self.transfer, self.use, self.look)
        while time.monotonic() < end:
            way, do = self.chance.choices([*zip(WAYS, doing, strict=True)], list(WAYS.values()))[0]
            self.count += 1
            begun = time.perf_counter()
            try:
                done = do() or way
            except SetwrightError as error:
                done = "fault"
                self.answer.faults.append(f"bench {self.number}: {way}: {error}")
            self.answer.seconds.setdefault(done, []).append(time.perf_counter() - begun)

    def shared(self) -> None:
        self.read(self.setting.visits[0])

    def own(self) -> None:
        self.read(self.setting.visits[self.number + 1])

    def read(self, visit: str) -> None:
        words = f"rear gap = {self.chance.gauss(2.6, 0.1):.2f} mm"
        entry = parse("read", words, BEGIN + timedelta(seconds=self.count), f"bench {self.number}")
        with self.shop.writing() as work:
            kept = append(work, visit, entry).entry
        self.answer.entries.append((visit, kept.number, f"{kept.who}: {kept.text} at {kept.when}"))

    def edit(self) -> str:
        """Change the owner as last seen; when that is refused, see it anew."""
        mine = f"bench {self.number}, {self.count}"
        try:
            with self.shop.writing(f"bench {self.number}") as work:
                self.seen = edit(work, self.seen, contact=mine)
        except StaleEditError as error:
            self.answer.refused.append((mine,))
            theirs = str(error.theirs["contact"])
            both = error.ours == {"contact": mine} and mine in str(error) and theirs in str(error)
            if not both or theirs in (self.seen.contact, mine):
                self.answer.faults.append(f"bench {self.number}: it was not told both values: {error}")
            self.seen = self.owner()
            return REFUSED
        self.answer.edits.append((self.seen.version, mine))
        return ""

    def transfer(self) -> None:
        """One piece from the drawer to the wall: both shelves, or neither."""
        drawer, wall, _ = self.setting.shelves
        with self.shop.writing() as work:
            moved = [(part, n, supplies.move_stock(work, part, n, "counted")) for part, n in ((drawer, -1), (wall, 1))]
        self.answer.moved += moved

    def use(self) -> None:
        part, visit, n = self.setting.shelves[2], self.setting.visits[self.number + 1], -self.chance.randint(1, 4)
        with self.shop.writing() as work:
            moved = part, n, supplies.move_stock(work, part, n, "used", visit)
        self.answer.moved.append(moved)

    def look(self) -> None:
        """What both shelves hold together stays the same, and a journal never gets shorter or loses a number."""
        visit = self.chance.choice(self.setting.visits)
        with self.shop.reading() as work:
            held = sum(one.stock for one in supplies.parts(work) if one.id in self.setting.shelves[:2])
            numbers = [one.number for one in journal_of(work, get(work, Visit, visit)).entries[-20:]]
        last = numbers[-1] if numbers else 0
        if held != STOCK:
            self.answer.faults.append(f"bench {self.number}: the shelves held {held} at a look, not {STOCK}")
        if last < self.lengths[visit] or numbers != list(range(last - len(numbers) + 1, last + 1)):
            self.answer.faults.append(f"bench {self.number}: the journal of {visit} ended with {numbers} at a look")
        self.lengths[visit] = last


def _process(setting: Setting, number: int, seconds: float, seed: int, start: Any, pipe: Connection) -> None:
    with open_shop(setting.at) as shop:
        bench = Bench(shop, setting, number, seed)
        start.wait(PATIENCE)
        bench.work(seconds)
    pipe.send(bench.answer)
    pipe.close()


def at_work(setting: Setting, seconds: float, seed: int = 1) -> list[Answer]:
    """Let all benches work at once.

    Args:
        setting: from `prepared`.
        seconds: how long.
        seed: of what they do.
    Returns: what each was told; one that died says so among its faults.
    """
    fresh = multiprocessing.get_context("spawn")
    count = len(setting.visits) - 1
    start = fresh.Barrier(count)
    pipes, processes = [], []
    for number in range(count):
        mine, theirs = fresh.Pipe(duplex=False)
        process = fresh.Process(target=_process, args=(setting, number, seconds, seed, start, theirs), daemon=True)
        process.start()
        theirs.close()
        pipes.append(mine)
        processes.append(process)
    answers = []
    for number, pipe in enumerate(pipes):
        try:
            answers.append(pipe.recv())
        except EOFError:
            answers.append(Answer(faults=[f"bench {number} died"]))
    for process in processes:
        process.join()
    return answers


def problems(setting: Setting, answers: Sequence[Answer]) -> list[str]:
    """Where what is in the shop is not what the benches were told.

    Args:
        setting: they worked on.
        answers: of all.
    Returns: sentences, none when nothing was lost, torn or doubled.
    """
    found = [one for answer in answers for one in answer.faults]
    with open_shop(setting.at) as shop:
        with shop.reading() as work:
            found += chain(_entries(work, setting, answers), _edits(work, setting, answers))
            found += _stock(work, setting, answers)
        found += check(shop).problems
    return found


def _told(answers: Sequence[Answer], what: str) -> list[tuple[Any, ...]]:
    return sorted(one for answer in answers for one in getattr(answer, what))


def _entries(work: Work, setting: Setting, answers: Sequence[Answer]) -> Iterator[str]:
    there: Kept = []
    for visit in setting.visits:
        entries = journal_of(work, get(work, Visit, visit)).entries
        there += [(visit, one.number, f"{one.who}: {one.text} at {one.when}") for one in entries]
        if [one.number for one in entries] != list(range(1, len(entries) + 1)):
            yield f"the numbers of visit {visit} have a gap"
    yield from _differ("entries", there, _told(answers, "entries"))


def _edits(work: Work, setting: Setting, answers: Sequence[Answer]) -> Iterator[str]:
    own = CHANGE.c.table_name == "owner", CHANGE.c.row == setting.owner, CHANGE.c.version > 1
    rows = work.connection.execute(select(CHANGE).where(*own).order_by(CHANGE.c.version)).all()
    after = [str(json.loads(row.after)["contact"]) for row in rows]
    yield from _differ(
        "edits", [(row.version, value) for row, value in zip(rows, after, strict=True)], _told(answers, "edits")
    )
    if [json.loads(row.before)["contact"] for row in rows] != ["", *after][: len(rows)]:
        yield "an edit was based on another value than the one before it"
    if [row.version for row in rows] != list(range(2, len(rows) + 2)):
        yield "the versions of the owner have a gap"
    if get(work, Owner, setting.owner).contact != (after[-1] if after else ""):
        yield "the owner is not what the last edit made of it"
    for (mine,) in _told(answers, "refused"):
        if mine in after:
            yield f"an edit that was refused is there: {mine}"


def _stock(work: Work, setting: Setting, answers: Sequence[Answer]) -> Iterator[str]:
    moved = STOCK_MOVEMENT.c
    rows = work.connection.execute(select(moved.part, moved.count).where(moved.reason != "came")).all()
    told = _told(answers, "moved")
    yield from _differ("movements", [tuple(row) for row in rows], [one[:2] for one in told])
    held = {one.id: one.stock for one in supplies.parts(work)}
    sums = Counter({setting.shelves[0]: STOCK})
    for part, count, _ in told:
        sums[part] += count
    if any(held[part] != sums[part] for part in setting.shelves):
        yield f"the shelves hold {held}, what was moved comes to {dict(sums)}"
    steps = sorted(after for part, _, after in told if part == setting.shelves[1])
    if steps != list(range(1, len(steps) + 1)):
        yield "two benches saw the same stock on the wall, so one of their movements was lost to the other"


def _differ(what: str, there: Kept, told: Kept) -> Iterator[str]:
    lost, more = Counter(told) - Counter(there), Counter(there) - Counter(told)
    if lost:
        yield f"{lost.total()} {what} were acknowledged and are not there, e.g. {next(iter(lost))}"
    if more:
        yield f"{more.total()} {what} are there and nobody was told, e.g. {next(iter(more))}"


def table(answers: Sequence[Answer], seconds: float) -> list[str]:
    """How long each way took, as rows of a table.

    Args:
        answers: of all benches.
        seconds: they worked.
    Returns: lines of Markdown.
    """
    lines = ["| what | done | a second | median [ms] | 95 % [ms] | most [ms] |", "|---|---|---|---|---|---|"]
    for way in (*WAYS, REFUSED, "fault"):
        took = np.array([one for answer in answers for one in answer.seconds.get(way, [])]) * 1e3
        if took.size:
            shares = " | ".join(f"{one:.1f}" for one in (np.median(took), np.quantile(took, 0.95), took.max()))
            lines.append(f"| {way} | {took.size} | {took.size / seconds:.1f} | {shares} |")
    return lines
