"""Results as plain data for JSON: dataclasses become objects, SI units stay, what is no number becomes null."""

from __future__ import annotations

import math
from dataclasses import Field, fields, is_dataclass
from typing import Any

import numpy as np

VERSION = 1


def as_data(value: Any) -> Any:
    """A result as JSON can hold it.

    Args:
        value: a dataclass, dict, list, tuple, array, number, text, truth value or None.
    Returns: dicts, lists, str, bool, int, float or None; nan and infinities become None. Fields whose metadata say that
        they are counted from 0 are counted from 1.
    Raises: TypeError for anything else.
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: as_data(_from_1(f, getattr(value, f.name))) for f in fields(value)}
    if isinstance(value, dict):
        return {str(key): as_data(one) for key, one in value.items()}
    if isinstance(value, np.ndarray):
        return as_data(value.tolist())
    if isinstance(value, list | tuple):
        return [as_data(one) for one in value]
    if isinstance(value, np.generic):
        return as_data(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, str | bool | int):
        return value
    raise TypeError(f"{type(value).__name__} has no form in JSON")


def _from_1(what: Field[Any], value: Any) -> Any:
    """A field's value; what is counted from 0 inside is counted from 1 outside."""
    if what.metadata.get("counted from") != 0 or value is None:
        return value
    return tuple(one + 1 for one in value) if isinstance(value, tuple) else value + 1


def document(what: str, value: Any) -> dict[str, Any]:
    """A result with the name and version of its form in front (docs/json-output.md).

    Args:
        what: "plan", "prediction" or "strings".
        value: the result.
    Returns: the document.
    """
    return {"document": what, "version": VERSION, what: as_data(value)}
