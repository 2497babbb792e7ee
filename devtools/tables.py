"""Writes the generated tables of docs/file-formats.md anew from the fields; needs the project's environment."""

from __future__ import annotations

from pathlib import Path

from setwright.instrument.schema import with_tables

PAGE = "docs/file-formats.md"


def main(root: Path) -> None:
    """Replace the tables of the page, leave the words around them."""
    page = root / PAGE
    page.write_text(with_tables(page.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main(Path.cwd())
