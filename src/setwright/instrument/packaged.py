"""The catalogue's files, shipped inside the package: read when first asked for, then kept."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from setwright.instrument.document import Document, from_bytes


@cache
def load(name: str) -> Document:
    """One file of the catalogue.

    Args:
        name: "bridges.toml", "necks.toml", "springs.toml", "strings.toml".
    Returns: the document.
    """
    return from_bytes((Path(__file__).parent / "data" / name).read_bytes(), f"catalogue {name}")
