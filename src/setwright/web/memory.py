"""What was worked out before: an answer is made once for each state of a visit, however many ask at the same time.

What takes long is made beside the pages; it tells how far it is, and may be called off. Nothing is kept of it then.
"""

from __future__ import annotations

import hashlib
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Executor, Future
from typing import TYPE_CHECKING, Any, TypeVar

from starlette.requests import HTTPConnection

from setwright.errors import CalledOffError
from setwright.frozen import frozen
from setwright.telling import Tell

if TYPE_CHECKING:
    from setwright.bench.kept_work import Keeping

T = TypeVar("T")
MOST = 256  # answers kept
OFF = "It was called off while it was being worked out; nothing of it is kept. Begin it again where it is asked for."


@frozen
class Going:
    """Work that goes on beside the pages. name: of it, for `Memory.call_off`; seconds: since it was asked for; share:
    of it that is done, 0 to 1; None while it waits for its turn."""

    name: str
    seconds: float
    share: float | None


@frozen
class Off:
    """Work that was called off. name: of it, for `Memory.allow`; by: who did, "" where it was not said."""

    name: str
    by: str


class _Work:
    """An answer that is there or is being made."""

    def __init__(self) -> None:
        self.answer: Future[Any] = Future()
        self.begun = time.monotonic()
        self.share: float | None = None
        self.off = False

    def fill(self, make: Callable[[], object]) -> None:
        """Make the answer."""
        try:
            self.answer.set_result(make())
        except BaseException as error:
            self.answer.set_exception(error)

    def fill_told(self, make: Callable[[Tell], object]) -> None:
        """Make the answer, which tells how far it is."""

        def told() -> object:
            self.tell(0.0)
            made = make(self.tell)
            self.tell(1.0)
            return made

        self.fill(told)

    def tell(self, share: float) -> None:
        """So much is done.

        Raises: CalledOffError where nobody wants it any more.
        """
        if self.off:
            raise CalledOffError(OFF)
        self.share = share


class Memory:
    """Answers by what they were made from."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, _Work] = OrderedDict()
        self._off: OrderedDict[str, str] = OrderedDict()  # who called off, by the name of the work
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """An answer.

        Args:
            key: everything it depends on.
            make: makes it, where nobody has yet.
        Returns: it.
        Raises: what `make` raised, each time; CalledOffError where somebody calls it off meanwhile.
        """
        found, mine = self._place(key)
        if mine:
            found.fill(make)
        answer: T = found.answer.result()
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
            workers.submit(found.fill, make)
        return time.monotonic() - found.begun

    def go_on(self, key: Hashable, make: Callable[[Tell], object], workers: Executor) -> Going | Off:
        """The same of an answer that takes long, tells how far it is, and may be called off.

        Args:
            key: everything it depends on.
            make: makes it; it is given what takes the share that is done, and lets out what that raises.
            workers: that do it.
        Returns: how far it is; or that it was called off, and is not begun until somebody allows it again.
        """
        name = _name(key)
        with self._lock:
            if name in self._off:
                return Off(name, self._off[name])
        found, mine = self._place(key)
        if mine:
            workers.submit(found.fill_told, make)
        return Going(name, time.monotonic() - found.begun, found.share)

    def call_off(self, name: str, by: str = "") -> None:
        """Have no more done of some work; whoever waits for it is told so.

        Args:
            name: of it; one that is there already, or is none, stays as it is.
            by: who wants that.
        """
        with self._lock:
            going = next((key for key, one in self._kept.items() if not one.answer.done() and _name(key) == name), None)
            if going is None:
                return
            self._kept.pop(going).off = True
            self._off[name] = by
            while len(self._off) > self._most:
                self._off.popitem(last=False)

    def allow(self, name: str) -> None:
        """Let work that was called off be begun again.

        Args:
            name: of it.
        """
        with self._lock:
            self._off.pop(name, None)

    def stop(self) -> None:
        """Call off everything that goes on, as the bench is being stopped."""
        with self._lock:
            for one in self._kept.values():
                one.off = True

    def _place(self, key: Hashable) -> tuple[_Work, bool]:
        """Where an answer is or will be, and whether the one who asks is to make it."""
        with self._lock:
            found = self._kept.get(key)
            mine = found is None
            if found is None:
                found = self._kept[key] = _Work()
            self._kept.move_to_end(key)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return found, mine

    def known(self, key: Hashable) -> bool:
        """Whether an answer is there already.

        Args:
            key: everything it depends on.
        Returns: True or False.
        """
        with self._lock:
            found = self._kept.get(key)
        return found is not None and found.answer.done()


def _name(key: Hashable) -> str:
    """What a page calls some work by."""
    return hashlib.sha256(repr(key).encode()).hexdigest()[:32]


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
