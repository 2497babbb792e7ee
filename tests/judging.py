"""The judge of tests/published: compares with an outside value, refuses lax tolerances, keeps a row for the docs.

Use the fixture in a test:

    judged("tension of a plain string", expected=71.9, got=value, tolerance=0.1, unit="N",
           source="Author (year), Title, table 3, doi:...", mark="READ", wrong=value_from_a_wrong_input)

`mark` says how the expected value came to us: READ in the source, from MEMORY, DERIVED (derivation stated in the source
text), or common PRACTICE without a source.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

MARKS = ("READ", "MEMORY", "DERIVED", "PRACTICE")
LAX = 0.10  # a tolerance of this share of the expected value, or more, proves nothing


class LaxToleranceError(Exception):
    """The check itself is at fault, not the value: it would accept a value that is plainly wrong."""


@dataclass(frozen=True)
class Row:
    """One judged value, as it goes to docs/validation.md."""

    module: str
    what: str
    expected: str
    tolerance: str
    unit: str
    share: str  # largest residual as a share of the tolerance
    wrong: bool  # a deliberately wrong input was seen to fail
    source: str
    mark: str


def judge(
    what: str,
    expected: Any,
    got: Any,
    tolerance: Any,
    unit: str,
    source: str,
    mark: str,
    *,
    scale: float | None = None,
    wrong: Any = None,
    module: str = "",
) -> Row:
    """Assert |got - expected| <= tolerance everywhere and return the row that records it.

    expected, got: numbers or arrays of the same shape, in `unit`. tolerance: absolute, in `unit`, one number or one per
    value; it must stay below a tenth of each expected value. Where an expected value is zero, `scale` (in `unit`, > 0)
    says what size the quantity usually has, and the tolerance must stay below a tenth of that. wrong: what a
    deliberately wrong input gave, same shape; it must miss the tolerance somewhere. Raises LaxToleranceError when the
    check itself cannot be accepted.
    """
    for name, text in (("what", what), ("unit", unit), ("source", source)):
        if not text.strip():
            raise LaxToleranceError(f"judged({what!r}): {name} is empty; say it in words (unit '1' for a bare number).")
    if mark not in MARKS:
        raise LaxToleranceError(f"judged({what!r}): mark {mark!r} is not one of {', '.join(MARKS)}.")
    want = np.asarray(expected, dtype=np.float64)
    have = np.asarray(got, dtype=np.float64)
    allowed = np.broadcast_to(np.asarray(tolerance, dtype=np.float64), want.shape)
    _refuse_lax(what, want, allowed, unit, scale)
    assert have.shape == want.shape, f"{what}: got shape {have.shape}, expected shape {want.shape}"
    miss = np.abs(have - want)
    bad = ~(miss <= allowed)  # true for nan as well
    assert not bad.any(), _complaint(what, want, have, allowed, bad, unit, source)
    if wrong is not None:
        off = np.asarray(wrong, dtype=np.float64)
        assert (~(np.abs(off - want) <= allowed)).any(), f"{what}: a deliberately wrong input also passes: {wrong}"
    return Row(
        module=module,
        what=what,
        expected=_span(want),
        tolerance=_span(allowed, count=False),
        unit=unit,
        share=_share(miss, allowed),
        wrong=wrong is not None,
        source=source,
        mark=mark,
    )


def _refuse_lax(what: str, want: Any, allowed: Any, unit: str, scale: float | None) -> None:
    if want.size == 0:
        raise LaxToleranceError(f"judged({what!r}): there is nothing to judge, expected is empty.")
    if not (np.isfinite(want).all() and np.isfinite(allowed).all() and (allowed >= 0).all()):
        raise LaxToleranceError(f"judged({what!r}): expected and tolerance must be finite, the tolerance not negative.")
    if (want == 0).any() and (scale is None or not scale > 0):
        raise LaxToleranceError(
            f"judged({what!r}): expected is zero; give scale= the usual size of the quantity in {unit}."
        )
    size = np.where(want == 0, scale or 0.0, np.abs(want))
    lax = allowed >= LAX * size
    if lax.any():
        first = np.flatnonzero(lax)[0]
        raise LaxToleranceError(
            f"judged({what!r}): tolerance {allowed.flat[first]:g} {unit} is {LAX:.0%} or more of "
            f"{size.flat[first]:g} {unit}; take a tighter one or judge a larger quantity."
        )


def _complaint(what: str, want: Any, have: Any, allowed: Any, bad: Any, unit: str, source: str) -> str:
    worst = np.flatnonzero(bad)[:5]
    lines = [
        f"  [{i}] expected {want.flat[i]:.9g}, got {have.flat[i]:.9g}, tolerance {allowed.flat[i]:.3g} {unit}"
        for i in worst
    ]
    return f"{what}: {int(bad.sum())} of {want.size} outside the tolerance ({source})\n" + "\n".join(lines)


def _span(values: Any, *, count: bool = True) -> str:
    low, high = float(values.min()), float(values.max())
    text = f"{low:.6g}" if low == high else f"{low:.6g} to {high:.6g}"
    return f"{text} ({values.size} values)" if count and values.size > 1 else text


def _share(miss: Any, allowed: Any) -> str:
    """The largest residual in whole percent of its tolerance: coarse, so that the page is the same on every machine."""
    if (allowed == 0).any():
        return "exact" if (allowed == 0).all() else "exact where asked"
    percent = float((miss / allowed).max()) * 100.0
    return "under 1 %" if percent < 1.0 else f"{percent:.0f} %"


def as_property(row: Row) -> dict[str, Any]:
    """The row as plain data, so that it survives the way from a worker process."""
    return asdict(row)


INTRO = """# Validation

Made by `./dev docs` from the checks in tests/published; do not edit. Each line compares Setwright with a value that
comes from outside. *Residual* is the largest difference as a share of the tolerance. The mark says how the outside
value came to us: READ in the source, from MEMORY, DERIVED (the derivation is given), or common PRACTICE without a
source. *Wrong input fails* is yes where the test also feeds a deliberately wrong input and sees the check refuse it.
A check that is written as a plain assertion is not listed.
"""


def page(rows: list[Row]) -> str:
    """The text of docs/validation.md: sorted, without dates, the same from run to run."""
    parts = [INTRO]
    counts = {mark: sum(row.mark == mark for row in rows) for mark in MARKS}
    parts.append(
        "| mark | lines |\n|---|---|\n" + "".join(f"| {mark} | {number} |\n" for mark, number in counts.items())
    )
    for module in sorted({row.module for row in rows}):
        parts.append(f"## {module}\n")
        lines = [
            "| what | expected | tolerance | unit | residual | wrong input fails | mark | source |",
            "|---|---|---|---|---|---|---|---|",
        ]
        lines += sorted(_line(row) for row in rows if row.module == module)
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


def _line(row: Row) -> str:
    wrong = "yes" if row.wrong else "-"
    cells = (row.what, row.expected, row.tolerance, row.unit, row.share, wrong, row.mark, row.source)
    return "| " + " | ".join(" ".join(cell.split()).replace("|", "\\|") for cell in cells) + " |"
