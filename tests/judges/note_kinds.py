"""Twenty kinds of recorded notes, each drawn from a seed: clean ones, and one for each way a recording is spoilt.

Strings from a bass's E1 to a guitar's E4, frets 0 to 22, rates 22.05 to 192 kHz, 0.4 to 4 s, noise 10 to 60 dB below.
How often and how strongly a thing happens is common practice, no source. Each recording begins with some silence and
has noise in it, 30 to 60 dB below or, where it is of `LOW_SNR`, 10 to 20. Where two tones sound, the truth's first
partial is the louder one and `split` says where the other lies.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from setwright.practice import sound_faults as faults
from setwright.practice.sound import Array, Pluck, Truth, first_of, harmonic, play, truth
from setwright.practice.sound_body import Resonance, first_with_body, on_body
from setwright.practice.takes import BASS, GUITAR, string_at

RATES = (22050.0, 32000.0, 44100.0, 48000.0, 96000.0, 192000.0)
BEATING = ("two polarisations", "pulled by the pickup")
CLIPPING = ("clipped hard", "clipped softly")
BODY = ("body resonance",)
LOW_SNR = ("white noise", "pink noise")

Strings = tuple[tuple[float, float], ...]
Made = tuple[Array, float, Truth, float]
Spoilt = tuple[Array, Truth]


@dataclass(frozen=True)
class Drawn:
    """A note before it is spoilt."""

    pluck: Pluck
    nominal: float  # Hz, what the note should be
    rng: np.random.Generator

    @property
    def rate(self) -> float:
        return self.pluck.rate

    def seed(self) -> int:
        return int(self.rng.integers(1 << 31))

    def changed(self, **changes: object) -> Drawn:
        return replace(self, pluck=replace(self.pluck, **changes))  # type: ignore[arg-type]


def drawn(rng: np.random.Generator, strings: Strings = BASS + GUITAR, frets: tuple[int, int] = (0, 22)) -> Drawn:
    """A usual note of a random string and one of some frets, some cents beside its nominal pitch."""
    number = int(rng.integers(len(strings))) + 1
    fret = int(rng.integers(frets[0], frets[1] + 1))
    out = float(np.clip(rng.normal(0.0, 8.0), -30.0, 30.0))
    usual = string_at(strings, number, fret, out)
    rate = float(rng.choice(RATES))
    pluck = replace(
        usual,
        inharmonicity=usual.inharmonicity * float(np.exp(rng.normal(0.0, 0.3))),
        place=float(np.clip(usual.place * rng.uniform(0.6, 1.4), 0.05, 0.6)),
        pickups=((float(np.clip(usual.pickups[0][0] * rng.uniform(0.7, 2.5), 0.03, 0.48)), 1.0),),
        width=float(rng.uniform(0.002, 0.02)),
        glide=float(rng.gamma(2.0, 1.5)),
        own_rise=float(rng.uniform(0.0, 0.5)),
        loss=usual.loss * float(np.exp(rng.normal(0.0, 0.3))),
        loss_square=2e-7 * float(np.exp(rng.normal(0.0, 0.5))),
        level=float(rng.uniform(-24.0, -3.0)),
        attack=float(rng.uniform(10.0, 30.0)),
        rate=rate,
        seconds=float(rng.uniform(0.4, 4.0 if rate < 90000.0 else 1.5)),
    )
    return Drawn(pluck, usual.fundamental * 2.0 ** (-out / 1200.0), rng)


def played(note: Drawn) -> Array:
    return play(note.pluck, note.seed())


def _clean(note: Drawn) -> Spoilt:
    return played(note), truth(note.pluck)


def _glide(note: Drawn) -> Spoilt:
    return _clean(note.changed(glide=float(note.rng.uniform(8.0, 25.0))))


def _polarisations(note: Drawn) -> Spoilt:
    cents = float(note.rng.choice([-1.0, 1.0]) * note.rng.uniform(0.2, 4.0))
    loss = note.pluck.loss * float(note.rng.uniform(0.3, 1.5))
    both = faults.second_polarisation(played(note), note.pluck, cents, float(note.rng.uniform(0.2, 0.7)), loss)
    return both, replace(truth(note.pluck), split=cents)


def _pulled(note: Drawn) -> Spoilt:
    cents = float(note.rng.uniform(0.2, 4.0))
    place = note.pluck.pickups[0][0]
    both = faults.pulled(played(note), note.pluck, cents, float(note.rng.uniform(0.2, 0.7)), place)
    return both, replace(truth(note.pluck), split=-cents)


def _hum(note: Drawn) -> Spoilt:
    mains = float(note.rng.choice([50.0, 60.0]))
    hummed = faults.hum(played(note), note.rate, float(note.rng.uniform(6.0, 40.0)), mains, note.seed())
    return hummed, truth(note.pluck)


def _weak(note: Drawn) -> Spoilt:
    return _clean(replace(note, pluck=faults.weak_fundamental(note.pluck, float(note.rng.uniform(20.0, 60.0)))))


def _sympathetic(note: Drawn) -> Spoilt:
    strings = GUITAR if note.nominal > 82.0 else BASS
    others = []
    for number in range(1, len(strings) + 1):
        other = replace(string_at(strings, number, 0.0, float(note.rng.normal(0.0, 8.0))), rate=note.rate)
        if abs(np.log2(first_of(other) / note.nominal)) > 0.02:  # not the string that is played
            others.append(other)
    level = float(note.rng.uniform(15.0, 45.0))
    return faults.sympathetic(played(note), note.rate, others, level), truth(note.pluck)


def _body(note: Drawn) -> Spoilt:
    note = note.changed(own_rise=0.0)
    partial = int(note.rng.integers(1, 4))
    body = Resonance(
        hertz=note.nominal * partial * float(np.exp(note.rng.normal(0.0, 0.06))),
        quality=float(note.rng.uniform(15.0, 60.0)),
        mass=float(note.rng.uniform(150.0, 2000.0)),
    )
    first, decay = first_with_body(note.pluck, body)
    return on_body(note.pluck, body), replace(truth(note.pluck), first_partial=first, decay=decay)


def _buzz(note: Drawn) -> Spoilt:
    level = float(note.rng.uniform(3.0, 25.0))
    until = float(note.rng.uniform(0.2, 0.6))
    return faults.buzz(played(note), note.rate, note.nominal, level, note.seed(), until), truth(note.pluck)


def _offset(note: Drawn) -> Spoilt:
    both = faults.stereo(played(note), float(note.rng.uniform(0.2, 1.0)), float(note.rng.uniform(-0.1, 1.0)))
    return both.mean(axis=1), truth(note.pluck)


def _quiet(note: Drawn) -> Spoilt:
    return _clean(note.changed(level=float(note.rng.uniform(-60.0, -30.0))))


def _damped(note: Drawn) -> Spoilt:
    whole = note.changed(seconds=0.6)
    return faults.damped(played(whole), note.rate, float(note.rng.uniform(0.4, 0.5))), truth(note.pluck)


def _harmonic(note: Drawn) -> Spoilt:
    number = int(note.rng.integers(2, 5))
    return _clean(replace(note, pluck=harmonic(note.pluck, number)))


SPOIL: dict[str, Callable[[Drawn], Spoilt]] = {
    "open": _clean,
    "fretted": _clean,
    "bass": _clean,
    "strong glide": _glide,
    "two polarisations": _polarisations,
    "pulled by the pickup": _pulled,
    "hum": _hum,
    "clipped hard": _clean,
    "clipped softly": _clean,
    "weak first partial": _weak,
    "sympathetic strings": _sympathetic,
    "body resonance": _body,
    "fret buzz": _buzz,
    "telephone": _clean,
    "offset and two channels": _offset,
    "quiet and quantised": _quiet,
    "white noise": _clean,
    "pink noise": _clean,
    "damped at once": _damped,
    "harmonic": _harmonic,
}
KINDS = tuple(SPOIL)


FROM: dict[str, tuple[Strings, tuple[int, int]]] = {
    "open": (BASS + GUITAR, (0, 0)),
    "fretted": (BASS + GUITAR, (1, 22)),
    "bass": (BASS, (0, 22)),
    "harmonic": (BASS + GUITAR, (0, 0)),
}


def _recorded(kind: str, samples: Array, note: Drawn) -> tuple[Array, float]:
    """What the recording does to the sound and its noise, last of all, and the rate it comes at [Hz]."""
    if kind == "telephone":
        return faults.telephone(samples, note.rate)
    if kind == "offset and two channels":
        return faults.offset(samples, float(note.rng.uniform(-0.2, 0.2))), note.rate
    if kind == "quiet and quantised":
        return faults.quantised(samples, int(note.rng.choice([16, 24]))), note.rate
    if kind in CLIPPING:
        limit = float(np.abs(samples).max() * note.rng.uniform(0.15, 0.8))
        return faults.clipped(samples, limit, soft=kind == "clipped softly"), note.rate
    return samples, note.rate


def made(kind: str, seed: int) -> Made:
    """One recording: its samples (mono, of full scale), rate [Hz], truth, and what the note should be [Hz]."""
    rng = np.random.default_rng([KINDS.index(kind), seed])
    note = drawn(rng, *FROM.get(kind, (BASS + GUITAR, (0, 22))))
    samples, told = SPOIL[kind](note)
    lead = int(rng.uniform(0.02, 0.15) * note.rate)
    samples = np.concatenate([np.zeros(lead), samples])
    below = float(rng.uniform(10.0, 20.0) if kind in LOW_SNR else rng.uniform(30.0, 60.0))
    samples = faults.noisy(samples, below, note.seed(), pink=kind == "pink noise")
    samples, rate = _recorded(kind, samples, note)
    nominal = note.nominal
    if kind == "harmonic":  # fret 12, 7 or 5 of the open string
        nominal *= round(told.fundamental / note.pluck.fundamental)
    return samples, rate, replace(told, released=lead / note.rate), nominal
