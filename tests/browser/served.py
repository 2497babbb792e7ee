"""The bench app on a port of its own, for as long as a test lasts."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from devtools.serving import CHROMIUM, FLAGS, Serving

__all__ = ["CHROMIUM", "FLAGS", "Serving", "served"]


@contextmanager
def served(shop: str, state: Path) -> Iterator[str]:
    """Serve a shop in a process of its own.

    Args:
        shop: folder or URL.
        state: folder for the key of the bench.
    Returns: the address, as the command prints it.
    """
    serving = Serving(shop, state)
    try:
        serving.start()
        yield serving.address
    finally:
        serving.stop()
