"""What is known of the traits, and the instruments drawn from it."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest

from setwright.errors import InputError
from setwright.instrument.prior import Prior, Uncertain, draw, prior, vary
from tests.judges.usual import usual_traits

TRAITS = usual_traits()


def part(path: str, kind: Literal["factor", "offset"], sd: float, index: int | None = None) -> Uncertain:
    name = path if index is None else f"{path}[{index}]"
    return Uncertain(name, path, path, index, kind, sd, "m", "typed")


PARTS = (
    part("springs.rate", "factor", 0.15),
    part("bridge.pivot_y", "offset", 1e-4),
    part("strings.axial", "factor", 0.03, 2),
    part("nut.behind", "offset", 5e-3, 0),
    part("neck.bending", "factor", 0.3),
)


def test_parts_start_apart_and_centred() -> None:
    known = prior(PARTS)
    assert (known.mean == 0.0).all()
    assert np.diag(known.covariance) == pytest.approx(np.array([0.15, 1e-4, 0.03, 5e-3, 0.3]) ** 2)
    assert np.count_nonzero(known.covariance) == 5
    assert known.index("strings.axial[2]") == 2
    with pytest.raises(InputError, match=r"no uncertain trait is called 'springs.colour'; known: springs.rate, bridge"):
        known.index("springs.colour")


def test_draws_have_the_mean_and_covariance_asked_for() -> None:
    root = np.array([[1.0, 0.0, 0.0], [0.8, 0.5, 0.0], [-0.2, 0.3, 0.0]])  # singular on purpose
    known = Prior(PARTS[:3], np.array([1.0, -2.0, 0.5]), root @ root.T)
    got = draw(known, 40000, np.random.default_rng(1))
    assert got.shape == (40000, 3)
    assert got.mean(axis=0) == pytest.approx(known.mean, abs=0.025)  # five times 1/sqrt(40000)
    assert np.cov(got.T) == pytest.approx(known.covariance, abs=0.04)
    again = draw(known, 40000, np.random.default_rng(1))
    assert (got == again).all()


def test_deviations_go_where_they_belong() -> None:
    d = np.array([0.1, 2e-4, -0.05, 3e-3, 0.2])
    got = vary(TRAITS, prior(PARTS), d)
    assert got.springs.rate == pytest.approx(TRAITS.springs.rate * 1.1)
    assert got.bridge.pivot_y == pytest.approx(TRAITS.bridge.pivot_y + 2e-4)
    factor = np.array([1.0, 1.0, 0.95, 1.0, 1.0, 1.0])
    assert got.strings.axial == pytest.approx(TRAITS.strings.axial * factor)
    assert got.nut.behind - TRAITS.nut.behind == pytest.approx(np.array([3e-3, 0, 0, 0, 0, 0]), abs=1e-15)
    assert float(got.neck.bending) == pytest.approx(360.0)
    assert got.claw is TRAITS.claw
    assert (TRAITS.springs.rate == usual_traits().springs.rate).all(), "the nominal instrument is left alone"


def test_a_batch_of_deviations_gives_a_batch_of_instruments() -> None:
    d = np.random.default_rng(2).standard_normal((7, 5)) * np.array([0.15, 1e-4, 0.03, 5e-3, 0.3])
    many = vary(TRAITS, prior(PARTS), d)
    assert many.springs.rate.shape == (7, 5)
    assert many.neck.bending.shape == (7,)
    for i in range(7):
        one = vary(TRAITS, prior(PARTS), d[i])
        assert (many.springs.rate[i] == one.springs.rate).all()
        assert (many.strings.axial[i] == one.strings.axial).all()
        assert (many.nut.behind[i] == one.nut.behind).all()
        assert many.neck.bending[i] == one.neck.bending


def test_two_parts_of_one_field_add_up() -> None:
    both = prior((part("strings.axial", "factor", 0.03, 2), part("strings.axial", "factor", 0.03, 4)))
    got = vary(TRAITS, both, np.array([[0.1, 0.2], [0.0, -0.1]]))
    assert got.strings.axial[0] / TRAITS.strings.axial == pytest.approx([1, 1, 1.1, 1, 1.2, 1])
    assert got.strings.axial[1] / TRAITS.strings.axial == pytest.approx([1, 1, 1, 1, 0.9, 1])


def test_another_set_has_deviations_of_its_own() -> None:
    both = prior((part("strings.axial", "factor", 0.03, 2), part("wanted.axial", "factor", 0.03, 2)))
    d = np.array([0.1, -0.2])
    assert vary(TRAITS, both, d).strings.axial[2] == pytest.approx(1.1 * TRAITS.strings.axial[2])
    assert vary(TRAITS, both, d, wanted=True).strings.axial[2] == pytest.approx(0.8 * TRAITS.strings.axial[2])
    same = prior((part("strings.axial", "factor", 0.03, 2),))
    for wanted in (False, True):  # no other set: the strings that are on stay on
        got = vary(TRAITS, same, np.array([0.1]), wanted=wanted)
        assert got.strings.axial[2] == pytest.approx(1.1 * TRAITS.strings.axial[2])


def test_a_part_may_be_renamed_without_moving() -> None:
    known = prior(PARTS)
    renamed = replace(known, parts=tuple(replace(p, name=f"x.{p.name}") for p in known.parts))
    assert renamed.index("x.springs.rate") == 0
