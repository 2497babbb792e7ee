"""Several entries at once: all or none, and only where the journal is as it was seen."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from setwright.bench.journals import InShop, job_from, made
from setwright.bench.shop import add_job, make_shop, show_visit
from setwright.bench.together import keep_all, take_back
from setwright.errors import InputError, StaleEditError
from setwright.records.entries import live

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@pytest.fixture
def visit(tmp_path: Path) -> InShop:
    at = str(tmp_path / "shop")
    make_shop(at, "Weir Lane Bench")
    return InShop(at, add_job(at, str(EXAMPLES / "kestrel-float.job.toml")).added.visit.id)


def entries(visit: InShop, *lines: str):
    return [made(job_from(visit), [one]) for one in lines]


def texts(visit: InShop) -> list[str]:
    return [one.text for one in live(show_visit(visit.shop, visit.visit).journal.entries)]


def test_all_get_their_numbers(visit: InShop) -> None:
    kept = keep_all(visit, entries(visit, "read rear gap = 2.6 mm", "note one", "did springs 3"), "Mara", after=0)
    assert [one.entry.number for one in kept] == [1, 2, 3]
    assert texts(visit) == ["rear gap = 2.6 mm", "one", "springs 3"]


def test_none_is_kept_where_one_cannot_be(visit: InShop) -> None:
    with pytest.raises(InputError, match="#9"):
        keep_all(visit, entries(visit, "note one", "strike #9: wrong"))
    assert texts(visit) == []


@pytest.mark.parametrize("count", [0, 101])
def test_how_many(visit: InShop, count: int) -> None:
    with pytest.raises(InputError, match="1 to 100"):
        keep_all(visit, entries(visit, *["note one"] * count))


def test_what_was_written_meanwhile_is_seen(visit: InShop) -> None:
    keep_all(visit, entries(visit, "note one"))
    with pytest.raises(StaleEditError, match="written to since"):
        keep_all(visit, entries(visit, "did claw out 1/8 turn"), after=0)
    assert texts(visit) == ["one"]


def test_of_eight_benches_one_has_done_it(visit: InShop) -> None:
    def done(_: int) -> bool:
        try:
            keep_all(visit, entries(visit, "did claw out 1/8 turn"), after=0)
        except StaleEditError:
            return False
        return True

    with ThreadPoolExecutor(8) as pool:
        assert sum(pool.map(done, range(8))) == 1
    assert texts(visit) == ["claw out 1/8 turn"]


def test_taken_back_together(visit: InShop) -> None:
    keep_all(visit, entries(visit, "note one", "note two", "note three"))
    struck = take_back(visit, [1, 3, 3], "Mara", "read on the wrong side")
    assert [one.entry.text for one in struck] == ["#3: read on the wrong side", "#1: read on the wrong side"]
    assert texts(visit) == ["two"]
    with pytest.raises(InputError, match="struck already"):
        take_back(visit, [2, 3])
    assert texts(visit) == ["two"]
