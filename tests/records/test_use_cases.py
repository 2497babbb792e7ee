"""What the bench does with a shop, the same on both engines: each use case once, with what others would see of it."""

from __future__ import annotations

import io
import tomllib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date, datetime

import pytest

from setwright.bench import attachments, climate, house, life, owners, parts, visits
from setwright.bench.demo_shop import make_demo
from setwright.bench.journals import InShop, keep
from setwright.bench.shop import check_shop, job_in, show_visit
from setwright.errors import InputError, StaleEditError
from setwright.records.jobs import JobFiles

WHEN = datetime(2026, 11, 30, 9, 5)


@pytest.fixture
def visit(at: str, files: JobFiles) -> str:
    """An open visit of an instrument of Ada Lark's."""
    return visits.take_in_files(at, files, "Ada Lark", kind="floating", who="Bo").visit.id


def test_owners_and_instruments_are_edited_from_a_version(at: str, visit: str, files: JobFiles) -> None:
    line = owners.find_owners(at, "ADA lark")[0]
    assert (line.name, line.instruments) == ("Ada Lark", 1)
    kept = owners.edit_owner(at, line.id[-8:], 1, "Bo", contact="by post")
    with pytest.raises(StaleEditError) as refused:
        owners.edit_owner(at, line.id, 1, "Cy", contact="by phone")
    assert (refused.value.theirs, refused.value.ours) == ({"contact": "by post"}, {"contact": "by phone"})
    home = owners.show_owner(at, line.id).instruments[0]
    assert owners.instrument_in(at, home.id[-8:]) == home
    assert owners.edit_instrument(at, home.id, home.version, serial="K-77", owner="").owner is None
    assert owners.show_owner(at, line.id) == owners.ShownOwner(kept, ())
    added = owners.add_instrument(at, files.instrument_name, line.id, raw=files.instrument)
    assert [one.id for one in owners.show_owner(at, line.id).instruments] == [added.id]


def test_stock_is_the_sum_whoever_counts(at: str, visit: str) -> None:
    shim = parts.add_part(at, "strip shim .020 in")
    assert parts.parts_came(at, shim.name, 40, "Bo").stock == 40
    with ThreadPoolExecutor(4) as benches:
        for done in [benches.submit(parts.parts_used, at, shim.id, 1, visit, "Cy") for _ in range(12)]:
            done.result()
    assert parts.parts_returned(at, shim.id[-8:], 2, visit).stock == 30
    assert parts.parts_counted(at, shim.id, 25).stock == 25
    assert parts.parts_counted(at, shim.id, 25).stock == 25
    assert [(one.name, one.stock) for one in parts.parts_of(at, visit)] == [(shim.name, -10)]
    assert parts.low_parts(at) == ()
    assert [one.stock for one in parts.low_parts(at, 25)] == [25]
    with pytest.raises(InputError, match="lies between 0 and"):
        parts.parts_counted(at, shim.id, -1)


def test_files_air_and_specifications(at: str, visit: str) -> None:
    kept = attachments.attach(at, "other", "note.txt", io.BytesIO(b"typed"), visit=visit, who="Bo")
    assert attachments.attachment_in(at, kept.id[-8:]) == (kept, b"typed")
    assert attachments.attachments_of(at, visit=visit[-8:]) == (kept,)
    climate.note_climate(at, "70 F", "45 %", visit, "Bo", WHEN)
    (air,) = climate.climate_of(at, visit)
    assert (air.at, climate.shown(air, "inch")) == ("2026-11-30 09:05:00", ("70.0 °F", "45 %"))
    first = house.specify(
        at, "house", "rear gap = 2.6 mm ± 0.25 mm\nstring height every string at fret 12 = at most 3 mm"
    )
    second = house.specify(at, "house", house.text_of(first.items[:1]), "less", "Bo")
    assert house.specifications_of(at) == (second, first)
    assert house.show_specification(at, first.id[-8:]) == first
    edited = visits.edit_visit(at, visit, 1, wish="Lower, #1 & <small>.", specification="house")
    assert (edited.specification, edited.wish) == (second.id, "Lower, #1 & <small>.")


def test_the_way_to_pitch_is_a_line_of_the_job_file(at: str, visit: str, files: JobFiles) -> None:
    visits.edit_visit(at, visit, 1, wish="Softer.")
    before = job_in(at, visit)[0].want
    assert before.fewest == "claw settings"
    assert visits.choose_way(at, visit, "minutes", 2, "Bo").version == 3
    assert job_in(at, visit)[0].want == replace(before, fewest="minutes")
    assert show_visit(at, visit).visit.wish == "Softer."  # the file's own was another one
    with pytest.raises(StaleEditError):
        visits.choose_way(at, visit, "claw settings", 2)
    assert visits.choose_way(at, visit, "claw settings").version == 4
    assert job_in(at, visit)[0].want == before
    with pytest.raises(InputError, match="fewest claw settings or fewest minutes; it was asked for fewest tears"):
        visits.choose_way(at, visit, "tears")


@pytest.mark.parametrize("text", [
    "[want]\n", "[want]\nfewest = 'claw settings'\n", "[want] # of her\nfewest='minutes'", "[want]\r\nrelief = 1\r\n",
    "[found]\na = 1\n  [want]\t\nb = 2\n[shop]\nc = 3",
])  # fmt: skip
def test_one_line_of_a_job_file_is_changed_and_nothing_else(text: str) -> None:
    was = tomllib.loads(text)
    now = tomllib.loads(visits._chosen(text.encode(), "minutes", "job.toml").decode())
    assert now == was | {"want": was["want"] | {"fewest": "minutes"}}


@pytest.mark.parametrize("text", [
    "want = { relief = 1 }\n", "[job]\nwish = 'x'\n", '[job]\nwish = """\n[want]\n"""\n[want]\nrelief = 1\n',
    "[want]\nfewest = [\n1]\n", "[job]\nfewest = 1\n[want]\n",
])  # fmt: skip
def test_a_job_file_written_otherwise_is_left_to_its_writer(text: str) -> None:
    with pytest.raises(InputError, match=r'^job\.toml says .* write fewest = "minutes" in its \[want\]\.$'):
        visits._chosen(text.encode(), "minutes", "job.toml")


def test_a_life_is_closed_and_goes_on(at: str, visit: str, files: JobFiles) -> None:
    keep(InShop(at, visit), ["read", "rear gap = 2.6 mm"], when=WHEN, who="Bo")
    assert visits.edit_visit(at, visit, 1, kind="look over").version == 2
    with pytest.raises(StaleEditError):
        visits.hand_back(at, visit, date(2099, 2, 25), 1, "Bo")
    closed = visits.hand_back(at, visit, date(2099, 2, 25), who="Bo")
    with pytest.raises(InputError, match="is closed"):
        keep(InShop(at, visit), ["note", "late"], when=WHEN)
    left = visits.as_left(at, closed.instrument)
    assert left is not None
    assert left.visit == visit
    told = life.life_of(at, closed.instrument)
    assert (told.visits[0].visit, told.recheck, told.visits[0].who) == (closed, date(2099, 2, 25), ("Ada", "Bo"))
    assert visits.open_again(at, visit, closed.version).state == "open"
    assert [one.id for one in visits.visits_of(at, closed.instrument)] == [visit]
    assert check_shop(at).problems == ()


@pytest.mark.slow
def test_the_invented_shop_is_whole(fresh: str) -> None:
    made = make_demo(fresh, 3, date(2026, 11, 30))
    found = check_shop(fresh)
    assert found.problems == ()
    assert (found.instruments, found.visits, found.entries) == (made.instruments, made.visits, made.entries)
