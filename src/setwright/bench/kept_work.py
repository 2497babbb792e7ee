"""What was worked out of a job, kept between two questions: its hardware, and the journal replayed as far as it went.

Nothing kept is believed unless everything it came from is the same: the job, the entries, the start of the balance,
the files of this program and what it calculates with. So a kept answer is the answer that would be worked out now, and
what is kept may be thrown away at any time. It holds readings and what follows from them, nothing of an owner.
"""

from __future__ import annotations

import io
import os
import pickle
import platform
import sys
import threading
from collections import OrderedDict
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import is_dataclass
from functools import cache
from hashlib import sha256
from pathlib import Path
from types import MappingProxyType
from typing import Any, Protocol

import numpy as np

import setwright
from setwright.bench.journals import InShop, Source
from setwright.bench.replay import Balance, flushed, followed
from setwright.frozen import frozen
from setwright.planning.to_do import Hardware
from setwright.records.entries import Entry

FOLDER = "SETWRIGHT_CACHE"  # names the folder; empty: nothing is kept
DIGEST = 32  # bytes
MOST = 256  # jobs
LARGEST = 4_000_000  # bytes; what is larger is no work of ours
# what arrays are made with; everything else in kept work is data of this program
MAKERS = (
    ("numpy", "ndarray"), ("numpy", "dtype"), ("numpy._core.multiarray", "_reconstruct"),
    ("numpy._core.multiarray", "scalar"),
)  # fmt: skip


@frozen
class Replayed:
    """A balance as far as the journal went. open: with the last readings not taken in yet; whole: with them."""

    start: bytes
    entries: bytes
    count: int  # of live entries
    open: Balance
    whole: Balance


@frozen
class Work:
    """What was worked out of a job. job: digest of it."""

    job: bytes
    hardware: Hardware
    replayed: Replayed | None = None


class Keeping(Protocol):
    """Where work is kept, by the name of its job."""

    def get(self, name: str) -> Work | None:
        """What was kept, None where there is nothing."""

    def put(self, name: str, work: Work) -> None:
        """Keep it in place of what was kept."""


class InMemory:
    """Work kept while the program runs."""

    def __init__(self, most: int = MOST) -> None:
        self._kept: OrderedDict[str, Work] = OrderedDict()
        self._lock = threading.Lock()
        self._most = most

    def get(self, name: str) -> Work | None:
        """What was kept, None where there is nothing."""
        with self._lock:
            return self._kept.get(name)

    def put(self, name: str, work: Work) -> None:
        """Keep it in place of what was kept."""
        with self._lock:
            self._kept[name] = work
            self._kept.move_to_end(name)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)


class InFolder:
    """Work kept in a folder of this user, one file for each job.

    A file begins with the digest of its rest and of the program, so that a torn one, or one of another version, is
    none. Whatever the disk refuses, the work is done anew.
    """

    def __init__(self, folder: Path, most: int = MOST) -> None:
        self._folder, self._most = folder, most

    def get(self, name: str) -> Work | None:
        """What was kept, None where there is nothing."""
        try:
            with self._path(name).open("rb") as file:
                raw = file.read(LARGEST + 1)
            if raw[:DIGEST] != _sealed(raw[DIGEST:]):
                return None
            found = _Reader(io.BytesIO(raw[DIGEST:])).load()
        except (OSError, pickle.UnpicklingError):
            return None
        return found if isinstance(found, Work) else None

    def put(self, name: str, work: Work) -> None:
        """Keep it in place of what was kept."""
        path = self._path(name)
        raw = pickle.dumps(work, 4)
        part = path.with_suffix(f".{os.getpid()}-{threading.get_ident()}")
        with suppress(OSError):
            self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            new = not path.exists()
            try:
                with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
                    file.write(_sealed(raw) + raw)
                part.replace(path)
            except OSError:
                part.unlink(missing_ok=True)
                raise
            if new:
                self._thinned()

    def _path(self, name: str) -> Path:
        return self._folder / f"{sha256(name.encode()).hexdigest()[:DIGEST]}.work"

    def _thinned(self) -> None:
        """The oldest are let go of."""
        files = sorted(self._folder.iterdir(), key=lambda one: one.stat().st_mtime)
        for old in files[: -self._most]:
            old.unlink(missing_ok=True)


class _Reader(pickle.Unpickler):
    """It makes arrays and frozen data of this program, and calls nothing else whatever a file says."""

    def find_class(self, module: str, name: str) -> Any:
        if (module, name) in MAKERS:
            return super().find_class(module, name)
        if module.startswith("setwright.") and "." not in name:
            found = super().find_class(module, name)
            if isinstance(found, type) and is_dataclass(found):
                return found
        raise pickle.UnpicklingError(f"{module}.{name} is no part of kept work")


def kept_here() -> Keeping | None:
    """Where this user's work is kept: the folder SETWRIGHT_CACHE names, else that for what programs may forget.

    Returns: the place; None where SETWRIGHT_CACHE is empty.
    """
    named = os.environ.get(FOLDER)
    if named is not None:
        return InFolder(Path(named)) if named else None
    base = Path(os.environ.get("XDG_CACHE_HOME", ""))
    return InFolder((base if base.is_absolute() else Path.home() / ".cache") / "setwright")


def name_of(source: Source, journal: str | None = None) -> str:
    """The name work on a job is kept by.

    Args:
        source: path of the job file, or a visit.
        journal: path of the journal where it is another than by the rule.
    Returns: the name; two jobs of one name push each other out, no more.
    """
    if isinstance(source, InShop):
        return f"{source.shop}\n{source.visit}"
    return f"{Path(source).absolute()}\n{journal or ''}"


def digest(value: Any) -> bytes:
    """A digest of data that differs wherever the data do.

    Args:
        value: frozen data, numbers, texts, arrays; nothing that holds itself.
    Returns: 32 bytes.
    """
    into = io.BytesIO()
    writer = pickle.Pickler(into, 4)
    writer.fast = True  # nothing is written as "the same as before": equal data are written alike
    writer.dispatch_table = {MappingProxyType: lambda one: (dict, (dict(one),))}
    writer.dump(value)
    return sha256(into.getvalue()).digest()


@cache
def program() -> bytes:
    """A digest of this program and of what it calculates with: any file written anew makes another one.

    Returns: 32 bytes.
    """
    threads = [os.environ.get(name) for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_CORETYPE")]
    told = [repr((setwright.__version__, sys.version, platform.node(), np.__version__, np.__file__, threads))]
    folders = [str(Path(setwright.__file__).parent)]
    while folders:
        with os.scandir(folders.pop()) as found:
            for one in found:
                if one.is_dir(follow_symlinks=False):
                    folders += [one.path] if one.name != "__pycache__" else []
                else:
                    s = one.stat()
                    told.append(f"{one.path} {s.st_size} {s.st_mtime_ns} {s.st_ctime_ns} {s.st_ino}")
    return sha256("\n".join(sorted(told)).encode()).digest()


def _sealed(raw: bytes) -> bytes:
    return sha256(program() + raw).digest()


def replayed_from(known: Replayed | None, balance: Balance, entries: Sequence[Entry]) -> Replayed:
    """A journal replayed, from where it was left last time if that is on its way.

    Args:
        known: of last time.
        balance: before the first entry.
        entries: live ones, in their order.
    Returns: the balance after them, the same as without `known`.
    """
    start = digest(balance.start)
    if known is None or known.start != start or known.entries != digest(tuple(entries[: known.count])):
        known = None
    if known is not None and known.count == len(entries):
        return known
    rest = entries if known is None else entries[known.count :]
    if known is None:
        after = followed(balance, rest)
    else:  # what is done closes the readings before it; what is read joins them
        first = next((one.verb for one in rest if one.verb in ("read", "did")), "")
        after = followed(known.whole if first == "did" else known.open, rest)
    return Replayed(start, digest(tuple(entries)), len(entries), after, flushed(after))
