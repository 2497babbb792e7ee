"""Schemas: what migrations make is what the tables say; old shops are upgraded and used; newer ones are refused."""

from __future__ import annotations

import re
import shutil
import sqlite3
from datetime import datetime
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import CheckConstraint, inspect, text

from setwright.errors import FileFormatError, InputError
from setwright.records import specifications, supplies
from setwright.records.check import check
from setwright.records.documents import belief_from
from setwright.records.edits import edit, get
from setwright.records.engine import WRITES, engine_of, where
from setwright.records.journal_text import parse
from setwright.records.kept import append, journal_of, text_of
from setwright.records.overview import instruments, visits
from setwright.records.rows import Instrument, Owner
from setwright.records.schema import NEWEST, VERSIONS, newest, upgrade
from setwright.records.shop import new_shop, open_shop
from setwright.records.tables import GROWING, METADATA
from tests.records.make_released import BELIEF, FOLDER, JOURNAL, fill

HERE = Path(__file__).parent
LATER = (*VERSIONS, HERE / "later")
BROKEN = (*VERSIONS, HERE / "broken")
RELEASED = sorted(path.stem for path in FOLDER.glob("*.sqlite"))


def plain(words):
    return re.sub(r"[\s()'\"]|::text|\[\]|ARRAY\[|\]", "", str(words)).upper()


def test_migrations_make_what_the_tables_say(shop):
    with shop.reading() as work:
        context = MigrationContext.configure(work.connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []
        found = inspect(work.connection)
        for name, table in METADATA.tables.items():
            wanted = {one.name for one in table.constraints if isinstance(one, CheckConstraint)}
            assert {one["name"] for one in found.get_check_constraints(name)} == wanted
            keys = {one["name"] for one in found.get_foreign_keys(name)}
            assert keys == {one.name for one in table.foreign_key_constraints}


def test_check_constraints_say_the_same_on_sqlite(tmp_path):
    with new_shop(tmp_path / "a", "A") as shop, shop.reading() as work:
        found = inspect(work.connection)
        for name, table in METADATA.tables.items():
            wanted = {one.name: plain(one.sqltext) for one in table.constraints if isinstance(one, CheckConstraint)}
            assert {one["name"]: plain(one["sqltext"]) for one in found.get_check_constraints(name)} == wanted


def test_there_is_a_file_of_every_released_schema():
    scripts = sorted(path.stem.removeprefix("schema_") for path in VERSIONS[0].glob("schema_*.py"))
    assert scripts == RELEASED
    assert scripts[-1] == newest() == NEWEST


@pytest.mark.parametrize("schema", RELEASED)
def test_a_shop_of_every_released_schema_is_upgraded_and_used(schema, tmp_path):
    shutil.copy(FOLDER / f"{schema}.sqlite", tmp_path / "shop.sqlite")
    done = upgrade(where(tmp_path), "now")
    assert (done.before, done.after) == (schema, newest())
    assert (done.backup is None) == (schema == newest())
    _use(tmp_path, schema)


def test_an_upgrade_keeps_every_row_and_makes_a_copy_first(tmp_path):
    shutil.copy(FOLDER / "0001.sqlite", tmp_path / "shop.sqlite")
    counts = _counts(tmp_path / "shop.sqlite")
    done = upgrade(where(tmp_path), "now", versions=LATER)
    assert (done.before, done.after) == ("0001", "9001")
    assert done.backup == tmp_path / "shop-before-0001-now.sqlite"
    assert _counts(done.backup) == counts
    assert _counts(tmp_path / "shop.sqlite") == dict.fromkeys(METADATA.tables, 0) | counts
    with sqlite3.connect(tmp_path / "shop.sqlite") as raw:
        assert raw.execute("SELECT shelf FROM visit").fetchall() == [("",)]
        for table in (one for one in GROWING if counts.get(one)):
            with pytest.raises(sqlite3.IntegrityError, match="only added to"):
                raw.execute(f"DELETE FROM {table}")
    raw.close()
    assert upgrade(where(tmp_path), "later", versions=LATER).backup is None


def test_an_upgrade_that_would_lose_rows_changes_nothing(tmp_path):
    shutil.copy(FOLDER / "0001.sqlite", tmp_path / "shop.sqlite")
    counts = _counts(tmp_path / "shop.sqlite")
    with pytest.raises(InputError, match="would name no other; nothing was changed"):
        upgrade(where(tmp_path), "now", versions=BROKEN)
    assert _counts(tmp_path / "shop.sqlite") == counts
    with pytest.raises(InputError, match="is there already"):
        upgrade(where(tmp_path), "now", versions=BROKEN)
    upgrade(where(tmp_path), "after")
    _use(tmp_path, "0001")


@pytest.mark.slow  # it needs a server
def test_an_upgrade_of_postgresql_asks_for_a_backup(server):
    url = server.url(server.new())
    with new_shop(url, "Weir Lane Bench") as shop:
        fill(shop)
    with pytest.raises(InputError, match=r"pg_dump --format=custom --file=shop.dump '.*' then|--backup-made"):
        upgrade(where(url), "now", versions=LATER)
    done = upgrade(where(url), "now", backup_made=True, versions=LATER)
    assert (done.before, done.after, done.backup) == (NEWEST, "9001", None)
    engine = engine_of(where(url))
    with engine.connect() as connection:
        assert connection.execute(text("SELECT shelf FROM visit")).all() == [("",)]
        assert connection.execute(text("SELECT count(*) FROM entry")).scalar() == 4
    engine.dispose()
    with pytest.raises(InputError, match="names another one that does not exist; nothing was changed"):
        upgrade(where(_filled(server)), "now", backup_made=True, versions=BROKEN)


def _filled(server):
    url = server.url(server.new())
    with new_shop(url, "Weir Lane Bench") as shop:
        fill(shop)
    return url


def test_a_newer_schema_is_refused_with_the_command(at):
    upgrade(where(at), "now", backup_made=True, versions=LATER)
    engine = engine_of(where(at))
    with engine.execution_options(**{WRITES: True}).begin() as connection:
        connection.execute(text("UPDATE shop SET written_by = '7.1.0'"))
    engine.dispose()
    for act in (lambda: open_shop(at), lambda: upgrade(where(at), "now")):
        with pytest.raises(FileFormatError) as refused:
            act()
        assert "pip install --upgrade 'setwright>=7.1.0'" in str(refused.value)
        assert "schema 9001" in str(refused.value)


def test_where_there_is_no_shop_there_is_nothing_to_upgrade(fresh, engine):
    if engine == "sqlite":
        Path(fresh).mkdir()
        sqlite3.connect(Path(fresh) / "shop.sqlite").close()
        (Path(fresh) / "shop.sqlite").touch()
    with pytest.raises(FileFormatError, match="no shop in it"):
        upgrade(where(fresh), "now")


def test_an_older_schema_names_the_command(at, monkeypatch):
    monkeypatch.setattr("setwright.records.schema.NEWEST", "9000")
    with pytest.raises(FileFormatError, match="setwright shop upgrade --shop"):
        open_shop(at)


def _counts(path):
    raw = sqlite3.connect(path)
    names = {name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    found = {name: raw.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in names & set(METADATA.tables)}
    raw.close()
    return found


def _use(folder, schema):
    """Everything the file was filled with is there, and more can be added."""
    with open_shop(folder) as shop:
        with shop.writing("Cy") as work:
            (line,) = instruments(work, "kestrel LARK")
            (visit,) = visits(work, line.id)
            append(work, visit.id, parse("read", "rear gap = 2.4 mm", datetime(2026, 11, 26)))
            edit(work, get(work, Owner, get(work, Instrument, line.id).owner), contact="01 23")
        with shop.reading() as work:
            added = "2026-11-25 15:00:00  #4  note  buzz at fret 5, string 6\n"
            more = "2026-11-26 00:00:00  #5  read  rear gap = 2.4 mm\n"
            assert text_of(work, visit) == JOURNAL + (added + more).encode()
            assert journal_of(work, visit).entries[1].struck_by == 3
            house = specifications.specification(work, visit.specification)
            assert [one.written for one in house.items] == ["2.4 mm ± 0.25 mm"]
            assert [one.stock for one in supplies.parts(work)] == [9]
            assert supplies.climate(work, visit.id)[0].temperature == 294.15
            if schema < "0003":  # nothing had ever been believed by a command
                assert visit.belief is None
            else:
                assert belief_from(work, visit.belief) == BELIEF
        assert check(shop).problems == ()
