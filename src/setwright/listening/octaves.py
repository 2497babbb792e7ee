"""Which notes at fret 12 were harmonics and which were held there, from a whole take at once. Derived here.

B cannot tell: the harmonic's partial k is partial 2k of the open string, f_2k = 2k f0 sqrt(1 + 4 B k^2), a series with
2 f0 and 4 B; the held string is half as long at nearly the same tension, 2 f0 and 4 B as well. Nor can the comb of
pluck and pickup, sin(2 k pi x) of both. Left are four, none of which decides alone:

- pitch: the harmonic stands where the open string does, but for what a body makes of it (`PULLED`); the held note is
  off by the intonation error, alike whenever it is played but for the finger's force (`FIRM`);
- decay: a finger takes more out of a string than a nut; by how much is one unknown of every string;
- lines midway between the partials (`leaks`): a finger that leaves a harmonic leaves some of the odd partials;
- order: a habit of the take, mostly open, harmonic, held.

How well a string repeats its pitch and decay is learned from its open notes. All unknowns are laid on a grid and
summed over; every cue has long tails, so that none outweighs the rest without limit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PULLED = 0.5  # cents, usual distance of a harmonic from twice the open string; from memory of bridges that give way
FIRM = 0.8  # cents, a note held again differs by; common practice, no source
HELD = (2.0, 5.0)  # cents, intonation error of a note at fret 12 and its spread; common practice, no source
WANDER = (0.2, 1.0)  # cents, least and most by which a string plucked again differs
UNEVEN = (0.06, 0.4)  # of the logarithm of a decay, the same
SHORTER = (-0.3, 0.35)  # logarithm of a held note's decay over the harmonic's, and its spread; no source
STRAY = (0.15, 0.6)  # share of decays that are odd, and the spread of their logarithm
TURNED = 3.0  # cents between open notes, from which on a peg was turned
LEFT = 20.0  # odds for a harmonic where the string's odd partials are heard; a string that rings along may have them
UNLEFT = 0.8  # where they are not: mostly a clean harmonic leaves nothing above the noise
HABITS = (0.7, 0.15, 0.15)  # of takes: harmonic first, held first, as it comes
# chances of what follows, of the first two habits: first of a run, after a harmonic, after a held note; to harmonic, to
# held, to the end. The third is one of them, anew for every run: a habit that spread itself over more ways would be
# told from the other two where nothing is heard of it
FIRST = ((0.8, 0.2), (0.2, 0.8))
AFTER = (
    ((0.13, 0.8, 0.07), (0.03, 0.12, 0.85)),
    ((0.12, 0.03, 0.85), (0.8, 0.13, 0.07)),
)
MOST_DECAYS = 6
_PULLS = np.linspace(-0.9, 0.9, 7)  # cents
_NEAR, _FAR = np.arange(-12.0, 12.01, 0.5), np.arange(13.0, 46.0, 1.5)
_HELD = np.concatenate([-_FAR[::-1], _NEAR, _FAR])  # cents


@dataclass(frozen=True)
class Seen:
    """A note of one string. octave: at fret 12; else it is open. off: cents over what the string's nominal pitch makes
    it. left: whether the odd partials of the open string were heard, None where nobody looked."""

    octave: bool
    off: float
    sd: float  # cents
    decay: float | None = None  # s
    left: bool | None = None


@dataclass(frozen=True)
class _Run:
    """Notes at fret 12 between two open ones. at: their indices; offs: cents over the open string; base: its sd."""

    at: tuple[int, ...]
    offs: tuple[float, ...]
    base: float


def harmonics(strings: Sequence[Sequence[Seen]]) -> list[list[float]]:
    """Chance that each note at fret 12 was a harmonic.

    Args:
        strings: open notes and those at fret 12 of every string, in the order of the take.
    Returns: the same with chances [1]; 0 for open notes.
    """
    wander, uneven = _repeats(strings)
    each = [_string(one, wander, uneven) for one in strings]
    habits = np.log(HABITS) + np.sum([[evidence for evidence, _ in one] for one in each], axis=0)
    weights = np.exp(habits - habits.max())
    weights /= weights.sum()
    return [
        [float(sum(w * chances[i] for w, (_, chances) in zip(weights, one, strict=True))) for i in range(len(notes))]
        for notes, one in zip(strings, each, strict=True)
    ]


def _repeats(strings: Sequence[Sequence[Seen]]) -> tuple[float, float]:
    """By how much an open string plucked again differs: in cents, and in the logarithm of its decay."""
    cents, decays = [], []
    for notes in strings:
        for a, b in pairwise(one for one in notes if not one.octave):
            if abs(a.off - b.off) < TURNED:
                cents.append(abs(a.off - b.off))
            if a.decay and b.decay:
                decays.append(abs(math.log(a.decay / b.decay)))
    out = []
    for some, (least, most), few in ((cents, WANDER, 0.5), (decays, UNEVEN, 0.2)):
        # the median of the distance of two normal values is 0.954 of their spread; three that count beside them
        known = float(np.median([*some, few, few, few])) / 0.954 if len(some) < 6 else float(np.quantile(some, 0.7))
        out.append(min(max(known, least), most))
    return out[0], out[1]


def _runs(notes: Sequence[Seen], wander: float) -> list[_Run]:
    """Notes at fret 12 between open ones, over the open string as it stood then."""
    out: list[_Run] = []
    run: list[int] = []
    last: int | None = None
    for i in range(len(notes) + 1):
        if i < len(notes) and notes[i].octave:
            run.append(i)
            continue
        if run:
            base = last if last is not None else i if i < len(notes) else None
            off, sd = _state(notes, base, wander) if base is not None else (_middle(notes, run), 10.0)
            out.append(_Run(tuple(run), tuple(notes[k].off - off for k in run), sd))
        run, last = [], i
    return out


def _middle(notes: Sequence[Seen], run: Sequence[int]) -> float:
    return float(np.median([notes[k].off for k in run]))


def _state(notes: Sequence[Seen], at: int, wander: float) -> tuple[float, float]:
    """Where a string stood at an open note: the mean of its like, before and after, and its standard uncertainty."""
    like = [i for i, one in enumerate(notes) if not one.octave]
    here = like.index(at)
    mine = [at]
    for way in (like[here + 1 :], like[:here][::-1]):
        for i in way:
            if abs(notes[i].off - notes[at].off) > TURNED:
                break
            mine.append(i)
    weights = np.array([1.0 / (wander**2 + notes[i].sd ** 2) for i in mine])
    return float(np.average([notes[i].off for i in mine], weights=weights)), float(weights.sum() ** -0.5)


def _student(off: Array | float, scale: Array | float) -> Array:
    """Student's density with three degrees of freedom, of a scale."""
    return np.asarray(0.36755 / scale / (1.0 + np.square(off / np.asarray(scale)) / 3.0) ** 2)


def _bell(off: Array | float, sd: float) -> Array:
    return np.asarray(np.exp(-0.5 * np.square(np.asarray(off) / sd)) / (sd * math.sqrt(2.0 * math.pi)))


def _string(notes: Sequence[Seen], wander: float, uneven: float) -> list[tuple[float, list[float]]]:
    """For every habit, the logarithm of how likely the notes of a string are, and their chances of being harmonics."""
    runs = _runs(notes, wander)
    if not runs:
        return [(0.0, [0.0] * len(notes)) for _ in HABITS]
    grid, weight = _unknowns(notes, runs)
    told = [_told(notes, run, grid, wander, uneven) for run in runs]
    usual, turned = ([_passed(one, habit) for one in told] for habit in range(len(FIRST)))
    out = []
    for passed in (usual, turned, [_either(*both) for both in zip(usual, turned, strict=True)]):
        log = np.log(weight) + np.sum([one[0] for one in passed], axis=0)
        top = float(log.max())
        post = np.exp(log - top)
        total = float(post.sum())
        chances = [0.0] * len(notes)
        for run, (_, each) in zip(runs, passed, strict=True):
            for i, chance in zip(run.at, each, strict=True):
                chances[i] = float((post * chance).sum() / total)
        out.append((top + math.log(total), chances))
    return out


def _unknowns(notes: Sequence[Seen], runs: Sequence[_Run]) -> tuple[tuple[Array, ...], Array]:
    """The grid: where the held note stands, where the harmonic does [cents], logarithms of both decays; its weights."""
    logs = sorted(math.log(d) for run in runs for i in run.at if (d := notes[i].decay))
    some = np.quantile(logs, np.linspace(0.0, 1.0, min(MOST_DECAYS, len(logs)))) if logs else np.zeros(1)
    held, pull = _HELD[:, None, None, None], _PULLS[None, :, None, None]
    ringing, dying = some[None, None, :, None], some[None, None, None, :]
    step = np.gradient(_HELD)[:, None, None, None]
    weight = (
        step * _student(held - HELD[0], HELD[1]) * _bell(pull, PULLED) * _bell(dying - ringing - SHORTER[0], SHORTER[1])
    )
    return (held, pull, ringing, dying), weight / weight.sum()


def _told(
    notes: Sequence[Seen], run: _Run, grid: tuple[Array, ...], wander: float, uneven: float
) -> list[tuple[Array, Array]]:
    """How likely each note of a run is as a harmonic, and as a held note, over the grid."""
    held, pull, ringing, dying = grid
    out = []
    for i, off in zip(run.at, run.offs, strict=True):
        scale = math.hypot(wander, run.base, notes[i].sd)
        harmonic, stopped = _student(off - pull, scale), _student(off - held, math.hypot(scale, FIRM))
        if decay := notes[i].decay:
            harmonic = harmonic * _decays(math.log(decay) - ringing, uneven)
            stopped = stopped * _decays(math.log(decay) - dying, uneven)
        if notes[i].left is not None:
            harmonic = harmonic * (LEFT if notes[i].left else UNLEFT)
        out.append((harmonic, stopped))
    return out


def _decays(off: Array, uneven: float) -> Array:
    return np.asarray((1.0 - STRAY[0]) * _bell(off, uneven) + STRAY[0] * _bell(off, STRAY[1]))


def _passed(told: Sequence[tuple[Array, Array]], habit: int) -> tuple[Array, list[Array]]:
    """Over the grid, the logarithm of how likely a run is, and the chance of each of its notes to be a harmonic: sums
    forwards and backwards over all ways through it."""
    (hh, hf, he), (fh, ff, fe) = AFTER[habit]
    log = np.zeros(1)
    ahead: list[tuple[Array, Array]] = []
    for harmonic, stopped in told:
        if ahead:
            h, f = ahead[-1]
            h, f = (h * hh + f * fh) * harmonic, (h * hf + f * ff) * stopped
        else:
            h, f = FIRST[habit][0] * harmonic, FIRST[habit][1] * stopped
        both = h + f
        log = log + np.log(both)
        ahead.append((h / both, f / both))
    h, f = ahead[-1]
    log = log + np.log(h * he + f * fe)
    after = (np.full(1, he), np.full(1, fe))
    chances: list[Array] = []
    for k in reversed(range(len(told))):
        h, f = ahead[k][0] * after[0], ahead[k][1] * after[1]
        chances.append(h / (h + f))
        harmonic, stopped = told[k]
        to_h, to_f = harmonic * after[0], stopped * after[1]
        after = (hh * to_h + hf * to_f, fh * to_h + ff * to_f)
        top = after[0] + after[1]
        after = (after[0] / top, after[1] / top)
    return log, chances[::-1]


def _either(one: tuple[Array, list[Array]], other: tuple[Array, list[Array]]) -> tuple[Array, list[Array]]:
    """The same where it is one of two habits, each as likely."""
    log = np.logaddexp(one[0], other[0])
    share = np.exp(one[0] - log)
    return log - math.log(2.0), [share * a + (1.0 - share) * b for a, b in zip(one[1], other[1], strict=True)]
