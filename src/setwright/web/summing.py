"""A big shop summed up beside its pages: the first question about all visits would keep its page for minutes."""

from __future__ import annotations

import logging
import threading
import time

from starlette.requests import Request

from setwright.bench import history
from setwright.errors import InputError, SetwrightError
from setwright.frozen import frozen, replace
from setwright.web.beside import worker
from setwright.web.frame import bench_of
from setwright.web.memory import one_for_all

LOG = logging.getLogger("setwright.web")
FEW = 200  # visits: so many are summed up while the page waits, in about half a second
PAUSE = 0.05  # s between two writings, so that the benches at work get theirs in
_WORKERS = worker("history")


class _LeavingError(Exception):
    """The bench is being stopped, or somebody called it off."""


@frozen
class Far:
    """How far the summing up is. of: visits; 0 while they are being counted. off: it was called off there."""

    done: int
    of: int
    off: bool = False

    @property
    def hundredth(self) -> int:
        """Per cent that are done."""
        return 100 * self.done // self.of if self.of else 0


class Summing:
    """The summing up of one shop, once at a time."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._far: Far | None = None
        self._off = False
        self._wrong: SetwrightError | None = None

    def call_off(self) -> None:
        """Have no more summed up until somebody begins it again; what was summed up stays."""
        with self._lock:
            if self._far is not None:
                self._far, self._off = replace(self._far, off=True), True

    def begin_again(self) -> None:
        """Go on where it was called off."""
        with self._lock:
            if self._off:
                self._far, self._off = None, False

    def look(self, request: Request) -> Far | None:
        """How far it is, begun where there is much to do.

        Args:
            request: of a page.
        Returns: how far; None where the page need not wait for it.
        Raises: what ended it, once; then it is begun again when somebody asks.
        """
        shop, state = bench_of(request).shop, request.app.state
        with self._lock:
            wrong, self._wrong = self._wrong, None
            if wrong is not None:
                raise wrong
            if self._far is None and history.unsummed(shop, FEW + 1) > FEW:
                self._far = Far(0, 0)
                _WORKERS.submit(self._work, shop, state)
            return self._far

    def _work(self, shop: str, state: object) -> None:
        def tell(done: int, of: int) -> None:
            with self._lock:
                if getattr(state, "leaving", False) or self._off:
                    raise _LeavingError
                self._far = Far(done, of)
            time.sleep(PAUSE)

        try:
            history.sum_up(shop, tell)
        except _LeavingError:
            pass  # what was summed up stays; the rest is when somebody asks again
        except SetwrightError as error:
            self._wrong = error
        except Exception as error:
            LOG.error("the shop could not be summed up", exc_info=error)
            self._wrong = InputError("the visits could not be summed up; the terminal of the bench says more.")
        finally:
            with self._lock:
                self._far = self._far if self._off else None


def summed_up(request: Request) -> Far | None:
    """How far the shop is summed up, where a page about all its visits has to wait for that.

    Args:
        request: of the page.
    Returns: how far; None where the page may be shown.
    Raises: InputError, FileFormatError where it could not be.
    """
    return _of(request).look(request)


def call_off(request: Request) -> None:
    """Have no more of the shop summed up until somebody begins it again."""
    _of(request).call_off()


def begin_again(request: Request) -> None:
    """Let the shop be summed up once more after it was called off."""
    _of(request).begin_again()


def _of(request: Request) -> Summing:
    return one_for_all(request, "summing", Summing)
