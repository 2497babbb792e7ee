"""What a bench asks every day does not read the journals of the whole shop, by the plan the database itself makes."""

from __future__ import annotations

import re
from datetime import datetime

import pytest
from sqlalchemy import delete, event, select

from benchmarks.bench_shop import grown, main
from benchmarks.benches import job_files
from benchmarks.copied_shop import copy
from benchmarks.made_shop import load
from setwright.records import day, history, statistics, supplies
from setwright.records.check import check
from setwright.records.edits import get
from setwright.records.jobs import add_job
from setwright.records.journal_text import parse
from setwright.records.kept import append, journal_of
from setwright.records.overview import instruments, visits
from setwright.records.rows import Visit
from setwright.records.shop import new_shop
from setwright.records.summaries import refresh
from setwright.records.tables import VISIT_SUMMARY, VISIT_VALUE


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    with new_shop(tmp_path_factory.mktemp("full") / "shop", "Weir") as shop:
        made = load(shop, 40)
        with shop.writing() as work:
            visit = add_job(work, job_files(), "Ada Lark").visit.id
        refresh(shop)
        yield shop, made.instruments[made.counts.index(max(made.counts))], visit


ASKED = {
    "life": lambda work, home, _: history.life(work, home),
    "since last": lambda work, home, _: history.since_last(work, home),
    "journal": lambda work, home, _: journal_of(work, visits(work, home)[0]),
    "held to": lambda work, home, _: history.held_to(work, visits(work, home)[0].id),
    "outside": lambda work, *_: history.outside(work, unsure=True),
    "search": lambda work, *_: instruments(work, "lark weir"),
    "list": lambda work, *_: instruments(work),
    "end of an id": lambda work, _, visit: get(work, Visit, visit[-9:]),
    "open visits": lambda work, *_: day.open_visits(work),
    "marks": lambda work, *_: day.marks(work),
    "mark": lambda work, _, visit: day.mark(work, visit),
    "parts of a visit": lambda work, _, visit: supplies.parts(work, visit),
    "yields": lambda work, *_: statistics.yields(work),
    "held": lambda work, *_: statistics.held(work),
    "season": lambda work, *_: statistics.season(work, "relief"),
    "seasons of one": lambda work, home, _: statistics.seasons(work, home),
    "last change": lambda work, *_: day.last_change(work),
    "append": lambda work, _, visit: append(work, visit, parse("note", "buzz", datetime(2026, 11, 25))),
}


def plan(shop, ask, home, visit):
    """The steps of every statement, as SQLite plans them."""
    said = []

    def listen(_connection, _cursor, statement, parameters, *_more):
        said.append((statement, parameters))

    with shop.writing() as work:
        event.listen(work.connection, "before_cursor_execute", listen)
        ask(work, home, visit)
        event.remove(work.connection, "before_cursor_execute", listen)
        steps = []
        for statement, parameters in said:
            rows = work.connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters)
            steps += [row[3] for row in rows]
    return steps


@pytest.mark.parametrize("what", ASKED)
def test_no_question_of_the_day_reads_all_entries(full, what):
    steps = plan(full[0], ASKED[what], *full[1:])
    assert steps
    assert not [
        one for one in steps if re.match(r"SCAN (entry|stock_movement|attachment|climate|change|document)\b", one)
    ]
    if what not in ("search", "list"):
        assert not [one for one in steps if re.match(r"SCAN visit\b(?!.*USING COVERING INDEX)", one)]


def test_a_scan_would_be_seen(full):
    assert [
        one for one in plan(full[0], lambda work, *_: supplies.parts(work), *full[1:]) if "SCAN stock_movement" in one
    ]


@pytest.mark.slow
def test_copied_visits_are_as_good_as_made_ones(shop):
    made = load(shop, 30)
    refresh(shop)
    copy(shop, made, 3)
    assert (made.visits, len(made.instruments)) == (90, len(made.serials))
    assert len(set(made.serials)) == len(set(made.instruments)) == len(made.serials)
    checked = check(shop)
    assert (checked.problems, checked.visits, checked.entries) == ((), 90, made.entries)
    tables = (VISIT_VALUE, VISIT_SUMMARY)

    def summaries():
        with shop.reading() as work:
            return [sorted(map(repr, work.connection.execute(select(one)))) for one in tables]

    copied = summaries()
    with shop.writing() as work:
        for table in tables:
            work.connection.execute(delete(table))
    assert refresh(shop) == 90
    assert summaries() == copied
    with shop.reading() as work:
        for i in range(len(made.instruments)):
            (found,) = instruments(work, made.serials[i])
            assert (found.id, found.owner, found.visits) == (made.instruments[i], made.owners[i], made.counts[i])


@pytest.mark.slow
def test_a_shop_that_is_kept_is_asked_again(tmp_path):
    first, again = (grown("sqlite", 12, tmp_path) for _ in range(2))
    assert (again.visits, again.entries, again.summing) == (first.visits, first.entries, first.summing)
    assert again.warm.keys() == first.warm.keys()


@pytest.mark.slow
def test_the_benchmark_asks_and_checks_every_question():
    small = grown("sqlite", 60)
    assert small.visits == 60
    assert small.entries > 60 * 80
    assert small.cold.keys() == small.warm.keys()
    assert all(one > 0.0 for took in small.warm.values() for one in took)


@pytest.mark.slow
def test_the_benchmark_prints_tables_and_refuses_what_has_no_room(capsys, monkeypatch):
    assert main(["--benches", "--seconds", "1", "--engine", "sqlite"]) == 0
    assert "lost, torn or doubled: 0" in capsys.readouterr().out
    monkeypatch.setattr("benchmarks.bench_shop.ROOM", 10**15)
    with pytest.raises(SystemExit, match="make room"):
        main(["--visits", "1000", "--engine", "sqlite"])
