"""Disks full or read-only, files cut off or put together from two: one clear sentence, and nothing kept is lost."""

from __future__ import annotations

import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import tarfile
from contextlib import closing
from datetime import datetime
from pathlib import Path

import psycopg
import pytest

import setwright.records.shop as shops
from setwright.errors import InputError, SetwrightError
from setwright.records import supplies
from setwright.records.backup import back_up
from setwright.records.check import check
from setwright.records.edits import get
from setwright.records.jobs import add_job
from setwright.records.journal_text import parse
from setwright.records.kept import append, journal_of
from setwright.records.rows import Visit
from setwright.records.shop import new_shop, open_shop
from tests.records.test_crashes import ROOT, filled, kept, read

pytestmark = pytest.mark.slow

NAME = "Weir Lane Bench"


def one_sentence(error: object) -> str:
    said = str(error).rstrip("\n")
    assert said.endswith(".")
    assert "\n" not in said
    assert "Traceback" not in said
    return said


def note(work, visit, words="x" * 400):
    return append(work, visit, parse("note", words, datetime(2026, 11, 25))).entry.number


def entries(shop, visit):
    with shop.reading() as work:
        return len(journal_of(work, get(work, Visit, visit)).entries)


@pytest.fixture
def disk(tmp_path):
    """A disk of three megabytes."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=3m,mode=755", "none", str(place)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("a small disk cannot be mounted here; root and its own mounts are needed")
    yield place
    subprocess.run(["umount", "--lazy", str(place)], check=True)


def test_benches_go_on_when_there_is_room_again(disk, files):
    ballast = disk / "ballast"
    with new_shop(disk / "shop", NAME) as shop:
        with shop.writing() as work:
            visit = add_job(work, files).visit.id
        ballast.write_bytes(bytes(shutil.disk_usage(disk).free - 16_384))
        with pytest.raises(InputError, match="disk is full; nothing was written") as refused, shop.writing() as work:
            [note(work, visit) for _ in range(200)]
        one_sentence(refused.value)
        assert check(shop).problems == ()
        assert entries(shop, visit) == 5
        ballast.unlink()
        with shop.writing() as work:
            assert note(work, visit) == 8
        assert check(shop).problems == ()


def test_a_disk_too_full_to_begin_on_is_called_full(disk, files):
    with new_shop(disk / "shop", NAME) as shop, shop.writing() as work:
        visit = add_job(work, files).visit.id
    ballast = disk / "ballast"
    ballast.write_bytes(bytes(shutil.disk_usage(disk).free))
    for act in (lambda shop: entries(shop, visit), lambda shop: check(shop)):
        with pytest.raises(InputError, match="the disk is full") as refused, open_shop(disk / "shop") as shop:
            act(shop)
        one_sentence(refused.value)
    ballast.unlink()
    with open_shop(disk / "shop") as shop:
        assert entries(shop, visit) == 5
        assert check(shop).problems == ()


def test_no_shop_is_made_on_a_full_disk(disk):
    (disk / "ballast").write_bytes(bytes(shutil.disk_usage(disk).free - 16_384))
    with pytest.raises(InputError, match=r"full|space") as refused:
        new_shop(disk / "shop", NAME)
    assert "no shop was made" in one_sentence(refused.value)
    assert [one.name for one in disk.iterdir()] == ["ballast"]
    subprocess.run(
        ["mount", "-o", "remount,nr_inodes=3", str(disk)], check=True
    )  # room for a folder, and no file in it
    with pytest.raises(InputError, match="no space left on device; no shop was made"):
        new_shop(disk / "shop", NAME)
    assert [one.name for one in disk.iterdir()] == ["ballast"]


def test_a_server_whose_disk_is_full_loses_nothing(server, disk, files):
    place = disk / "tables"
    place.mkdir()
    owner = server.socket.stat()
    os.chown(place, owner.st_uid, owner.st_gid)
    for folder in disk.parents:
        if folder.stat().st_mode & 0o077 == 0:
            folder.chmod(0o711)  # the server's user must get there
    name = server.new()
    with psycopg.connect(server.url("postgres"), autocommit=True) as connection:
        connection.execute(f"CREATE TABLESPACE {name} LOCATION '{place}'")
    try:
        with new_shop(server.url(name), NAME) as shop:
            with shop.writing() as work:
                visit = add_job(work, files).visit.id
            with psycopg.connect(server.url(name), autocommit=True) as connection:
                connection.execute(f"ALTER TABLE entry SET TABLESPACE {name}")
            (disk / "ballast").write_bytes(bytes(shutil.disk_usage(disk).free - 400_000))
            count, refused = 5, ""
            while not refused:
                try:
                    with shop.writing() as work:
                        for _ in range(100):
                            note(work, visit)
                    count += 100
                except InputError as error:
                    refused = one_sentence(error)
            assert "the disk is full; nothing was written" in refused
            assert entries(shop, visit) == count
            assert check(shop).problems == ()
    finally:
        with psycopg.connect(server.url("postgres"), autocommit=True) as connection:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
            connection.execute(f"DROP TABLESPACE {name}")


def test_a_file_that_may_not_grow_ends_a_bench_with_one_sentence(tmp_path, files):
    at = str(tmp_path / "shop")
    with new_shop(at, NAME) as shop:
        visit, owner = filled(shop, files)
    most = 400_000
    done = subprocess.run(
        [sys.executable, "-m", "tests.records.writer", at, visit, "4", "2000"], cwd=ROOT, capture_output=True,
        text=True, timeout=120, check=False, preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most)),
    )  # fmt: skip
    assert done.returncode == 2, done.stderr
    assert "nothing was written" in one_sentence(done.stderr)
    said = read(done.stdout.splitlines(keepends=True))
    written = kept(at, visit, owner, said)
    assert 0 < written == sum(len(rows) for rows in said.values())


def test_a_disk_that_is_read_only_is_told_and_left_alone(disk, files):
    with new_shop(disk / "shop", NAME) as shop, shop.writing() as work:
        visit = add_job(work, files).visit.id
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    for act in (lambda: open_shop(disk / "shop").close(), lambda: new_shop(disk / "other", NAME)):
        with pytest.raises(InputError, match=r"permissions|read-only") as refused:
            act()
        one_sentence(refused.value)
    subprocess.run(["mount", "-o", "remount,rw", str(disk)], check=True)
    with open_shop(disk / "shop") as shop:
        assert entries(shop, visit) == 5


@pytest.fixture
def large(tmp_path, files):
    """A shop of some size, closed."""
    with new_shop(tmp_path / "shop", NAME) as shop, shop.writing() as work:
        visit = add_job(work, files, "Ada Lark").visit.id
        supplies.add_part(work, "spring")
        for i in range(400):
            note(work, visit, f"note {i} " + "x" * 300)
    return tmp_path / "shop"


def looked_at(folder: Path) -> tuple[str, ...]:
    """What is said of a shop: the problems found, or why there is no finding any."""
    try:
        with open_shop(folder) as shop:
            return check(shop).problems
    except SetwrightError as error:
        said = one_sentence(error)
        return (said,) if "backup" in said else ()


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.7, 0.9, 0.99])
def test_a_database_cut_off_is_never_called_whole(large, share):
    file = large / "shop.sqlite"
    raw = file.read_bytes()
    cut = int(len(raw) * share)
    for size in (cut, cut // 4096 * 4096):
        file.write_bytes(raw[:size])
        assert looked_at(large)
    file.write_bytes(raw)
    with open_shop(large) as shop:
        assert check(shop).problems == ()


def as_left(shop_folder: Path, to: Path) -> Path:
    """The folder as a power cut would leave it: a copy while a bench still has it open."""
    shutil.copytree(shop_folder, to)
    return to


def test_what_only_the_log_holds_is_kept(tmp_path, files):
    with new_shop(tmp_path / "shop", NAME) as shop:
        with shop.writing() as work:
            visit = add_job(work, files).visit.id
        for i in range(30):
            with shop.writing() as work:
                note(work, visit, f"note {i}")
        left = as_left(tmp_path / "shop", tmp_path / "left")
    assert (left / "shop.sqlite-wal").stat().st_size > 100_000
    (left / "shop.sqlite-shm").unlink()  # it lives in memory; a power cut leaves anything of it
    halves = [shutil.copytree(left, tmp_path / f"cut {share}") for share in (0.3, 0.6, 0.9)]
    with open_shop(left) as shop:
        assert entries(shop, visit) == 35
        assert check(shop).problems == ()
    for folder, share in zip(halves, (0.3, 0.6, 0.9), strict=True):
        log = folder / "shop.sqlite-wal"
        log.write_bytes(log.read_bytes()[: int(log.stat().st_size * share)])
        with open_shop(folder) as shop:
            assert 5 <= entries(shop, visit) < 35
            assert check(shop).problems == ()
            with shop.writing() as work:
                note(work, visit)


def test_a_backup_unpacked_over_a_shop_that_crashed_is_that_backup(tmp_path, files):
    """The log of the newer shop is still there; read with the older file it would spoil it."""
    with new_shop(tmp_path / "shop", NAME) as shop:
        with shop.writing() as work:
            visit = add_job(work, files).visit.id
        back_up(shop, tmp_path / "shop.tar")
        for i in range(60):
            with shop.writing() as work:
                note(work, visit, f"note {i} " + "x" * 300)
        left = as_left(tmp_path / "shop", tmp_path / "left")
    with tarfile.open(tmp_path / "shop.tar") as archive:
        archive.extractall(left, filter="data")
    with open_shop(left) as shop:
        assert check(shop).problems == ()
        assert entries(shop, visit) == 5


def test_a_log_that_is_noise_is_left_out(large):
    (large / "shop.sqlite-wal").write_bytes(os.urandom(200_000))
    with open_shop(large) as shop:
        found = check(shop)
    assert found.problems == ()
    assert found.entries == 405


def test_two_shops_never_share_a_folder(tmp_path, monkeypatch):
    """Another bench is quicker, after this one has seen that the folder is empty."""
    make = shops._fill

    def late(place, name):
        monkeypatch.setattr(shops, "_fill", make)
        with pytest.raises(InputError, match="already"):
            new_shop(place.folder, "Quick")
        make(place, name)

    monkeypatch.setattr(shops, "_fill", late)
    with new_shop(tmp_path / "shop", "First") as shop:
        assert shop.name == "First"
    with pytest.raises(InputError, match="already") as refused:
        new_shop(tmp_path / "shop", "Late")
    one_sentence(refused.value)
    with open_shop(tmp_path / "shop") as shop:
        assert shop.name == "First"
        assert check(shop).problems == ()


@pytest.mark.slow
def test_of_benches_that_make_a_shop_at_once_one_does(tmp_path):
    at = str(tmp_path / "shop")
    words = (
        "import sys; from setwright.records.shop import new_shop; from setwright.errors import InputError\n"
        "try: new_shop(sys.argv[1], sys.argv[2]).close(); print('made', end='')\n"
        "except InputError as error: print(error, end='')"
    )
    benches = [
        subprocess.Popen([sys.executable, "-c", words, at, f"shop {i}"], text=True, stdout=subprocess.PIPE)
        for i in range(4)
    ]
    said = [one.communicate(timeout=120)[0] for one in benches]
    assert said.count("made") == 1, said
    for one in said:
        assert one == "made" or "already" in one_sentence(one)
    with open_shop(at) as shop:
        assert shop.name == f"shop {said.index('made')}"
        assert check(shop).problems == ()
    with closing(sqlite3.connect(Path(at) / "shop.sqlite")) as raw:
        assert raw.execute("SELECT count(*) FROM shop").fetchone() == (1,)
