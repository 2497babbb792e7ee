"""Readings and claw turns that fit nothing else are named and set aside; good ones never are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.instrument.geometry import tilt_limits
from setwright.planning import explaining, tracking
from setwright.planning.course import pitch_heard
from setwright.planning.explaining import explained, read
from setwright.planning.scenes import Seen
from setwright.planning.tracking import Picture, begin
from tests.judges.twin import Twin

SEED = 5  # its strings are at pitch as found
OUT = 1.5  # turns, after which it floats


def heard(twin):
    return [pitch_heard(twin.job.goal, i, twin.pitch(i + 1), twin.job.pitch_sd, entry=i + 1) for i in range(6)]


def gauged(twin):
    gaps = [Seen("rear gap", twin.gap(), twin.job.gap_sd, entry=7) for _ in range(3)]
    return gaps + [Seen("claw", twin.claw_distance(), twin.job.claw_sd, entry=8) for _ in range(3)]


def found(twin) -> Picture:
    """As found: decked, heard and gauged."""
    noted = replace(twin.job.settings, claw=np.full(2, float(twin.settings.claw.mean())))
    low = float(tilt_limits(twin.job.traits, noted)[0])
    hertz = np.array([twin.pitch(i + 1) for i in range(6)])
    picture = begin(twin.job.traits, twin.known, noted, hertz, twin.job.knife, low)
    return read(picture, tuple(heard(twin) + gauged(twin))).picture


def floating(spoil=lambda seen: seen, counted=-OUT) -> tuple[Picture, Twin]:
    """The claw is let out; its readings are spoilt on the way into the book."""
    twin = Twin(SEED)
    before = found(twin)
    twin.claw(-OUT)
    seen = spoil(heard(twin) + gauged(twin))
    return read(tracking.turned(before, counted), tuple(seen)).picture, twin


def changed(place, by):
    """Spoils one reading: `by` is added in metres, or multiplied where it is a pitch."""

    def spoil(seen):
        one = seen[place]
        value = one.value * by if one.kind == "pitch" else one.value + by
        return [*seen[:place], replace(one, value=value), *seen[place + 1 :]]

    return spoil


@pytest.fixture(scope="module")
def clean() -> Picture:
    return floating()[0]


def near(one: Picture, other: Picture) -> float:
    """Greatest difference of beliefs of traits in standard uncertainties."""
    count = one.parts
    sd = np.sqrt(np.diag(one.covariance)[:count])
    return float(np.abs((one.mean[:count] - other.mean[:count]) / sd).max())


def test_good_readings_are_all_believed(clean):
    assert clean.doubts == ()


@pytest.mark.parametrize("by", [1.5e-3, -1.2e-3])
def test_a_misread_gap_is_named_and_set_aside(clean, by):
    picture, twin = floating(changed(7, by))
    (doubt,) = picture.doubts
    assert (doubt.kind, doubt.scene, doubt.entry) == ("rear gap", 1, 7)
    assert doubt.fits == pytest.approx(twin.gap_now(), abs=3e-4)
    assert doubt.times > explaining.BEYOND_BELIEF
    assert near(clean, picture) < 0.5


def test_a_misread_claw_is_named(clean):
    picture, twin = floating(changed(10, 4e-3))
    (doubt,) = picture.doubts
    assert (doubt.kind, doubt.entry) == ("claw", 8)
    assert doubt.fits == pytest.approx(float(twin.settings.claw.mean()), abs=6e-4)
    assert near(clean, picture) < 0.5


@pytest.mark.parametrize("cents", [700.0, -400.0])
def test_a_wrong_note_is_named_with_its_string(cents):
    picture, twin = floating(changed(3, 2.0 ** (cents / 1200.0)))
    (doubt,) = picture.doubts
    assert (doubt.kind, doubt.string, doubt.entry) == ("pitch", 3, 4)
    assert abs(1200 * np.log2(doubt.fits / twin.hertz[3])) < abs(cents) / 4


def test_a_turn_the_other_way_is_named_as_a_turn():
    """1.5 turns out, written down as 1.5 in: 3 turns between what was counted and what fits."""
    picture, _ = floating(counted=OUT)
    (doubt,) = picture.doubts
    assert (doubt.kind, doubt.scene) == ("turn", 1)
    assert abs(doubt.value) == pytest.approx(2.0 * OUT, abs=0.3)


def test_not_more_is_set_aside_at_once_than_allowed():
    def spoil(seen):
        for place, by in ((6, 2e-3), (7, -2e-3), (8, 1.8e-3)):
            seen = changed(place, by)(seen)
        return seen

    picture, _ = floating(spoil)
    assert 1 <= len(picture.doubts) <= explaining.MOST_DOUBTS


def test_of_nothing_at_hand_nothing_is_doubted(clean):
    """A scene without readings: its balance is no reading."""
    bare = replace(clean, scenes=tuple(replace(s, seen=()) for s in clean.scenes), lines=(None, None), answer=None)
    assert explained(bare).doubt is None


def test_a_step_cut_short_forms_derivatives_anew(clean, monkeypatch):
    """Where only small shares of a step are tried the search still ends, at a place no worse than where it began."""
    monkeypatch.setattr(explaining, "SHARES", np.array([0.09, 0.0]))
    again = explained(replace(clean, answer=None, lines=(None, None)))
    assert np.all(np.isfinite(again.picture.mean))


def test_the_rounds_end_in_any_case(clean, monkeypatch):
    monkeypatch.setattr(explaining, "ROUNDS", 1)
    again = explained(replace(clean, answer=None, lines=(None, None)))
    assert np.all(np.isfinite(again.picture.mean))
