"""What is reported of one note, against the truth it was made from; what is refused, and in which words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.listening import notes
from setwright.listening.notes import measure, part_of, ringing_of
from setwright.listening.sound import Sound
from setwright.practice.sound import Pluck, play, truth
from setwright.practice.sound_faults import clipped, damped

CENTS = 1200.0 / np.log(2.0)
RATE = 16000.0
STRING = Pluck(110.0, inharmonicity=2e-4, rate=RATE, seconds=1.5, loss=1.2, glide=5.0)


def quiet(count, sd=1e-4, seed=0):
    return sd * np.random.default_rng(seed).standard_normal(count)


def recorded(samples, before=0.1, sd=1e-4, start=0.0):
    silence = np.zeros(int(before * RATE))
    whole = np.concatenate([silence, samples])
    return Sound(whole + quiet(len(whole), sd), RATE, start)


@pytest.fixture(scope="module")
def string():
    return measure(recorded(play(STRING), start=10.0))


def test_pitch_and_what_goes_with_it(string):
    true = truth(STRING)
    assert string.refused is None
    assert abs(CENTS * np.log(string.first_partial / true.first_partial)) < min(4.0 * string.first_partial_sd, 0.1)
    assert abs(CENTS * np.log(string.fundamental / true.fundamental)) < max(4.0 * string.fundamental_sd, 0.1)
    assert string.inharmonicity == pytest.approx(2e-4, rel=0.05)
    assert 0.0 < string.inharmonicity_sd < 1e-5
    assert string.partials[0] == 1
    assert len(string.partials) >= 8


def test_glide_against_the_truth(string):
    """At the start of the part used, half a filter after it: within 15 % of the glide that is left there."""
    true = truth(STRING)
    since = string.used[0] - 10.1
    assert string.glide == pytest.approx(float(true.glide_at(since + 0.018)), rel=0.15)
    assert 0.0 < string.glide_sd < 1.0
    assert 0.2 < string.glide_time / true.glide_time < 2.0
    assert not string.settled


def test_decay_level_and_noise(string):
    """Level: the peak is 6 dB below full scale. Noise: the band's part of 1e-4, far below the partials; 20 dB more
    noise in the same band takes 20 dB."""
    assert string.decay == pytest.approx(truth(STRING).decay, rel=0.05)
    assert string.level == pytest.approx(-6.0, abs=0.05)
    assert string.clipped == 0.0
    louder = measure(recorded(play(STRING), sd=1e-3))
    assert string.noise - louder.noise == pytest.approx(20.0, abs=2.0)


def test_times_are_those_of_the_recording(string):
    assert string.start == pytest.approx(10.1, abs=0.011)
    assert string.used[0] == pytest.approx(string.start + 0.03, abs=1e-3)
    assert string.end == string.used[1] <= 11.6


def test_a_short_glide_has_settled():
    note = measure(recorded(play(Pluck(220.0, rate=RATE, seconds=1.2, loss=5.0, glide=4.0))))
    assert note.refused is None
    assert note.settled
    assert abs(CENTS * np.log(note.first_partial / (220.0 * np.sqrt(1.0001)))) < 0.1


def test_no_decay_where_the_first_partial_is_missing():
    n = np.arange(2.0, 11.0)[:, None]
    times = np.arange(int(1.2 * RATE)) / RATE
    samples = 0.1 * (np.cos(2.0 * np.pi * 110.0 * n * times + n**2) / n).sum(axis=0) * np.exp(-times)
    note = measure(recorded(samples))
    assert note.refused is None
    assert note.decay is None
    assert abs(CENTS * np.log(note.first_partial / 110.0)) < 0.1


def test_silence_and_too_little_of_it():
    assert measure(Sound(np.zeros(8000), RATE)).refused == "nothing is heard"
    assert measure(Sound(np.array([0.1, -0.1] * 100), RATE)).refused == "too short"
    short = measure(recorded(play(STRING)[: int(0.2 * RATE)]))
    assert short.refused == "it rings for 0.17 s only"
    assert short.first_partial is None


def test_noise_has_no_tone():
    assert measure(Sound(quiet(16000, 0.1), RATE)).refused == "no tone stands above the noise"


def test_one_tone_is_no_string():
    times = np.arange(16000) / RATE
    samples = np.cos(2.0 * np.pi * 440.0 * times) + quiet(16000, 0.02)
    assert measure(Sound(samples, RATE)).refused == "fewer than two partials stand above the noise"


def test_tones_of_no_string_are_refused(string):
    """Twenty-five tones without order, of one strength; and the words where partials are followed that explain
    little."""
    times = np.arange(16000) / RATE
    hertz = np.sort(np.random.default_rng(8).uniform(200.0, 4000.0, 25))
    samples = sum(np.cos(2.0 * np.pi * f * times + f) for f in hertz) * np.exp(-times) + quiet(16000, 0.05)
    assert measure(Sound(samples, RATE)).refused is not None
    little = notes.Coarse(100.0, 0.0, 0.2, 0.1)
    assert notes._doubt(string, little) == "its partials fit no string: talk, a chord or noise"


def test_a_pitch_known_badly_is_refused(string):
    sure = notes.Coarse(110.0, 2e-4, 0.9, 0.2)
    assert notes._doubt(string, sure) is None
    vague = notes.replace(string, first_partial_sd=7.25)
    assert notes._doubt(vague, sure) in ("its pitch is known to 7.2 cents only", "its pitch is known to 7.3 cents only")


def test_clipped_samples_are_counted_and_left_out():
    samples = play(STRING)
    limit = 0.4 * np.abs(samples).max()
    sound = Sound(np.concatenate([np.zeros(1600), clipped(samples, limit)]), RATE)
    note = measure(sound)
    at_limit = np.mean(np.abs(sound.samples) >= 0.999 * limit)
    assert note.clipped == pytest.approx(at_limit, rel=0.02)
    flat = np.abs(sound.samples) >= 0.999 * limit
    last = np.flatnonzero(flat[:-1] & flat[1:])[-1] / RATE  # two beside each other, so no lone top
    assert note.used[0] == pytest.approx(last, abs=2.0 / RATE)
    assert note.refused is None
    assert abs(CENTS * np.log(note.first_partial / truth(STRING).first_partial)) < 0.2


def test_clipped_to_the_end_is_used_all_the_same():
    samples = np.clip(np.cos(2.0 * np.pi * 110.0 * np.arange(16000) / RATE), -0.3, 0.3)
    part = part_of(samples, RATE)
    assert part.clipped > 0.5
    assert part.first == int(0.03 * RATE) + part.onset


def test_a_hand_that_damps_ends_the_note():
    note = measure(recorded(damped(play(STRING), RATE, 0.8)))
    assert note.end - 0.1 == pytest.approx(0.8, abs=0.06)
    assert note.refused is None


def test_a_note_that_rings_on_has_no_damping():
    part = part_of(play(STRING), RATE)
    assert part.end == pytest.approx(1.5 * RATE, abs=0.011 * RATE)
    burst = np.concatenate([np.zeros(3000), 0.5 * np.ones(300), np.zeros(3000)])
    assert part_of(burst, RATE).refused == "it rings for 0.00 s only"


def test_gaps_between_the_pulses_of_a_low_note_are_no_damping():
    """E1 near the bridge: a pulse every 24 ms, and frames of 10 ms between them that hold next to nothing."""
    times = np.arange(int(1.5 * RATE)) / RATE
    pulses = np.exp(-times) * np.exp(-0.5 * (((times * 41.2) % 1.0 - 0.5) / 0.02) ** 2)
    assert part_of(pulses - pulses.mean(), RATE).end > 1.45 * RATE
    low = measure(recorded(play(Pluck(41.2, pickups=((0.03, 1.0),), rate=RATE, seconds=2.0, place=0.05))))
    assert low.refused is None
    assert low.end > 2.0


def test_a_sound_from_its_first_sample_on():
    part = part_of(np.cos(0.2 * np.arange(16000)), RATE)
    assert part.onset == 0
    assert part.end == 16000


def even_only(f0=55.0, shape=5e-4):
    n = np.arange(2.0, 25.0, 2.0)[:, None]
    times = np.arange(int(1.0 * RATE)) / RATE
    turns = f0 * n * np.sqrt(1.0 + shape / 4.0 * n**2) * times
    return 0.1 * np.cos(2.0 * np.pi * turns + n**2).sum(axis=0) * np.exp(-times) + quiet(len(times))


def test_even_partials_alone_are_a_string_an_octave_up(monkeypatch):
    """Whatever the coarse look makes of them: here it is made to say an octave low. Told the low note, it stays."""
    monkeypatch.setattr(notes, "coarse_pitches", lambda peaks, about: [notes.Coarse(55.0, 1.2e-4, 0.9, 0.2)])
    monkeypatch.setattr(notes, "surest", lambda peaks, some: some[0])
    _, ringing = ringing_of(even_only(), RATE, None)
    assert list(ringing.numbers[:4]) == [1, 2, 3, 4]
    assert ringing.law.fundamental == pytest.approx(110.0, rel=1e-4)
    _, told = ringing_of(even_only(), RATE, 55.0)
    assert list(told.numbers[:4]) == [2, 4, 6, 8]


def test_what_was_followed_once_is_kept_where_it_cannot_be_again(monkeypatch):
    real = notes.followed
    calls = []

    def once(*given):
        calls.append(given)
        return real(*given) if len(calls) == 1 else None

    monkeypatch.setattr(notes, "followed", once)
    samples = play(STRING)[480:]
    coarse, ringing = ringing_of(samples, RATE, 110.0)
    assert len(calls) == 2
    assert coarse.fundamental == pytest.approx(110.0, rel=1e-4)
    assert len(ringing.numbers) > 5


def test_about_keeps_to_a_semitone():
    note = measure(recorded(play(STRING)), about=110.0)
    assert abs(CENTS * np.log(note.first_partial / truth(STRING).first_partial)) < 0.1


def test_a_later_beginning_is_where_the_energy_to_come_has_fallen():
    """A tone that falls at b and beats: of its energy 1/4 is left after ln 2 / b, 1/16 after twice that."""
    times = np.arange(int(4.0 * RATE)) / RATE
    fall = np.exp(-2.0 * times) * (1.0 + 0.3 * np.cos(2.0 * np.pi * 15.0 * times))
    begins = np.array(notes._begins(fall * np.cos(2.0 * np.pi * 200.0 * times), RATE)) / RATE
    assert begins == pytest.approx([0.0, np.log(2.0) / 2.0, np.log(2.0)], abs=0.03)
    assert len(notes._begins(fall[: int(0.5 * RATE)], RATE)) == 1


def test_what_is_told_of_a_bent_sound_is_weighed_over_its_beginnings(monkeypatch):
    """Two beginnings that say 2 cents apart, alike sure and both badly explained: the band holds both."""
    real = notes.followed
    found = []

    def poor(samples, rate, peaks, coarse, early=None, since=None):
        one = real(samples, rate, peaks, coarse, early, since)
        if since is None or one is None:
            return one
        law = replace(one.law, first=110.0 * np.exp(2.0 / CENTS * len(found)), first_sd=1e-5)
        found.append(replace(one, law=law, poor=0.2))
        return found[-1]

    monkeypatch.setattr(notes, "followed", poor)
    _, ringing = ringing_of(play(STRING)[480:], RATE, 110.0)
    assert len(found) > 1
    off = 2.0 * np.arange(len(found))
    assert CENTS * np.log(ringing.law.first / 110.0) == pytest.approx(off.mean(), abs=1e-3)
    assert CENTS * ringing.law.first_sd == pytest.approx(off.std(), rel=0.01)
