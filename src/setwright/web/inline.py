"""Drawings of `sheets` put into a page, where they take the ink of its ground."""

from __future__ import annotations

import re

from markupsafe import Markup

_HEAD = re.compile(r"^<\?xml[^>]*\?>\s*")
_STYLE = re.compile(r"<style>[^<]*</style>\s*")
_SIZE = re.compile(r'(<svg\b[^>]*?) width="[^"]*" height="[^"]*"')


def inline(svg: str) -> Markup:
    """A drawing as part of a page.

    Args:
        svg: document of `sheets.ink.page`; texts in it are escaped there.
    Returns: its element without sizes and styles of its own; `paper.css` gives both.
    """
    return Markup(_SIZE.sub(r"\1", _STYLE.sub("", _HEAD.sub("", svg)), count=1))
