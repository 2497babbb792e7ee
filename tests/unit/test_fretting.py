"""Fretting: what is refused, what is marked, and how shapes go together. Values pinned here are our own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.errors import RangeError
from setwright.physics import fretting
from setwright.physics.frets import fret_position
from setwright.physics.fretting import published_model as model
from setwright.physics.strings import end_factor, first_partial, partial

SCALE, HERTZ = 0.6477, 196.0
X = fret_position(SCALE, np.arange(1, 23))


def neck(y=0.0, saddle_y=4.3e-3, frets=22):
    return fretting.layout(0.0, 0.45e-3, X[:frets], np.zeros(frets) + y, SCALE + 2e-3, saddle_y)


def string(at, ends="pinned", dead=0.1):
    return fretting.at_pitch(at, fretting.wires(1.143e-3, 29288.0, 3.413e-4, dead), HERTZ, ends)


def test_contacts_out_of_order_are_refused():
    with pytest.raises(RangeError, match="fret 1 beyond the nut"):
        fretting.layout(0.05, 0.0, X, np.zeros(22), SCALE, 4e-3)
    with pytest.raises(RangeError, match="distance of neighbouring frets"):
        fretting.layout(0.0, 0.0, X[::-1] + 0.0, np.zeros(22), SCALE, 4e-3)
    with pytest.raises(RangeError, match="saddle beyond the last fret"):
        fretting.layout(0.0, 0.0, X, np.zeros(22), 0.4, 4e-3)
    with pytest.raises(RangeError, match="at least one string and one fret"):
        fretting.layout(np.zeros(0), 0.0, X, np.zeros(22), SCALE, 4e-3)
    with pytest.raises(RangeError, match="crown y is not a number"):
        neck(y=np.nan)


def test_one_fret_will_do():
    at = fretting.layout(0.0, 0.4e-3, X[0], 0.0, SCALE, 4e-3)
    assert at.shape == (1,)
    assert fretting.fretted_notes(at, string(at)).cents.shape == (1,)


def test_fingers_that_do_not_exist_are_refused():
    at = neck()
    for place, depth, word in (
        (1.1, 0.0, "place"),
        (0.5, -1e-4, "depth"),
        (np.nan, 0.0, "place"),
        (0.5, 0.02, "depth"),
    ):
        with pytest.raises(RangeError, match=f"{word} of the finger"):
            fretting.held_path(at, place, depth)


@pytest.mark.parametrize("place", [0.0, 1.0])
def test_finger_upon_a_fret(place):
    """A segment without length: nothing divides by it, neither in the path nor in its derivatives."""
    at = neck()
    path = fretting.held_path(at, place, 0.0)
    assert np.isfinite(path.total).all()
    for value in vars(fretting.slopes(at, string(at), place, 0.0)).values():
        assert np.isfinite(value).all()
    lifted = fretting.held_path(at, 1.0, 0.0)
    assert np.allclose(lifted.finger_x, X)
    assert np.allclose(lifted.finger_y, 0.0)


def test_string_lies_on_crowns_only_where_they_stand_up():
    at = neck()
    high = np.zeros(22)
    high[4] = 3e-4
    free, over = fretting.held_path(at, 0.7, 0.0), fretting.held_path(neck(high), 0.7, 0.0)
    assert over.behind[9] > free.behind[9]
    low = np.zeros(22)
    low[4] = -3e-4
    assert fretting.held_path(neck(low), 0.7, 0.0).behind[9] == free.behind[9]


def test_a_high_fret_ahead_is_marked():
    """Fret 10 stands 0.4 mm up: it carries the string held at any fret whose line to the saddle passes lower there."""
    high = np.zeros(22)
    high[9] = 4e-4
    at = neck(high)
    passes = 4.3e-3 * (X[9] - X) / (at.saddle_x - X)
    want = [n < 9 and bool(passes[n] < 4e-4) for n in range(22)]
    assert fretting.fretted_notes(at, string(at)).choked.tolist() == want
    assert 1 <= sum(want) < 9
    assert not fretting.fretted_notes(neck(), string(neck())).choked.any()


def test_slack_and_overstretched_strings_are_refused():
    at = neck()
    with pytest.raises(RangeError, match="stretch of the open string"):
        fretting.fretted_notes(at, replace(string(at), unstretched=np.array(0.8)))
    with pytest.raises(RangeError, match="stretch of the open string is not a number"):
        fretting.fretted_notes(at, fretting.wires(1e-3, 3e4, 1e-4, 0.1))
    with pytest.raises(RangeError, match="stretch of the held string"):
        fretting.fretted_notes(neck(y=-0.3), fretting.wires(1e-3, 3e4, 1e-4, 0.0, 0.5))
    thick = fretting.wires(1.143e-3, 29288.0, 0.2, 0.1)
    with pytest.raises(RangeError, match="inharmonicity"):
        fretting.at_pitch(at, thick, HERTZ, "clamped")
    with pytest.raises(RangeError, match="'loose'"):
        fretting.fretted_notes(at, string(at), ends="loose")


def test_reference_pitch():
    """From a reference 5 cents below the open string every note reads 5 cents more; the open string is not asked."""
    at = neck()
    own = fretting.fretted_notes(at, string(at))
    other = fretting.fretted_notes(at, string(at), reference=HERTZ * 2.0 ** (-5.0 / 1200.0))
    assert np.allclose(other.cents - own.cents, 5.0, atol=1e-9)
    assert other.open_hertz == pytest.approx(HERTZ, rel=1e-12)


@pytest.mark.parametrize("ends", ["pinned", "clamped", "clamped-pinned"])
def test_pitches_are_those_of_the_strings_room(ends):
    at, strings = neck(), string(neck(), ends)
    notes = fretting.fretted_notes(at, strings, ends=ends)
    hertz = first_partial(notes.tension, notes.speaking, strings.unit_mass, strings.axial, strings.bending, ends)
    assert np.allclose(1200.0 * np.log2(hertz / HERTZ) - 100.0 * np.arange(1, 23), notes.cents, atol=1e-9)
    assert fretting.open_partial(at, strings, 1, ends) == pytest.approx(HERTZ, rel=1e-12)


def test_mixed_ends_lie_between():
    """1 + b + (1 + pi^2 / 2) b^2 at b = 0.003, printed by hand: 1.003053413."""
    b = 0.003
    stiff = (np.pi * b) ** 2
    assert np.sqrt(1.0 + stiff) * end_factor(stiff, "clamped-pinned") == pytest.approx(1.003053413, abs=2e-7)
    assert 1.0 < end_factor(stiff, "clamped-pinned") < end_factor(stiff, "clamped")


def test_locked_nut_and_clamping_saddle_make_it_sharper():
    """Less string shares the stretch."""
    at = neck()
    long = fretting.fretted_notes(at, string(at, dead=0.2), depth=3e-4).cents
    short = fretting.fretted_notes(at, string(at, dead=0.0), depth=3e-4).cents
    assert (short > long).all()


def test_strings_over_the_batch_of_one_neck():
    """The neck has no batch axis, the strings have: every combination is worked."""
    at = neck()
    axial = np.array([28000.0, 29288.0, 30000.0])
    strings = fretting.at_pitch(at, fretting.wires(1.143e-3, axial, 3.413e-4, 0.1), HERTZ)
    notes = fretting.fretted_notes(at, strings)
    assert notes.cents.shape == (3, 22)
    assert np.array_equal(notes.cents[1], fretting.fretted_notes(at, string(at)).cents)
    assert fretting.slopes(at, strings).crown_y.shape == (3, 22, 22)


def test_flexible_strings_have_a_slope_too():
    """EI = 0: the derivative is that of the pinned series."""
    at = neck()
    bare = fretting.at_pitch(at, fretting.wires(1.143e-3, 29288.0, 0.0, 0.1), HERTZ)
    step = 1e-9
    up = fretting.at_pitch(at, fretting.wires(1.143e-3, 29288.0, step, 0.1), HERTZ)
    rise = (fretting.fretted_notes(at, up).cents - fretting.fretted_notes(at, bare).cents) / step
    assert np.allclose(fretting.slopes(at, bare).bending, rise, rtol=1e-3)


def test_finger_depth_has_a_slope_only_below_the_string():
    at = neck()
    assert np.all(fretting.slopes(at, string(at), 0.7, 0.0).depth == 0.0)
    assert np.all(fretting.slopes(at, string(at), 0.7, 5e-4).depth > 0.0)


def test_octave_against_harmonic_and_open_string():
    """The harmonic is sharp of the octave by the stiffness: 600 log2((1 + 4B) / (1 + B))."""
    at, strings = neck(), string(neck())
    difference = fretting.octave_error(at, strings, against="open") - fretting.octave_error(at, strings)
    second = partial(2, 70.0, 0.65, 1.143e-3, 29288.0, 3.413e-4)
    first = partial(1, 70.0, 0.65, 1.143e-3, 29288.0, 3.413e-4)
    assert difference == pytest.approx(1200.0 * np.log2(second / (2.0 * first)), rel=0.1)
    with pytest.raises(RangeError, match="'ear'"):
        fretting.octave_error(at, strings, against="ear")


def test_searches_stop_after_their_rounds(monkeypatch):
    """Cut short, the answer is the best so far."""
    at = neck()
    whole = fretting.setback_for_octave(at, string(at), HERTZ)
    for room in ("compensation", "notes", "published_model"):
        monkeypatch.setattr(f"setwright.physics.fretting.{room}.ROUNDS", 2)
    assert fretting.setback_for_octave(at, string(at), HERTZ).saddle == pytest.approx(whole.saddle, abs=1e-6)
    assert fretting.best_setback(at, string(at), HERTZ).rms > 0.0
    clamped = string(at, "clamped")
    assert fretting.open_partial(at, clamped, 1, "clamped") == pytest.approx(HERTZ, rel=1e-6)
    assert model.best_setbacks(model.Frame(0.65, 1e-3, 4e-3), 51.0, 0.00236)[0] > 1e-3


def test_short_necks_have_no_octave():
    at = neck(frets=11)
    for ask in (fretting.octave_error, fretting.octave_sensitivity):
        with pytest.raises(RangeError, match="ends at fret 11"):
            ask(at, string(at))
    with pytest.raises(RangeError, match="ends at fret 11"):
        fretting.setback_for_octave(at, string(at), HERTZ)


def test_best_setbacks():
    at = neck()
    saddle = fretting.best_setback(at, string(at), HERTZ, depth=2e-4)
    both = fretting.best_setback(at, string(at), HERTZ, nut=True, depth=2e-4)
    assert both.nut < 0.0  # nearer to the bridge
    from_two = np.sqrt((saddle.notes.cents[1:] ** 2).mean())
    assert both.rms < from_two  # judged from fret 2
    with pytest.raises(RangeError, match="too few frets"):
        fretting.best_setback(at, string(at), HERTZ, np.zeros(22))
    with pytest.raises(RangeError, match="too few frets"):
        fretting.best_setback(at, string(at), HERTZ, np.eye(22)[11], nut=True)
    one = fretting.best_setback(at, string(at), HERTZ, np.eye(22)[11])
    same = fretting.setback_for_octave(at, string(at), HERTZ, against="open")
    assert one.saddle == pytest.approx(same.saddle, abs=1e-11)
    with pytest.raises(RangeError, match="set-back of the saddle"):
        fretting.moved(at, 0.05)


def test_saddle_move_in_words():
    """+4 cents at -2.67 cents/mm: 1.5 mm back, 1.9 turns of #6-32; the saddle has 1 mm left."""
    move = fretting.saddle_move([4.0, -1.0, 0.0], -2670.0, 0.794e-3, (-5e-3, 1e-3), 0.0, 0.5, 80.0)
    assert move.way.tolist() == ["back", "forward", "stay"]
    assert move.move == pytest.approx([1.498e-3, -0.375e-3, 0.0], abs=1e-6)
    assert move.turns == pytest.approx([1.887, -0.472, 0.0], abs=1e-3)
    assert move.band == pytest.approx([1.925e-4, 1.876e-4, 1.873e-4], abs=1e-7)
    assert move.turns_band == pytest.approx(move.band / 0.794e-3)
    assert move.enough.tolist() == [False, True, True]
    assert move.missing == pytest.approx([0.498e-3, 0.0, 0.0], abs=1e-6)
    assert move.left == pytest.approx([1.33, 0.0, 0.0], abs=1e-2)


def test_remedies():
    assert fretting.remedies(0.0) == ()
    assert "cut spring" in fretting.remedies(1e-3)
    assert {"turned saddle", "other gauge"} <= set(fretting.remedies(1e-3)) & set(fretting.remedies(-1e-3))
    assert "cut spring" not in fretting.remedies(-1e-3)
    with pytest.raises(RangeError, match="missing travel"):
        fretting.remedies(float("nan"))


def test_published_model_refuses():
    frame = model.Frame(0.65, 1e-3, 4e-3)
    with pytest.raises(RangeError, match="three or more readings"):
        model.rate_constant([0.0, 1e-3], [100.0, 101.0], 0.61, 100.0)
    with pytest.raises(RangeError, match="three or more readings"):
        model.rate_constant([1e-3] * 3, [100.0, 101.0, 102.0], 0.61, 100.0)
    with pytest.raises(RangeError, match="finger behind the fret"):
        model.errors(replace(frame, finger=0.04), 51.0, 0.00236)
    with pytest.raises(RangeError, match="number of frets"):
        model.best_setbacks(replace(frame, frets=1), 51.0, 0.00236)
    with pytest.raises(RangeError, match="'guessed'"):
        model.errors(frame, 51.0, 0.00236, stiffness="guessed")


def test_published_model_shows_what_leads_to_its_errors():
    found = model.errors(model.Frame(0.65, 1e-3, 4e-3), 51.0, 0.00236)
    assert found.speaking[11] == pytest.approx(0.325038, abs=1e-6)
    step = 2.0 ** (1.0 / 12.0) - 1.0  # their eq. q_n_approx at fret 1
    assert found.growth[0] == pytest.approx(((1.0 + step) * 1e-3 + step * 4e-3) ** 2 / (2.0 * step * 0.65**2), rel=1e-3)
    assert found.stiffness[11] == pytest.approx(2.0 * 0.00236, rel=1e-12)
