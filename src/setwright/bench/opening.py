"""A shop opened: light to load, so that the first page of the bench app need not wait."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from setwright.records.shop import Shop, open_shop

_HELD: dict[str, Shop] = {}


@contextmanager
def held(at: str) -> Iterator[Shop]:
    """A shop that stays open inside the block: whoever asks for it there, on any thread, uses the same connections.

    Args:
        at: folder or URL; one that is held already stays with whoever holds it.
    Raises: InputError, FileFormatError: one sentence.
    """
    if at in _HELD:
        yield _HELD[at]
        return
    with open_shop(at) as shop:
        _HELD[at] = shop
        try:
            yield shop
        finally:
            del _HELD[at]


@contextmanager
def opened(at: str | None) -> Iterator[Shop]:
    """A shop, open inside the block.

    Args:
        at: folder or URL; None or "" where none was named.
    Raises: InputError, FileFormatError: one sentence.
    """
    if at in _HELD:
        yield _HELD[at]
        return
    with open_shop(at or "") as shop:
        yield shop
