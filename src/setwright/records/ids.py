"""Names of rows: made here, never twice on any bench, in the order of time when sorted as text.

26 signs of the digits and small letters without i, l, o and u: 48 bits of time in milliseconds since 1970 (UTC), then
80 bits by chance; within one millisecond of one process the second part counts on, so the order holds there too.
"""

from __future__ import annotations

import secrets
import threading
import time

SIGNS = "0123456789abcdefghjkmnpqrstvwxyz"
LENGTH = 26
_CHANCE = 80  # bits
_lock = threading.Lock()
_last = [0]


def new_id() -> str:
    """A new name.

    Returns: 26 signs.
    """
    fresh = (time.time_ns() // 1_000_000 << _CHANCE) | secrets.randbits(_CHANCE - 1)
    with _lock:
        if fresh >> _CHANCE <= _last[0] >> _CHANCE:  # the same millisecond, or a clock that was put back
            fresh = _last[0] + 1 + secrets.randbits(40)
        _last[0] = fresh
    return spelled(fresh)


def spelled(number: int) -> str:
    """A number of up to 130 bits in 26 signs.

    Args:
        number: >= 0.
    Returns: the signs, the highest first.
    """
    return "".join(SIGNS[number >> 5 * i & 31] for i in reversed(range(LENGTH)))


def is_id(text: str) -> bool:
    """Whether a text could be such a name.

    Args:
        text: any.
    Returns: True or False.
    """
    return len(text) == LENGTH and all(sign in SIGNS for sign in text)
