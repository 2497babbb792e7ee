"""Harmonics against notes held at fret 12, in takes drawn from what is known of real ones: spreads stated beside them.

No recording decides which is which here, so what is checked is that told chances come true: of what is told without
doubt at most one in twenty-one may be wrong, whatever habit the player has.
"""

import itertools
import math
from collections import Counter

import numpy as np
import pytest

from setwright.listening.octaves import AFTER, FIRST, HABITS, Seen, _either, _passed, _repeats, harmonics

SURE = 20.0 / 21.0
ROUND = {
    "usual": ("open", "harmonic", "held"),
    "held first": ("open", "held", "harmonic"),
}
# all from memory of guitars, no source: cents of intonation, the same note held again, harmonic against open string,
# string plucked again, and the logarithm of decays, again and held over harmonic
REAL = {"octave": (2.0, 5.0), "firm": 1.0, "pull": 0.6, "wander": 0.2, "uneven": 0.15, "shorter": (-0.3, 0.3)}
ROUGH = {"octave": (2.0, 5.0), "firm": 1.5, "pull": 1.0, "wander": 0.5, "uneven": 0.3, "shorter": (-0.3, 0.3)}

ALIKE = {**REAL, "octave": (0.0, 1.0)}


def take_of(rng, habit, world, rounds=2, again=0.15):
    """Notes of six strings and what they truly were; a peg is turned between rounds now and then."""
    seen, kinds = [], []
    for _ in range(6):
        octave, pull = rng.normal(*world["octave"]), rng.normal(0.0, world["pull"])
        shorter, rings = rng.normal(*world["shorter"]), math.exp(rng.normal(0.7, 0.3))
        peg = rng.normal(0.0, 8.0)
        notes, true = [], []
        for _ in range(rounds):
            order = ROUND.get(habit) or ROUND[str(rng.choice(list(ROUND)))]
            for kind in order:
                for _ in range(1 + int(rng.random() < again)):
                    off = peg + rng.normal(0.0, world["wander"])
                    off += pull if kind == "harmonic" else 0.0
                    off += octave + rng.normal(0.0, world["firm"]) if kind == "held" else 0.0
                    decay = rings * math.exp(rng.normal(0.0, world["uneven"]) + (shorter if kind == "held" else 0.0))
                    notes.append(Seen(kind != "open", off, 0.1, decay))
                    true.append(kind)
            peg += rng.uniform(-40.0, 40.0) if rng.random() < 0.2 else 0.0
        seen.append(notes)
        kinds.append(true)
    return seen, kinds


def outcome(habit, world, takes=25):
    count = Counter()
    rng = np.random.default_rng([19, len(habit)])
    for _ in range(takes):
        seen, kinds = take_of(rng, habit, world)
        for chances, true in zip(harmonics(seen), kinds, strict=True):
            for chance, kind in zip(chances, true, strict=True):
                if kind == "open":
                    assert chance == 0.0
                    continue
                sure = max(chance, 1.0 - chance) >= SURE
                count["doubt" if not sure else "right" if (chance > 0.5) == (kind == "harmonic") else "wrong"] += 1
    total = sum(count.values())
    return {name: count[name] / total for name in ("right", "doubt", "wrong")}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("habit", "world", "right"),
    [
        ("usual", REAL, 0.9),
        ("held first", REAL, 0.85),
        ("any", REAL, 0.7),
        ("usual", ROUGH, 0.75),
        ("held first", ROUGH, 0.65),
        ("any", ROUGH, 0.4),
        ("usual", ALIKE, 0.7),
        ("any", ALIKE, 0.2),
    ],
)
def test_told_chances_come_true(habit, world, right):
    told = outcome(habit, world)
    assert told["right"] > right
    assert told["wrong"] < (told["wrong"] + told["right"]) / 21.0


def test_a_turned_peg_is_followed():
    # after the turn all stands 50 cents lower, the harmonic as well: twice the open string as it is then
    notes = []
    for peg in (30.0, -20.0):
        notes += [Seen(False, peg, 0.1, 2.0), Seen(True, peg, 0.1, 1.9), Seen(True, peg + 6.0, 0.1, 1.5)]
    (chances,) = harmonics([notes])
    assert [chance > SURE for chance in chances] == [False, True, False, False, True, False]
    assert max(chances[2], chances[5]) < 1.0 - SURE


def test_notes_before_any_open_one_are_measured_against_the_next():
    notes = [Seen(True, 8.0, 0.1), Seen(True, 3.0, 0.1), Seen(False, 3.0, 0.1)]
    (chances,) = harmonics([notes])
    assert chances[0] < 0.5 < chances[1]


def test_without_open_notes_a_lone_one_is_left_open():
    for off in (-8.0, 0.0, 8.0):
        ((chance,),) = harmonics([[Seen(True, off, 0.1, 2.0)]])
        assert 1.0 - SURE < chance < SURE


def test_two_kinds_of_pitch_are_parted_over_rounds_where_one_round_does_not():
    def rounds(count):
        one = [Seen(False, 0.0, 0.1), Seen(True, 0.0, 0.1), Seen(True, 0.1, 0.1), Seen(True, 1.6, 0.1)]
        return harmonics([one * count])[0]

    assert min(rounds(4)[2::4]) > rounds(1)[2]


def test_the_string_s_odd_partials_speak_for_a_harmonic():
    def chance(left):
        return harmonics([[Seen(False, 0.0, 0.1), Seen(True, 1.5, 0.1, left=left)]])[0][1]

    assert chance(True) > chance(None) > chance(False)
    odds = [c / (1.0 - c) for c in (chance(True), chance(None), chance(False))]
    assert 10.0 < odds[0] / odds[1] < 20.01
    assert 1.0 < odds[1] / odds[2] < 2.0


def test_no_cue_outweighs_the_rest_without_limit():
    # a decay ten times longer cannot make a harmonic of a note 40 cents off, nor a short one hide the only match
    notes = [Seen(False, 0.0, 0.1, 2.0), Seen(True, 40.0, 0.1, 20.0), Seen(True, 0.0, 0.1, 1.0)]
    (chances,) = harmonics([notes])
    assert chances[1] < 0.1
    assert chances[2] > 0.5


def test_how_well_a_string_repeats_is_learned_from_open_notes():
    rng = np.random.default_rng(3)

    def repeats(cents, decays):
        notes = [Seen(False, rng.normal(0.0, cents), 0.1, math.exp(rng.normal(0.0, decays))) for _ in range(400)]
        return _repeats([notes])

    # the 0.7 quantile of the distance of two normal values of spread 1 is 1.466
    wander, uneven = repeats(0.4, 0.2)
    assert wander == pytest.approx(0.4 * 1.466, rel=0.15)
    assert uneven == pytest.approx(0.2 * 1.466, rel=0.15)
    assert repeats(1e-4, 1e-4) == (0.2, 0.06)
    assert repeats(30.0, 3.0)[1] == 0.4
    assert _repeats([[], [Seen(True, 0.0, 0.1)]]) == pytest.approx((0.5 / 0.954, 0.2 / 0.954))


@pytest.mark.parametrize("habit", range(len(FIRST)))
def test_sums_over_ways_are_those_counted_one_by_one(habit):
    rng = np.random.default_rng(habit)
    told = [(rng.uniform(0.1, 2.0, 1), rng.uniform(0.1, 2.0, 1)) for _ in range(4)]
    (total,), weights = [0.0], np.zeros(4)
    for way in itertools.product((0, 1), repeat=4):
        chance = FIRST[habit][way[0]] * AFTER[habit][way[-1]][2]
        chance *= math.prod(AFTER[habit][a][b] for a, b in itertools.pairwise(way))
        chance *= math.prod(float(told[i][kind][0]) for i, kind in enumerate(way))
        total += chance
        weights += chance * (1 - np.array(way))
    log, chances = _passed(told, habit)
    assert float(log[0]) == pytest.approx(math.log(total))
    assert np.concatenate(chances) == pytest.approx(weights / total)


def test_a_run_of_either_habit_is_their_mean():
    rng = np.random.default_rng(7)
    told = [(rng.uniform(0.1, 2.0, 5), rng.uniform(0.1, 2.0, 5)) for _ in range(3)]
    one, other = _passed(told, 0), _passed(told, 1)
    log, chances = _either(one, other)
    assert np.exp(log) == pytest.approx(0.5 * (np.exp(one[0]) + np.exp(other[0])))
    for mixed, a, b in zip(chances, one[1], other[1], strict=True):
        assert mixed * np.exp(log) == pytest.approx(0.5 * (a * np.exp(one[0]) + b * np.exp(other[0])))


def test_chances_of_what_follows_add_up_to_one():
    assert sum(HABITS) == pytest.approx(1.0)
    for first, after in zip(FIRST, AFTER, strict=True):
        for row in (first, *after):
            assert sum(row) == pytest.approx(1.0)
