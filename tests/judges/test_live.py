"""Sound followed as it comes in, against the truth of its making: first answers, bands, a peg that is turned, cost.

Figures measured when the checks were written stand beside them. A pitch
that moves is made here: the phase of every partial is the sum of its momentary frequency over all samples before.
"""

from __future__ import annotations

import pickle
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest

from setwright.listening.live import Live, Reading
from setwright.listening.notes import measure
from setwright.listening.sound import Sound
from setwright.practice.sound import Pluck, first_of, glide_of, play, truth
from setwright.practice.sound_faults import hum, noisy, weak_fundamental
from setwright.practice.takes import BASS, GUITAR, string_at
from tests.judges.note_kinds import KINDS, made

CENT = np.log(2.0) / 1200.0
BLOCK = 1024
RATE = 48000.0
SOON = 0.15  # s
GROSS = 50.0  # cents, of an error that is a wrong note
TWO_TONES = ("two polarisations", "pulled by the pickup")  # the band holds what sounds, not the louder of the two
OPEN = [(strings, number) for strings in (GUITAR, BASS) for number in range(1, len(strings) + 1)]


@dataclass(frozen=True)
class Heard:
    """Readings with a pitch. shown: (R) s of sound that had come in when each was given."""

    shown: np.ndarray
    readings: list[Reading]

    def of(self, name: str) -> np.ndarray:
        return np.array([getattr(one, name) for one in self.readings])


def heard(samples: np.ndarray, rate: float, tuning: Sequence[float] | None = None, block: int = BLOCK) -> Heard:
    live, shown, readings = Live(rate, tuning), [], []
    for end in range(block, len(samples) + 1, block):
        one = live.push(samples[end - block : end])
        if one is not None and one.hertz is not None:
            shown.append(end / rate)
            readings.append(one)
    return Heard(np.array(shown), readings)


def pitches(strings: Sequence[tuple[float, float]]) -> list[float]:
    return [hz for hz, _ in strings]


def recorded(pluck: Pluck, lead: float, below: float = 50.0, seed: int = 0) -> np.ndarray:
    return noisy(np.concatenate([np.zeros(round(lead * pluck.rate)), play(pluck, seed)]), below, seed)


def off(hertz: np.ndarray, true: np.ndarray) -> np.ndarray:
    return np.log(np.asarray(hertz, dtype=float) / true) / CENT


@pytest.mark.slow
@pytest.mark.parametrize(("strings", "number"), OPEN)
def test_every_string_is_told_soon_and_narrows(strings, number):
    """Released at six places of a block, 17 cents beside its pitch. Shown 0.149 s after the release at the latest
    (bass), 0.106 s (guitar)."""
    for k in range(6):
        lead = 0.1 + k * BLOCK / RATE / 6.0
        pluck = replace(string_at(strings, number, 0, 17.0), seconds=1.2, attack=20.0)
        got = heard(recorded(pluck, lead, seed=500 + k), RATE, pitches(strings))
        at = got.of("time") - lead
        error, sd = off(got.of("hertz"), truth(pluck).first_partial_at(at)), got.of("sd")
        assert got.shown[0] - lead < SOON
        assert abs(error[0]) < 3.0 * sd[0]
        assert (np.abs(error) < 3.0 * sd).mean() > 0.9
        assert sd[at > 1.0].max() < 0.5 * sd[0]
        assert sd[at > 1.0].max() < 0.1
        assert set(got.of("string")) == {number}
        assert set(got.of("state")) == {"ringing"}


@pytest.mark.slow
def test_no_octave_with_a_weak_first_partial_and_hum():
    """First partial 20 to 50 dB weaker, hum 10 to 20 dB below from the start. Furthest off measured: 3.0 cents, the
    first reading of a bass's lowest string."""
    rng, worst = np.random.default_rng(500), 0.0
    for strings, number in OPEN:
        for _ in range(3):
            pluck = replace(string_at(strings, number, 0, float(rng.normal(0.0, 10.0))), seconds=0.6, attack=25.0)
            pluck = weak_fundamental(pluck, float(rng.uniform(20.0, 50.0)))
            samples = np.concatenate([np.zeros(9600), play(pluck, 1)])
            samples = noisy(hum(samples, RATE, float(rng.uniform(10.0, 20.0)), seed=1), 45.0, 1)
            got = heard(samples, RATE, pitches(strings))
            error = off(got.of("hertz"), truth(pluck).first_partial_at(got.of("time") - 0.2))
            rings = got.of("time") > 0.2
            assert rings.sum() > 15
            worst = max(worst, float(np.abs(error[rings]).max()))
            assert set(got.of("string")[rings]) == {number}
    assert worst < 6.0


@pytest.mark.slow
def test_bands_hold_over_all_kinds():
    """Truth: the first partial at the end of the sound used, its glide included. Every reading of a note counts alike,
    every note alike. Worked out on seeds 600 to 603, where 0.91 were inside one and 0.95 inside two standard
    uncertainties; clean notes keep well inside, for places of pluck and pickup are left open. Of the two kinds with a
    second tone the band holds what sounds together, not the louder: a third is inside; they are left out.
    """
    inside, gross, first, last, wide = {}, 0, [], [], []
    for kind in KINDS:
        for seed in range(512, 517):
            samples, rate, true, _ = made(kind, seed)
            got = heard(samples, rate)
            at = got.of("time") - true.released
            late = at > 0.0
            ratio = off(got.of("hertz"), true.first_partial_at(np.maximum(at, 0.0)))[late]
            gross += int(np.abs(ratio).max() > GROSS)
            last.append(abs(ratio[-1]))
            wide.append(got.readings[-1].sd)
            ratio = np.abs(ratio / got.of("sd")[late].astype(float))
            inside[kind, seed] = (np.mean(ratio < 1.0), np.mean(ratio < 2.0))
            first.append(got.shown[late][0] - true.released)
    one, two = np.mean([share for (kind, _), share in inside.items() if kind not in TWO_TONES], axis=0)
    assert one > 0.75
    assert 0.92 < two < 0.98
    assert np.median(last) < 0.01
    assert np.median(wide) < 0.03
    assert gross <= 1
    assert np.median(first) < 0.13


def turned(
    pluck: Pluck, course: Callable[[np.ndarray], np.ndarray], seed: int, lead: float = 0.1
) -> tuple[np.ndarray, Callable[[np.ndarray], np.ndarray]]:
    """A string whose peg is turned: cents over time; samples at RATE, and the true first partial at times since the
    release."""

    def pitch(at: np.ndarray) -> np.ndarray:
        return first_of(pluck) * np.exp(CENT * (course(at) + glide_of(pluck).at(at)))

    times = np.arange(round(pluck.seconds * RATE)) / RATE
    cycles = np.concatenate([[0.0], np.cumsum(pitch(times))[:-1]]) / RATE
    stiff, samples = pluck.inharmonicity, np.zeros(len(times))
    for n in range(1, min(40, int(9000.0 / pluck.fundamental))):
        height = np.sin(n * np.pi * pluck.place) * np.sin(n * np.pi * pluck.pickups[0][0]) / n
        loss = pluck.loss + pluck.loss_square * (n * pluck.fundamental) ** 2
        over = n * np.sqrt((1.0 + stiff * n * n) / (1.0 + stiff))
        samples += height * np.exp(-loss * times) * np.sin(2.0 * np.pi * over * cycles)
    samples = np.concatenate([np.zeros(round(lead * RATE)), 0.3 * samples / np.abs(samples).max()])
    return noisy(samples, 50.0, seed), pitch


def even(cents: float, start: float, end: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda at: cents * np.clip((at - start) / (end - start), 0.0, 1.0)


def soft(cents: float, start: float, end: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda at: cents * 0.5 * (1.0 - np.cos(np.pi * np.clip((at - start) / (end - start), 0.0, 1.0)))


@pytest.mark.slow
@pytest.mark.parametrize("shape", [even, soft])
@pytest.mark.parametrize("cents", [300.0, -300.0, 100.0, 40.0])
@pytest.mark.parametrize(("strings", "number"), [(BASS, 4), (GUITAR, 6), (GUITAR, 1)])
def test_a_peg_is_followed(strings, number, cents, shape):
    """Turned from 1 to 3 s, evenly or softly. Measured: said to move 0.12 to 0.29 s after an even start, and until then
    as far behind; then 0.001 to 0.005 s behind; said to rest 0.08 to 0.19 s after the end. The string named at the
    onset stays."""
    pluck = replace(string_at(strings, number, 0), seconds=4.5, rate=RATE, glide=4.0)
    samples, pitch = turned(pluck, shape(cents, 1.0, 3.0), 500)
    got = heard(samples, RATE, pitches(strings))
    at, shown, state, sd = got.of("time") - 0.1, got.shown - 0.1, got.of("state"), got.of("sd")
    error = off(got.of("hertz"), pitch(at))
    lags = np.linspace(0.0, 0.2, 41)[:, None]
    behind = np.abs(off(got.of("hertz"), pitch(np.maximum(at - lags, 0.0))))
    assert (behind.min(axis=0) < 3.0 * sd + 0.5).mean() > 0.98  # where it was at some time within the last 0.2 s
    moving = state == "moving"
    assert shown[moving].max() < 3.4
    assert shown[moving].min() > 1.0
    assert shown[moving].min() < (1.3 if shape is even else 1.6)
    run = (at > 1.6) & (at < 2.4)
    assert moving[run].all()
    speed = np.abs(np.gradient(pitch(at), at) / pitch(at) / CENT)
    assert np.median(np.abs(error[run]) / speed[run]) < 0.02  # s behind
    assert np.mean(np.abs(error[run]) < 2.0 * sd[run]) > 0.9
    assert np.abs(error[at > 3.5]).max() < 0.5
    assert set(got.of("string")) == {number}


@pytest.mark.slow
def test_cost_and_memory():
    """Plucks of every string for ten minutes at 48 kHz: processor time over time of sound, 0.06 when this was written,
    in the least of twenty half minutes (a busy machine lengthens it), lines not counted for coverage, which costs a
    quarter more; and what is held at the end over what was held after the first half minute."""
    part = np.concatenate(
        [recorded(replace(string_at(strings, n, 0, 5.0), seconds=2.9, attack=20.0), 0.1) for strings, n in OPEN]
    )
    live, held, cost = Live(RATE, pitches(GUITAR)), [], []
    tracer = sys.gettrace()
    sys.settrace(None)
    try:
        for _ in range(20):
            before = time.process_time()
            for k in range(0, len(part) - BLOCK + 1, BLOCK):
                live.push(part[k : k + BLOCK])
            cost.append((time.process_time() - before) / (len(part) / RATE))
            held.append(len(pickle.dumps(live)))
    finally:
        sys.settrace(tracer)
    assert min(cost) < 0.1
    assert max(held[1:]) < 1.2 * held[0]


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["open", "fretted", "bass", "white noise"])
def test_what_it_settles_at_is_what_the_whole_note_says(kind):
    """Within two combined standard uncertainties in 9 of 10 notes that had settled; a note that still glides at its end
    is compared with what is left of its glide by its truth."""
    within = []
    for seed in range(500, 510):
        samples, rate, true, _ = made(kind, seed)
        note, last = measure(Sound(samples, rate)), heard(samples, rate).readings[-1]
        left = float(true.glide_at(last.time - true.released))
        assert note.first_partial is not None
        assert last.hertz is not None
        apart = np.log(last.hertz / note.first_partial) / CENT - left
        within.append(abs(apart) < 2.0 * np.hypot(note.first_partial_sd, last.sd))
    assert np.mean(within) >= 0.8
