"""What was learned, as plain data: shares, thresholds, pairs, and what is not known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.bench.guided import as_found, guided
from setwright.instrument.prior import Prior, Uncertain
from setwright.planning.learned import PARTLY, TOGETHER, TOLD, UNITS, Learned, learned, together, traits_of, untaught
from setwright.planning.responses import KINDS
from tests.judges.twin import Twin


@pytest.fixture(scope="module")
def found():
    """A twin before it is touched, and once its work is done."""
    twin = Twin(3)
    first = as_found(twin.job, twin)
    return first, guided(twin.job, twin).course


def figure(told: Learned, what: str, string: int | None = None):
    return next(one for one in told.figures if (one.what, one.string) == (what, string))


def test_figures_are_named_in_their_order_with_their_units(found):
    told = learned(found[1])
    assert [one.what for one in told.figures] == [*KINDS, *["cents per turn"] * 6]
    assert [one.string for one in told.figures[len(KINDS) :]] == [1, 2, 3, 4, 5, 6]
    assert all(one.unit == UNITS[one.what] for one in told.figures)
    assert figure(told, "gap per turn").after < 0.0 < figure(told, "cents per turn", 3).after
    assert not told.closed


def test_before_any_reading_before_and_after_are_the_same(found):
    """A picture whose traits are still the prior: nothing taken, nothing told."""
    course = replace(found[0], picture=replace(untaught(found[0].picture), pressed=()))
    told = learned(course)
    for one in told.figures:
        assert one.after == pytest.approx(one.before, rel=1e-9)
        assert one.after_sd == pytest.approx(one.before_sd, rel=1e-9)
    assert {one.told for one in told.traits} == {"not told"}
    assert max(one.taken for one in told.traits) < 1e-9
    assert told.together == ()


def test_after_the_work_the_figures_are_known_better(found):
    told = learned(found[1])
    for what in ("stiffness ratio", "stiffness", "stiffness at pitch", "gap per turn", "spring force"):
        one = figure(told, what)
        assert one.after_sd < 0.7 * one.before_sd, what
    assert told.force[0] == pytest.approx(figure(told, "spring force").after, rel=0.05)  # it stands near its end
    assert 0.0 < told.force[1] < 0.1 * told.force[0]


def test_shares_are_of_the_variance(found):
    picture = found[1].picture
    traits = {one.name: one for one in traits_of(picture)}
    place = picture.model.known.index("springs.rate")
    prior, left = picture.model.known.covariance[place, place], picture.covariance[place, place]
    rate, nominal = traits["springs.rate"], float(picture.model.traits.springs.rate[0])
    assert rate.taken == pytest.approx(1.0 - left / prior)
    assert rate.before == pytest.approx(nominal)
    assert rate.before_sd == pytest.approx(nominal * np.sqrt(prior))
    assert rate.after == pytest.approx(nominal * (1.0 + picture.mean[place]))
    height = traits["saddle[2]"]
    place = picture.model.known.index("saddle[2]")
    assert height.after == pytest.approx(float(picture.model.traits.bridge.saddle_up[2]) + picture.mean[place])
    assert height.after_sd == pytest.approx(np.sqrt(picture.covariance[place, place]))


def shrunk(picture, left):
    """The picture with every trait's standard uncertainty at a share of the prior's, nothing tied."""
    count = picture.parts
    covariance = picture.covariance.copy()
    covariance[:count, :count] = picture.model.known.covariance * left**2
    return replace(picture, covariance=covariance)


@pytest.mark.parametrize(
    ("left", "told"),
    [(0.1, "told"), (TOLD, "told"), (TOLD + 0.01, "partly"), (PARTLY, "partly"), (PARTLY + 0.01, "not told")],
)
def test_the_thresholds(found, left, told):
    picture = shrunk(found[1].picture, left - 1e-12)
    assert {one.told for one in traits_of(picture)} == {told}
    assert together(picture) == ()


def tied(picture, correlation, first="springs.rate", second="springs.initial"):
    """Two traits tied after the readings, all others as before them."""
    bare = untaught(picture)
    i, j = (bare.model.known.index(name) for name in (first, second))
    covariance = bare.covariance.copy()
    covariance[i, j] = covariance[j, i] = correlation * np.sqrt(covariance[i, i] * covariance[j, j])
    return replace(bare, covariance=covariance), i, j


@pytest.mark.parametrize("correlation", [-0.95, 0.85])
def test_what_is_tied_by_the_readings_is_told_together_only(found, correlation):
    picture, i, j = tied(found[1].picture, correlation)
    (pair,) = together(picture)
    known, traits = picture.model.known, picture.model.traits
    assert (pair.first, pair.second) == (known.parts[i].label, known.parts[j].label)
    assert pair.correlation == pytest.approx(correlation)
    assert pair.amount == pytest.approx(known.parts[i].sd * traits.springs.rate[0])
    assert pair.trade == pytest.approx(correlation * known.parts[j].sd * traits.springs.initial[0])
    assert pair.units == ("N/m", "N")


def test_the_trade_is_what_drawn_instruments_show(found):
    """200 000 draws: the second of those whose first lies about one standard uncertainty up."""
    picture, i, j = tied(found[1].picture, -0.9)
    (pair,) = together(picture)
    block = picture.covariance[np.ix_([i, j], [i, j])]
    draws = np.random.default_rng(2).multivariate_normal([0.0, 0.0], block, 200_000)
    near = np.abs(draws[:, 0] / np.sqrt(block[0, 0]) - 1.0) < 0.02
    mean = float(draws[near, 1].mean()) * float(picture.model.traits.springs.initial[0])
    assert pair.trade == pytest.approx(mean, rel=0.02)


def test_of_a_field_below_zero_the_trade_keeps_its_sign(found):
    """A factor on a negative value grows downwards: more of the first is then less of its factor."""
    picture, _, _ = tied(found[1].picture, 0.9)
    springs = replace(picture.model.traits.springs, rate=-picture.model.traits.springs.rate)
    turned = replace(picture, model=replace(picture.model, traits=replace(picture.model.traits, springs=springs)))
    assert together(turned)[0].trade == pytest.approx(-together(picture)[0].trade)
    assert together(turned)[0].amount == pytest.approx(together(picture)[0].amount)


def test_what_was_tied_before_or_is_loosely_tied_is_no_news(found):
    picture, i, j = tied(found[1].picture, -0.95)
    known = replace(picture.model.known, covariance=picture.covariance[: picture.parts, : picture.parts])
    assert together(replace(picture, model=replace(picture.model, known=known))) == ()
    loose, _, _ = tied(found[1].picture, TOGETHER - 0.01)
    assert together(loose) == ()
    assert i != j


def test_the_strongest_pair_comes_first(found):
    picture, i, _ = tied(found[1].picture, -0.85)
    k, m = (picture.model.known.index(name) for name in ("neck.bending", "neck.string_line"))
    covariance = picture.covariance.copy()
    covariance[k, m] = covariance[m, k] = 0.97 * np.sqrt(covariance[k, k] * covariance[m, m])
    pairs = together(replace(picture, covariance=covariance))
    assert [pair.correlation for pair in pairs] == pytest.approx([0.97, -0.85])
    assert pairs[1].first == picture.model.known.parts[i].label


def test_how_it_is_played_and_what_is_known_exactly(found):
    """Fields of the player are left out; a trait without uncertainty stays as it was."""
    picture = found[0].picture
    known = picture.model.known
    more = (
        Uncertain("playing.pluck_force", "stroke", "playing.pluck_force", None, "offset", 0.1, "N", "typed"),
        Uncertain("bridge.mass", "mass", "bridge.mass", None, "factor", 0.0, "kg", "typed"),
    )
    count = len(known.parts)
    wider = Prior((*known.parts, *more), np.append(known.mean, [0.0, 0.0]), np.zeros((count + 2, count + 2)))
    wider.covariance[:count, :count] = known.covariance
    wider.covariance[count, count] = 0.01
    mean = np.concatenate([picture.mean[:count], [0.0, 0.0], picture.mean[count:]])
    covariance = np.diag(np.ones(len(mean)))
    covariance[: count + 2, : count + 2] = wider.covariance
    added = replace(picture, model=replace(picture.model, known=wider), mean=mean, covariance=covariance)
    traits = {one.name: one for one in traits_of(added)}
    assert "playing.pluck_force" not in traits
    assert (traits["bridge.mass"].told, traits["bridge.mass"].taken) == ("not told", 0.0)
    assert len(traits) == count + 1


def test_springs_believed_closed_leave_no_figure(found):
    course = found[0]
    springs = replace(course.picture.model.traits.springs, initial=np.full(5, 200.0))
    traits = replace(course.picture.model.traits, springs=springs)
    told = learned(replace(course, picture=replace(course.picture, model=replace(course.picture.model, traits=traits))))
    assert told.closed
    assert all(np.isnan(one.after) and np.isinf(one.after_sd) for one in told.figures)


def test_what_divides_by_a_stiffness_that_may_be_nought_is_not_known(found):
    """Twice as unsure, the stiffness brought back to pitch is no more than two of its standard uncertainties."""
    course = found[0]
    wide = replace(course.picture, covariance=course.picture.covariance * 4.0, pressed=())
    told = learned(replace(course, picture=wide))
    stiff = figure(told, "stiffness at pitch")
    assert stiff.after < 2.0 * stiff.after_sd
    assert np.isnan(figure(told, "gap per turn at pitch").after)
    assert np.isfinite(figure(told, "cents per turn", 1).after)
    wider = replace(course.picture, covariance=course.picture.covariance * 400.0, pressed=())
    told = learned(replace(course, picture=wider))
    assert np.isnan(figure(told, "gap per turn").after)
    assert all(np.isnan(figure(told, "cents per turn", i).after) for i in range(1, 7))
