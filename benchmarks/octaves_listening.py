"""The interval between an open string and its note at fret 12, heard as two clean notes of one instrument."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.heard_listening import ATTACK, MINE, PEAK, Heard, cents, measured, peak_of
from setwright.listening.sound import Sound
from setwright.practice.sound import truth
from setwright.practice.sound_faults import noisy
from setwright.practice.takes import BASS, GUITAR
from tests.judges.note_kinds import Drawn, drawn, played

Array = NDArray[np.float64]

NOISE = (30.0, 60.0)  # dB below the note, as in clean notes of the kinds
LEAD = (0.02, 0.15)  # s of silence before it
OCTAVE = "octave"


@dataclass(frozen=True)
class Pair:
    """Two notes of one string. samples: (N) of each [1]. true: first partials [Hz]. nominal: of the notes [Hz]."""

    samples: tuple[Array, Array]
    released: tuple[float, float]
    rate: float
    true: tuple[float, float]
    nominal: tuple[float, float]


def pair(seed: int) -> Pair:
    """A string plucked open and at fret 12, each anew: same wire, pickup and recorder.

    Args:
        seed: of all chance in it.
    Returns: both notes.
    """
    rng = np.random.default_rng([4711, seed])
    string = (BASS + GUITAR)[int(rng.integers(len(BASS + GUITAR)))]
    low, high = (drawn(rng, (string,), (fret, fret)) for fret in (0, 12))
    high = high.changed(
        inharmonicity=4.0 * low.pluck.inharmonicity,  # half as long at the same tension: B goes as 1 / L^2
        pickups=((min(2.0 * low.pluck.pickups[0][0], 0.48), 1.0),),
        rate=low.rate,
        seconds=min(high.pluck.seconds, 1.5) if low.rate > 90000.0 else high.pluck.seconds,
    )
    both = [_recorded(one, rng) for one in (low, high)]
    return Pair(
        (both[0][0], both[1][0]), (both[0][1], both[1][1]), low.rate,
        (truth(low.pluck).first_partial, truth(high.pluck).first_partial), (low.nominal, high.nominal),
    )  # fmt: skip


def _recorded(note: Drawn, rng: np.random.Generator) -> tuple[Array, float]:
    lead = int(rng.uniform(*LEAD) * note.rate)
    samples = np.concatenate([np.zeros(lead), played(replace(note, rng=rng))])
    return noisy(samples, float(rng.uniform(*NOISE)), int(rng.integers(1 << 31))), lead / note.rate


def interval_heard(seed: int) -> list[Heard]:
    """The interval by Setwright, which is told nothing, and by the peak of the spectrum, which is told both notes.

    Args:
        seed: of the pair.
    Returns: one for each way; refused where one of the notes is.
    """
    both = pair(seed)
    seconds = sum(len(one) for one in both.samples) / both.rate
    true = both.true[1] / both.true[0]
    notes = [measured(Sound(one, both.rate)) for one in both.samples]
    middle = time.process_time()
    peaks = [
        peak_of(one[int((at + ATTACK) * both.rate) :], both.rate, nominal)
        for one, at, nominal in zip(both.samples, both.released, both.nominal, strict=True)
    ]
    ended = time.process_time()
    low, high = notes
    told = high.hertz / low.hertz if high.hertz and low.hertz else None
    sd = float(np.hypot(low.sd or 0.0, high.sd or 0.0)) if told else None
    cost = low.processor + high.processor
    return [
        Heard(OCTAVE, MINE, cents(told, true), sd, cost, seconds, seed, low.why or high.why),
        Heard(OCTAVE, PEAK, cents(peaks[1] / peaks[0], true), None, ended - middle, seconds, seed),
    ]
