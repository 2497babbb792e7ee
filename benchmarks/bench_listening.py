"""How well one note is heard: twenty kinds of recorded notes, Setwright and the plain peak of a spectrum.

    ./dev bench listening --first 1000 --count 40
    ./dev bench listening --kinds open bass --known     the note told within a semitone

Notes are those of `tests/judges/note_kinds.py`, drawn from seeds. The peak of the spectrum is told which note it is in
any case: it looks within half a semitone. An error is that of the settled first partial. Two processes work.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setwright.listening.notes import measure
from setwright.listening.sound import Sound
from tests.judges.note_kinds import KINDS, made

Array = NDArray[np.float64]

CENTS = 1200.0 / np.log(2.0)
GROSS = 50.0  # cents; farther off is another note, or the octave
ATTACK = 0.03  # s after the release that the peak of the spectrum leaves out
LOOK = 50.0  # cents about the note told, in which the highest peak is taken
PADDED = 8  # times the note's length, of its transform
WAYS = ("Setwright", "peak of the spectrum")


@dataclass(frozen=True)
class Task:
    """One note to be heard."""

    kind: str
    seed: int
    known: bool = False


@dataclass(frozen=True)
class Heard:
    """What one way said of one note."""

    kind: str
    way: str
    error: float | None  # cents, None: refused
    sd: float | None  # cents, None: none given
    processor: float  # s
    seconds: float  # s of sound


def peak_of(samples: Array, rate: float, nominal: float) -> float:
    """Highest peak of a spectrum about a note: Hann window, zero padded, parabola on the logarithm.

    Args:
        samples: (N) of the note [1].
        rate: [Hz].
        nominal: the note [Hz].
    Returns: [Hz].
    """
    size = 1 << (PADDED * len(samples) - 1).bit_length()
    level = np.abs(np.fft.rfft((samples - samples.mean()) * np.hanning(len(samples)), size))
    low, high = (int(nominal * 2.0 ** (sign * LOOK / 1200.0) * size / rate) for sign in (-1, 1))
    top = low + int(np.argmax(level[low : high + 1]))
    left, here, right = np.log(np.maximum(level[top - 1 : top + 2], 1e-300))
    bend = left - 2.0 * here + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return float((top + np.clip(shift, -0.5, 0.5)) * rate / size)


def heard(task: Task) -> list[Heard]:
    """One note by every way.

    Args:
        task: which note.
    Returns: one for every way.
    """
    samples, rate, truth, nominal = made(task.kind, task.seed)
    seconds = len(samples) / rate
    begun = time.process_time()
    note = measure(Sound(samples, rate), nominal if task.known else None)
    middle = time.process_time()
    plain = peak_of(samples[int((truth.released + ATTACK) * rate) :], rate, nominal)
    ended = time.process_time()
    error = None
    if note.refused is None and note.first_partial is not None:
        error = float(CENTS * np.log(note.first_partial / truth.first_partial))
    mine = Heard(task.kind, WAYS[0], error, note.first_partial_sd, middle - begun, seconds)
    off = float(CENTS * np.log(plain / truth.first_partial))
    return [mine, Heard(task.kind, WAYS[1], off, None, ended - middle, seconds)]


def runs(tasks: Sequence[Task], minutes: float) -> Iterator[list[Heard]]:
    """All notes on both cores, in order, until the minutes are over.

    Args:
        tasks: the notes.
        minutes: after which no more are waited for.
    Returns: what was heard.
    """
    begun = time.monotonic()
    with multiprocessing.get_context("fork").Pool(min(2, os.cpu_count() or 1)) as pool:
        for one in pool.imap(heard, tasks, chunksize=1):
            yield one
            if time.monotonic() - begun > 60.0 * minutes:
                break
        pool.terminate()


HEAD = (
    "kind", "notes", "refused", "median [cents]", "90 % [cents]", "within 0.1 cent", "beyond 1 cent", "gross errors",
    "inside 1 u", "inside 2 u", "CPU s per s of sound",
)  # fmt: skip


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
    """Markdown of a table, one line for each kind and one for all.

    Args:
        some: what was heard.
        way: by which way.
    Returns: the text.
    """
    mine = [one for one in some if one.way == way]
    kinds = list(dict.fromkeys(one.kind for one in mine))
    rows = [(kind, *figures([one for one in mine if one.kind == kind])) for kind in kinds]
    lines = ["|" + " --- |" * len(HEAD), *(f"| {' | '.join(row)} |" for row in [*rows, ("all", *figures(mine))])]
    return "\n".join([f"| {' | '.join(HEAD)} |", *lines])


def main(arguments: Sequence[str]) -> int:
    """Run and print.

    Args:
        arguments: of the command line.
    Returns: 0.
    """
    parser = argparse.ArgumentParser(prog="./dev bench listening")
    parser.add_argument("--count", type=int, default=40, help="notes of each kind")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    parser.add_argument("--minutes", type=float, default=20.0, help="after which it stops and reports what is done")
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS, metavar="KIND", help="which kinds")
    parser.add_argument("--known", action="store_true", help="the note is told, within a semitone")
    given = parser.parse_args(arguments)
    seeds = range(given.first, given.first + given.count)
    tasks = [Task(kind, seed, given.known) for seed in seeds for kind in given.kinds]
    begun = time.monotonic()
    all_of = [one for some in runs(tasks, given.minutes) for one in some]
    known = "within a semitone" if given.known else "not at all"
    print(f"{len(all_of) // 2} notes from seed {given.first}, {(time.monotonic() - begun) / 60.0:.1f} minutes; "
          f"note told to Setwright {known}, to the peak of the spectrum in any case.\n")  # fmt: skip
    for way in WAYS:
        print(f"{way}\n\n{table(all_of, way)}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
