"""A bench that is killed in the middle of its work: what it was told is kept is there, and nothing is half there.

Killing a process leaves the machine's memory for files alone. That a writing has left it too before it is acknowledged
is seen in the calls to the system, where they can be watched.
"""

from __future__ import annotations

import json
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path

import pytest
from sqlalchemy import select

from setwright.records import supplies
from setwright.records.check import check
from setwright.records.edits import get
from setwright.records.jobs import add_job
from setwright.records.journal_text import parse
from setwright.records.kept import append, journal_of
from setwright.records.rows import Owner, Visit
from setwright.records.shop import Shop, new_shop, open_shop
from setwright.records.tables import CHANGE, STOCK_MOVEMENT
from tests.records.servers import Server, programs, running
from tests.records.writer import BEGIN, PART

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
KILLS, WRITES = 20, 2_000
QUICK, QUICK_WRITES = 2, 200
SERVER_KILLS = 6
FIRST = 8  # number of the first entry the writer adds: those of the job's own journal come before
Said = dict[str, list[list[object]]]


def filled(shop: Shop, files: object) -> tuple[str, str]:
    """A visit and its owner to write about."""
    with shop.writing("Ada") as work:
        made = add_job(work, files, "Ada Lark")  # type: ignore[arg-type]
        supplies.add_part(work, PART)
    assert made.owner is not None
    return made.visit.id, made.owner.id


def started(*words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [*words[:-4], sys.executable, "-m", "tests.records.writer", *words[-4:]], cwd=ROOT, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL,
    )  # fmt: skip


def some(bench: subprocess.Popen[str], count: int) -> list[str]:
    """So many lines of what a bench says, or all where it says fewer."""
    assert bench.stdout is not None
    return [line for _, line in zip(range(count), bench.stdout, strict=False)]


def rest(bench: subprocess.Popen[str]) -> tuple[list[str], str]:
    """The lines that are left when a bench has ended, and its complaint."""
    assert bench.stdout is not None
    assert bench.stderr is not None
    lines = bench.stdout.read().splitlines(keepends=True)
    return lines, bench.stderr.read()


def read(lines: list[str]) -> Said:
    """What was acknowledged, by kind; half a line acknowledges nothing."""
    said: Said = {"entry": [], "edit": [], "moved": [], "heard": []}
    for line in lines:
        if line.endswith("\n"):
            kind, what = json.loads(line)
            said[kind].append(what)
    return said


def killed(at: str, visit: str, seed: int, writes: int) -> Said:
    """Let a bench write and kill it at some moment; what it had acknowledged."""
    chance = random.Random(seed)
    with started(at, visit, str(seed), str(writes)) as bench:
        lines = some(bench, chance.randrange(writes - 20))
        time.sleep(chance.uniform(0.0, 0.02))
        bench.send_signal(signal.SIGKILL)
        last, complaint = rest(bench)
    assert bench.returncode == -signal.SIGKILL, complaint
    return read([*lines, *last])


def found(shop: Shop, visit: str, owner: str) -> Said:
    """What is in the shop, as the writer would say it."""
    with shop.reading() as work:
        entries = [one for one in journal_of(work, get(work, Visit, visit)).entries if one.number >= FIRST]
        contact = CHANGE.c.row == owner, CHANGE.c.table_name == "owner", CHANGE.c.version > 1
        changes = work.connection.execute(select(CHANGE).where(*contact).order_by(CHANGE.c.version)).all()
        moves = work.connection.execute(select(STOCK_MOVEMENT.c.count).order_by(STOCK_MOVEMENT.c.id)).scalars().all()
        kept = supplies.attachments(work, visit=visit)
        for one in kept:
            assert b"".join(supplies.content(work, one.sha256)), one
        contacts: list[str] = [json.loads(one.after)["contact"] for one in changes]
        befores = [json.loads(one.before)["contact"] for one in changes]
        assert befores == ["", *contacts][: len(befores)]
        assert get(work, Owner, owner).contact == (contacts[-1] if contacts else "")
        assert get(work, Owner, owner).version == len(contacts) + 1
        assert [one.number for one in entries] == list(range(FIRST, FIRST + len(entries)))
        heard = [one for one in entries if one.sha256]
        assert [(one.recording, one.sha256) for one in heard] == [(one.name, one.sha256) for one in kept]
        return {
            "entry": [[one.number, one.text] for one in entries if not one.sha256],
            "edit": [[one.version, contact] for one, contact in zip(changes, contacts, strict=True)],
            "moved": [[count, sum(moves[: i + 1])] for i, count in enumerate(moves)],
            "heard": [[one.number, one.text, one.sha256] for one in heard],
        }


def kept(at: str, visit: str, owner: str, said: Said) -> int:
    """Hold what is there against what was acknowledged: all of it, and the one writing under way whole or not at all.
    Returns how many writings there are."""
    with open_shop(at) as shop:
        there = found(shop, visit, owner)
        more = 0
        for kind, rows in said.items():
            assert there[kind][: len(rows)] == rows, kind
            more += len(there[kind]) - len(rows)
        assert more in (0, 1), "only one writing was under way"
        checked = check(shop)
        assert checked.problems == ()
        with shop.writing() as work:
            number = append(work, visit, parse("note", "on we go", BEGIN)).entry.number
        assert number == FIRST + len(there["entry"]) + len(there["heard"])
        assert check(shop).problems == ()
    return sum(len(rows) for rows in there.values())


SEEDS = [*range(QUICK), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(QUICK, KILLS))]


@pytest.mark.parametrize("seed", SEEDS)
def test_a_bench_that_is_killed_loses_nothing_it_was_told_is_kept(at, files, seed):
    with open_shop(at) as shop:
        visit, owner = filled(shop, files)
    said = killed(at, visit, seed, QUICK_WRITES if seed < QUICK else WRITES)
    kept(at, visit, owner, said)


@pytest.mark.slow
def test_what_was_lost_would_be_seen(at, files):
    with open_shop(at) as shop:
        visit, owner = filled(shop, files)
    with started(at, visit, "5", "30") as bench:
        said = read(some(bench, 31))
    assert bench.returncode == 0
    assert all(said.values())
    for kind, rows in said.items():
        with pytest.raises(AssertionError, match=kind):
            kept(at, visit, owner, said | {kind: [*rows, rows[-1]]})
    with pytest.raises(AssertionError, match="only one writing"):
        kept(at, visit, owner, said | {"entry": said["entry"][:-2]})
    assert kept(at, visit, owner, said) == 30


@pytest.mark.slow
def test_a_killed_bench_does_not_stop_the_others(at, files):
    with open_shop(at) as shop:
        visit, _ = filled(shop, files)
        with shop.writing("Bo") as work:
            other = add_job(work, files, "Bo Rook").visit.id
    with started(at, other, "1", "100") as goes_on:
        assert len(some(goes_on, 1)) == 1
        with started(at, visit, "2", "100") as bench:
            lines = some(bench, 20)
            bench.kill()
            last, _ = rest(bench)
        after, complaint = rest(goes_on)
    assert (goes_on.returncode, complaint) == (0, "")
    assert len(after) == 99
    said = read([*lines, *last])
    with open_shop(at) as shop:
        with shop.reading() as work:
            numbers = [one.number for one in journal_of(work, get(work, Visit, visit)).entries]
        assert numbers[5:] == list(range(FIRST, FIRST + len(numbers) - 5))
        assert 0 <= len(numbers) - 5 - len(said["entry"]) - len(said["heard"]) <= 1
        assert check(shop).problems == ()


@pytest.fixture(scope="module")
def durable() -> Iterator[Server]:
    at = programs()
    if at is None:
        pytest.skip("PostgreSQL is not installed (as root: apt-get install postgresql)")
    with running(at, durable=True) as server:
        yield server


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(SERVER_KILLS))
def test_a_server_that_is_killed_loses_nothing_it_acknowledged(durable, files, seed):
    at = durable.url(durable.new())
    with new_shop(at, "Weir") as shop:
        visit, owner = filled(shop, files)
    chance = random.Random(seed)
    with started(at, visit, str(seed), str(WRITES)) as bench:
        lines = some(bench, chance.randrange(WRITES // 4))
        time.sleep(chance.uniform(0.0, 0.02))
        durable.kill()
        last, complaint = rest(bench)
    assert bench.returncode == 2, complaint
    assert re.fullmatch(r"postgresql://[^\n]*the database server refuses: [^\n]*\.\n", complaint), complaint
    durable.start()
    kept(at, visit, owner, read([*lines, *last]))


@pytest.mark.slow
def test_a_writing_is_on_the_disk_before_it_is_acknowledged(tmp_path, files):
    trace = tmp_path / "calls"
    watch = ["strace", "-f", "-qq", "-e", "trace=fsync,fdatasync,write", "-e", "signal=none", "-o", str(trace)]
    if shutil.which("strace") is None or subprocess.run([*watch, "true"], capture_output=True, check=False).returncode:
        pytest.skip("calls to the system cannot be watched here (as root: apt-get install strace)")
    with new_shop(tmp_path / "shop", "Weir") as shop:
        visit, _ = filled(shop, files)
    with started(*watch, str(tmp_path / "shop"), visit, "3", "25") as bench:
        assert len(some(bench, 26)) == 25
    calls = re.findall(r'^\d+ +(write\(1, "[^"]|f\w*sync)', trace.read_text(), re.MULTILINE)
    marks = ["said" if one.startswith("write") else "synced" for one in calls]
    order = [mark for mark, _ in groupby(marks)]
    assert marks.count("said") == 25
    assert order[0] == "synced"
    assert order.count("said") == 25, "two acknowledgements without the disk between them"
