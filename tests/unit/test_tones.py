"""One tone or two in each partial: derivatives by differences, parameters found again, limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.listening import tones
from setwright.listening.fitting import cost_of, in_order, normal, pulled_by, slopes, solve
from setwright.listening.tones import NAMES, Parts, Problem, State, log_model, model, pulled, there

TIMES = np.arange(1, 121) * 0.015
NUMBERS = np.arange(1.0, 6.0)
HERTZ = 110.0 * NUMBERS * np.sqrt(1.0 + 2e-4 * NUMBERS**2)
FALL = 0.8 + 0.3 * NUMBERS
SHARE = np.array([0.6, 0.2, 0.1, 0.06, 0.04])
CENT = np.log(2.0) / 1200.0


def parts(size):
    """Two parts: the first partial's, and the others' together, with the shares given."""
    course = (1.0 - np.exp(-2.0 * FALL[:, None] * TIMES)) / (2.0 * FALL[:, None])
    rest = (SHARE[1:, None] * course[1:]).sum(axis=0) / 0.4
    own = np.append(course[:1], SHARE[1:, None] / 0.4 * course[1:], axis=0)
    member = np.array([0, 1, 1, 1, 1])
    left = np.exp(-2.0 * FALL[:2] * TIMES[-1])
    return Parts(np.array([course[0], rest]), own, member, size * np.array([0.6, 0.4]), 0.3, left)


def problem(kind="one", size=2e-3, noise=1e-8):
    bands = np.ones((5, len(TIMES)), dtype=complex)
    given = (np.full(5, noise), np.full(5, 1e-5), parts(size), 0.03, kind)
    follows = (1.0 + 2e-4) / (1.0 + 2e-4 * NUMBERS**2)
    return Problem(TIMES, bands, NUMBERS, HERTZ, follows, *given)


def true_state(kind, size=2e-3, split=1.5):
    two = {"share": -0.7, "turn": 0.02, "loss": 0.4, "split": split * CENT, "early": 0.002, "place": 0.15}
    shared = np.concatenate([size * np.array([0.6, 0.4]), [0.3], [two[name] for name in NAMES[kind]]])
    local = np.stack([-0.5 * NUMBERS + 1j * NUMBERS, -FALL + 0.05j * NUMBERS], axis=1)
    return State(local, shared)


def by_hand(kind, state, split, size):
    """H10 written out partial by partial, the glide as a fine sum."""
    fine = np.linspace(0.0, TIMES[-1], 20001)
    out = []
    for i, n in enumerate(NUMBERS):
        rise = size * sum(w * np.exp(-2.0 * d * fine) for w, d in zip(SHARE, FALL, strict=True))
        common = np.interp(TIMES, fine, np.append(0.0, np.cumsum(0.5 * (rise[1:] + rise[:-1]) * np.diff(fine))))
        rise = rise + state.shared[2] * size * SHARE[i] * np.exp(-2.0 * FALL[i] * fine)
        lead = np.interp(TIMES, fine, np.append(0.0, np.cumsum(0.5 * (rise[1:] + rise[:-1]) * np.diff(fine))))
        follow = (1.0 + 2e-4) / (1.0 + 2e-4 * n**2)
        one = state.local[i, 0] + state.local[i, 1] * (TIMES - TIMES.mean())
        one = np.exp(one + 2j * np.pi * HERTZ[i] * follow * lead)
        if kind != "one":
            at = (np.sin(n * np.pi * 0.15) / (n * np.sin(np.pi * 0.15))) ** 2 if kind == "pulled" else 1.0
            late = TIMES + 0.03 + 0.002 + common
            second = np.exp(-0.7 + 0.02j - 0.4 * late + 2j * np.pi * HERTZ[i] * at * split * CENT * late)
            one = one * (1.0 + second)
        out.append(one)
    return np.array(out)


@pytest.mark.parametrize("kind", NAMES)
def test_the_model_is_what_its_equation_says(kind):
    state = true_state(kind)
    assert model(problem(kind), state) == pytest.approx(by_hand(kind, state, 1.5, 2e-3), rel=1e-6, abs=1e-9)


def every(one, state):
    """(P, N, J) derivatives, those of every part of the glide put together."""
    by, parts = slopes(one, state, there(one, state)), one.parts
    glide = by.lead * parts.shapes[:, None]
    glide[parts.member, np.arange(len(NUMBERS))] += 1j * by.own
    two = [size[:, None] * by.some * by.late**timed for size, timed in zip(by.size, by.timed, strict=True)]
    return np.array([*glide, 1j * by.mine, *two])


@pytest.mark.parametrize("kind", NAMES)
def test_slopes_against_differences(kind):
    one, state = problem(kind), true_state(kind)
    got = every(one, state)
    for i in range(len(state.shared)):
        step = np.zeros(len(state.shared))
        step[i] = 1e-6 if i < 2 or i == 6 else 1e-5
        ahead, behind = (log_model(one, State(state.local, state.shared + sign * step)) for sign in (1.0, -1.0))
        want = (ahead - behind) / (2.0 * step[i])
        assert np.abs(got[i] - want).max() < 1e-4 * np.abs(want).max()


@pytest.mark.parametrize("kind", NAMES)
def test_normal_equations_are_sums_over_all_derivatives(kind):
    """Those of one long matrix of derivatives, every partial's own beside the common ones."""
    state = true_state(kind)
    drawn = np.random.default_rng(5).standard_normal((2, len(NUMBERS), len(TIMES)))
    one = replace(problem(kind), bands=model(problem(kind), state) * (1.0 + 0.1 * drawn[0] + 0.2j * drawn[1]))
    got, since = normal(one, state), TIMES - TIMES.mean()
    weight = 1.0 / (1e-8 / np.abs(model(one, state)) ** 2 + 1e-10)
    common = every(one, state)
    want = (weight * common[:, None] * common.conj()).real.sum(axis=(2, 3))
    assert np.abs(got.shared - want).max() < 1e-9 * np.abs(want).max()
    assert np.abs((got.shared - want) / np.sqrt(np.outer(np.diag(want), np.diag(want)))).max() < 1e-9
    off = weight * (0.1 * drawn[0] + 0.2j * drawn[1])
    assert got.pulls == pytest.approx(off, rel=1e-9)
    assert got.pull_shared == pytest.approx((common.conj() * off).real.sum(axis=(1, 2)), rel=1e-9)
    late = pulled_by(one, slopes(one, state, there(one, state)), off, 40, 90)
    assert late == pytest.approx((common.conj() * off)[:, :, 40:90].real.sum(axis=(1, 2)), rel=1e-9)
    mine = np.array([1.0 + 0.0 * since, since, 1j + 0.0 * since, 1j * since])
    tie = (weight * common[:, None] * mine.conj()[:, None]).real.sum(axis=3).transpose(0, 2, 1)
    assert in_order(got.tie) == pytest.approx(tie, rel=1e-9, abs=1e-9 * np.abs(tie).max())


@pytest.mark.parametrize("kind", ["alike", "pulled"])
@pytest.mark.parametrize("split", [-1.5, 2.0])
def test_two_tones_are_found_again(kind, split):
    """From a third of a cent beside, noise 80 dB down: the distance within a hundredth of a cent."""
    state = true_state(kind, split=split)
    clean = by_hand(kind, state, split, 2e-3)
    drawn = np.random.default_rng(2).standard_normal((2, *clean.shape))
    one = replace(problem(kind), bands=clean + 1e-5 * (drawn[0] + 1j * drawn[1]), noise=np.full(5, 1e-10))
    shared = state.shared.copy()
    shared[3:7] += [0.2, 0.0, -0.3, 0.3 * CENT]
    got, cost = solve(one, State(state.local + 0.02, shared), rounds=40)
    assert got.shared[6] / CENT == pytest.approx(split, abs=0.01)
    assert np.abs((got.local[:, 1] - state.local[:, 1]).imag).max() / (2.0 * np.pi) < 0.002
    assert cost < cost_of(one, State(state.local, shared))


def test_a_magnet_pulls_by_the_square_of_the_mode_over_that_of_its_number():
    share, slope = pulled(NUMBERS, 0.2)
    assert share[0] == pytest.approx(1.0)
    assert share[4] == pytest.approx(0.0, abs=1e-20)  # a node
    ahead, behind = (pulled(NUMBERS, 0.2 + step)[0] for step in (1e-6, -1e-6))
    assert slope == pytest.approx((ahead - behind) / 2e-6, abs=1e-6)


def test_what_can_be_known_before_holds():
    """A string made to answer itself more than any can, its tones farther apart than any are."""
    state = true_state("alike", size=1e-2)
    beyond = State(state.local, state.shared.copy())
    beyond.shared[2] = 1.5
    one = replace(problem("alike", 1e-2), bands=by_hand("alike", beyond, 12.0, 1e-2))
    got, _ = solve(one, state, rounds=30)
    assert tones.OWN_RANGE[0] <= got.shared[2] <= tones.OWN_RANGE[1]
    assert tones.RANGE["split"][0] <= got.shared[6] <= tones.RANGE["split"][1]
    assert got.shared[2] > 0.5
