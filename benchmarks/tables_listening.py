"""What was heard, counted and put in tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from benchmarks.heard_listening import MINE, PEAK, TOLD, Heard

GROSS = 50.0  # cents; farther off is another note, or the octave
CLEAN = ("open", "fretted", "bass", "harmonic")
WORST = 15
HEAD = (
    "notes", "refused", "median [cents]", "90 % [cents]", "within 0.1 cent", "beyond 1 cent", "gross errors",
    "inside 1 u", "inside 2 u", "CPU s per s of sound",
)  # fmt: skip


def markdown(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table.

    Args:
        head: of its columns.
        rows: cells.
    Returns: the text.
    """
    return "\n".join(f"| {' | '.join(row)} |" for row in (head, ["---"] * len(head), *rows))


def figures(some: Sequence[Heard]) -> list[str]:
    """Cells of one line of the table. Shares are of the notes that were not refused.

    Args:
        some: what one way said.
    Returns: cells.
    """
    told = [one for one in some if one.error is not None]
    error = np.abs([one.error for one in told if one.error is not None])
    cost = f"{sum(one.processor for one in some) / sum(one.seconds for one in some):.2f}"
    first = [str(len(some)), str(len(some) - len(told))]
    if not told:
        return [*first, *["-"] * 7, cost]
    ratio = np.array([abs(one.error) / one.sd for one in told if one.sd is not None and one.error is not None])
    held = [f"{100.0 * np.mean(ratio < k):.0f} %" if len(ratio) else "-" for k in (1.0, 2.0)]
    return [
        *first, f"{np.median(error):.4f}", f"{np.percentile(error, 90):.3f}", f"{100.0 * np.mean(error <= 0.1):.0f} %",
        f"{100.0 * np.mean(error > 1.0):.0f} %", str(int(np.sum(error > GROSS))), *held, cost,
    ]  # fmt: skip


def table(some: Sequence[Heard], way: str) -> str:
    """One line for each kind and one for all.

    Args:
        some: what was heard.
        way: by which way.
    Returns: the text.
    """
    mine = [one for one in some if one.way == way]
    kinds = list(dict.fromkeys(one.kind for one in mine))
    rows = [(kind, *figures([one for one in mine if one.kind == kind])) for kind in kinds]
    return markdown(("kind", *HEAD), [*rows, ("all", *figures(mine))])


def ways_table(some: Sequence[Heard]) -> str:
    """One line for each way, over all notes.

    Args:
        some: what was heard.
    Returns: the text.
    """
    ways = dict.fromkeys(one.way for one in some)
    return markdown(("way", *HEAD), [(way, *figures([one for one in some if one.way == way])) for way in ways])


def medians(some: Sequence[Heard], told: bool) -> str:
    """Median errors, a line for each kind and a column for each way.

    Args:
        some: what was heard.
        told: of the ways that are told the note, or of those that are not.
    Returns: the text.
    """
    ways = [way for way in dict.fromkeys(one.way for one in some) if way.endswith(TOLD) == told]
    kinds = dict.fromkeys(one.kind for one in some)
    rows = [[kind, *(_median(some, way, (kind,)) for way in ways)] for kind in kinds]
    rows.append(["all", *(_median(some, way) for way in ways)])
    return markdown(["kind", *(way.removesuffix(TOLD) for way in ways)], rows)


def _errors(some: Sequence[Heard], way: str, kinds: Sequence[str] = ()) -> list[float]:
    chosen = [one for one in some if one.way == way and (not kinds or one.kind in kinds)]
    return [abs(one.error) for one in chosen if one.error is not None]


def _median(some: Sequence[Heard], way: str, kinds: Sequence[str] = ()) -> str:
    errors = _errors(some, way, kinds)
    return f"{np.median(errors):.4f}" if errors else "-"


def ratio(mine: Sequence[float], theirs: Sequence[float]) -> str:
    """Median error of one way over that of another.

    Args:
        mine: errors [cents].
        theirs: errors [cents].
    Returns: cells: both and their ratio.
    """
    if not mine or not theirs:
        return "| - | - | -"
    a, b = float(np.median(np.abs(mine))), float(np.median(np.abs(theirs)))
    return f"{a:.4f} | {b:.4f} | 1 / {b / a:.1f}" if a > 0.0 else f"{a:.4f} | {b:.4f} | -"


def ratios(some: Sequence[Heard], octaves: Sequence[Heard]) -> str:
    """Setwright beside the peak of the spectrum: all notes, clean ones, the interval of an octave.

    Args:
        some: notes heard.
        octaves: intervals heard; error is that of the interval.
    Returns: the text.
    """
    rows = [
        (name, ratio(_errors(of, MINE, kinds), _errors(of, PEAK, kinds)))
        for name, of, kinds in (
            ("all notes", some, ()),
            (f"clean notes ({', '.join(CLEAN)})", some, CLEAN),
            ("octave interval, open string to fret 12", octaves, ()),
        )
        if of
    ]
    return markdown(("of", "Setwright [cents]", "peak of the spectrum [cents]", "ratio of medians"), rows)


def worst(some: Sequence[Heard]) -> str:
    """The notes Setwright was farthest off at, in cents and in its own standard uncertainties.

    Args:
        some: what was heard.
    Returns: the text of two tables.
    """
    mine = [(one, abs(one.error), one.sd) for one in some if one.way == MINE and one.error is not None]
    far = sorted(mine, key=lambda three: -three[1])[:WORST]
    bold = sorted((t for t in mine if t[2]), key=lambda three: -three[1] / (three[2] or 1.0))[:WORST]
    head = ("kind", "seed", "error [cents]", "standard uncertainty [cents]", "error over it")
    parts = []
    for title, chosen in (("By error", far), ("By error over standard uncertainty", bold)):
        rows = [
            (one.kind, str(one.seed), f"{one.error:+.4f}", f"{sd:.4f}" if sd else "-", f"{off / sd:.1f}" if sd else "-")
            for one, off, sd in chosen
        ]
        parts.append(f"{title}:\n\n{markdown(head, rows)}")
    return "\n\n".join(parts)


def refusals(some: Sequence[Heard]) -> str:
    """Notes that Setwright refused, with its reasons.

    Args:
        some: what was heard.
    Returns: a list.
    """
    lost = [f"- {one.kind}, seed {one.seed}: {one.why}" for one in some if one.way == MINE and one.error is None]
    return "\n".join(["Refused:\n", *lost]) if lost else "None was refused."
