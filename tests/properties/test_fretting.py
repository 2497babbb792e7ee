"""Fretting: the hull against a plain one, scaling, symmetry, order, round trips, minima."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from setwright.physics import fretting
from setwright.physics.frets import fret_position
from tests.judges import plain_fretting

UNIT_MASS = np.array([0.000395554, 0.001143243, 0.006824601])
AXIAL = np.array([10134.0, 29288.0, 31036.0])
BENDING = np.array([4.086e-5, 3.413e-4, 3.833e-4])
HERTZ = np.array([329.6, 196.0, 82.4])
STRINGS = 3
seeds = st.integers(0, 2**32 - 1)
ends_of = st.sampled_from(["pinned", "clamped", "clamped-pinned"])


UNEVEN, EVEN, USUAL = st.floats(0.0, 4e-4), st.just(0.0), st.floats(0.0, 3e-5)


@st.composite
def necks(draw, batch=1, frets=15, rough=UNEVEN):
    """Necks with relief or back-bow and frets as even as `rough` says, saddles and nuts of every usual height."""
    rng = np.random.default_rng(draw(seeds))
    scale, uneven, curve = draw(st.floats(0.55, 0.9)), draw(rough), draw(st.floats(-3e-3, 5e-3))
    x = np.tile(fret_position(scale, np.arange(1, frets + 1)), (batch, STRINGS, 1))
    y = curve * (0.5 * scale - x) ** 2 + uneven * rng.standard_normal(x.shape)
    shape = (batch, STRINGS)
    nut = y[..., 0] + rng.uniform(1e-4, 1e-3, shape)
    saddle = y[..., -1] + rng.uniform(2e-3, 7e-3, shape)
    aside = rng.uniform(-9e-3, 9e-3, shape)
    at = fretting.layout(np.zeros(shape), nut, x, y, np.full(shape, scale * 1.003), saddle, aside)
    return at, rng.uniform(0.0, 1.0, x.shape), rng.choice([0.0, 2e-4, 1e-3], x.shape)


def strings_at_pitch(at, ends="pinned"):
    return fretting.at_pitch(at, fretting.wires(UNIT_MASS, AXIAL, BENDING, 0.1), HERTZ, ends)


@given(necks(batch=2))
def test_path_is_the_plain_hull(neck):
    """1e-13 m: rounding of a metre."""
    at, place, depth = neck
    path = fretting.held_path(at, place, depth)
    for b, s in np.ndindex(path.open_length.shape):
        contacts = {n: getattr(at, n)[b, s].tolist() for n in ("nut_x", "nut_y", "saddle_x", "saddle_y", "aside")}
        crowns = {n: getattr(at, n)[b, s].tolist() for n in ("crown_x", "crown_y")}
        one = plain_fretting.Held(
            **contacts, **crowns, **dict.fromkeys(("unit_mass", "axial", "bending"), 1.0), dead=0.0, unstretched=1.0
        )
        for n in range(path.total.shape[-1]):
            corners = plain_fretting.polyline(one, n + 1, place[b, s, n], depth[b, s, n])
            pieces = plain_fretting.lengths(one, corners)
            assert abs(sum(pieces) - path.total[b, s, n]) < 1e-13
            assert abs(pieces[-1] - path.speaking[b, s, n]) < 1e-15
            ahead = max(
                range(n, len(one.crown_x)),
                key=lambda m: (one.crown_y[m] - one.saddle_y) / (one.saddle_x - one.crown_x[m]),
            )
            assert bool(path.choked[b, s, n]) == (ahead != n)
    assert_allclose(path.total, path.behind + path.speaking, rtol=1e-15)


@given(necks())
def test_no_crown_is_passed_through_and_none_costs_more(neck):
    """Between the straight line to the finger and the zigzag over every crown."""
    at, place, depth = neck
    path = fretting.held_path(at, place, depth)
    wide = np.sqrt(1.0 + (at.aside / (at.saddle_x - at.nut_x)) ** 2)[..., None]
    to_finger = np.hypot((path.finger_x - at.nut_x[..., None]) * wide, path.finger_y - at.nut_y[..., None])
    on = np.hypot((at.crown_x - path.finger_x) * wide, at.crown_y - path.finger_y)
    assert (path.behind >= to_finger + on - 1e-14).all()
    x, y = (np.concatenate([v[..., None], w], -1) for v, w in ((at.nut_x, at.crown_x), (at.nut_y, at.crown_y)))
    over = np.cumsum(np.hypot(np.diff(x) * wide, np.diff(y)), axis=-1)
    zigzag = np.concatenate([np.zeros_like(over[..., :1]), over[..., :-1]], -1)
    last = np.hypot((path.finger_x - x[..., :-1]) * wide, path.finger_y - y[..., :-1])
    assert (path.behind <= zigzag + last + on + 1e-14).all()


@given(necks(), st.floats(-0.05, 0.05), st.floats(-0.05, 0.05))
def test_only_differences_of_places_count(neck, along, up):
    """Undersides or centre lines, any origin; nut and saddle aside either way."""
    at, place, depth = neck
    there = replace(
        at,
        **{n: getattr(at, n) + along for n in ("nut_x", "crown_x", "saddle_x")},
        **{n: getattr(at, n) + up for n in ("nut_y", "crown_y", "saddle_y")},
        aside=-at.aside,
    )
    here = fretting.held_path(at, place, depth)
    moved = fretting.held_path(there, place, depth)
    assert_allclose(moved.total, here.total, rtol=1e-14)
    assert_allclose(moved.speaking, here.speaking, rtol=1e-14)


@given(necks(), st.floats(0.8, 1.25), ends_of)
def test_scaling(neck, factor, ends):
    """All lengths times s, EI times s^2: the cents stay. All stiffnesses and the mass times a factor: they stay too."""
    at, place, depth = neck
    depth = depth / 2.0
    first = strings_at_pitch(at, ends)
    base = fretting.fretted_notes(at, first, place, depth, ends).cents
    big = replace(at, **{n: factor * getattr(at, n) for n in vars(at)})
    strings = replace(
        first, bending=first.bending * factor**2, dead=0.1 * factor, unstretched=first.unstretched * factor
    )
    assert_allclose(fretting.fretted_notes(big, strings, place, factor * depth, ends).cents, base, atol=1e-8)
    strong = replace(first, **{n: factor * getattr(first, n) for n in ("axial", "bending", "unit_mass")})
    assert_allclose(fretting.fretted_notes(at, strong, place, depth, ends).cents, base, atol=1e-8)


@given(necks(rough=EVEN), ends_of)
def test_order(neck, ends):
    """Deeper finger: sharper. Saddle back: flatter, the more the higher the fret. Other strings do not matter."""
    at, _, _ = neck
    place = 0.7

    def cents(where, below):
        return fretting.fretted_notes(where, strings_at_pitch(where, ends), place, below, ends).cents

    base = cents(at, 3e-4)
    assert (cents(at, 6e-4) >= base - 1e-9).all()
    back = cents(fretting.moved(at, 1e-3), 3e-4) - base
    assert (back < 0.0).all()
    assert (np.diff(back, axis=-1) < 0.0).all()
    one = replace(at, nut_y=at.nut_y + np.array([1e-3, 0.0, 0.0]))
    assert np.array_equal(cents(one, 3e-4)[..., 1:, :], base[..., 1:, :])


@given(st.floats(0.5, 0.9), st.integers(1, 24))
def test_ideal_string(scale, fret):
    """On one line, without stiffness: equal temperament exactly."""
    x = fret_position(scale, np.arange(1, fret + 1))
    at = fretting.layout(0.0, 0.0, x, np.zeros(fret), scale, 0.0)
    strings = fretting.at_pitch(at, fretting.wires(1e-3, 2e4, 0.0, 0.0), 200.0)
    assert np.abs(fretting.fretted_notes(at, strings).cents).max() < 1e-9


@given(necks(batch=5), st.integers(1, 7))
def test_neighbours_in_the_batch_do_not_matter(neck, chunk):
    """Whole, in pieces, and one at a time: the same to the last digit but for the number of hull passes."""
    at, place, depth = neck
    strings = strings_at_pitch(at)
    whole = fretting.fretted_notes(at, strings, place, depth).cents
    for b in range(5):
        one = replace(at, **{n: getattr(at, n)[b] for n in vars(at)})
        alone = fretting.fretted_notes(one, strings_at_pitch(one), place[b], depth[b]).cents
        assert_allclose(alone, whole[b], atol=1e-9)
    before = fretting.path.CHUNK
    fretting.path.CHUNK = chunk
    try:
        assert_allclose(fretting.fretted_notes(at, strings, place, depth).cents, whole, atol=1e-9)
    finally:
        fretting.path.CHUNK = before


@given(necks(rough=USUAL), st.sampled_from(["harmonic", "open"]), ends_of)
def test_octave_round_trip(neck, against, ends):
    at, place, _ = neck
    place = np.clip(place, 0.3, 0.9)
    answer = fretting.setback_for_octave(at, strings_at_pitch(at), HERTZ, place, 2e-4, ends, against)
    left = fretting.octave_error(answer.layout, answer.strings, place, 2e-4, ends, against)
    assert np.abs(left).max() < 1e-7
    assert_allclose(fretting.open_partial(answer.layout, answer.strings, 1, ends), HERTZ[None], rtol=1e-12)


@given(necks(rough=USUAL), seeds, st.booleans())
def test_best_setback_is_a_minimum(neck, seed, nut):
    at, place, _ = neck
    place, rng = np.clip(place, 0.3, 0.9), np.random.default_rng(seed)
    weights = rng.uniform(0.1, 1.0, at.shape[-1])
    answer = fretting.best_setback(at, strings_at_pitch(at), HERTZ, weights, nut, place, 2e-4)

    def rms(saddle, fore):
        there = fretting.moved(at, saddle, fore)
        cents = fretting.fretted_notes(there, strings_at_pitch(there), place, 2e-4).cents
        return np.sqrt((weights * cents**2).sum(-1) / weights.sum())

    assert_allclose(rms(answer.saddle, answer.nut), answer.rms, rtol=1e-9)
    for way in ((1e-5, 0.0), (-1e-5, 0.0), *(((0.0, 1e-5), (0.0, -1e-5), (1e-5, 1e-5)) if nut else ())):
        assert (rms(answer.saddle + way[0], answer.nut + way[1]) >= answer.rms - 1e-9).all()
    if not nut:
        assert np.all(answer.nut == 0.0)


ERRORS = st.one_of(st.just(0.0), st.floats(0.01, 30.0), st.floats(-30.0, -0.01))


@given(ERRORS, st.floats(-2.8, -1.8), st.floats(4e-4, 1e-3), st.floats(-3e-3, 3e-3))
def test_saddle_move_round_trip(error, per_mm, lead, at):
    move = fretting.saddle_move(error, 1e3 * per_mm, lead, (-4e-3, 4e-3), at, 0.5, 50.0)
    assert_allclose(error + 1e3 * per_mm * (move.reached + move.missing), 0.0, atol=1e-9)
    assert_allclose(error + 1e3 * per_mm * move.reached, move.left, atol=1e-9)
    assert_allclose(move.turns * lead, move.move, atol=1e-15)
    assert move.enough == (abs(float(move.left)) < 1e-12)
    assert abs(at + float(move.reached)) <= 4e-3 + 1e-15
    assert float(move.band) >= 0.5 / (-1e3 * per_mm) - 1e-12
    assert str(move.way) == ("back" if error > 0.0 else "forward" if error < 0.0 else "stay")
