"""What was learned at one visit goes into the next: unchanged at once, fading with the years, never sharper.

Expected values are worked out here from the Gaussian itself, or from the truth a belief was made of.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setwright.instrument.assemble import assemble
from setwright.instrument.carried import FADING, Belief, believed, carried, nominal_of, still_holds
from setwright.instrument.jobfile import read_job
from setwright.instrument.prior import vary
from tests.examples import examples

JOB = read_job("examples/kestrel-float.job.toml")
READY = assemble(JOB.instrument, JOB.found.strings)
TRAITS, KNOWN = READY.traits, READY.prior
CARRIED = [i for i, part in enumerate(KNOWN.parts) if part.path in FADING]
SD = np.array([part.sd for part in KNOWN.parts])


def learned_of(seed: int):
    """Something learned of every trait: a mean off by a standard uncertainty or so, a narrower Gaussian about it."""
    chance = np.random.default_rng(seed)
    slopes = chance.standard_normal((4, len(SD))) / SD
    covariance = np.linalg.inv(np.diag(SD**-2.0) + slopes.T @ slopes)
    return replace(KNOWN, mean=SD * chance.uniform(-1.0, 1.0, len(SD)), covariance=covariance)


def test_springs_levers_and_neck_are_carried_and_nothing_that_is_set_or_changed():
    names = {KNOWN.parts[i].path for i in CARRIED}
    assert {"springs.rate", "springs.initial", "neck.bending", "bridge.rear_aft"} <= names
    assert not {name for name in names if name.startswith(("strings.", "claw.", "playing."))}
    assert not names & {"bridge.saddle_up", "bridge.pivot_y", "neck.free_bow"}


def test_at_once_the_next_visit_believes_what_the_last_one_did():
    learned = learned_of(1)
    belief = believed(TRAITS, KNOWN, TRAITS, learned, 3)
    traits, known = carried(belief, 0.0, TRAITS, KNOWN, 3)
    true = vary(TRAITS, learned, learned.mean)
    for i in CARRIED:
        part = KNOWN.parts[i]
        assert nominal_of(traits, part) == pytest.approx(nominal_of(true, part), rel=1e-12)
        scale = nominal_of(TRAITS, part) if part.kind == "factor" else 1.0
        now = nominal_of(traits, part) if part.kind == "factor" else 1.0
        in_si = abs(scale) * np.sqrt(learned.covariance[i, i])
        assert abs(now) * np.sqrt(known.covariance[i, i]) == pytest.approx(in_si, rel=1e-9)
    assert np.all(known.mean == 0.0)
    others = [i for i in range(len(SD)) if i not in CARRIED]
    np.testing.assert_array_equal(known.covariance[np.ix_(others, others)], KNOWN.covariance[np.ix_(others, others)])
    assert np.all(known.covariance[np.ix_(others, CARRIED)] == 0.0)


def test_a_nominal_instrument_that_moved_while_learning_is_counted_from_the_first():
    learned = learned_of(2)
    shift = replace(learned, mean=0.3 * SD)
    moved = vary(TRAITS, KNOWN, shift.mean)
    belief = believed(TRAITS, KNOWN, moved, learned, 3)
    true = vary(moved, learned, learned.mean)
    traits, _ = carried(belief, 0.0, TRAITS, KNOWN, 3)
    for i in CARRIED:
        part = KNOWN.parts[i]
        assert nominal_of(traits, part) == pytest.approx(nominal_of(true, part), rel=1e-12)


def test_after_a_hundred_lives_everything_is_as_before_any_reading():
    belief = believed(TRAITS, KNOWN, TRAITS, learned_of(3), 3)
    traits, known = carried(belief, 100.0 * max(FADING.values()), TRAITS, KNOWN, 3)
    np.testing.assert_allclose(known.covariance, KNOWN.covariance, rtol=1e-12, atol=1e-30)
    for part in KNOWN.parts:
        assert nominal_of(traits, part) == pytest.approx(nominal_of(TRAITS, part), rel=1e-12)


@examples(30)
@given(seed=st.integers(0, 10_000), years=st.floats(0.0, 60.0), more=st.floats(0.01, 20.0))
def test_what_is_carried_is_a_covariance_that_only_widens(seed, years, more):
    learned = learned_of(seed)
    learned = replace(learned, mean=np.zeros(len(SD)))  # so that both are counted from the same instrument
    belief = believed(TRAITS, KNOWN, TRAITS, learned, 3)
    early, late = (carried(belief, one, TRAITS, KNOWN, 3)[1].covariance for one in (years, years + more))
    scaled = early / np.outer(SD, SD)
    np.testing.assert_allclose(scaled, scaled.T, atol=1e-12)
    assert np.linalg.eigvalsh(scaled).min() > 0.0
    assert np.all(np.diag(late) >= np.diag(early) * (1.0 - 1e-9))
    assert np.all(np.diag(late) <= np.diag(KNOWN.covariance) * (1.0 + 1e-9))


def test_other_springs_are_other_springs():
    belief = believed(TRAITS, KNOWN, TRAITS, learned_of(4), 3)
    names = {KNOWN.parts[j].path.split(".")[0] for _, j in still_holds(belief, TRAITS, KNOWN, 4)}
    assert "springs" not in names
    assert "neck" in names


def test_what_is_written_otherwise_now_goes_before_what_was_learned():
    belief = believed(TRAITS, KNOWN, TRAITS, learned_of(5), 3)
    springs = replace(TRAITS.springs, rate=TRAITS.springs.rate * 1.01)
    held = {KNOWN.parts[j].name for _, j in still_holds(belief, replace(TRAITS, springs=springs), KNOWN, 3)}
    assert "springs.rate" not in held
    assert "springs.initial" in held
    sharper = replace(
        KNOWN, parts=tuple(replace(one, sd=one.sd / 2) if one.path == "neck.bending" else one for one in KNOWN.parts)
    )
    held = {KNOWN.parts[j].name for _, j in still_holds(belief, TRAITS, sharper, 3)}
    assert "neck.bending" not in held


def test_where_nothing_can_be_carried_nothing_changes():
    nothing = Belief(3, (), (), ())
    assert carried(nothing, 1.0, TRAITS, KNOWN, 3) == (TRAITS, KNOWN)
    strings = replace(KNOWN, parts=KNOWN.parts[:1], mean=KNOWN.mean[:1], covariance=KNOWN.covariance[:1, :1])
    assert strings.parts[0].path.startswith("strings.")
    assert believed(TRAITS, strings, TRAITS, strings, 3) is None
