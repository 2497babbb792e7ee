"""The set for a feel: what is taken, what is told beside it, what is refused."""

import numpy as np
import pytest

from setwright.bench.string_feel import BASS_WOUND, FITS, GUITAR_WOUND, PLAIN, equal_feel, same_feel, shelf
from setwright.bench.strings import string_sheet
from setwright.bench.tunings import standard_tuning
from setwright.errors import InputError
from setwright.instrument.string_sets import gauge

SCALE = 0.6477
TENS = ".010 .013 .017 .026w .036w .046w"
E_TO_E = standard_tuning(6, SCALE)
LENGTH = np.full(6, SCALE)


def on(text=TENS, hertz=E_TO_E, scale=SCALE):
    return string_sheet([gauge(t) for t in text.split()], hertz, scale)


def taken(suggestion):
    return " ".join(one.take.gauge for one in suggestion.choices)


def test_the_shelf_runs_from_thin_to_thick():
    for text in (PLAIN, GUITAR_WOUND, BASS_WOUND):
        sizes = [gauge(one).diameter for one in text.split()]
        assert sizes == sorted(set(sizes))
    assert [one.wound for one in shelf(False)].count(False) == len(PLAIN.split())
    assert all(one.wound for one in shelf(True))


def test_nothing_changed_asks_for_the_same_set():
    same = same_feel(on(), E_TO_E, LENGTH)
    assert taken(same) == TENS
    assert all(one.take.off == pytest.approx(0.0, abs=1e-12) and one.fits for one in same.choices)
    assert same.sheet.change.total.value == pytest.approx(0.0, abs=1e-9)


def test_two_semitones_down():
    same = same_feel(on(), E_TO_E * 2 ** (-2 / 12), LENGTH)
    # by hand: plain ones 1.122 times as thick: .0112, .0146, .0191; wound ones near 1.12
    assert taken(same) == ".011 .015 .019 .030w .040w .052w"
    third = same.choices[2]
    assert (third.lighter.gauge, third.heavier.gauge, third.instead.gauge) == (".018", ".020", ".021w")
    assert third.instead.finger < third.take.finger
    assert third.lighter.tension.value < third.take.tension.value < third.heavier.tension.value
    assert same.choices[0].was == ".010"
    assert same.sheet.lines[3].gauge == ".030w"


def test_the_neighbours_are_further_off():
    for suggestion in (same_feel(on(), E_TO_E * 0.8, LENGTH * 1.05), equal_feel(70.0, E_TO_E, LENGTH)):
        for choice in suggestion.choices:
            for other in (choice.lighter, choice.heavier):
                assert abs(other.off) >= abs(choice.take.off)


def test_a_wound_third_stays_wound_and_plain_is_told():
    was = on(".010 .013 .018w .026w .036w .046w")
    same = same_feel(was, E_TO_E, LENGTH)
    assert same.choices[2].take.gauge == ".018w"
    assert not same.choices[2].instead.wound


def test_a_fourth_is_never_offered_plain():
    assert same_feel(on(), E_TO_E, LENGTH).choices[3].instead is None
    plain_fourth = on(".010 .013 .017 .024 .036w .046w")
    fourth = same_feel(plain_fourth, E_TO_E, LENGTH).choices[3]
    assert fourth.take.gauge == ".024"
    assert fourth.instead.wound


def test_equal_pull():
    equal = equal_feel(71.2, E_TO_E, LENGTH)
    assert taken(equal) == ".010 .0135 .017 .024w .032w .044w"
    assert all(abs(one.take.off) < FITS for one in equal.choices)
    assert equal.was is None
    assert equal.choices[0].was == ""
    assert equal.choices[0].wanted.sd == 0.0
    mean = equal_feel(None, E_TO_E, LENGTH, was=on())
    assert mean.choices[0].wanted.value == pytest.approx(on().total.value / 6)
    assert mean.feel == "equal"


def test_a_longer_scale_takes_thinner_strings():
    longer = same_feel(on(), E_TO_E, np.linspace(0.6477, 0.7112, 6))
    sizes = [gauge(one.take.gauge).diameter for one in longer.choices]
    assert sizes[0] == gauge(".010").diameter
    assert sizes[-1] < gauge(".046w").diameter


def test_a_bass_takes_bass_gauges_and_ends_with_the_shelf():
    hertz, length = standard_tuning(5, 0.864), np.full(5, 0.864)
    was = on(".045w .065w .085w .105w .130w", hertz, 0.864)
    assert taken(same_feel(was, hertz, length, bass=True)) == ".045w .065w .085w .105w .130w"
    low = same_feel(was, hertz * 2 ** (-5 / 12), length, bass=True)
    assert low.choices[4].take.gauge == ".145w"
    assert low.choices[4].heavier is None
    assert not low.choices[4].fits


def test_what_cannot_be_had_is_refused():
    with pytest.raises(InputError, match="6 strings were on and 5 pitches"):
        same_feel(on(), E_TO_E[:5], LENGTH[:5])
    with pytest.raises(InputError, match="6 strings were on and 5 pitches"):
        equal_feel(None, E_TO_E[:5], LENGTH[:5], was=on())
    with pytest.raises(InputError, match="how much"):
        equal_feel(None, E_TO_E, LENGTH)
    with pytest.raises(InputError, match="pull of 9000 N on string 1"):
        equal_feel(9000.0, E_TO_E, LENGTH)
    with pytest.raises(InputError, match="no usual gauge comes near 550 N"):
        equal_feel(550.0, np.full(3, 30.0), np.full(3, 0.5))
