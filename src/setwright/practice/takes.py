"""A whole take of the practice instrument: notes one after another, with what else a microphone hears in between.

Strings and their stiffness are those of usual sets (common practice, no source); a fretted note keeps tension and wire,
so its inharmonicity goes as the square of its pitch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.practice.sound import Array, Pluck, Slide, Truth, harmonic, play, truth
from setwright.practice.sound_faults import damped

GUITAR = ((329.628, 1.3e-5), (246.942, 4.0e-5), (195.998, 9.6e-5), (146.832, 5.5e-5), (110.0, 9e-5), (82.407, 1.5e-4))
BASS = ((97.999, 1.2e-4), (73.416, 1.8e-4), (55.0, 2.5e-4), (41.203, 3.1e-4))  # (Hz, B), first string first
SOUNDING = ("open", "fretted", "harmonic", "retuned")
KINDS = (*SOUNDING, "knock", "talk")
FADE = 0.2  # s after a note is stopped, until nothing is left


@frozen
class Played:
    """One thing to be done in a take."""

    kind: str  # of KINDS
    gap: float = 0.5  # s of silence before it
    pluck: Pluck | None = None  # of a note; it is stopped after pluck.seconds
    string: int | None = None
    fret: float | None = None  # place of the finger; of a harmonic, where it is touched
    seconds: float = 0.3  # s, of a knock or of talk
    level: float = -12.0  # dB of full scale, of a knock or of talk

    def __post_init__(self) -> None:
        """Refuse what cannot be played.

        Raises:
            InputError: saying why.
        """
        if self.kind not in KINDS:
            raise InputError(f"kind of a thing played is {self.kind!r}; allowed is {' or '.join(map(repr, KINDS))}.")
        if (self.kind in SOUNDING) != (self.pluck is not None):
            raise InputError(
                f"a {self.kind} was given {'no' if self.pluck is None else 'a'} pluck; notes need one, others none."
            )


@frozen
class Event:
    """What truly happened in a take, and when."""

    kind: str
    start: float  # s in the recording
    end: float  # s, when it was stopped
    string: int | None
    fret: float | None
    truth: Truth | None  # of a note; of a retuned one, of where the peg was before


def string_at(strings: Sequence[tuple[float, float]], number: int, fret: float, cents: float = 0.0) -> Pluck:
    """A pluck of one string of a set, open or fretted.

    Args:
        strings: (Hz, B) of each open string, first string first
        number: [1] of the string, from 1
        fret: [1] 0 for the open string
        cents: [cents] it is out of tune by

    Returns:
        Pluck, 2 s long; higher notes die away sooner.

    Raises:
        InputError: there is no such string or fret.
    """
    if not (1 <= number <= len(strings) and 0.0 <= fret <= 36.0):
        raise InputError(
            f"no fret {fret:g} of string {number}; allowed are frets 0 to 36 of strings 1 to {len(strings)}."
        )
    hertz, stiffness = strings[number - 1]
    ratio = 2.0 ** (fret / 12.0)
    return Pluck(
        fundamental=hertz * ratio * 2.0 ** (cents / 1200.0),
        inharmonicity=stiffness * ratio * ratio,
        place=0.15 * ratio if ratio < 4.0 else 0.6,
        pickups=((min(0.07 * ratio, 0.45), 1.0),),
        glide=3.0,
        loss=0.4 + 0.1 * fret / 12.0 + hertz / 500.0,
        attack=18.0,
        seconds=2.0,
    )


def knock(seconds: float, rate: float, level: float, seed: int) -> Array:
    """A hand or a tool on the body: a few low resonances that die at once, with a click.

    Args:
        seconds: [s]
        rate: [Hz]
        level: [dB of full scale] of the peak
        seed: [1]

    Returns:
        (N,) [1] of full scale
    """
    rng = np.random.default_rng(seed)
    times = np.arange(round(seconds * rate)) / rate
    out = 0.5 * rng.standard_normal(len(times)) * np.exp(-times / 0.004)
    for hertz in rng.uniform(70.0, 400.0, 4):
        out += np.exp(-times / rng.uniform(0.01, 0.04)) * np.sin(2.0 * np.pi * hertz * times)
    loud: Array = out * (10.0 ** (level / 20.0) / np.abs(out).max())
    return loud


def talk(seconds: float, rate: float, level: float, seed: int) -> Array:
    """Something like speech: syllables of a wavering voice and of hiss. No pitch in it is to be reported.

    Args:
        seconds: [s]
        rate: [Hz]
        level: [dB of full scale] of the peak
        seed: [1]

    Returns:
        (N,) [1] of full scale
    """
    rng = np.random.default_rng(seed)
    count = round(seconds * rate)
    out = np.zeros(count)
    at = 0
    while at < count:
        length = min(int(rate * rng.uniform(0.08, 0.25)), count - at)
        steps = np.arange(length) / rate
        shape = np.sin(np.pi * np.arange(length) / length) ** 2
        start, moved = rng.uniform(100.0, 220.0), rng.uniform(-300.0, 300.0)
        turn = 2.0 * np.pi * (start * steps + 0.5 * moved * steps * steps)
        voice = sum(np.sin(k * turn) / k * rng.uniform(0.2, 1.0) for k in range(1, 12))
        hiss = rng.standard_normal(length) * rng.uniform(0.1, 1.0)
        out[at : at + length] += shape * (voice + hiss)
        at += length + int(rate * rng.uniform(0.0, 0.1))
    loud: Array = out * (10.0 ** (level / 20.0) / np.abs(out).max())
    return loud


def _sound(item: Played, rate: float, seed: int) -> tuple[Array, float]:
    """Samples of one thing, and how long it was let sound [s]."""
    if item.pluck is None:
        make = talk if item.kind == "talk" else knock
        return make(item.seconds, rate, item.level, seed), item.seconds
    ringing = replace(item.pluck, rate=rate, seconds=item.pluck.seconds + FADE)
    return damped(play(ringing, seed), rate, item.pluck.seconds), item.pluck.seconds


def take(items: Sequence[Played], rate: float = 48000.0, seed: int = 0) -> tuple[Array, list[Event]]:
    """A recording of things done one after another.

    Args:
        items: in their order
        rate: [Hz]
        seed: [1] of all chance in it

    Returns:
        (N,) [1] samples of full scale, half a second of silence at the end, and what truly happened.
    """
    sounds, events, now = [], [], 0.0
    for number, item in enumerate(items):
        samples, seconds = _sound(item, rate, seed + number)
        now += item.gap
        start = round(now * rate)
        sounds.append((start, samples))
        told = replace(truth(item.pluck), released=start / rate) if item.pluck is not None else None
        events.append(Event(item.kind, start / rate, start / rate + seconds, item.string, item.fret, told))
        now += seconds
    out = np.zeros(round((now + 0.5) * rate) + 1)
    for start, samples in sounds:
        some = min(len(samples), len(out) - start)
        out[start : start + some] += samples[:some]
    return out, events


def usual_take(
    strings: Sequence[tuple[float, float]], seed: int = 0, rate: float = 48000.0
) -> tuple[Array, list[Event]]:
    """A take as it comes at a bench: each string open, its harmonic and the note of fret 12, with slips in between.

    A string may be played twice, a wrong fret be taken, a peg be turned while it sounds, somebody talk or knock.

    Args:
        strings: (Hz, B) of each open string, first string first
        seed: [1] of all chance in it
        rate: [Hz]

    Returns:
        as `take`.
    """
    rng = np.random.default_rng(seed)
    items: list[Played] = []

    def add(kind: str, number: int, fret: float, pluck: Pluck) -> None:
        gap = float(rng.uniform(0.15, 1.0))
        longer = replace(pluck, seconds=float(rng.uniform(0.6, 2.2)), level=float(rng.uniform(-20.0, -4.0)))
        items.append(Played(kind, gap, longer, number, fret))

    for number in rng.permutation(len(strings)) + 1:
        one = int(number)
        out = float(rng.normal(0.0, 4.0))
        if rng.random() < 0.3:
            turned = float(rng.uniform(-60.0, 60.0))
            before = string_at(strings, one, 0.0, out - turned)
            add("retuned", one, 0.0, replace(before, slide=Slide(turned, 0.2, 0.9)))
        for _ in range(1 + int(rng.random() < 0.2)):
            add("open", one, 0.0, string_at(strings, one, 0.0, out))
        add("harmonic", one, 12.0, harmonic(string_at(strings, one, 0.0, out), 2))
        if rng.random() < 0.2:
            add("fretted", one, 11.0, string_at(strings, one, 11.0, out + float(rng.normal(0.0, 3.0))))
        add("fretted", one, 12.0, string_at(strings, one, 12.0, out + float(rng.normal(0.0, 4.0))))
        if rng.random() < 0.4:
            items.append(Played(str(rng.choice(["knock", "talk"])), 0.3, seconds=float(rng.uniform(0.3, 1.5))))
    return take(items, rate, seed)
