"""Checking, backing up and finding: a shop that is whole is called whole, and what is not is named."""

from __future__ import annotations

import io
import shutil
import sqlite3
import subprocess
import tarfile
from dataclasses import replace
from datetime import datetime

import pytest

from setwright.errors import FileFormatError, InputError
from setwright.records import supplies
from setwright.records.backup import back_up
from setwright.records.check import MOST, check
from setwright.records.edits import edit, get
from setwright.records.engine import WRITES
from setwright.records.jobs import add_job
from setwright.records.journal_text import parse
from setwright.records.kept import append
from setwright.records.overview import instruments, visits
from setwright.records.rows import Owner
from setwright.records.shop import new_shop, open_shop
from tests.records.make_released import fill
from tests.records.servers import programs

PDF = b"%PDF-1.7\n" + bytes(2_000_000)


@pytest.fixture
def full(shop):
    """A shop with something in every table."""
    fill(shop)
    with shop.writing() as work:
        (visit,) = visits(work, instruments(work)[0].id)
        supplies.attach(work, "sheet", "a.pdf", io.BytesIO(PDF), visit=visit.id)
        supplies.attach(work, "other", "b", io.BytesIO(b"b"), visit=visit.id)
    return shop


def spoil(shop, *words):
    """Change rows behind the guards' back."""
    with shop.engine.execution_options(**{WRITES: True}).begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql("SET session_replication_role = replica")
        for one in words:
            connection.exec_driver_sql(one)
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql("SET session_replication_role = DEFAULT")


def unguard(shop, table):
    on = "" if shop.engine.dialect.name == "sqlite" else f" ON {table}"
    return f"DROP TRIGGER {table}_no_update{on}"


def test_a_whole_shop_is_called_whole(full):
    found = check(full)
    assert found.problems == ()
    assert found.remarks == ()
    assert (found.instruments, found.visits, found.entries, found.contents) == (1, 1, 4, 2)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("UPDATE entry SET line = '2026-11-25 14:33:20  #2  read  pitch string 3 = 197.02 Hz' WHERE number = 2",
         "entry #2: its line and its columns"),
        ("UPDATE entry SET line = 'nonsense' WHERE number = 2", "entry #2: its line cannot be read"),
        ("UPDATE entry SET number = 9 WHERE number = 4", "entry #9: it comes after #3"),
        ("UPDATE entry SET strikes = 4 WHERE number = 3", "strikes #4, which is no entry before it"),
        ("UPDATE stock_movement SET reason = 'returned', count = 2 WHERE reason = 'used'", "more came back"),
        ("UPDATE document SET text = 'other'", "its text is not what it was"),
        ("UPDATE content SET size = 3 WHERE size = 1", "its 1 bytes are not the 3 bytes"),
    ],
)  # fmt: skip
def test_what_is_not_whole_is_named(full, words, said):
    drop = unguard(full, words.split()[1]) if words.split()[1] in ("entry", "stock_movement") else "SELECT 1"
    spoil(full, drop, words)
    problems = check(full).problems
    assert any(said in one for one in problems), problems
    assert ("guard against update is missing" in " ".join(problems)) == (drop != "SELECT 1")


def test_numbers_a_hand_left_out_are_no_gap_and_lost_entries_are(shop, files):
    line = "2026-11-25 15:00:00  #{}  note  more\n"
    with shop.writing() as work:
        made = add_job(work, replace(files, journal="".join(map(line.format, (3, 4, 8))).encode()))
        append(work, made.visit.id, parse("note", "more", datetime(2026, 11, 26)))
    assert check(shop).problems == ()
    spoil(
        shop, "DROP TRIGGER entry_no_delete" + (" ON entry" * (shop.path is None)), "DELETE FROM entry WHERE number = 3"
    )
    assert "entry #4: it comes after #0" in " ".join(check(shop).problems)


def test_damaged_and_missing_contents_are_named(full, engine, tmp_path):
    with full.reading() as work:
        (visit,) = visits(work, instruments(work)[0].id)
        sheet, other = supplies.attachments(work, visit=visit.id)
    if engine == "sqlite":
        place = full.path / "content"
        (place / sheet.sha256[:2] / sheet.sha256).write_bytes(PDF[:-1] + b"!")
        (place / other.sha256[:2] / other.sha256).unlink()
        (place / "ab").mkdir()
        (place / "ab" / "left").write_bytes(b"x")
    else:
        spoil(full, "DELETE FROM content_part WHERE number = 1", "DELETE FROM content_part WHERE bytes = 'b'")
    found = check(full)
    assert len(found.problems) == 2
    assert all(sha in " ".join(found.problems) for sha in (sheet.sha256, other.sha256))
    if engine == "sqlite":
        assert "1 files under content belong to nothing" in found.remarks[0]
        with pytest.raises(FileFormatError, match=r"damaged|missing"):
            back_up(full, tmp_path / "b.tar")
        assert not (tmp_path / "b.tar").exists()
        with full.writing() as work:  # the same file again brings it back
            supplies.attach(work, "other", "b", io.BytesIO(b"b"), visit=visit.id)
        assert len(check(full).problems) == 1


def test_a_content_that_cannot_be_read_is_named_and_not_backed_up(tmp_path):
    with new_shop(tmp_path / "shop", "Weir Lane Bench") as shop:
        fill(shop)
        with shop.writing() as work:
            (visit,) = visits(work, instruments(work)[0].id)
            sha256 = supplies.attach(work, "other", "b", io.BytesIO(b"b"), visit=visit.id).sha256
        path = tmp_path / "shop" / "content" / sha256[:2] / sha256
        path.write_bytes(b"c")
        with pytest.raises(FileFormatError, match="is damaged"):
            back_up(shop, tmp_path / "b.tar")
        path.unlink()
        path.mkdir()
        (problem,) = check(shop).problems
        assert "directory" in problem
        with pytest.raises(InputError, match="is a directory"):
            back_up(shop, tmp_path / "b.tar")
    assert [one.name for one in tmp_path.iterdir()] == ["shop"]


def test_a_backup_on_a_full_disk_leaves_nothing(tmp_path, monkeypatch):
    def full(_engine, target):
        target.write_bytes(b"half")
        raise sqlite3.OperationalError("database or disk is full")

    with new_shop(tmp_path / "shop", "Weir Lane Bench") as shop:
        monkeypatch.setattr("setwright.records.backup.copy_file", full)
        with pytest.raises(InputError, match="the disk is full; no backup was made"):
            back_up(shop, tmp_path / "b.tar")
    assert [one.name for one in tmp_path.iterdir()] == ["shop"]


def test_what_the_database_itself_finds_is_told(tmp_path):
    with new_shop(tmp_path / "shop", "Weir Lane Bench") as shop:
        fill(shop)
        raw = sqlite3.connect(tmp_path / "shop" / "shop.sqlite")
        raw.execute("PRAGMA ignore_check_constraints = ON")
        raw.execute("UPDATE visit SET state = 'lost'")
        raw.commit()
        raw.close()
        assert check(shop).problems == ("database: CHECK constraint failed in visit",)


def test_rows_that_name_nothing_are_named(full, engine):
    if engine == "postgresql":
        pytest.skip("PostgreSQL never lets a row lose the one it names")
    raw = sqlite3.connect(full.path / "shop.sqlite")
    raw.execute("DELETE FROM instrument")
    raw.execute("DROP TABLE sheet")
    raw.commit()
    raw.close()
    said = " ".join(check(full).problems)
    assert "visit: row 1 names a row of instrument that is not there" in said
    assert "table sheet is missing" in said


def test_a_check_tells_so_many_problems_and_no_more(shop, files):
    lines = b"".join(b"2026-11-25 15:00:00  #%d  note  more\n" % i for i in range(1, MOST + 20))
    with shop.writing() as work:
        add_job(work, replace(files, journal=lines))
    spoil(shop, unguard(shop, "entry"), "UPDATE entry SET text = 'less'")
    assert len(check(shop).problems) == MOST


def test_remarks_tell_of_stock_and_recordings(shop, files):
    line = b'2026-11-25 15:00:00  #1  read  pitch string 3 = 196.02 Hz, recorded "a.wav" sha256 ' + b"ab" * 32 + b"\n"
    with shop.writing() as work:
        made = add_job(work, replace(files, journal=line))
        part = supplies.add_part(work, "spring")
        supplies.move_stock(work, part.id, -2, "used", made.visit.id)
    found = check(shop)
    assert found.problems == ()
    assert found.remarks == (
        "part spring: the stock is -2; count it.", "1 recordings that readings were heard in are not kept here.",
    )  # fmt: skip


def test_a_backup_of_a_folder_unpacks_to_the_same_shop(tmp_path):
    with new_shop(tmp_path / "shop", "Weir Lane Bench") as shop:
        fill(shop)
        with shop.writing() as work:
            (visit,) = visits(work, instruments(work)[0].id)
            supplies.attach(work, "sheet", "a.pdf", io.BytesIO(PDF), visit=visit.id)
        made = back_up(shop, tmp_path / "b.tar")
        assert (made.contents, made.size) == (1, (tmp_path / "b.tar").stat().st_size)
        for path in (tmp_path / "b.tar", tmp_path / "none" / "b.tar", tmp_path / "shop" / "b.tar"):
            with pytest.raises(InputError):
                back_up(shop, path)
    with tarfile.open(tmp_path / "b.tar") as archive:
        archive.extractall(tmp_path / "back", filter="data")
    assert sorted(one.name for one in tmp_path.iterdir()) == ["b.tar", "back", "shop"]
    with open_shop(tmp_path / "back") as shop:
        found = check(shop)
        assert found.problems == ()
        assert (found.entries, found.contents) == (4, 1)
        with shop.reading() as work:
            (sheet,) = supplies.attachments(work, visit=visit.id)
            assert b"".join(supplies.content(work, sheet.sha256)) == PDF


@pytest.mark.slow  # it needs a server
def test_a_backup_of_postgresql_is_what_its_own_program_restores(server, tmp_path, monkeypatch):
    url = server.url(server.new())
    with new_shop(url, "Weir Lane Bench") as shop:
        fill(shop)
        monkeypatch.setenv("PATH", str(programs()), prepend=":")
        assert back_up(shop, tmp_path / "b.dump").contents == 0
        monkeypatch.setattr(shutil, "which", lambda _name: None)
        with pytest.raises(InputError, match="pg_dump is not installed"):
            back_up(shop, tmp_path / "c.dump")
        monkeypatch.setattr(shutil, "which", lambda _name: "/bin/false")
        with pytest.raises(InputError, match="pg_dump failed"):
            back_up(shop, tmp_path / "c.dump")
    other = server.url(server.new())
    subprocess.run(
        [f"{programs()}/pg_restore", f"--dbname={other}", str(tmp_path / "b.dump")], check=True, capture_output=True
    )
    with open_shop(other) as shop:
        assert check(shop).problems == ()
    assert [one.name for one in tmp_path.iterdir()] == ["b.dump"]


def test_a_search_finds_by_all_words_in_any_letters(shop, files):
    with shop.writing() as work:
        one = add_job(work, files, "Åsa Örn")
        edit(work, one.instrument, serial="K_77%", maker="Weir", colour="Grün")
        add_job(work, files, "Bo Lark")
        add_job(work, replace(files, journal=b""), "Bo Lark")
        edit(work, get(work, Owner, one.owner.id), contact="01 23 45")
    with shop.reading() as work:
        for words, count in (
            ("", 2), ("kestrel", 2), ("åsa", 1), ("ÖRN kestrel", 1), ("k_77%", 1), ("k%7", 0), ("grün weir", 1),
            ("lark grün", 0), ("01 23", 1),
        ):  # fmt: skip
            assert len(instruments(work, words)) == count, words
        (found,) = instruments(work, "lark")
        assert (found.owner, found.visits, found.last) == (
            "Bo Lark",
            2,
            max(one.came for one in visits(work, found.id)),
        )
        assert len(instruments(work, most=1)) == 1
        with pytest.raises(InputError, match="up to 10"):
            instruments(work, "a b c d e f g h i j k")
