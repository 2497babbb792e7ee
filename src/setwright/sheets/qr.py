"""A QR code as a drawing: dark rows of one path, on the quiet margin the standard asks for."""

from __future__ import annotations

from functools import lru_cache

from setwright.errors import InputError
from setwright.sheets.ink import plain

QUIET = 4  # modules, ISO/IEC 18004, 7.3.8 (from memory)
LONGEST = 600  # characters; beyond, the squares are too small for a printer and a telephone


@lru_cache(maxsize=64)
def qr_drawing(link: str) -> str:
    """The QR code of a link, drawn as vectors.

    Args:
        link: what it says, up to 600 characters.
    Returns: an SVG document, one unit to a module; middle correction (level M, 15 % may be lost).
    Raises: InputError for nothing and for more than fits.
    """
    import segno

    if not link.strip() or len(link) > LONGEST:
        raise InputError(f"a link of {len(link)} characters makes no QR code; 1 to {LONGEST} do.")
    rows = [tuple(row) for row in segno.make(link, error="m", micro=False).matrix]
    side = len(rows) + 2 * QUIET
    path = "".join(_stroke(y + QUIET, _runs(row)) for y, row in enumerate(rows) if any(row))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{side}mm" height="{side}mm" viewBox="0 0 {side} {side}" '
        f'role="img"><title>{plain(link)}</title><rect width="{side}" height="{side}" fill="#ffffff"/>'
        f'<path d="{path}" fill="none" stroke="#000000" stroke-width="1" shape-rendering="crispEdges"/></svg>'
    )


def _stroke(y: int, runs: list[tuple[int, int]]) -> str:
    """One row of modules as a broken line along its middle."""
    out, at = f"M{runs[0][0] + QUIET} {y}.5", runs[0][0]
    for start, length in runs:
        out += f"{'' if start == at else f'm{start - at} 0'}h{length}"
        at = start + length
    return out


def _runs(row: tuple[int, ...]) -> list[tuple[int, int]]:
    """Where dark modules stand together: start and length."""
    out: list[tuple[int, int]] = []
    for x, dark in enumerate(row):
        if dark and out and out[-1][0] + out[-1][1] == x:
            out[-1] = (out[-1][0], out[-1][1] + 1)
        elif dark:
            out.append((x, 1))
    return out
