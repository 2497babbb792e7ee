"""Which string and fret: takes made of notes whose pitch and inharmonicity follow from their string by formula.

A stopped string of length L / 2^(n/12) has B = B0 2^(n/6), B being proportional to 1/L^2 (Fletcher 1964); the 12th-fret
harmonic is every second partial of the open string, so 2 f0 and 4 B.
"""

import math
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from setwright.errors import InputError
from setwright.listening.notes import Note
from setwright.listening.takes import assign, places, shares

TUNING = (329.63, 246.94, 196.0, 146.83, 110.0, 82.41)
STIFF = (2e-5, 5e-5, 1.3e-4, 6e-5, 1e-4, 1.7e-4)
DECAY = {"open": 3.0, "harmonic": 2.4, "fretted": 1.6}
OCTAVES = ((0, "open"), (12, "harmonic"), (12, "fretted"))
BY_STRING = [(s, fret, kind) for s in (6, 5, 4, 3, 2, 1) for fret, kind in OCTAVES]
BY_KIND = [(s, fret, kind) for fret, kind in OCTAVES for s in (6, 5, 4, 3, 2, 1)]


def note(string, fret, kind, off=0.0, sd=0.4, stiff_noise=0.0):
    stiff = STIFF[string - 1] * 2 ** (fret / 6)
    opened = TUNING[string - 1] / math.sqrt(1 + STIFF[string - 1])
    fundamental = opened * 2 ** (fret / 12 + off / 1200)
    first = fundamental * math.sqrt(1 + stiff)
    return Note(0.0, 2.0, (0.0, 2.0), first, sd, fundamental, sd, stiff * math.exp(stiff_noise), 0.08 * stiff,
                decay=DECAY[kind])  # fmt: skip


def made(plan, seed, tuned=10.0, octave=4.0):
    """Notes of a plan on an instrument drawn at random: strings out of tune, stopped notes off by octave errors."""
    rng = np.random.default_rng(seed)
    strings, errors = rng.normal(0, tuned, 6), rng.normal(0, octave, 6)
    out = []
    for s, fret, kind in plan:
        off = strings[s - 1] + (errors[s - 1] * fret / 12 if kind == "fretted" else 0.0) + rng.normal(0, 0.4)
        out.append(note(s, fret, kind, off, stiff_noise=rng.normal(0, 0.08)))
    return out


def outcome(plan, seeds=20, **how):
    count = Counter()
    for seed in range(seeds):
        take = assign(made(plan, seed), TUNING, 22, **how)
        for one, true in zip(take.heard, plan, strict=True):
            right = (one.string, one.fret, one.kind) == true
            count["doubt" if one.doubt else "right" if right else "wrong"] += 1
    total = sum(count.values())
    return {name: count[name] / total for name in ("right", "doubt", "wrong")}


@pytest.mark.parametrize("plan", [BY_STRING, BY_KIND], ids=["string by string", "kind by kind"])
def test_usual_takes_are_told_whole(plan):
    told = outcome(plan)
    assert told["wrong"] == 0.0
    assert told["right"] > 0.97


def test_strings_that_share_pitches_are_told_apart_by_stiffness():
    frets = [(s, fret, "fretted" if fret else "open") for s in (6, 5, 4, 3, 2, 1) for fret in (0, 1, 5, 7, 12, 17)]
    told = outcome(frets, played=("open", "fretted"))
    assert told["wrong"] < 0.02
    assert told["right"] > 0.75


def test_any_order_and_repeats_are_rather_doubted_than_wrong():
    rng = np.random.default_rng(4)
    mixed = [BY_STRING[i] for i in rng.permutation(len(BY_STRING))]
    assert outcome(mixed)["wrong"] < 0.03
    twice = [one for one in BY_STRING for _ in range(2)]
    assert outcome(twice)["wrong"] < 0.02


def test_a_note_at_fret_12_without_its_like_is_left_open_and_says_so():
    for kind in ("harmonic", "fretted"):
        take = assign([note(5, 0, "open"), note(5, 12, kind)], TUNING)
        assert take.heard[0].doubt == ""
        assert take.heard[1].string == 5
        assert take.heard[1].fret == 12
        assert "string 5 held at fret 12 or its harmonic" in take.heard[1].doubt


def test_a_stopped_note_far_off_is_no_harmonic():
    take = assign([note(5, 0, "open"), note(5, 12, "fretted", 15.0)], TUNING)
    assert (take.heard[1].kind, take.heard[1].doubt) == ("fretted", "")


def test_what_was_played_decides_where_pitch_cannot():
    notes = [note(5, 0, "open"), note(5, 12, "harmonic")]
    for kind in ("harmonic", "fretted"):
        take = assign(notes, TUNING, played=("open", kind))
        assert [(one.kind, one.doubt) for one in take.heard] == [("open", ""), (kind, "")]
    assert assign(notes, TUNING, played=("fretted",)).heard[0].kind != "open"


def test_pitch_may_turn_the_usual_order():
    take = assign([note(5, 0, "open"), note(5, 12, "fretted", 14.0), note(5, 12, "harmonic", 0.1)], TUNING)
    assert [one.kind for one in take.heard] == ["open", "fretted", "harmonic"]


def test_a_harmonic_mostly_rings_longer():
    # pitch says the second is the harmonic, the usual order that the first is: the longer one decides
    notes = [note(5, 0, "open"), note(5, 12, "fretted", 3.0), note(5, 12, "harmonic")]
    assert [one.kind for one in assign(notes, TUNING).heard[1:]] == ["fretted", "harmonic"]
    for decays, kinds in (((3.0, 1.0), ["harmonic", "fretted"]), ((1.0, 3.0), ["fretted", "harmonic"])):
        pair = [replace(one, decay=decay) for one, decay in zip(notes[1:], decays, strict=True)]
        take = assign([notes[0], *pair], TUNING)
        assert [one.kind for one in take.heard[1:]] == kinds


def test_a_longer_note_far_off_in_pitch_is_left_open():
    # by its decay the first is the harmonic, but it lies 7 cents off twice the open string
    pair = [replace(note(5, 12, "fretted", 7.0), decay=3.0), replace(note(5, 12, "harmonic"), decay=1.0)]
    take = assign([note(5, 0, "open"), *pair], TUNING)
    assert all("held at fret 12 or its harmonic" in one.doubt for one in take.heard[1:])
    take = assign([note(5, 0, "open"), *[replace(one, decay=2.0) for one in pair]], TUNING)
    assert [(one.kind, one.doubt) for one in take.heard[1:]] == [("fretted", ""), ("harmonic", "")]


def test_odd_partials_of_the_open_string_decide_for_the_harmonic():
    # pitch and order say the same of both; in the second something of the open string was left
    notes = [
        note(5, 0, "open"),
        note(5, 12, "harmonic", 0.8),
        note(5, 12, "harmonic", 0.8),
        note(5, 12, "fretted", 1.6),
    ]
    plain = assign(notes, TUNING).heard
    told = assign(notes, TUNING, left=(False, None, True, None)).heard
    assert [one.left for one in told] == [False, None, True, None]
    assert [one.left for one in plain] == [None] * 4
    assert plain[2].doubt
    assert (told[2].kind, told[2].doubt) == ("harmonic", "")


def test_the_stiffness_of_the_first_partial_is_not_taken_for_mistuning():
    at = [one for one in places(note(6, 12, "harmonic"), TUNING, 22) if one and one.string == 6]
    assert at[0].off == pytest.approx(0.0, abs=1e-3)
    assert at[0].open_b == pytest.approx(STIFF[5])
    plain = replace(note(6, 12, "harmonic"), inharmonicity=None)
    at = [one for one in places(plain, TUNING, 22) if one and one.string == 6]
    # first partials: 2 f0 sqrt(1 + 4 B) over f0 sqrt(1 + B) is 2 (1 + 1.5 B), 1731 cents times it
    assert at[0].off == pytest.approx(1731.2 * 1.5 * STIFF[5], rel=0.01)


def test_beyond_sixty_cents_it_is_none_of_the_strings():
    # 59 cents below open string 6 can still be it, 61 cannot, and no other place comes near
    for off, string in ((-59.0, 6), (-61.0, None)):
        (one,) = assign([note(6, 0, "open", off)], TUNING).heard
        assert one.string == string
    assert "61 c below open string 6" in one.doubt
    assert (one.fret, one.kind) == (None, None)
    (one,) = assign([note(1, 0, "open", 2350.0)], TUNING).heard
    assert "c above open string 1" in one.doubt


def test_refused_notes_stay_out_with_their_reason_and_disturb_nothing():
    talk = Note(0.0, 0.4, refused="too short: 0.2 s")
    empty = Note(0.0, 0.4)
    notes = made(BY_STRING, 3)
    mixed = [talk, *notes[:5], talk, empty, *notes[5:]]
    take = assign(mixed, TUNING)
    assert [one.note for one in take.heard] == mixed
    assert [take.heard[i].doubt for i in (0, 6, 7)] == ["too short: 0.2 s", "too short: 0.2 s", "no pitch was found"]
    alone = assign(notes, TUNING).heard
    assert tuple(one for one in take.heard if one.string) == alone
    assert assign([], TUNING).heard == ()


def test_a_take_that_lacks_something_says_what():
    lacking = [one for one in BY_STRING if one not in ((4, 12, "harmonic"), (2, 0, "open"), (1, 0, "open"))]
    missing = assign(made(lacking, 5), TUNING).missing
    assert "No open note was heard of strings 1, 2." in missing
    assert any(one.startswith("No harmonic at fret 12 was heard of string 4") for one in missing)
    assert assign(made(BY_STRING, 5), TUNING).missing == ()


def test_chances_are_those_of_all_ways_counted_one_by_one():
    rng = np.random.default_rng(2)
    sizes = (2, 3, 1, 4)
    costs = [list(rng.uniform(0, 3, n)) for n in sizes]
    steps = [rng.uniform(0, 3, (a, b)).tolist() for a, b in pairwise(sizes)]
    weights = [np.zeros(n) for n in sizes]
    for way in np.ndindex(*sizes):
        cost = sum(costs[i][k] for i, k in enumerate(way))
        cost += sum(steps[i][way[i]][way[i + 1]] for i in range(3))
        for i, k in enumerate(way):
            weights[i][k] += math.exp(-cost)
    for found, weight in zip(shares(costs, steps), weights, strict=True):
        assert found == pytest.approx(weight / weight.sum())


@pytest.mark.slow
def test_a_thousand_notes_are_no_burden():
    take = assign(made(BY_STRING * 60, 1), TUNING)
    assert len(take.heard) == 1080
    assert sum(1 for one in take.heard if one.doubt) < 60


@pytest.mark.parametrize(
    ("tuning", "frets", "played", "part"),
    [
        ((), 22, ("open",), "a pitch for every string"),
        ((float("nan"),), 22, ("open",), "a pitch for every string"),
        ((1.0,), 22, ("open",), "10 to 5000 Hz"),
        (TUNING, 11, ("open",), "11 frets"),
        (TUNING, 37, ("open",), "37 frets"),
        (TUNING, 22, (), "nothing cannot be played"),
        (TUNING, 22, ("bowed",), "bowed cannot be played"),
    ],
)
def test_what_cannot_be(tuning, frets, played, part):
    with pytest.raises(InputError, match=part):
        assign([], tuning, frets, played)
