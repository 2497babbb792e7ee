"""Which instruments are to be looked at again: their last closed visit says so, and they have not come in since."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from setwright.bench.due import due_of
from setwright.bench.visits import hand_back, open_again
from setwright.errors import InputError
from setwright.records.edits import edit
from setwright.records.jobs import add_job
from setwright.records.journal_text import parse
from setwright.records.kept import append
from setwright.records.shop import open_shop

DAY = date(2099, 2, 25)


def visits(at, files, *notes, owner="Ada Lark", **more):
    """A visit with notes; its id and its instrument's."""
    with open_shop(at) as shop, shop.writing("Ada") as work:
        made = add_job(work, files, owner, **more)
        if more.get("contact"):
            edit(work, made.owner, contact=more["contact"])
        for note in notes:
            verb, text = note.split(" ", 1)
            append(work, made.visit.id, parse(verb, text, datetime(2026, 11, 30, 9)))
    return made.visit.id, made.instrument.id


def test_a_day_comes_goes_by_and_is_over_when_the_instrument_comes_in_again(at, files):
    visit, home = visits(at, files)
    assert due_of(at, date(2100, 1, 1)) == ()
    hand_back(at, visit, DAY)
    (one,) = due_of(at, date(2099, 3, 1))
    assert (one.instrument, one.name, one.owner, one.visit, one.day, one.late) == (
        home, "Kestrel", "Ada Lark", visit, DAY, 4,
    )  # fmt: skip
    assert [found.late for found in due_of(at, DAY)] == [0]
    assert due_of(at, date(2099, 2, 24)) == ()
    assert [found.late for found in due_of(at, date(2099, 2, 18), ahead=7)] == [-7]
    assert due_of(at, date(2099, 2, 17), ahead=7) == ()
    open_again(at, visit)
    assert due_of(at, date(2099, 3, 1)) == (), "it is on the bench"
    hand_back(at, visit)
    assert len(due_of(at, date(2099, 3, 1))) == 1
    visits(at, files, instrument=home, owner="")
    assert due_of(at, date(2099, 3, 1)) == (), "it has come in again"


def test_the_last_live_note_counts_and_what_is_no_day_is_left_out(at, files):
    ids = [
        visits(at, files, *notes, owner=f"Owner {i}")[0]
        for i, notes in enumerate((
            ("note recheck: 2099-01-01", "note Recheck : 2099-01-03"), ("note recheck: 2099-01-02", "note rechecked"),
            ("note recheck: some day",), ("note recheck: 2099-01-01", "strike #8: wrong"), ("note buzz",),
        ))
    ]  # fmt: skip
    for one in ids:
        hand_back(at, one)
    found = due_of(at, date(2099, 2, 1))
    assert [(one.owner, one.day) for one in found] == [
        ("Owner 1", date(2099, 1, 2)), ("Owner 0", date(2099, 1, 3)),
    ]  # fmt: skip


def test_more_ahead_than_anyone_plans_is_refused(at):
    for ahead in (-1, 4000):
        with pytest.raises(InputError, match="give 0 to 3650"):
            due_of(at, DAY, ahead)
