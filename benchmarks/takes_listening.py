"""Whole takes of forty to sixty notes with slips in between, written to a file and heard as a user's would be.

Every string is played open, its harmonic and at fret 12, in two rounds on a guitar and three on a bass, each round in
an order of its own. A note may be played twice, a wrong fret be taken, a peg be turned while the string sounds,
somebody talk or knock. How often is common practice, no source.
"""

from __future__ import annotations

import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.tables_listening import markdown
from setwright.bench.hearing import hear
from setwright.listening.takes import Heard
from setwright.practice.sound import Pluck, Slide, first_of, harmonic
from setwright.practice.sound_faults import noisy
from setwright.practice.takes import BASS, GUITAR, Event, Played, string_at, take

Array = NDArray[np.float64]
Strings = tuple[tuple[float, float], ...]

RATE = 44100.0  # Hz
NOISE = (40.0, 60.0)  # dB below the take
FRETS = 22
NEAR = 0.12  # s between an onset heard and the true one
OFF = 3.0  # cents, from which a note counts as told wrong by its pitch
LEVELS = (-20.0, -4.0)  # dB of full scale
LASTS = (0.6, 2.2)  # s
TURNED = (0.2, 0.9)  # s after the pluck, while a peg is turned; the note lasts longer
GAPS = (0.15, 1.0)  # s
PEG = (60.0, 10.0)  # cents a peg is turned at most, in the first round and later


@dataclass(frozen=True)
class Made:
    """A take. events: what was done in it. settled: first partials each note ends at [Hz], 0 of what is none."""

    strings: Strings
    samples: Array
    events: tuple[Event, ...]
    settled: tuple[float, ...]


class _Player:
    """Somebody who plays a take; strings stand where the pegs were left."""

    def __init__(self, strings: Strings, rng: np.random.Generator) -> None:
        self.strings, self.rng = strings, rng
        self.out = rng.normal(0.0, 8.0, len(strings))  # cents a string is out of tune by
        self.octave = rng.normal(0.0, 4.0, len(strings))  # cents of the note at fret 12, alike whenever it is played
        self.items: list[Played] = []
        self.settled: list[float] = []

    def note(self, kind: str, number: int, fret: float, pluck: Pluck, ends: float = 0.0) -> None:
        """Play one; `ends` is how far its pitch has moved by its end [cents]."""
        rng = self.rng
        lasts = float(rng.uniform(2.0 * TURNED[1] if pluck.slide else LASTS[0], LASTS[1]))
        longer = replace(pluck, seconds=lasts, level=float(rng.uniform(*LEVELS)))
        self.items.append(Played(kind, float(rng.uniform(*GAPS)), longer, number, fret))
        self.settled.append(first_of(pluck) * 2.0 ** (ends / 1200.0))

    def string(self, number: int, most: float) -> None:
        """All of one string."""
        rng, strings, i = self.rng, self.strings, number - 1
        if rng.random() < 0.2:
            turned = float(rng.uniform(-most, most))
            pluck = replace(string_at(strings, number, 0.0, self.out[i]), slide=Slide(turned, *TURNED))
            self.note("retuned", number, 0.0, pluck, turned)
            self.out[i] += turned
        for _ in range(1 + int(rng.random() < 0.2)):
            self.note("open", number, 0.0, string_at(strings, number, 0.0, self.out[i]))
        for _ in range(1 + int(rng.random() < 0.1)):
            self.note("harmonic", number, 12.0, harmonic(string_at(strings, number, 0.0, self.out[i]), 2))
        if rng.random() < 0.15:
            wrong = float(rng.choice([10.0, 11.0, 13.0]))
            self.note("fretted", number, wrong, string_at(strings, number, wrong, self.out[i] + rng.normal(0.0, 3.0)))
        for _ in range(1 + int(rng.random() < 0.1)):
            held = self.out[i] + self.octave[i] + rng.normal(0.0, 0.4)
            self.note("fretted", number, 12.0, string_at(strings, number, 12.0, held))
        if rng.random() < 0.3:
            noise = str(rng.choice(["knock", "talk"]))
            self.items.append(Played(noise, 0.3, seconds=float(rng.uniform(0.3, 1.5))))
            self.settled.append(0.0)


def made(seed: int) -> Made:
    """One take; every third is of a bass.

    Args:
        seed: of all chance in it.
    Returns: its samples and the truth.
    """
    rng = np.random.default_rng([815, seed])
    strings, rounds = (BASS, 3) if seed % 3 == 2 else (GUITAR, 2)
    player = _Player(strings, rng)
    for turn in range(rounds):
        for number in rng.permutation(len(strings)) + 1:
            player.string(int(number), PEG[min(turn, 1)])
    samples, events = take(player.items, RATE, int(rng.integers(1 << 30)))
    samples = noisy(samples, float(rng.uniform(*NOISE)), int(rng.integers(1 << 31)))
    return Made(strings, samples, tuple(events), tuple(player.settled))


@dataclass(frozen=True)
class Score:
    """How one take was heard. notes: that sounded, without those that were tuned meanwhile. false: reported where there
    was none, or where a peg was being turned at another pitch than it ended at."""

    seed: int
    notes: int
    right: int
    placed: int  # string and fret right, in doubt or not, harmonic or not
    doubted: int
    wrong: int
    missed: int
    false: int
    inside: int  # of those told, pitches within two standard uncertainties
    errors: tuple[float, ...]  # cents, of those told
    processor: float  # s
    seconds: float  # s of sound
    misses: tuple[str, ...]
    guessed: int = 0  # of those in doubt: string, fret and kind right as told


def heard(seed: int) -> Score:
    """One take, from a file to strings and frets.

    Args:
        seed: of the take.
    Returns: how it was heard.
    """
    import soundfile

    one = made(seed)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        soundfile.write(path, one.samples / max(1.0, float(np.abs(one.samples).max())), int(RATE), subtype="PCM_24")
        begun = time.process_time()
        told: Sequence[Heard] = ()
        fault: tuple[str, ...] = ()
        try:
            told = hear(str(path), [hertz for hertz, _ in one.strings], FRETS).notes
        except Exception as error:  # all of the take is missed, and it is told why
            where = traceback.extract_tb(error.__traceback__)[-1].name
            fault = (f"FAULT: {type(error).__name__} in {where}: {error}",)
        cost = time.process_time() - begun
    found = score(seed, one, told, cost)
    return replace(found, misses=(*fault, *found.misses))


def score(seed: int, one: Made, told: Sequence[Heard], cost: float) -> Score:
    """Compare what was heard with what was played.

    Args:
        seed: of the take.
        one: the take.
        told: notes heard.
        cost: processor time [s].
    Returns: the score.
    """
    count: Counter[str] = Counter()
    errors, misses, inside = [], [], 0
    left = [note for note in told if note.note.refused is None]
    for event, settled in zip(one.events, one.settled, strict=True):
        near = [note for note in left if abs(note.note.start - event.start) <= NEAR]
        if event.truth is None or not near:
            if event.truth is not None and event.kind != "retuned":
                count["missed"] += 1
                misses.append(f"{_named(event)} not heard: {_why(told, event)}")
            continue
        note = min(near, key=lambda some: abs(some.note.start - event.start))
        left.remove(note)
        off = 1200.0 * float(np.log2((note.note.first_partial or 1.0) / settled))
        if event.kind == "retuned":
            if note.string is not None and not note.doubt and abs(off) > OFF:
                count["false"] += 1
                misses.append(f"{_named(event)} reported {off:+.1f} cents from where the peg ended")
            continue
        errors.append(off)
        inside += abs(off) <= 2.0 * (note.note.first_partial_sd or 0.0)
        count["placed"] += (note.string, note.fret) == (event.string, event.fret)
        what = _outcome(event, note)
        count[what] += 1
        count["guessed"] += what == "doubted" and _alike(event, note)
        if what != "right":
            misses.append(f"{_named(event)} told as {note.kind} string {note.string} fret {note.fret}, "
                          f"{off:+.2f} cents; doubt: {note.doubt or 'none'}")  # fmt: skip
    for note in left:
        if note.string is not None and not note.doubt:
            count["false"] += 1
            misses.append(f"at {note.note.start:.2f} s no note was played, told {note.kind} string {note.string}")
    outcomes = ("right", "doubted", "wrong", "missed")
    return Score(
        seed, sum(count[name] for name in outcomes), count["right"], count["placed"], count["doubted"], count["wrong"],
        count["missed"], count["false"], inside, tuple(errors), cost, len(one.samples) / RATE, tuple(misses),
        count["guessed"],
    )  # fmt: skip


def _outcome(event: Event, note: Heard) -> str:
    if note.doubt or note.string is None:
        return "doubted"
    return "right" if _alike(event, note) else "wrong"


def _alike(event: Event, note: Heard) -> bool:
    return (note.string, note.fret, note.kind) == (event.string, event.fret, event.kind)


def _named(event: Event) -> str:
    return f"{event.kind} string {event.string} fret {event.fret:g} at {event.start:.2f} s"


def _why(told: Sequence[Heard], event: Event) -> str:
    refused = [n.note.refused for n in told if n.note.refused and abs(n.note.start - event.start) <= NEAR]
    return refused[0] if refused and refused[0] else "no onset"


HEAD = (
    "takes", "notes", "right string, fret and kind, without doubt", "right string and fret", "a doubt told",
    "right, with a doubt told", "wrong without doubt", "missed", "false notes a take",
    "pitch: median [cents]", "95 % [cents]", "inside 2 u", "CPU s per s of sound",
)  # fmt: skip


def table(some: Sequence[Score]) -> str:
    """One line for guitars, basses and all.

    Args:
        some: takes.
    Returns: the text.
    """
    rows = []
    groups = {"guitar": [s for s in some if s.seed % 3 != 2], "bass": [s for s in some if s.seed % 3 == 2], "all": some}
    for name, of in groups.items():
        if not of:
            continue
        notes = sum(one.notes for one in of)
        errors = np.abs([off for one in of for off in one.errors])
        told = max(len(errors), 1)
        shares = [f"{100.0 * sum(getattr(one, what) for one in of) / max(notes, 1):.1f} %" for what in
                  ("right", "placed", "doubted", "guessed", "wrong", "missed")]  # fmt: skip
        pitch = (f"{np.median(errors):.3f}", f"{np.percentile(errors, 95):.2f}") if len(errors) else ("-", "-")
        rows.append((
            f"{len(of)} {name}" if name != "all" else f"all {len(of)}", str(notes), *shares,
            f"{sum(one.false for one in of) / len(of):.2f}", *pitch,
            f"{100.0 * sum(one.inside for one in of) / told:.0f} %",
            f"{sum(one.processor for one in of) / sum(one.seconds for one in of):.2f}",
        ))  # fmt: skip
    return markdown(HEAD, rows)


def misses(some: Sequence[Score], most: int = 40) -> str:
    """What was not told rightly.

    Args:
        some: takes.
        most: lines at most.
    Returns: the text, a list.
    """
    lines = [f"- seed {one.seed}: {text}" for one in some for text in one.misses]
    more = [f"- and {len(lines) - most} more"] if len(lines) > most else []
    return "\n".join([*lines[:most], *more]) or "Nothing."
