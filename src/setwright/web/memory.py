"""What was worked out before: an answer is made once for each state of a visit, however many ask at the same time."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Executor, Future
from typing import TYPE_CHECKING, Any, TypeVar

from starlette.requests import HTTPConnection

if TYPE_CHECKING:
    from setwright.bench.kept_work import Keeping

T = TypeVar("T")
MOST = 256  # answers kept


class Memory:
    """Answers by what they were made from."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, Future[Any]] = OrderedDict()
        self._begun: dict[Hashable, float] = {}  # when
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """An answer.

        Args:
            key: everything it depends on.
            make: makes it, where nobody has yet.
        Returns: it.
        Raises: what `make` raised, each time.
        """
        found, mine = self._place(key)
        if mine:
            _fill(found, make)
        answer: T = found.result()
        return answer

    def begin(self, key: Hashable, make: Callable[[], object], workers: Executor) -> float:
        """Have an answer made beside the pages, where nobody has yet.

        Args:
            key: everything it depends on.
            make: makes it.
            workers: that do it.
        Returns: seconds since it was begun.
        """
        found, mine = self._place(key)
        if mine:
            workers.submit(_fill, found, make)
        with self._lock:
            return time.monotonic() - self._begun.get(key, time.monotonic())

    def _place(self, key: Hashable) -> tuple[Future[Any], bool]:
        """Where an answer is or will be, and whether the one who asks is to make it."""
        with self._lock:
            found = self._kept.get(key)
            mine = found is None
            if found is None:
                found = self._kept[key] = Future()
                self._begun[key] = time.monotonic()
            self._kept.move_to_end(key)
            while len(self._kept) > self._most:
                del self._begun[self._kept.popitem(last=False)[0]]
        return found, mine

    def known(self, key: Hashable) -> bool:
        """Whether an answer is there already.

        Args:
            key: everything it depends on.
        Returns: True or False.
        """
        with self._lock:
            found = self._kept.get(key)
        return found is not None and found.done()


def _fill(place: Future[Any], make: Callable[[], object]) -> None:
    try:
        place.set_result(make())
    except BaseException as error:
        place.set_exception(error)


def work_of(request: HTTPConnection) -> Keeping:
    """Where the work on the jobs of a bench is kept while it runs.

    Args:
        request: of a page.
    Returns: the same place for every request.
    """
    from setwright.bench.kept_work import InMemory  # what it loads would keep the first answer waiting

    return one_for_all(request, "work", InMemory)


def one_for_all(request: HTTPConnection, name: str, make: Callable[[], T]) -> T:
    """What all requests to a bench share, made when it is first asked for.

    Args:
        request: of a page.
        name: in the application's state.
        make: makes it.
    Returns: the same object for every request.
    """
    state = request.app.state
    if not hasattr(state, name):
        setattr(state, name, make())
    found: T = getattr(state, name)
    return found
