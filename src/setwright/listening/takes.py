"""Which string and fret every note of a take was, decided over the whole take at once. Derived here.

First the string and the fret. Every note may be any whose nominal pitch lies within 60 cents, or none. A way through
the take costs, in natural logarithms of odds:

- pitch: how far a note lies from where its string stands, which is learned from the take itself.
- inharmonicity: B grows as 1/L^2, so at fret n it is 2^(n/6) times that of the open string; that of each string is
  learned. It tells apart strings that share a pitch, which differ in B by far more than a measurement of it.
- fret: open and 12 are played most; how seldom others are, a take tells.
- order: a string is seldom left for one far off.

Then which notes at fret 12 were harmonics (`octaves`). Where the odds are under 20 to 1, it is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from setwright.errors import InputError
from setwright.listening.notes import Note
from setwright.listening.octaves import Seen, harmonics

Kind = Literal["open", "fretted", "harmonic"]

NEAR = 60.0  # cents
OCTAVE = 12
HZ = (10.0, 5000.0)  # of an open string
MOST_FRETS = 36
SURE = 20.0 / 21.0  # chance from which a note is no longer in doubt, odds of 20 to 1
LEFT_OUT = 12.0  # cost of a note that is none of the strings'
SELDOM = (1.5, 5.5)  # least and most cost of a fret that is neither open nor 12; between them a take tells
OTHERS = (1.0, 4.0)  # as if so many other frets had been heard, of so many notes, before a take is
MOVE = (0.5, 1.5, 3.0)  # cost of staying on a string, of going to the next one, of going farther
LATE = 1.0  # cost of beginning a string with another note than the open one
WIDE = 25.0  # cents, how far a string stands from its nominal pitch before anything is heard of it
SPREAD = (4.0, 5.0)  # cents of an open, a stopped note about where the string stands
STIFF = (1e-4, 1.5)  # B of an open string before anything is heard of it, and the spread of its logarithm
STIFF_SPREAD = 0.25  # of the logarithm of B on one string
PASSES = 4
CENT = math.log(2.0) / 1200.0


@dataclass(frozen=True)
class Heard:
    """A note and where it was played. string: from 1. fret: 0 open, 12 for the harmonic. doubt: what else it may be, or
    why it is left out; "" when there is none. left: whether odd partials of a string an octave below were heard in it,
    None where it was not looked for or cannot be told."""

    note: Note
    string: int | None
    fret: int | None
    kind: Kind | None
    doubt: str = ""
    left: bool | None = None


@dataclass(frozen=True)
class Take:
    """All notes of a take in its order. missing: what would complete it."""

    heard: tuple[Heard, ...]
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class Place:
    """Where a note may have been played. off: cents over what the string's nominal pitch makes it. open_b: B of the
    open string that would give the note's, None where it is not known."""

    string: int
    fret: int
    off: float
    open_b: float | None


@dataclass(frozen=True)
class _Known:
    """What is believed of a string. off: [cents] and its spread; stiff: logarithm of B and its spread."""

    off: float = 0.0
    spread: float = WIDE
    stiff: float = math.log(STIFF[0])
    stiff_spread: float = STIFF[1]


def assign(
    notes: Sequence[Note],
    tuning: Sequence[float],
    frets: int = 22,
    played: Sequence[Kind] = ("open", "harmonic", "fretted"),
    left: Sequence[bool | None] = (),
) -> Take:
    """Say of every note which string and fret it was.

    Args:
        notes: in the order of the take.
        tuning: (S) nominal pitch of every open string, from string 1 [Hz].
        frets: number of frets [1].
        played: which kinds of notes there may be; with only one of harmonic and fretted nothing at fret 12 is open.
        left: (N) whether odd partials of a string an octave below were heard in each note (`leaks`); empty: not known.
    Returns: the take.
    Raises: InputError for a tuning, a number of frets or kinds that cannot be.
    """
    if not tuning or not all(math.isfinite(hz) and HZ[0] <= hz <= HZ[1] for hz in tuning):
        raise InputError(f"a tuning needs a pitch for every string, each {HZ[0]:g} to {HZ[1]:g} Hz; check it.")
    if not OCTAVE <= frets <= MOST_FRETS:
        raise InputError(f"{frets} frets are not possible; an instrument has {OCTAVE} to {MOST_FRETS}, check it.")
    if not played or not set(played) <= {"open", "harmonic", "fretted"}:
        raise InputError(
            f"{', '.join(played) or 'nothing'} cannot be played; there are open, harmonic and fretted notes."
        )
    kept = [i for i, one in enumerate(notes) if one.refused is None and one.first_partial is not None]
    good = [notes[i] for i in kept]
    options = [[at for at in places(one, tuning, frets) if at is None or _played(at.fret, played)] for one in good]
    known, seldom = [_Known() for _ in tuning], _seldom(options, [], frets)
    chances: list[list[float]] = []
    steps = [[[_step(a, b) for b in later] for a in one] for one, later in pairwise(options)]
    for turn in range(PASSES):
        costs = [
            [_cost(note, at, known, seldom) for at in places_] for note, places_ in zip(good, options, strict=True)
        ]
        chances = shares(costs, steps)
        seldom = _seldom(options, chances, frets)
        known = [_learned(s, good, options, chances, turn < PASSES // 2) for s in range(1, len(tuning) + 1)]
    decided = [_decided(n, o, c, tuning) for n, o, c in zip(good, options, chances, strict=True)]
    if left:
        decided = [(replace(one, left=left[i]), at) for i, (one, at) in zip(kept, decided, strict=True)]
    _part_octaves(len(tuning), decided, played)
    heard = [Heard(one, None, None, None, one.refused or "no pitch was found") for one in notes]
    for i, (one, _) in zip(kept, decided, strict=True):
        heard[i] = one
    return Take(tuple(heard), tuple(_missing(heard, len(tuning))))


def places(note: Note, tuning: Sequence[float], frets: int) -> list[Place | None]:
    """Where a note may have been played by its pitch alone; None, the last, is nowhere.

    Args:
        note: with a first partial.
        tuning: (S) open strings [Hz].
        frets: number of frets [1].
    Returns: the places.
    """
    out: list[Place | None] = []
    if note.first_partial is not None:
        for string, hertz in enumerate(tuning, start=1):
            cents = 1200.0 * math.log2(note.first_partial / hertz)
            fret = round(cents / 100.0)
            off = cents - 100.0 * fret
            for one in (fret - 1, fret, fret + 1):
                if not 0 <= one <= frets:
                    continue
                stiff = note.inharmonicity if note.inharmonicity and note.inharmonicity > 0.0 else None
                open_b = None if stiff is None else stiff * 2.0 ** (-one / 6.0)
                extra = 0.0 if stiff is None or open_b is None else 0.5 * (stiff - open_b) / CENT
                apart = off + 100.0 * (fret - one) - extra
                if abs(apart) <= NEAR:
                    out.append(Place(string, one, apart, open_b))
    return [*out, None]


def _seldom(options: Sequence[Sequence[Place | None]], chances: Sequence[Sequence[float]], frets: int) -> float:
    """Cost of a fret that is neither open nor 12, from how many of a take are."""
    other, whole = OTHERS
    for places_, shares_ in zip(options[: len(chances)], chances, strict=True):
        other += sum(c for at, c in zip(places_, shares_, strict=True) if at and at.fret not in (0, OCTAVE))
        whole += sum(c for at, c in zip(places_, shares_, strict=True) if at)
    odds = 0.5 * (1.0 - other / whole) * (frets - 1) / (other / whole)
    return min(max(math.log(odds), SELDOM[0]), SELDOM[1])


def _cost(note: Note, at: Place | None, known: Sequence[_Known], seldom: float) -> float:
    """What it costs to say that a note was played there."""
    stiff = note.inharmonicity is not None and note.inharmonicity > 0.0
    if at is None:
        return LEFT_OUT + (_normal(0.0, STIFF[1]) if stiff else 0.0)
    string = known[at.string - 1]
    cost = 0.0 if at.fret in (0, OCTAVE) else seldom
    cost += _long_tailed(at.off - string.off, math.hypot(string.spread, SPREAD[at.fret > 0], _sd(note)))
    if at.open_b is not None and note.inharmonicity:
        own = min((note.inharmonicity_sd or 0.0) / note.inharmonicity, 3.0)
        cost += _normal(math.log(at.open_b) - string.stiff, math.hypot(string.stiff_spread, STIFF_SPREAD, own))
    return cost


def _long_tailed(off: float, scale: float) -> float:
    """Negative logarithm of Student's density with three degrees of freedom, of a scale."""
    return math.log(scale / 0.36755) + 2.0 * math.log1p(off**2 / (3.0 * scale**2))


def _normal(off: float, sd: float) -> float:
    """Negative logarithm of the normal density."""
    return math.log(sd) + 0.5 * math.log(2.0 * math.pi) + 0.5 * (off / sd) ** 2


def _sd(note: Note) -> float:
    """Standard uncertainty of a pitch [cents]."""
    return note.first_partial_sd or 0.0


def _step(a: Place | None, b: Place | None) -> float:
    """What it costs that one place follows another. A note that is left out costs as a move to the next string."""
    if a is None or b is None:
        return MOVE[1]
    if a.string == b.string:
        return MOVE[0]
    return MOVE[min(abs(a.string - b.string), 2)] + (LATE if b.fret else 0.0)


def shares(costs: Sequence[Sequence[float]], steps: Sequence[Sequence[Sequence[float]]]) -> list[list[float]]:
    """Chance of every choice of every note over all ways through them, by sums forwards and backwards.

    Args:
        costs: (N) of every choice of every note, negative logarithms of odds [1].
        steps: (N - 1) from every choice of a note to every choice of the next [1].
    Returns: (N) chances, each adding up to 1.
    """
    if not costs:
        return []
    ahead = [list(costs[0])]
    for i, table in enumerate(steps):
        ahead.append([
            costs[i + 1][k] + _least([was + row[k] for was, row in zip(ahead[i], table, strict=True)])
            for k in range(len(costs[i + 1]))
        ])  # fmt: skip
    behind = [[0.0] * len(costs[-1])]
    for i in reversed(range(len(steps))):
        later = [cost + left for cost, left in zip(costs[i + 1], behind[-1], strict=True)]
        behind.append([_least([s + left for s, left in zip(row, later, strict=True)]) for row in steps[i]])
    out = []
    for fore, back in zip(ahead, reversed(behind), strict=True):
        whole = [a + b for a, b in zip(fore, back, strict=True)]
        total = _least(whole)
        out.append([math.exp(total - one) for one in whole])
    return out


def _least(costs: Sequence[float]) -> float:
    """Cost of several ways taken together: -log of the sum of exp(-cost)."""
    best = min(costs)
    return best - math.log(sum(math.exp(best - one) for one in costs))


def _learned(
    string: int,
    notes: Sequence[Note],
    options: Sequence[Sequence[Place | None]],
    chances: Sequence[Sequence[float]],
    open_alone: bool,
) -> _Known:
    """What a take teaches of one string: where it stands, and its B, each weighted by chance; first by the open notes,
    so that two strings do not exchange their names."""
    weight, total = 1.0 / WIDE**2, 0.0
    stiff_weight, stiff_total = 1.0 / STIFF[1] ** 2, math.log(STIFF[0]) / STIFF[1] ** 2
    for note, places_, shares in zip(notes, options, chances, strict=True):
        for at, share in zip(places_, shares, strict=True):
            if at is None or at.string != string or (at.fret and open_alone):
                continue
            part = share / (SPREAD[at.fret > 0] ** 2 + _sd(note) ** 2)
            weight, total = weight + part, total + part * at.off
            if at.open_b is not None and note.inharmonicity:
                own = min((note.inharmonicity_sd or 0.0) / note.inharmonicity, 3.0)
                part = share / (STIFF_SPREAD**2 + own**2)
                stiff_weight, stiff_total = stiff_weight + part, stiff_total + part * math.log(at.open_b)
    return _Known(total / weight, weight**-0.5, stiff_total / stiff_weight, stiff_weight**-0.5)


def _decided(
    note: Note, options: Sequence[Place | None], chances: Sequence[float], tuning: Sequence[float]
) -> tuple[Heard, Place | None]:
    """The likeliest place of a note, and what speaks against it."""
    ranked = sorted(zip(chances, range(len(options)), strict=True), reverse=True)
    best = options[ranked[0][1]]
    if best is None:
        return Heard(note, None, None, None, _nowhere(note, tuning)), None
    doubt = ""
    if ranked[0][0] < SURE:
        named = [_named(options[i]) for share, i in ranked[:4] if share > 0.05]
        doubt = f"{' or '.join(named)}: the take leaves it open, say which"
    return Heard(note, best.string, best.fret, "fretted" if best.fret else "open", doubt), best


def _named(at: Place | None) -> str:
    """A place in words."""
    if at is None:
        return "none of the strings"
    return f"string {at.string} at fret {at.fret}" if at.fret else f"string {at.string} open"


def _played(fret: int, played: Sequence[Kind]) -> bool:
    """Whether notes at a fret are among the kinds played."""
    return "open" in played if not fret else "fretted" in played or (fret == OCTAVE and "harmonic" in played)


def _part_octaves(strings: int, decided: list[tuple[Heard, Place | None]], played: Sequence[Kind]) -> None:
    """Say which notes at fret 12 were harmonics; they are put in place of what stands there."""
    if "harmonic" not in played:
        return
    ours = [
        [(i, at) for i, (_, at) in enumerate(decided) if at and at.string == string and at.fret in (0, OCTAVE)]
        for string in range(1, strings + 1)
    ]
    if "fretted" in played:
        chances = harmonics([[_seen(decided[i][0], at) for i, at in one] for one in ours])
    else:
        chances = [[1.0] * len(one) for one in ours]
    for one, shares_ in zip(ours, chances, strict=True):
        for (i, at), share in zip(one, shares_, strict=True):
            if at.fret != OCTAVE:
                continue
            heard = decided[i][0]
            doubt = heard.doubt
            if max(share, 1.0 - share) < SURE and not doubt:
                doubt = f"string {at.string} held at fret 12 or its harmonic there: the take leaves it open, say which"
            kind: Kind = "harmonic" if share > 0.5 else "fretted"
            decided[i] = (replace(heard, kind=kind, doubt=doubt), at)


def _seen(one: Heard, at: Place) -> Seen:
    """A note of one string, as far as harmonics are concerned."""
    return Seen(at.fret == OCTAVE, at.off, _sd(one.note), one.note.decay, one.left)


def _nowhere(note: Note, tuning: Sequence[float]) -> str:
    """Why a note is none of the strings'."""
    hertz = note.first_partial or 0.0
    string, off = min(
        ((s, 1200.0 * math.log2(hertz / hz)) for s, hz in enumerate(tuning, start=1)), key=lambda pair: abs(pair[1])
    )
    where = f"{abs(off):.0f} c {'above' if off > 0.0 else 'below'} open string {string}"
    return f"at {hertz:.2f} Hz, {where}, it is no likely note of these strings"


def _missing(heard: Sequence[Heard], strings: int) -> list[str]:
    """Strings that lack a note which at least half of the strings have."""
    out = []
    sets: dict[str, set[int]] = {
        "open note": {one.string for one in heard if one.string and one.kind == "open"},
        "harmonic at fret 12": {one.string for one in heard if one.string and one.kind == "harmonic"},
        "note held at fret 12": {
            one.string for one in heard if one.string and one.kind == "fretted" and one.fret == 12
        },
    }
    for what, having in sets.items():
        lacking = [s for s in range(1, strings + 1) if s not in having]
        if lacking and 2 * len(having) >= strings:
            named = ", ".join(map(str, lacking))
            out.append(f"No {what} was heard of string{'s' if len(lacking) > 1 else ''} {named}.")
    return out
