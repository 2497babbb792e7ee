"""How long a shop takes to answer as it grows, and what eight benches at once do to it.

    ./dev bench shop [--visits 1000 10000 100000] [--engine sqlite postgresql] [--keep FOLDER]
    ./dev bench shop --benches [--seconds 30] [--engine sqlite postgresql]

Shops are those of `made_shop`. First every question is asked of instruments not asked for before, when the database's
pages have been put out of memory (PostgreSQL is started anew); then of others, many times. Each answer is checked.
With --keep shops stay in a folder, and those that are there already are asked again.
"""

from __future__ import annotations

import argparse
import os
import pickle
import random
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import numpy as np
import psycopg

from benchmarks.benches import at_work, job_files, prepared, problems, table
from benchmarks.copied_shop import copy
from benchmarks.made_shop import Made, load
from benchmarks.running import number
from setwright.records import day, history
from setwright.records import statistics as shares
from setwright.records.edits import get
from setwright.records.jobs import add_job
from setwright.records.journal_text import parse
from setwright.records.kept import append, journal_of
from setwright.records.overview import instruments, visits
from setwright.records.rows import Visit
from setwright.records.shop import Shop, Work, new_shop, open_shop
from setwright.records.summaries import refresh
from tests.records.servers import Server, programs, running

ENGINES = ("sqlite", "postgresql")
ROOM = 90_000  # bytes a visit takes on the disk at most, logs included
COLD, WARM, FEW = 15, 51, 7  # askings; few of those that look at everything
BENCHES = 8
OPEN = 25  # visits under way
MADE = 10_000  # visits made at most; of more visits the rest are copies
FILLED = "filled.pickle"  # beside a shop that is kept: what was made


@dataclass(frozen=True)
class Place:
    """Where a shop to be measured is. folder: of its files; server: of PostgreSQL, None for SQLite."""

    at: str
    folder: Path
    server: Server | None

    def forget(self) -> None:
        """Put the database's pages out of memory."""
        if self.server is not None:
            with psycopg.connect(self.server.url("postgres"), autocommit=True) as connection:
                connection.execute("CHECKPOINT")
            self.server.kill()
        os.sync()
        for path in self.folder.rglob("*"):
            if path.is_file() and not path.is_symlink():
                handle = os.open(path, os.O_RDONLY)
                os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
                os.close(handle)
        if self.server is not None:
            self.server.start()

    def analyse(self) -> None:
        """Let a server see what it holds, as it does by itself some minutes later."""
        if self.server is not None:
            with psycopg.connect(self.at, autocommit=True) as connection:
                connection.execute("VACUUM ANALYZE")

    def size(self) -> int:
        """Bytes of all files."""
        return sum(path.stat().st_size for path in self.folder.rglob("*") if path.is_file())


@contextmanager
def placed(engine: str, keep: Path | None = None) -> Iterator[Place]:
    """A place for a shop on a real disk, gone afterwards unless it is one to keep."""
    if engine == "sqlite":
        with tempfile.TemporaryDirectory(prefix="shop-") as own:
            folder = keep or Path(own)
            yield Place(f"{folder}/shop", folder, None)
        return
    found = programs()
    if found is None:
        sys.exit("bench shop: PostgreSQL is not installed (as root: apt-get install postgresql)")
    there = keep is not None and keep.exists()
    with running(found, durable=True, keep=keep) as server:
        yield Place(server.url("shop1" if there else server.new()), server.socket / "data", server)


@dataclass(frozen=True)
class Target:
    """Somebody who is asked for."""

    instrument: str
    serial: str
    owner: str
    count: int
    visit: str


@dataclass(frozen=True)
class Question:
    """A question. ask: of a shop, about a target; it checks the answer. bar: ms, None where none is promised."""

    name: str
    ask: Callable[[Shop, Target], None]
    bar: float | None = None
    times: int = WARM


@dataclass
class Grown:
    """A shop of one size. loading: s to make it; summing: ms to sum up a visit, once. cold, warm: ms of each asking by
    the name of the question; cpu: of the warm ones that of this process, for SQLite all there is."""

    visits: int
    entries: int
    instruments: int
    loading: float
    summing: float
    megabytes: float
    cold: dict[str, list[float]] = field(default_factory=dict)
    warm: dict[str, list[float]] = field(default_factory=dict)
    cpu: dict[str, list[float]] = field(default_factory=dict)


def reading(ask: Callable[[Work, Target], bool]) -> Callable[[Shop, Target], None]:
    """A question that only reads."""

    def asked(shop: Shop, target: Target) -> None:
        with shop.reading() as work:
            assert ask(work, target), target

    return asked


def _found(work: Work, words: str, target: Target) -> bool:
    return target.instrument in [one.id for one in instruments(work, words)]


def _whole(work: Work, target: Target) -> bool:
    """Everything that was ever read and done on an instrument."""
    journals = [journal_of(work, one).entries for one in visits(work, target.instrument)]
    return len(journals) == target.count and all(len(one) > 50 for one in journals)


def _append(shop: Shop, target: Target) -> None:
    with shop.writing("Ada") as work:
        append(work, target.visit, parse("read", "rear gap = 2.6 mm", datetime(2026, 11, 25, 15)))


def questions() -> tuple[Question, ...]:
    """All that are asked."""
    return (
        Question("history of an instrument", reading(_life), 50.0),
        Question("all its journals, entry by entry", reading(_whole)),
        Question("what changed since its last visit", reading(_since)),
        Question("search by serial number", reading(lambda w, t: _found(w, t.serial, t)), 50.0),
        Question("search by owner", reading(lambda w, t: _found(w, t.owner, t)), 50.0),
        Question("search by a word many have", reading(lambda w, _: len(instruments(w, "kestrel")) > 0), 50.0),
        Question("list without a word", reading(lambda w, _: len(instruments(w)) > 0), 50.0),
        Question("a visit by the end of its id", reading(lambda w, t: get(w, Visit, t.visit[-9:]).id == t.visit)),
        Question("a reading added", _append),
        Question("open visits of the day", reading(lambda w, _: len(day.open_visits(w)) == OPEN)),
        Question("whether any of them changed", reading(lambda w, _: len(day.marks(w)) == OPEN)),
        Question("shop statistics: all of the four below", _all, 2_000.0, FEW),
        Question("summaries looked through, none to renew", lambda s, _: _nothing(refresh(s)), None, FEW),
        Question("yield, rounds, minutes by kind", reading(lambda w, _: len(shares.yields(w)) >= 5), None, FEW),
        Question("house specification held", reading(lambda w, _: len(shares.held(w)[1]) == 7), None, FEW),
        Question("drift with season", reading(lambda w, _: len(shares.season(w, "relief")) == 1), None, FEW),
        Question(
            "readings left outside, or not certain",
            reading(lambda w, _: len(history.outside(w, unsure=True)) > 0),
            None,
            FEW,
        ),
    )


def _life(work: Work, target: Target) -> bool:
    """What was found and left at each visit."""
    past = history.life(work, target.instrument).visits
    return len(past) == target.count and all(len(one.sums.values) > 15 for one in past)


def _since(work: Work, target: Target) -> bool:
    return target.count < 2 or history.since_last(work, target.instrument).now.number == target.count


def _nothing(count: int) -> None:
    assert count == 0, count


def _all(shop: Shop, _target: Target) -> None:
    _nothing(refresh(shop))
    with shop.reading() as work:
        assert len(shares.yields(work)) >= 5
        assert len(shares.held(work)[1]) == 7
        assert len(shares.season(work, "relief")) == 1


def targets(made: Made, opened: Sequence[str], count: int, chance: random.Random) -> list[Target]:
    """Instruments to ask for, each another one where there are so many."""
    all_ = range(len(made.instruments))
    chosen = chance.sample(all_, count) if count <= len(all_) else chance.choices(all_, k=count)
    return [
        Target(made.instruments[i], made.serials[i], made.owners[i], made.counts[i], chance.choice(opened))
        for i in chosen
    ]


def timed(shop: Shop, question: Question, asked: Sequence[Target]) -> tuple[list[float], list[float]]:
    """Milliseconds of each asking: by the clock, and of the processor."""
    out, cpu = [], []
    for target in asked:
        begun, worked = time.perf_counter(), time.process_time()
        try:
            question.ask(shop, target)
        except AssertionError as error:
            sys.exit(f"bench shop: {question.name}: the answer is wrong: {error}")
        out.append((time.perf_counter() - begun) * 1e3)
        cpu.append((time.process_time() - worked) * 1e3)
    return out, cpu


def filled(place: Place, count: int) -> tuple[Made, list[str], float]:
    """Make a shop of one size: what was made, its open visits, and the seconds to sum up a closed one."""
    started = time.perf_counter()
    new_shop(place.at, "Weir Lane Bench").close()
    times = -(-count // MADE)
    with open_shop(place.at) as shop:
        made = load(shop, count // times)
        with shop.writing("Ada") as work:
            opened = [add_job(work, job_files(), f"Ada Lark {i}").visit.id for i in range(OPEN)]
    place.analyse()
    begun = time.perf_counter()
    with open_shop(place.at) as shop:
        assert refresh(shop) == made.visits
        summing = (time.perf_counter() - begun) / made.visits
        copy(shop, made, times)
        assert refresh(shop) == 0
    made.seconds = time.perf_counter() - started
    place.analyse()
    return made, opened, summing


def grown(engine: str, count: int, keep: Path | None = None) -> Grown:
    """Make a shop of one size, unless it was kept, and ask it everything."""
    own = keep / f"{engine}-{count}" if keep is not None else None
    there = own is not None and (own / FILLED).exists()
    with placed(engine, own) as place:
        if own is not None and there:
            made, opened, summing = pickle.loads((own / FILLED).read_bytes())
        else:
            made, opened, summing = filled(place, count)
            if own is not None:
                (own / FILLED).write_bytes(pickle.dumps((made, opened, summing)))
        result = Grown(
            made.visits, made.entries, len(made.instruments), made.seconds, 1e3 * summing, place.size() / 1e6
        )
        chance = random.Random(count)
        for question in questions():
            first = COLD if question.times == WARM else 1
            asked = targets(made, opened, first + question.times, chance)
            place.forget()
            with open_shop(place.at) as shop:
                result.cold[question.name], _ = timed(shop, question, asked[:first])
                result.warm[question.name], result.cpu[question.name] = timed(shop, question, asked[first:])
        return result


def growth(engine: str, counts: Sequence[int], keep: Path | None = None) -> list[str]:
    """Tables of one engine."""
    shops = []
    for count in counts:
        free = shutil.disk_usage(keep or tempfile.gettempdir()).free
        if free < count * ROOM:
            sys.exit(
                f"bench shop: {count} visits need {count * ROOM / 1e9:.1f} GB in {keep or tempfile.gettempdir()}, "
                f"there are {free / 1e9:.1f}; make room, set TMPDIR, or measure fewer."
            )
        shops.append(grown(engine, count, keep))
    head = f"| {engine}, ms: median (95 %) | {' | '.join(f'{one.visits:,} visits' for one in shops)} | may take |"
    lines = [head, "|---" * (len(shops) + 2) + "|"]
    for question in questions():
        for when in ("cold", "warm"):
            took = [getattr(one, when)[question.name] for one in shops]
            cells = " | ".join(f"{statistics.median(one):.1f} ({np.quantile(one, 0.95):.1f})" for one in took)
            if when == "warm" and engine == "sqlite":
                cpus = [f"{statistics.median(one.cpu[question.name]):.1f}" for one in shops]
                cells = " | ".join(f"{cell}, cpu {cpu}" for cell, cpu in zip(cells.split(" | "), cpus, strict=True))
            bar = "" if question.bar is None else f"{question.bar:.0f}"
            lines.append(f"| {question.name}, {when} | {cells} | {bar} |")
    said = {"loading": "making the shop, s", "summing": "summing up a visit, once"}
    for name in ("entries", "instruments", "loading", "summing", "megabytes"):
        cells = " | ".join(f"{getattr(one, name):,.{name == 'summing':d}f}" for one in shops)
        lines.append(f"| {said.get(name, name)} | {cells} | |")
    return lines


def benches(engine: str, seconds: float, count: int = BENCHES) -> tuple[list[str], list[str]]:
    """Benches at work on a new shop: lines of a table, and what was lost or torn."""
    with placed(engine) as place:
        new_shop(place.at, "Weir Lane Bench").close()
        setting = prepared(place.at, count)
        answers = at_work(setting, seconds)
        return table(answers, seconds), problems(setting, answers)


def main(words: Sequence[str] | None = None) -> int:
    """Measure and print tables; exit code 1 where something was lost or torn."""
    parser = argparse.ArgumentParser(prog="./dev bench shop")
    parser.add_argument("--visits", type=number, nargs="+", default=[1_000, 10_000, 100_000])
    parser.add_argument("--engine", choices=ENGINES, nargs="+", default=list(ENGINES))
    parser.add_argument("--keep", type=Path, help="a folder that is there, for shops to be asked again")
    parser.add_argument("--benches", action="store_true", help=f"{BENCHES} benches at once instead of growth")
    parser.add_argument("--seconds", type=float, default=30.0, help="how long the benches work")
    given = parser.parse_args(words)
    lost: list[str] = []
    for engine in given.engine:
        if given.benches:
            lines, found = benches(engine, given.seconds)
            print(f"{engine}, {BENCHES} benches, {given.seconds:.0f} s\n", *lines, sep="\n")
            print(f"\nlost, torn or doubled: {len(found)}\n", *found, sep="\n", flush=True)
            lost += found
        else:
            print(*growth(engine, given.visits, given.keep), "", sep="\n", flush=True)
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main())
