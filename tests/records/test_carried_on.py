"""What a visit learned of its instrument is kept when it is handed back, and the next one begins with it."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from setwright.bench import carried
from setwright.bench.journals import InShop
from setwright.bench.learned import learned_of
from setwright.bench.next_step import next_of
from setwright.bench.plans import problem_from
from setwright.bench.shop import job_in
from setwright.bench.visits import hand_back, open_again
from setwright.records.check import check
from setwright.records.edits import get
from setwright.records.exchange import export
from setwright.records.exchange_import import import_shop
from setwright.records.jobs import JobFiles, add_job
from setwright.records.journal_text import parse
from setwright.records.kept import append
from setwright.records.rows import Visit
from setwright.records.shop import open_shop

EXAMPLES = Path(__file__).parents[2] / "examples"
JOURNAL = (EXAMPLES / "kestrel-finished.journal.txt").read_bytes()
AGAIN = (
    "did strip shim in .030 in", "did pivot up 2 turns", "did springs 3", "did step saddles",
    *(f"read pitch string {i} = -300 c ± 0.5 c" for i in range(1, 7)), "read rear gap = 0 mm ± 0.1 mm",
)  # fmt: skip
LATER = "".join(
    f"2028-11-25 10:{i:02d}:00  #{i}  {one.replace(' ', '  ', 1)}\n" for i, one in enumerate(AGAIN, start=1)
).encode()
SPRINGS = "springs.rate"
pytestmark = pytest.mark.slow


def files(journal: bytes) -> JobFiles:
    return JobFiles(
        "kestrel-float.job.toml", (EXAMPLES / "kestrel-float.job.toml").read_bytes(), "kestrel.instrument.toml",
        (EXAMPLES / "kestrel.instrument.toml").read_bytes(), "kestrel-float.journal.txt", journal,
    )  # fmt: skip


@pytest.fixture
def twice(at):
    """A finished visit and a later one of the same instrument, both open."""
    with open_shop(at) as shop, shop.writing("Ada") as work:
        first = add_job(work, files(JOURNAL), "Ada Lark")
        second = add_job(work, files(LATER), instrument=first.instrument.id)
    return first.visit.id, second.visit.id


def sd(at: str, visit: str) -> float:
    """How well the spring rate is known when the visit begins, over how well the catalogue knows it."""
    known = problem_from(job_in(at, visit)[0]).known
    place = known.index(SPRINGS)
    return float(known.covariance[place, place] ** 0.5 / known.parts[place].sd)


def test_the_next_visit_begins_with_what_the_last_one_learned(at, twice):
    first, second = twice
    fresh = learned_of(InShop(at, second))[1]
    assert sd(at, second) == pytest.approx(1.0)
    closed = hand_back(at, first, date(2099, 1, 1), who="Ada")
    assert closed.belief is not None
    assert 0.3 < sd(at, second) < 0.99
    report = learned_of(InShop(at, second))[1]
    assert any("begins with what an earlier visit learned" in one for one in report.remarks)
    assert not any("an earlier visit" in one for one in fresh.remarks)
    before, after = (next(one for one in found.learned.traits if one.name == SPRINGS) for found in (fresh, report))
    assert after.before_sd < before.before_sd
    assert after.after_sd < before.after_sd
    assert next_of(InShop(at, second))[1].kind in ("balance", "done")
    with open_shop(at) as shop:
        assert check(shop).problems == ()


def test_a_visit_opened_again_takes_back_what_it_left(at, twice):
    first, second = twice
    hand_back(at, first)
    assert sd(at, second) < 0.99
    assert open_again(at, first).belief is None
    assert sd(at, second) == pytest.approx(1.0)
    assert sd(at, first) == pytest.approx(1.0), "a visit never begins with what it left itself"


def test_what_was_learned_goes_out_and_comes_in_with_the_shop(at, twice, tmp_path):
    first, second = twice
    hand_back(at, first)
    with open_shop(at) as shop:
        export(shop, tmp_path / "out")
    import_shop(tmp_path / "out", str(tmp_path / "in"))
    assert sd(str(tmp_path / "in"), second) == pytest.approx(sd(at, second), rel=1e-12)
    rows = [json.loads(one) for one in (tmp_path / "out/tables/visit.jsonl").read_text("utf-8").splitlines()]
    assert [one["belief"] is not None for one in rows] == [True, False]


def test_an_entry_that_comes_while_it_is_handed_back_is_learned_from_too(at, twice, monkeypatch):
    first, _ = twice
    real, seen = carried.learned_at_end, []

    def slow(job, entries):
        seen.append(len(entries))
        if len(seen) == 1:
            with open_shop(at) as shop, shop.writing("Bo") as work:
                append(work, first, parse("read", "rear gap = 2.9 mm", entries[-1].when))
        return real(job, entries)

    monkeypatch.setattr(carried, "learned_at_end", slow)
    hand_back(at, first)
    assert seen == [seen[0], seen[0] + 1]


def test_a_visit_of_which_nothing_was_learned_is_handed_back_all_the_same(at):
    others = [
        JobFiles(
            f"{name}.job.toml", (EXAMPLES / f"{name}.job.toml").read_bytes(), f"{stem}.instrument.toml",
            (EXAMPLES / f"{stem}.instrument.toml").read_bytes(), f"{name}.journal.txt", b"",
        )
        for name, stem in (("plover-dive", "plover"), ("knot-too-weak", "knot"))
    ]  # fmt: skip
    with open_shop(at) as shop, shop.writing("Ada") as work:
        homes = [add_job(work, one).visit.id for one in (files(b""), *others)]
    for one in homes:
        assert hand_back(at, one).belief is None
    with open_shop(at) as shop, shop.reading() as work:
        assert {get(work, Visit, one).state for one in homes} == {"closed"}
