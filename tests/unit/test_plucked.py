"""Places of pluck and pickup found again from the heights of partials, and the slopes a pluck makes."""

from __future__ import annotations

import numpy as np
import pytest

from setwright.listening.plucked import heights, places, slopes

NUMBERS = np.arange(1.0, 21.0)
SURE = np.full(20, 1e-3)


def triangle(place, count=20):
    """Heights of a string pulled aside at a place, by numbers: the sine series of a triangle, 2 times its integral."""
    x = np.linspace(0.0, 1.0, 200001)
    shape = np.where(x < place, x / place, (1.0 - x) / (1.0 - place))
    return np.array([2.0 * np.trapezoid(shape * np.sin(n * np.pi * x), x) for n in range(1, count + 1)])


@pytest.mark.parametrize(("place", "ear"), [(0.13, 0.21), (0.37, 0.06), (0.2, 0.45)])
def test_places_are_found_again(place, ear):
    """A pickup over x hears velocity, n a_n sin(n pi x). Which of the two is which cannot be heard."""
    heard = np.abs(NUMBERS * triangle(place) * np.sin(NUMBERS * np.pi * ear))
    best = places(NUMBERS, 0.3 * heard, SURE)[0]
    assert sorted((best.plucked, best.heard)) == pytest.approx(sorted((place, ear)), abs=1e-3)
    assert best.misfit < 1e-3


def test_a_wide_pick_is_found_again():
    heard = heights(NUMBERS, 0.17, 0.1, 0.015) / NUMBERS
    best = places(NUMBERS, heard, SURE)[0]
    assert best.width == pytest.approx(0.015, rel=0.01)
    assert sorted((best.plucked, best.heard)) == pytest.approx([0.1, 0.17], abs=1e-4)


def test_heights_of_no_pluck_are_known_by_their_misfit():
    some = np.random.default_rng(1).uniform(0.1, 1.0, 20) / NUMBERS
    assert places(NUMBERS, some, SURE)[0].misfit > 0.1


def test_the_best_come_first_and_none_twice():
    found = places(NUMBERS, heights(NUMBERS, 0.17, 0.1, 0.0) / NUMBERS, SURE, 4)
    assert [one.misfit for one in found] == sorted(one.misfit for one in found)
    pairs = [tuple(sorted((round(one.plucked, 2), round(one.heard, 2)))) for one in found]
    assert len(set(pairs)) == len(pairs)


def test_slopes_of_a_triangle():
    """Mean square slope of partial n is (n pi a_n)^2 / 2: shares are as the squares of n a_n."""
    want = (NUMBERS * triangle(0.23)) ** 2
    got = slopes(NUMBERS, 0.23, 0.0)
    assert got / got[0] == pytest.approx(want / want[0], abs=1e-6)
    narrower = slopes(NUMBERS, 0.23, 0.01) / got
    assert np.all(np.diff(narrower) < 0.0)
