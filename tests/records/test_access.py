"""Roles, PINs, benches and what happened, on both engines: what is kept, what serves once, what is only added to."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import delete, select, update

from setwright.errors import InputError
from setwright.records import access, audit, day, devices
from setwright.records.engine import WRITES
from setwright.records.exchange import export
from setwright.records.shop import Shop, stamp
from setwright.records.tables import AUDIT, DEVICE, PAIRING, PIN, SITTING

NOW = datetime(2026, 11, 30, 9, 0, tzinfo=UTC)
LATER = stamp(NOW + timedelta(minutes=5))


def person(shop: Shop, name: str) -> str:
    with shop.writing() as work:
        return day.person_named(work, name).id


def let_in(shop: Shop, name: str = "tablet", key: str = "key") -> devices.Device:
    with shop.writing("Mara") as work:
        devices.open_pairing(work, key + " way", "9999")
        made = devices.use_pairing(work, key + " way", work.now, name, key)
    assert made is not None
    return made


def test_everybody_is_a_technician_until_something_else_is_said(shop: Shop) -> None:
    mara = person(shop, "Mara")
    with shop.writing() as work:
        assert [(one.name, one.role, one.pin) for one in access.workers(work)] == [("Mara", "technician", "")]
        access.set_role(work, mara, "lead")
        assert [one.name for one in access.leads(work)] == ["Mara"]
        access.set_role(work, mara, "lead")
        with pytest.raises(InputError, match="there are technician and lead"):
            access.set_role(work, mara, "owner")
        assert access.worker(work, "nobody") is None


def test_the_last_lead_stays_one(shop: Shop) -> None:
    mara, bo = person(shop, "Mara"), person(shop, "Bo")
    with shop.writing() as work:
        access.set_role(work, mara, "lead")
        for role in ("technician", ""):
            with pytest.raises(InputError, match="Mara is the only lead"):
                access.keep_a_lead(work, mara, role)
        access.set_role(work, bo, "lead")
        access.set_role(work, mara, "technician")
        assert [one.name for one in access.leads(work)] == ["Bo"]


def test_a_pin_is_kept_in_the_place_of_the_one_before(shop: Shop) -> None:
    mara = person(shop, "Mara")
    with shop.writing() as work:
        assert access.pin_of(work, mara) is None
        access.keep_pin(work, mara, "first")
        access.keep_pin(work, mara, "second")
        assert access.pin_of(work, mara) == "second"
        assert access.worker(work, mara).pin == work.now  # type: ignore[union-attr]
        access.drop_pin(work, mara)
        assert access.pin_of(work, mara) is None


def test_tries_are_counted_taken_back_and_forgotten_after_a_day(shop: Shop) -> None:
    with shop.writing() as work:
        for count in (1, 2, 3):
            assert access.count_try(work, "person x", NOW, stamp(NOW)) == count
        access.uncount_try(work, "person x")
        assert access.tries(work, "person x", NOW).count == 2  # type: ignore[union-attr]
        assert access.tries(work, "person y", NOW) is None
        assert access.tries(work, "person x", NOW + timedelta(hours=25)) is None
        assert access.count_try(work, "person x", NOW + timedelta(hours=25), LATER) == 1
        access.uncount_try(work, "person x")
        assert access.tries(work, "person x", NOW) is None


def test_a_way_in_serves_once_and_for_a_while(shop: Shop) -> None:
    with shop.writing("Mara") as work:
        devices.open_pairing(work, "secret", LATER)
        assert devices.pairing_open(work, "secret", stamp(NOW))
        assert not devices.pairing_open(work, "another", stamp(NOW))
        assert not devices.pairing_open(work, "secret", stamp(NOW + timedelta(minutes=6)))
        assert devices.use_pairing(work, "secret", stamp(NOW + timedelta(minutes=6)), "late", "k") is None
        for name in ("", " ", "a\nb", "x" * 61):
            with pytest.raises(InputError):
                devices.use_pairing(work, "secret", stamp(NOW), name, "k")
        made = devices.use_pairing(work, "secret", stamp(NOW), " tablet ", "k")
        assert made is not None
        assert (made.name, made.who) == ("tablet", "Mara")
        assert devices.use_pairing(work, "secret", stamp(NOW), "again", "k2") is None
    with shop.reading() as work:
        for table, column in ((PAIRING, PAIRING.c.secret), (DEVICE, DEVICE.c.secret)):
            assert set(work.connection.execute(select(column)).scalars()) == {
                devices.hashed("secret" if table is PAIRING else "k")
            }


def test_of_many_that_come_at_once_one_is_let_in(shop: Shop) -> None:
    with shop.writing() as work:
        devices.open_pairing(work, "secret", LATER)

    def come(number: int) -> bool:
        with shop.writing() as work:
            return devices.use_pairing(work, "secret", stamp(NOW), f"tablet {number}", f"key {number}") is not None

    with ThreadPoolExecutor(6) as pool:
        assert sorted(pool.map(come, range(12))) == [False] * 11 + [True]


def test_who_sits_at_a_bench_is_known_until_anything_ends_it(shop: Shop) -> None:
    mara, bo, bench = person(shop, "Mara"), person(shop, "Bo"), let_in(shop)
    other = let_in(shop, "screen", "other key")
    with shop.writing() as work:
        for one in (mara, bo):
            access.keep_pin(work, one, "x")
        assert devices.device_of(work, "key") == bench
        assert devices.device_of(work, "no key") is None
        devices.sit_down(work, bench.id, mara, "seat", stamp(NOW))
        found = devices.sitting_of(work, bench, "seat")
        assert found is not None
        assert (found.worker.name, found.began) == ("Mara", stamp(NOW))
        assert devices.sitting_of(work, other, "seat") is None  # a secret of one bench serves at no other
        devices.still_here(work, found, LATER)
        assert devices.sitting_of(work, bench, "seat").seen == LATER  # type: ignore[union-attr]
        devices.sit_down(work, bench.id, bo, "seat 2", stamp(NOW))
        assert devices.sitting_of(work, bench, "seat") is None  # one sits at a bench
        access.drop_pin(work, bo)
        assert devices.sitting_of(work, bench, "seat 2") is None
        access.keep_pin(work, bo, "x")
        assert devices.sitting_of(work, bench, "seat 2") is not None
        devices.stand_up(work, person=bo)
        assert devices.sitting_of(work, bench, "seat 2") is None


def test_a_bench_that_is_shut_out_is_known_no_more(shop: Shop) -> None:
    mara, bench = person(shop, "Mara"), let_in(shop)
    twin = let_in(shop, "tablet", "key of its twin")
    with shop.writing("Mara") as work:
        access.keep_pin(work, mara, "x")
        devices.sit_down(work, bench.id, mara, "seat", stamp(NOW))
        with pytest.raises(InputError, match="more than one bench 'tablet'"):
            devices.shut_out(work, "tablet", stamp(NOW))
        devices.shut_out(work, bench.id[-8:], stamp(NOW))
        assert devices.device_of(work, "key") is None
        assert work.connection.execute(select(SITTING)).all() == []
        with pytest.raises(InputError, match="no bench"):
            devices.shut_out(work, bench.id, stamp(NOW))
        assert {one.id: one.ended_by for one in devices.devices(work)} == {bench.id: "Mara", twin.id: ""}


def test_what_happened_is_only_added_to(shop: Shop) -> None:
    with shop.writing("Mara") as work:
        audit.note(work, "signed in", "Mara", "tablet\x00\n<b>", "x" * 900)
    with shop.reading() as work:
        (one,) = audit.events(work)
        assert (one.event, one.who, one.device, len(one.words)) == ("signed in", "Mara", "tablet??<b>", 500)
    engine = shop.engine.execution_options(**{WRITES: True})
    for wrong in (delete(AUDIT), update(AUDIT).values(who="Eve")):
        with pytest.raises(Exception, match="only added to"), engine.begin() as connection:
            connection.execute(wrong)


def test_events_come_page_by_page(shop: Shop) -> None:
    with shop.writing() as work:
        for number in range(5):
            audit.note(work, f"event {number}")
    with shop.reading() as work:
        first = audit.events(work, 3)
        assert [one.event for one in first] == ["event 4", "event 3", "event 2"]
        assert [one.event for one in audit.events(work, 3, first[-1].id)] == ["event 1", "event 0"]


def test_nobody_comes_in_with_what_was_exported(shop: Shop, tmp_path: Path) -> None:
    mara, bench = person(shop, "Mara"), let_in(shop)
    with shop.writing() as work:
        access.set_role(work, mara, "lead")
        access.keep_pin(work, mara, "hash of a PIN")
        devices.sit_down(work, bench.id, mara, "seat", stamp(NOW))
        access.count_try(work, "person x", NOW, stamp(NOW))
        audit.note(work, "signed in", "Mara")
        assert work.connection.execute(select(PIN)).all()
    export(shop, tmp_path / "out")
    names = {path.stem for path in (tmp_path / "out" / "tables").glob("*.jsonl")}
    assert names.isdisjoint({"pin", "device", "sitting", "pairing", "refused_try"})
    assert {"person_role", "audit"} <= names
    written = "".join(path.read_text("utf-8") for path in (tmp_path / "out").rglob("*.jsonl"))
    assert "hash of a PIN" not in written
    assert devices.hashed("key") not in written
    (line,) = (tmp_path / "out" / "tables" / "person_role.jsonl").read_text("utf-8").splitlines()
    assert json.loads(line) == {"person": mara, "role": "lead"}
