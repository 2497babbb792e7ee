"""What is kept of a note that is still followed: where it settles, with a band that holds that.

Open strings of guitar and bass, of the practice instrument and of the string on a grid (struck_string), which shares
nothing with it. Worked out on seeds 7000 to 7039, judged on others.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from setwright.listening.live import Live
from setwright.practice.sound import truth
from setwright.practice.sound_faults import noisy
from setwright.practice.takes import BASS, GUITAR
from tests.judges.note_kinds import drawn, played
from tests.judges.struck_string import Wire, plucked

CENT = np.log(2.0) / 1200.0
AT = (0.15, 0.3, 0.6, 1.2, 2.4)  # s
BLOCK = 1024
LONG = 2.7  # s
STIFF = {"guitar": (10.2e3, 17e3, 29e3, 17e3, 22e3, 26e3), "bass": (60e3, 75e3, 95e3, 120e3)}  # N, EA of usual strings


@dataclass(frozen=True)
class Note:
    """samples: (N). released: s. settled: Hz. now: the first partial at a time since the release, where it is known."""

    samples: np.ndarray
    rate: float
    released: float
    settled: float
    now: Callable[[float], float] | None


def practised(seed: int) -> Note:
    """Glides as usual, of every third note 8 to 25 cents; noise 30 to 60 dB below."""
    rng = np.random.default_rng([77, seed])
    note = drawn(rng, GUITAR if seed % 2 else BASS, (0, 0)).changed(seconds=LONG, rate=48000.0)
    if seed % 3 == 2:
        note = note.changed(glide=float(rng.uniform(8.0, 25.0)))
    samples = played(note)
    lead = int(rng.uniform(0.1, 0.2) * note.rate)
    samples = noisy(np.concatenate([np.zeros(lead), samples]), float(rng.uniform(30.0, 60.0)), note.seed())
    true = truth(note.pluck)
    return Note(samples, note.rate, lead / note.rate, true.first_partial, lambda at: float(true.first_partial_at(at)))


def on_a_grid(seed: int) -> Note:
    """Plucked so high that tension alone raises it by 0.5 to some ten cents at the release."""
    rng = np.random.default_rng([78, seed])
    kind, strings, length, pull = ("guitar", GUITAR, 0.648, 70.0) if seed % 2 else ("bass", BASS, 0.864, 175.0)
    number = int(rng.integers(len(strings)))
    hertz = strings[number][0] * float(np.exp(CENT * rng.normal(0.0, 8.0)))
    stiff = strings[number][1] * float(np.exp(rng.normal(0.0, 0.3)))
    tension = pull * float(rng.uniform(0.9, 1.15))
    loss = 0.45 * float(np.exp(rng.normal(0.0, 0.35)))
    inner = 2e-7 * float(np.exp(rng.normal(0.0, 0.5))) * (hertz * length / np.pi) ** 2
    place, rise = float(rng.uniform(0.07, 0.3)), float(rng.gamma(2.0, 2.0)) + 0.5
    axial = STIFF[kind][number]
    height = length * float(np.sqrt(4.0 * tension * np.expm1(CENT * rise) * place * (1.0 - place) / axial))
    wire = Wire(
        length,
        tension,
        tension / (2.0 * length * hertz) ** 2,
        axial,
        stiff * tension * length**2 / np.pi**2,
        loss,
        inner,
    )
    heard = plucked(wire, place, height, float(rng.uniform(0.06, 0.3)), 24000.0, LONG, float(rng.uniform(0.004, 0.02)))
    lead = int(rng.uniform(0.1, 0.2) * heard.rate)
    samples = np.concatenate([np.zeros(lead), 0.3 * heard.samples / np.abs(heard.samples).max()])
    return Note(
        noisy(samples, float(rng.uniform(35.0, 60.0)), seed), heard.rate, lead / heard.rate, heard.first_partial, None
    )


def followed(note: Note) -> list[tuple[float, float, float, float]]:
    """For every time of AT: cents the momentary pitch and the one kept are off, over what they are told to be known to;
    cents the one kept is off, and those the momentary one lies above it."""
    live, out, left = Live(note.rate), [], list(AT)
    for first in range(0, len(note.samples) - BLOCK + 1, BLOCK):
        one = live.push(note.samples[first : first + BLOCK])
        if one is None or one.hertz is None or not left or one.time - note.released < left[0]:
            continue
        left.pop(0)
        assert one.settled is not None
        assert one.settled_sd is not None
        assert one.sd is not None
        off = float(np.log(one.settled / note.settled) / CENT)
        glided = float(np.log(one.hertz / note.settled) / CENT)
        there = 0.0 if note.now is None else np.log(one.hertz / note.now(one.time - note.released)) / CENT
        out.append((float(there) / one.sd, off / one.settled_sd, off, glided))
    return out


@pytest.mark.slow
@pytest.mark.parametrize(("made", "seeds"), [(practised, range(8000, 8024)), (on_a_grid, range(8000, 8016))])
def test_what_is_kept_is_where_the_string_settles(made, seeds):
    """From the first answer on the band of 95 % holds where the first partial settles, also while 5 cents of glide are
    still to come; 1.2 s after the pluck, when pages take it, it is known to hundredths of a cent."""
    got = np.array([followed(made(seed)) for seed in seeds])  # (notes, times, 4)
    now, kept, off, glided = np.moveaxis(got, 2, 0)
    assert (np.mean(np.abs(kept) < 1.96, axis=0) > 0.87).all()  # of each time, of 24 and 16 notes
    assert np.mean(np.abs(kept) < 1.96) > 0.93
    assert np.abs(kept).max() < 4.0
    assert np.mean(np.abs(now) < 1.96) > 0.93
    late = AT.index(1.2)
    assert np.median(np.abs(off[:, late])) < 0.03
    assert np.percentile(np.abs(off[:, late]), 90) < 0.3
    assert np.percentile(np.abs(glided[:, late]), 90) > 0.6  # the momentary pitch is no such answer
