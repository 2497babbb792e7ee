"""A real PostgreSQL for the tests: started in a temporary folder, on a socket of its own, gone afterwards."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from itertools import count
from pathlib import Path

import psycopg

USER = "postgres"
ROOM = 2_000_000_000  # bytes


def programs() -> Path | None:
    """The folder with initdb and pg_ctl of the newest PostgreSQL here, or None."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda one: int(one.parts[-3]))
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    return Path(on_path).resolve().parent if on_path else None


@dataclass
class Server:
    """A server that runs. socket: folder of its socket. start: starts it again after `kill`."""

    socket: Path
    counter: Iterator[int]
    start: Callable[[], None]

    def url(self, database: str) -> str:
        return f"postgresql://{USER}@/{database}?host={self.socket}"

    def new(self, template: str = "template0") -> str:
        """A new database; its name."""
        name = f"shop{next(self.counter)}"
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name} TEMPLATE {template} ENCODING 'UTF8'")  # type: ignore[call-overload]
        return name

    def kill(self) -> None:
        """End all its processes at once, without a word, as a power cut would."""
        head = int((self.socket / "data" / "postmaster.pid").read_text().split()[0])
        os.kill(head, signal.SIGSTOP)  # or it would tell its children to end in order
        all_ = [*_children(head), head]
        for one in all_:
            os.kill(one, signal.SIGKILL)
        while any(_runs(one) for one in all_):
            time.sleep(0.01)
        # Where nobody buries the dead their numbers stay taken, and the locks would be believed.
        for lock in (self.socket / "data" / "postmaster.pid", *self.socket.glob(".s.PGSQL.*.lock")):
            lock.unlink()


def _stat(process: int) -> list[str]:
    """State, parent and the rest, as the kernel tells them; nothing where there is no such process."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return []


def _children(process: int) -> list[int]:
    found = (int(one.name) for one in Path("/proc").iterdir() if one.name.isdigit())
    return [one for one in found if _stat(one)[1:2] == [str(process)]]


def _runs(process: int) -> bool:
    return _stat(process)[:1] not in ([], ["Z"])


def _fast(durable: bool) -> str | None:
    """Where a server that need not outlive the power is quickest: in memory, where there is room."""
    memory = Path("/dev/shm")
    roomy = memory.is_dir() and shutil.disk_usage(memory).free > ROOM and os.access(memory, os.W_OK)
    return str(memory) if roomy and not durable else None


@contextmanager
def running(bin_: Path, durable: bool = False, keep: Path | None = None) -> Iterator[Server]:
    """Start a server; root lends it to the user postgres, since the server refuses to run as root. keep: a folder of
    one that was stopped, or a new one, which stays."""
    folder = keep or Path(tempfile.mkdtemp(prefix="pg-", dir=_fast(durable)))
    folder.mkdir(parents=True, exist_ok=True)
    as_root = os.geteuid() == 0
    lead = ["runuser", "-u", USER, "--"] if as_root else []
    if as_root:
        owner = pwd.getpwnam(USER)
        os.chown(folder, owner.pw_uid, owner.pw_gid)
    folder.chmod(0o755)
    data = folder / "data"
    flags = f"-k {folder} -c listen_addresses='' -c fsync={'on' if durable else 'off'} -c max_connections=60"

    def call(*words: str) -> None:
        done = subprocess.run(
            [*lead, *words], cwd=folder, capture_output=True, text=True, timeout=120, check=False,
            stdin=subprocess.DEVNULL,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr

    if not data.exists():
        call(
            f"{bin_}/initdb", "-D", str(data), "-U", USER, "-A", "trust", "-E", "UTF8", "--no-sync", "--locale=C.UTF-8"
        )
    start = partial(call, f"{bin_}/pg_ctl", "-D", str(data), "-o", flags, "-l", str(folder / "log"), "-w", "start")
    start()
    try:
        yield Server(folder, count(1), start)
    finally:
        call(f"{bin_}/pg_ctl", "-D", str(data), "-m", "immediate" if keep is None else "fast", "-w", "stop")
        if keep is None:
            shutil.rmtree(folder, ignore_errors=True)
