"""What was worked out before: an answer is made once for each state of a visit, however many ask at the same time."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
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
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """An answer.

        Args:
            key: everything it depends on.
            make: makes it, where nobody has yet.
        Returns: it.
        Raises: what `make` raised, each time.
        """
        with self._lock:
            found = self._kept.get(key)
            mine = found is None
            if found is None:
                found = self._kept[key] = Future()
            self._kept.move_to_end(key)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        if mine:
            try:
                found.set_result(make())
            except BaseException as error:
                found.set_exception(error)
        answer: T = found.result()
        return answer

    def known(self, key: Hashable) -> bool:
        """Whether an answer is there already.

        Args:
            key: everything it depends on.
        Returns: True or False.
        """
        with self._lock:
            found = self._kept.get(key)
        return found is not None and found.done()


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
