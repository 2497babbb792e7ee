"""Plain text, 80 columns: paragraphs, hanging lines, columns. Knows nothing of instruments."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

WIDTH = 80


def paragraph(text: str, indent: int = 0, hang: int | None = None) -> list[str]:
    """Wrap text.

    Args:
        text: the words.
        indent: columns left of the first line.
        hang: columns left of the others; None: as the first.
    Returns: lines.
    """
    rest = indent if hang is None else hang
    return textwrap.wrap(
        " ".join(text.split()),
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * rest,
        break_on_hyphens=False,
    )


def labelled(label: str, text: str, indent: int = 0, column: int = 12) -> list[str]:
    """A label, then text wrapped in its own column.

    Args:
        label: short word, "" for a continuation.
        text: the words.
        indent: columns left of the label.
        column: columns from the label's start to the text.
    Returns: lines.
    """
    if not text:
        return []
    head = f"{'':{indent}}{label:<{column}}"
    lines = textwrap.wrap(" ".join(text.split()), WIDTH - len(head), break_on_hyphens=False)
    return [f"{head if i == 0 else ' ' * len(head)}{line}".rstrip() for i, line in enumerate(lines)]


def spread_apart(left: str, right: str, hang: int = 0) -> list[str]:
    """Two texts at the two edges; the left one wraps.

    Args:
        left: the words.
        right: short.
        hang: columns left of the left text's further lines.
    Returns: lines.
    """
    lines = textwrap.wrap(left, WIDTH - len(right) - 2, subsequent_indent=" " * hang, drop_whitespace=True) or [""]
    lines[0] = f"{lines[0]:<{WIDTH - len(right)}}{right}".rstrip()
    return lines


def columns(rows: Sequence[Sequence[str]], indent: int = 2, gap: int = 2, right: Sequence[int] = ()) -> list[str]:
    """Rows set in columns as wide as they need.

    Args:
        rows: cells, equally many in every row.
        indent: columns left of everything.
        gap: columns between two columns.
        right: columns set flush right.
    Returns: lines, one per row.
    """
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    out = []
    for row in rows:
        cells = [f"{c:>{w}}" if i in right else f"{c:<{w}}" for i, (c, w) in enumerate(zip(row, widths, strict=True))]
        out.append((" " * indent + (" " * gap).join(cells)).rstrip())
    return out


def section(title: str, lines: Sequence[str]) -> list[str]:
    """A section: blank line, its name in capitals, its lines; nothing when there are none.

    Args:
        title: the name.
        lines: the content.
    Returns: lines.
    """
    return ["", title.upper(), *lines] if lines else []
