"""Takes: what was played is where the list says, and sounds as it says."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from setwright.errors import InputError
from setwright.practice.sound import Slide, first_of, play
from setwright.practice.takes import (
    BASS,
    GUITAR,
    KINDS,
    SOUNDING,
    Played,
    knock,
    string_at,
    take,
    talk,
    usual_take,
)

A_STRING = replace(string_at(GUITAR, 5, 0), seconds=0.6)


def test_a_take_is_its_parts():
    items = [Played("open", 0.25, A_STRING, 5, 0), Played("knock", 0.5), Played("open", 0.3, A_STRING, 5, 0)]
    samples, events = take(items, 24000.0, 7)
    assert [e.start for e in events] == pytest.approx([0.25, 1.35, 1.95])
    assert [e.end for e in events] == pytest.approx([0.85, 1.65, 2.55])
    assert not samples[:6000].any()
    alone = play(replace(A_STRING, rate=24000.0, seconds=0.6), 7)
    assert samples[6000 : 6000 + 14400] == pytest.approx(alone, abs=1e-12)
    assert np.abs(samples[int(1.1 * 24000) : int(1.3 * 24000)]).max() < 1e-4
    assert events[0].truth.released == 0.25
    assert events[0].truth.first_partial == first_of(A_STRING)
    assert events[1].truth is None


def test_pitch_of_a_note_in_a_take():
    """Turns of the first partial between two times, by its phase there, against the truth's glide."""
    samples, events = take([Played("open", 0.25, replace(A_STRING, seconds=1.5), 5, 0)])
    first = events[0].truth.first_partial
    window = np.hanning(9600)

    def phase(at):
        i = int(at * 48000)
        turn = np.exp(-2j * np.pi * first * np.arange(i, i + 9600) / 48000.0)
        return np.angle((samples[i : i + 9600] * window * turn).sum())

    turned = np.unwrap([phase(at) for at in (0.6, 0.8, 1.0)])
    got = 1200.0 * np.log2(1.0 + np.diff(turned) / (2.0 * np.pi * first * 0.2))
    want = events[0].truth.glide_at(np.array([0.8, 1.0]) - 0.25)
    assert got == pytest.approx(want, abs=0.02)


def test_fretted_strings():
    """Twelve frets up: twice the pitch, B four times, the same tension and wire (B = pi^2 EI / (T L^2))."""
    low, high = string_at(GUITAR, 6, 0), string_at(GUITAR, 6, 12)
    assert high.fundamental == pytest.approx(2.0 * low.fundamental)
    assert high.inharmonicity == pytest.approx(4.0 * low.inharmonicity)
    assert string_at(BASS, 4, 24).place == 0.6
    assert 1200.0 * np.log2(string_at(GUITAR, 1, 0, 7.0).fundamental / 329.628) == pytest.approx(7.0)


@pytest.mark.parametrize("make", [knock, talk])
def test_noises(make):
    some = make(0.8, 48000.0, -12.0, 3)
    assert len(some) == 38400
    assert np.abs(some).max() == pytest.approx(10 ** (-12 / 20))
    assert np.array_equal(some, make(0.8, 48000.0, -12.0, 3))
    assert not np.array_equal(some, make(0.8, 48000.0, -12.0, 4))


def test_a_knock_dies_at_once():
    some = knock(0.5, 48000.0, 0.0, 1)
    assert np.abs(some[14400:]).max() < 0.01


@pytest.mark.parametrize("strings", [GUITAR, BASS])
def test_usual_take(strings):
    samples, events = usual_take(strings, 3, 16000.0)
    assert all(a.end < b.start for a, b in pairwise(events))
    assert len(samples) / 16000.0 == pytest.approx(events[-1].end + 0.5, abs=0.001)
    for string in range(1, len(strings) + 1):
        kinds = [e.kind for e in events if e.string == string]
        assert {"open", "harmonic", "fretted"} <= set(kinds)
    for event in events:
        assert (event.truth is not None) == (event.kind in SOUNDING)
        heard = samples[int(event.start * 16000) : int(event.end * 16000)]
        assert np.abs(heard).max() > 0.05
    assert samples.tolist() == usual_take(strings, 3, 16000.0)[0].tolist()


@pytest.mark.slow
def test_usual_takes_hold_every_kind():
    """Sixteen low-rate takes: everything that can come does, a string tuned while it sounds ends where it is open."""
    events = [e for seed in range(16) for e in usual_take(BASS, seed, 8000.0)[1]]
    assert {e.kind for e in events} == set(KINDS)
    assert any(e.fret == 11.0 for e in events)


def test_a_retuned_string_ends_in_tune_with_the_next():
    for seed in range(30):
        _, events = usual_take(BASS, seed, 8000.0)
        for this, after in pairwise(events):
            if this.kind == "retuned":
                assert after.kind == "open"
                moved = 1200.0 * np.log2(after.truth.first_partial / this.truth.first_partial)
                assert 0.0 < abs(moved) <= 60.0
                return
    raise AssertionError("no string was retuned in thirty takes")


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Played("cough"), "kind of a thing played is 'cough'"),
        (lambda: Played("open"), "an? open was given no pluck"),
        (lambda: Played("knock", pluck=A_STRING), "a knock was given a pluck"),
        (lambda: string_at(GUITAR, 0, 5), "no fret 5 of string 0; allowed are frets 0 to 36 of strings 1 to 6"),
        (lambda: string_at(GUITAR, 6, -1), "no fret -1 of string 6"),
        (lambda: Slide(5.0, 1.0, 1.0), "does not last"),
    ],
)
def test_impossible_things_are_refused(call, words):
    with pytest.raises(InputError, match=words):
        call()
