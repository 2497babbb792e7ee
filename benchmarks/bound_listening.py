"""Root mean square errors beside the least that white noise allows (tests/judges/bound.py)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from benchmarks.heard_listening import cents, measured
from benchmarks.tables_listening import GROSS, markdown
from setwright.listening.sound import Sound
from setwright.practice.sound import Pluck, glide_of, partials_of, play, render, truth
from tests.judges.bound import bound

STRINGS = ((82.4, 1e-4), (110.0, 3e-4), (196.0, 6e-5), (329.6, 1e-4), (61.7, 2e-4))  # Hz and B
BELOW = (10.0, 20.0, 30.0, 50.0)  # dB of noise below the note's root mean square
GLIDES = (0.0, 6.0)  # cents
FIRST = 700


@dataclass(frozen=True)
class Noisy:
    """One note in noise."""

    string: int  # of STRINGS
    glide: float  # cents
    below: float  # dB
    seed: int


@dataclass(frozen=True)
class Beside:
    """An error, None where it was refused, and the least standard deviation [cents]."""

    task: Noisy
    error: float | None
    least: float


def tasks(seeds: int) -> list[Noisy]:
    """All notes in noise.

    Args:
        seeds: noises of each note.
    Returns: the tasks.
    """
    some = range(FIRST, FIRST + seeds)
    return [Noisy(s, g, b, k) for k in some for s in range(len(STRINGS)) for g in GLIDES for b in BELOW]


def _pluck(task: Noisy) -> Pluck:
    hertz, stiff = STRINGS[task.string]
    return Pluck(hertz, inharmonicity=stiff, rate=22050.0, seconds=2.0, loss=1.0, glide=task.glide)


@cache
def _least(string: int, glide: float) -> float:
    """Least standard deviation [cents] in noise as loud as the note; it goes with the noise's amplitude."""
    pluck = _pluck(Noisy(string, glide, 0.0, 0))
    raw = np.abs(render(partials_of(pluck), glide_of(pluck), pluck)).max()
    return bound(pluck, float(np.var(play(pluck))), gain=10.0 ** (pluck.level / 20.0) / raw)


def beside(task: Noisy) -> Beside:
    """One note in noise.

    Args:
        task: which.
    Returns: its error beside the least.
    """
    pluck = _pluck(task)
    clean = play(pluck)
    share = 10.0 ** (-task.below / 20.0)
    rng = np.random.default_rng([FIRST, task.string, task.seed, round(task.below)])
    note = measured(Sound(clean + share * np.std(clean) * rng.standard_normal(len(clean)), pluck.rate))
    return Beside(task, cents(note.hertz, truth(pluck).first_partial), share * _least(task.string, task.glide))


def table(some: Iterable[Beside]) -> str:
    """Ratio of root mean squares, a line for each noise, without and with glide.

    Args:
        some: errors beside the least.
    Returns: the text.
    """
    found = list(some)
    rows = []
    for below in BELOW:
        cells = [_cells([one for one in found if one.task.below == below and one.task.glide == g]) for g in GLIDES]
        rows.append([f"{below:g}", *(cell for three in cells for cell in three)])
    names = ["no glide", f"glide of {GLIDES[1]:g} cents"]
    columns = [f"{name}: {what}" for name in names for what in ("notes", "refused", "error over the bound")]
    return markdown(["noise below the note [dB]", *columns], rows)


def _cells(some: Sequence[Beside]) -> list[str]:
    told = [one for one in some if one.error is not None and abs(one.error) < GROSS]
    gross = sum(one.error is not None for one in some) - len(told)
    refused = f"{len(some) - len(told) - gross}" + (f", {gross} gross" if gross else "")
    if not told:
        return [str(len(some)), refused, "-"]
    errors = np.array([one.error for one in told], dtype=np.float64)
    least = np.array([one.least for one in told])
    return [str(len(some)), refused, f"{np.sqrt(np.mean(errors**2) / np.mean(least**2)):.2f}"]
