"""Properties of planning: orders of work, orders of strings, learning, shares of a band."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setwright.errors import NoPlanError
from setwright.instrument.prior import Prior, Uncertain, draw
from setwright.planning.bands import WORTH, narrowing, spread
from setwright.planning.choices import choices, shim_totals
from setwright.planning.learning import learn
from setwright.planning.moves import MOVES, Move
from setwright.planning.order import order_of_work
from setwright.planning.rounds import _lowest_peak, over
from setwright.planning.solve import to_steps
from setwright.planning.targets import Shim
from tests.examples import examples
from tests.judges.made_jobs import demo

KEYS = [m.key for m in MOVES]
FACTS = sorted({f for m in MOVES for f in (*m.gives, *m.needs)})


def kept(order: list[Move], facts: set[str]) -> None:
    now = set(facts)
    for place, move in enumerate(order):
        assert set(move.needs) <= now
        now = (now - set(move.ends)) | set(move.gives)
        assert not any(move.key in m.disturbs for m in order[place + 1 :])


@examples(400)
@given(st.sets(st.sampled_from(KEYS), min_size=1), st.sets(st.sampled_from(FACTS)))
def test_any_moves_from_any_start_are_either_ordered_or_refused_in_a_sentence(
    wanted: set[str], facts: set[str]
) -> None:
    order, why = None, ""
    try:
        order = order_of_work(sorted(wanted), facts)
    except NoPlanError as none:
        why = str(none)
    if order is None:
        assert why.startswith(("no order of work exists for: ", "nothing in the table of moves makes '"))
    else:
        kept(order, facts)
        assert wanted <= {m.key for m in order}


@examples(300)
@given(st.lists(st.sampled_from(KEYS), min_size=1, unique=True), st.sets(st.sampled_from(FACTS)), st.randoms())
def test_the_order_of_asking_does_not_matter(wanted: list[str], facts: set[str], rng) -> None:  # type: ignore[no-untyped-def]
    def answer(keys: list[str]) -> list[str] | None:
        try:
            return [m.key for m in order_of_work(keys, facts)]
        except NoPlanError:
            return None

    mixed = list(wanted)
    rng.shuffle(mixed)
    first, second = answer(wanted), answer(mixed)
    assert (first is None) == (second is None)
    if first is not None and second is not None and set(first) == set(second):
        assert first == second


@given(st.lists(st.floats(-9000.0, 400.0), min_size=16, max_size=16))
def test_the_order_of_strings_has_the_lowest_peak_of_all_orders(peak: list[float]) -> None:
    order, high = _lowest_peak(np.array(peak), 4)
    lowest = np.inf
    for way in permutations(range(4)):
        now, worst = 0, peak[0]
        for string in way:
            now |= 1 << string
            worst = max(worst, peak[now])
        lowest = min(lowest, worst)
        if list(way) == order:
            assert worst == high
    assert high == lowest


def gaussian(sd: list[float], rng: np.random.Generator) -> Prior:
    parts = tuple(
        Uncertain(f"p{i}", f"part {i}", f"neck.p{i}", None, "offset", s, "m", "typed") for i, s in enumerate(sd)
    )
    mix = rng.standard_normal((len(sd), len(sd)))
    root = np.diag(sd) @ np.linalg.qr(mix)[0]
    return Prior(parts, rng.standard_normal(len(sd)) * sd, root @ root.T)


@given(st.integers(0, 10**6), st.integers(1, 6), st.integers(1, 5))
def test_learning_from_straight_lines_is_the_kalman_update(seed: int, parts: int, rows: int) -> None:
    rng = np.random.default_rng(seed)
    known = gaussian(list(np.exp(rng.uniform(-3, 1, parts))), rng)
    slope, noise = rng.standard_normal((rows, parts)), np.exp(rng.uniform(-2, 0.5, rows))
    offset, read = rng.standard_normal(rows), rng.standard_normal(rows) * 2.0
    learnt = learn(known, lambda d: d @ slope.T + offset, read, noise)
    # information form (precisions add; JCGM 100 clause 8 of weighted means, in matrices), not the gain form
    precision = np.linalg.inv(known.covariance) + slope.T @ np.diag(noise**-2.0) @ slope
    covariance = np.linalg.inv(precision)
    mean = covariance @ (np.linalg.inv(known.covariance) @ known.mean + slope.T @ ((read - offset) / noise**2))
    size = np.sqrt(np.diag(known.covariance))
    assert (np.abs(learnt.known.mean - mean) < 1e-7 * size).all()
    assert (np.abs(learnt.known.covariance - covariance) < 1e-7 * np.outer(size, size)).all()
    before = slope @ known.mean + offset
    expected = (read - before) / np.sqrt(np.diag(slope @ known.covariance @ slope.T) + noise**2)
    assert learnt.misfit == pytest.approx(expected, rel=1e-6, abs=1e-6)
    assert np.linalg.eigvalsh(known.covariance - learnt.known.covariance).min() > -1e-9 * size.max() ** 2


@given(st.integers(0, 10**6))
def test_shares_of_a_band_are_the_shares_of_the_variance(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sd = rng.uniform(0.1, 2.0, 4)
    parts = tuple(
        Uncertain(f"p{i}", f"part {i}", f"neck.p{i}", None, "offset", s, "m", "typed") for i, s in enumerate(sd)
    )
    known = Prior(parts, np.zeros(4), np.diag(sd**2))
    slope = rng.uniform(-1.0, 1.0, 4)
    d = draw(known, 4000, rng)
    got = {n.label: n.share for n in narrowing(known, d, d @ slope, "gap")}
    exact = (slope * sd) ** 2 / ((slope * sd) ** 2).sum()
    for i, share in enumerate(exact):  # 0.05: more than four times the sampling error of a squared correlation of 4000
        told = got.get(f"part {i}", 0.0)
        assert told == pytest.approx(share, abs=0.05) or (told == 0.0 and share < WORTH + 0.05)
    assert list(got.values()) == sorted(got.values(), reverse=True)


@given(st.integers(0, 10**6), st.floats(0.01, 100.0), st.floats(-50.0, 50.0))
def test_the_half_width_holds_95_percent_whatever_the_unit(seed: int, scale: float, shift: float) -> None:
    values = np.random.default_rng(seed).standard_normal(801)
    half = spread(values)
    assert half >= 0.0
    assert spread(values * scale + shift) == pytest.approx(half * scale, rel=1e-6)
    inside = np.abs(values - np.median(values)) <= half * (1 + 1e-12)
    assert 0.945 <= inside.mean() <= 0.955


@given(st.floats(-0.02, 0.02), st.floats(-0.02, 0.02), st.floats(3e-4, 2e-3), st.sampled_from([0.25, 0.125, 0.0625]))
def test_screws_go_whole_steps_from_where_they_were(value: float, found: float, lead: float, step: float) -> None:
    place = float(to_steps(np.asarray(value), np.asarray(found), np.asarray(lead), step))
    assert abs(place - value) <= 0.5 * step * lead * (1 + 1e-9) + 1e-12
    steps = (place - found) / lead / step
    assert abs(steps - round(steps)) < 1e-6


@given(st.lists(st.tuples(st.sampled_from(["strip", "wedge", "flat"]), st.floats(0.0, 2e-3)), max_size=6))
def test_shim_totals_add_up_by_kind(rows: list[tuple[str, float]]) -> None:
    totals = shim_totals(tuple(Shim(kind, t) for kind, t in rows))  # type: ignore[arg-type]
    assert sum(totals) == pytest.approx(sum(t for _, t in rows), abs=1e-12)


def test_no_branch_uses_a_shim_twice() -> None:
    problem = demo("kestrel-float")
    for choice in choices(problem):
        for shim in set(choice.shims):
            assert choice.shims.count(shim) <= problem.shelf.shims.count(shim)


@given(st.lists(st.floats(0.0, 1000.0), min_size=1, max_size=8))
def test_a_slack_string_is_never_over_its_pitch(hertz: list[float]) -> None:
    high = over(np.array(hertz), np.full(len(hertz), 1.0e-3 + 100.0))
    assert (high[np.array(hertz) < 0.1] < -5000.0).all()
    assert np.isfinite(high).all()
