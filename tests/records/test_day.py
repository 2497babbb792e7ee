"""The day of a shop on both engines: open visits, marks, people."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from setwright.errors import InputError
from setwright.records import day
from setwright.records.edits import edit, get
from setwright.records.jobs import JobFiles, add_job
from setwright.records.journal_text import parse
from setwright.records.kept import append
from setwright.records.rows import Person, Visit
from setwright.records.shop import Shop

WHEN = datetime(2026, 11, 30, 9, 55)


@pytest.fixture
def visits(shop: Shop, files: JobFiles) -> tuple[str, str]:
    """Ids of two open visits: one without a journal and an owner, one with both."""
    with shop.writing("Mara") as work:
        bare = replace(files, journal=b"", instrument=files.instrument + b"\n# another\n")
        first = add_job(work, bare).visit.id
        return first, add_job(work, files, "Ada Lark").visit.id


def test_open_visits_come_with_their_last_entry_the_longest_wait_first(shop: Shop, visits: tuple[str, str]) -> None:
    bare, told = visits
    with shop.reading() as work:
        found = {one.id: one for one in day.open_visits(work)}
        order = [one.came for one in day.open_visits(work)]
    assert order == sorted(order)
    assert (found[bare].entries, found[bare].who, found[bare].at, found[bare].owner) == (0, "", "", "")
    # the last whole line of the journal of `files` is #7, by Bo Lark; four entries before it are whole
    assert (found[told].who, found[told].at, found[told].owner) == ("Bo Lark", "2026-11-25 14:37:00", "Ada Lark")
    assert found[told].name == "Kestrel"
    assert found[told].entries == 5
    with shop.writing("Bo") as work:
        edit(work, get(work, Visit, told), state="closed")
        assert [one.id for one in day.open_visits(work)] == [bare]


def test_marks_move_with_every_writing_and_name_what_moved(shop: Shop, visits: tuple[str, str]) -> None:
    bare, told = visits
    with shop.reading() as work:
        before = day.marks(work)
        assert before == tuple(day.mark(work, one) for one in sorted(visits))
    with shop.writing("Bo") as work:
        append(work, bare, parse("note", "seen", WHEN))
    with shop.writing("Bo") as work:
        edit(work, get(work, Visit, told), wish="Lower")
    with shop.reading() as work:
        assert day.mark(work, bare) == day.Mark(bare, 1, 1)
        assert day.mark(work, told).version == 2
        assert not set(before) & set(day.marks(work))
        with pytest.raises(InputError, match="no visit"):
            day.mark(work, "zzzz")


def test_a_person_is_one_however_the_name_is_written_until_they_leave(shop: Shop) -> None:
    with shop.writing("Zoë") as work:
        first = day.person_named(work, "  Zoë ")
        assert day.person_named(work, "ZOË").id == first.id
        other = day.person_named(work, "Bo")
        assert [one.name for one in day.people(work)] == ["Bo", "Zoë"]
        edit(work, get(work, Person, other.id), until=work.now)
        assert [one.name for one in day.people(work)] == ["Zoë"]
        assert day.person_named(work, "Bo").id != other.id
        with pytest.raises(InputError, match="empty"):
            day.person_named(work, "  ")
