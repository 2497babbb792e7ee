"""What works beside the pages."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor


def worker(name: str) -> ThreadPoolExecutor:
    """Somebody who does one work after the other, beside the pages: the processor is for the page somebody waits for.

    Args:
        name: of what is done, for the list of threads; one kind of work does not wait for another.
    Returns: what works are given to.
    """
    return ThreadPoolExecutor(1, f"setwright-{name}")
