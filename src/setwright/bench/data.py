"""Results as plain data for JSON: dataclasses become objects, SI units stay, what is no number becomes null."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

VERSION = 1


def as_data(value: Any) -> Any:
    """A result as JSON can hold it.

    Args:
        value: a dataclass, dict, list, tuple, array, number, text, truth value or None.
    Returns: dicts, lists, str, bool, int, float or None; nan and infinities become None.
    Raises: TypeError for anything else.
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: as_data(getattr(value, f.name)) for f in fields(value)}
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


def document(what: str, value: Any) -> dict[str, Any]:
    """A result with the name and version of its form in front (docs/json-output.md).

    Args:
        what: "plan", "prediction" or "strings".
        value: the result.
    Returns: the document.
    """
    return {"document": what, "version": VERSION, what: as_data(value)}
