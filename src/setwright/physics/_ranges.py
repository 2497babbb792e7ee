"""The one range checker of the physics: everything a public function is given passes through `require`."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from setwright.errors import RangeError

Array = NDArray[np.float64]

_least, _most = np.minimum.reduce, np.maximum.reduce  # what the methods min and max call, without their detour


def require(name: str, value: ArrayLike, low: float, high: float, unit: str) -> Array:
    """Return value as a float64 array, or refuse it when any element is not a number or lies outside low..high.

    Args:
        name: what the value is, as the message shall call it
        value: (...) [unit] what to check
        low: [unit] least allowed value, itself allowed
        high: [unit] greatest allowed value, itself allowed
        unit: text of the unit for the message

    Returns:
        (...) [unit] the same numbers, float64.

    Raises:
        RangeError: with the offending value, its place in the array and the allowed range.
    """
    array = np.asarray(value, dtype=np.float64)
    if array.size == 1:
        if low <= array.item() <= high:
            return array
    elif array.size == 0 or (_least(array, axis=None) >= low and _most(array, axis=None) <= high):
        return array  # a NaN fails every comparison
    index = np.argwhere(~((array >= low) & (array <= high)))[0]
    bad = array[tuple(index)]
    place = f" at index {', '.join(str(i) for i in index)}" if array.ndim else ""
    what = "is not a number" if np.isnan(bad) else f"is {bad:.6g} {unit}".rstrip()
    allowed = f"{low:.6g} to {high:.6g} {unit}".rstrip()
    raise RangeError(f"{name} {what}{place}; allowed is {allowed}: check the value and its unit.")


def choose(name: str, value: str, allowed: tuple[str, ...]) -> str:
    """Return value when it is one of the allowed words, or refuse it.

    Args:
        name: what the word stands for, as the message shall call it
        value: the word
        allowed: the words that can be used

    Returns:
        The word.

    Raises:
        RangeError: naming the word and the allowed ones.
    """
    if value not in allowed:
        raise RangeError(f"{name} is {value!r}; allowed is {' or '.join(repr(a) for a in allowed)}: use one of these.")
    return value
