"""One note by every way: Setwright, the plain peak of a spectrum, and the other libraries."""

from __future__ import annotations

import time
import traceback
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks import rivals_listening
from setwright.listening.notes import measure
from setwright.listening.sound import Sound
from setwright.practice.takes import BASS, GUITAR
from tests.judges.note_kinds import FROM, KINDS, drawn, made

Array = NDArray[np.float64]

CENTS = 1200.0 / np.log(2.0)
ATTACK = 0.03  # s after the release that all but Setwright leave out
LOOK = 50.0  # cents about the note told, in which the highest peak is taken
PADDED = 8  # times the note's length, of its transform
SEMITONE = 2.0 ** (1.0 / 12.0)
HIGHEST = 4.0  # times the highest open string; harmonics go up to there
TOLD = ", note told"
MINE, PEAK = "Setwright", "peak of the spectrum" + TOLD


@dataclass(frozen=True)
class Task:
    """One note to be heard."""

    kind: str
    seed: int
    rivals: bool = False


@dataclass(frozen=True)
class Heard:
    """What one way said of one note."""

    kind: str
    way: str
    error: float | None  # cents, None: refused
    sd: float | None  # cents, None: none given
    processor: float  # s
    seconds: float  # s of sound
    seed: int = 0
    why: str = ""  # refused


@dataclass(frozen=True)
class Measured:
    """What Setwright said of one note."""

    hertz: float | None  # Hz, None: refused
    sd: float | None  # cents
    why: str  # refused
    processor: float  # s


def measured(sound: Sound, about: float | None = None) -> Measured:
    """A note measured. Where the measurement breaks off by a fault of the program, that is the reason it is refused.

    Args:
        sound: of the note.
        about: the note told [Hz].
    Returns: what was said.
    """
    begun = time.process_time()
    try:
        note = measure(sound, about)
    except Exception as error:  # one fault of the estimator is to be told, and not to end the run
        where = traceback.extract_tb(error.__traceback__)[-1]
        why = f"FAULT: {type(error).__name__} in {where.name}: {error}"
        return Measured(None, None, why, time.process_time() - begun)
    cost = time.process_time() - begun
    return Measured(None if note.refused else note.first_partial, note.first_partial_sd, note.refused or "", cost)


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


def strings_of(kind: str, seed: int) -> tuple[tuple[float, float], ...]:
    """The strings of the instrument a note is played on.

    Args:
        kind: of KINDS.
        seed: of the note.
    Returns: (Hz, B) of each open string.
    """
    some, frets = FROM.get(kind, (BASS + GUITAR, (0, 22)))
    note = drawn(np.random.default_rng([KINDS.index(kind), seed]), some, frets)
    number = int(np.random.default_rng([KINDS.index(kind), seed]).integers(len(some)))
    steps = 12.0 * np.log2(note.nominal / some[number][0])
    assert abs(steps - round(steps)) < 1e-6, "the string is no longer the first thing drawn"
    return BASS if some[number] in BASS else GUITAR


def reach(strings: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Where the notes of an instrument lie.

    Args:
        strings: (Hz, B) of each open string.
    Returns: lowest and highest, a semitone beyond both [Hz].
    """
    open_ones = [hertz for hertz, _ in strings]
    return min(open_ones) / SEMITONE, HIGHEST * max(open_ones) * SEMITONE


def cents(told: float | None, true: float) -> float | None:
    """How far a pitch is off.

    Args:
        told: [Hz], None where there is none.
        true: [Hz].
    Returns: [cents], None where there is none.
    """
    return None if told is None else float(CENTS * np.log(told / true))


def heard(task: Task) -> list[Heard]:
    """One note by every way.

    Args:
        task: which note.
    Returns: one for every way.
    """
    samples, rate, truth, nominal = made(task.kind, task.seed)
    seconds, true = len(samples) / rate, truth.first_partial

    def row(way: str, hertz: float | None, sd: float | None, cost: float, why: str = "") -> Heard:
        return Heard(task.kind, way, cents(hertz, true), sd, cost, seconds, task.seed, why)

    out = []
    for way, about in ((MINE, None), (MINE + TOLD, nominal)):
        mine = measured(Sound(samples, rate), about)
        out.append(row(way, mine.hertz, mine.sd, mine.processor, mine.why))
    rest = samples[int((truth.released + ATTACK) * rate) :]
    begun = time.process_time()
    plain = peak_of(rest, rate, nominal)
    out.append(row(PEAK, plain, None, time.process_time() - begun))
    if task.rivals:
        ranges = [reach(strings_of(task.kind, task.seed)), (nominal / SEMITONE, nominal * SEMITONE)]
        for words, said in zip(("", TOLD), rivals_listening.ask(rest, rate, ranges), strict=True):
            out += [row(name + words, hertz, None, cost) for name, (hertz, cost) in said.items()]
    return out
