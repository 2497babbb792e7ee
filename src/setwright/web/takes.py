"""Recordings that were sent to be heard: one is heard at a time, off the page, and may be called off."""

from __future__ import annotations

import secrets
import shutil
import tempfile
import threading
import weakref
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import BinaryIO

from starlette.requests import Request

from setwright.bench.heard_take import HeardTake
from setwright.errors import CalledOffError, InputError
from setwright.web.memory import one_for_all

MOST = 12  # takes that are kept; the oldest goes
LONGEST_NAME = 80  # letters
Hear = Callable[[str, Callable[[float], None]], HeardTake]


class Taken:
    """A recording that was sent. share: of the work done, 0 to 1; heard: what it is, once it is done; wrong: why it is
    not, ""."""

    def __init__(self, visit: str, path: Path) -> None:
        self.visit, self.path = visit, path
        self.name = path.name
        self.share = 0.0
        self.heard: HeardTake | None = None
        self.wrong: Exception | None = None
        self.off = False

    @property
    def over(self) -> bool:
        """Whether nothing more will come."""
        return self.heard is not None or self.wrong is not None or self.off

    def hear(self, hear: Hear) -> None:
        """Do the work."""
        if self.off:
            return
        try:
            self.heard = hear(str(self.path), self._tell)
        except CalledOffError:
            pass
        except Exception as error:  # told by the page that asks for it
            self.wrong = error

    def _tell(self, share: float) -> None:
        if self.off:
            raise CalledOffError(f"{self.name} was called off.")
        self.share = share


class Takes:
    """Those of a bench, by their names."""

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="setwright-"))
        weakref.finalize(self, shutil.rmtree, self._folder, True)
        self._kept: OrderedDict[str, Taken] = OrderedDict()
        self._lock = threading.Lock()
        self._worker = ThreadPoolExecutor(1, "setwright-hear")

    def add(self, visit: str, name: str, source: BinaryIO, hear: Hear) -> str:
        """Begin to hear a recording.

        Args:
            visit: it belongs to.
            name: of the file, as it came.
            source: what is in it.
            hear: hears the file at a path, and tells its progress.
        Returns: the name the take is asked for by.
        Raises: InputError where nothing is in it.
        """
        key = secrets.token_urlsafe(12)
        folder = self._folder / key
        folder.mkdir()
        path = folder / plain_name(name)
        with path.open("wb") as file:
            shutil.copyfileobj(source, file)
        if not path.stat().st_size:
            self._remove(path)
            raise InputError("the recording is empty; choose another file.")
        taken = Taken(visit, path)
        with self._lock:
            self._kept[key] = taken
            old = [self._kept.popitem(last=False)[1] for _ in range(len(self._kept) - MOST)]
        for one in old:
            self._end(one)
        self._worker.submit(taken.hear, hear)
        return key

    def get(self, visit: str, key: str) -> Taken | None:
        """A take of a visit; None where there is none."""
        found = self._kept.get(key)
        return found if found is not None and found.visit == visit else None

    def drop(self, key: str) -> None:
        """Call a take off, and forget it."""
        with self._lock:
            found = self._kept.pop(key, None)
        if found is not None:
            self._end(found)

    def _end(self, taken: Taken) -> None:
        taken.off = True
        self._remove(taken.path)

    def _remove(self, path: Path) -> None:
        shutil.rmtree(path.parent, ignore_errors=True)


def plain_name(name: str) -> str:
    """The name of a file as it came, without folders and without signs that lead elsewhere.

    Args:
        name: as it came.
    Returns: letters of ASCII, figures and a few signs; never empty.
    """
    last = name.replace("\\", "/").rpartition("/")[2]
    said = "".join(sign if sign.isascii() and (sign.isalnum() or sign in "._-") else "_" for sign in last)
    return said.strip(".")[-LONGEST_NAME:] or "recording"


def takes_of(request: Request) -> Takes:
    """The takes of this bench.

    Args:
        request: of a page.
    Returns: the same object for every request.
    """
    return one_for_all(request, "takes", Takes)
