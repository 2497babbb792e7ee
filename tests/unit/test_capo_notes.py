"""Notes with a capo on: against one string at a time in plain numbers, on straight and fanned boards, and as shown."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setwright.bench.notes import notes_drawing, notes_of
from setwright.bench.standing import on_the_bench
from setwright.cli.notes_table import notes_text
from setwright.errors import InputError, RangeError
from setwright.instrument.geometry import crowns, nut_contact, saddle_contact
from setwright.instrument.jobfile import read_job
from setwright.instrument.notes import CAPO_PLACE, fretted, fretted_with_capo
from setwright.physics.balance import unstretched_lengths
from setwright.physics.fretting import capo_layout, layout
from tests.judges import plain_fretting

EXAMPLES = Path(__file__).parents[2] / "examples"
NAMES = ("sanderling-lower", "wigeon-reradius", "kestrel-float")
JOBS = {name: read_job(EXAMPLES / f"{name}.job.toml") for name in NAMES}
FEW = 32


@pytest.fixture(scope="module", params=NAMES)
def standing(request):
    return on_the_bench(JOBS[request.param], samples=FEW).states[0]


def plain(one, string):
    """One string of the most likely instrument as plain numbers, centre line, neck and plate as they rest."""
    traits, settings, state, rig = one.traits, one.settings, one.state, one.rig
    half = 0.5 * float(np.broadcast_to(traits.strings.diameter, rig.axial.shape)[0, string])
    nut, saddle = nut_contact(traits, settings, state.bow), saddle_contact(traits, settings, state.tilt)
    x, y = crowns(traits, settings, state.tilt, state.bow, range(1, traits.fretboard.frets + 1))
    return plain_fretting.Held(
        float(nut[0][0, string]), float(nut[1][0, string]) + half,
        x[0, string].tolist(), (y[0, string] + half).tolist(),
        float(saddle[0][0, string]), float(saddle[1][0, string]) + half,
        float(np.broadcast_to(traits.nut.z - traits.bridge.saddle_z, rig.axial.shape)[0, string]),
        float(rig.unit_mass[0, string]), float(rig.axial[0, string]), float(rig.bending[0, string]),
        float(rig.dead[0, string]), float(unstretched_lengths(rig, state)[0, string]),
    )  # fmt: skip


def beyond(s, fret, behind):
    """The string that the capo leaves."""
    left = (s.saddle_x - s.crown_x[fret - 1]) / (s.saddle_x - s.nut_x)
    return plain_fretting.Held(
        s.crown_x[fret - 1], s.crown_y[fret - 1], s.crown_x[fret:], s.crown_y[fret:], s.saddle_x, s.saddle_y,
        s.aside * left, s.unit_mass, s.axial, s.bending, s.dead + behind, s.unstretched,
    )  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("capo", [1, 4])
def test_held_neck_and_plate_by_hand(name, capo):
    """Path by hull, tension by stretch, pitch by its formula, one string at a time: 1e-6 cents are arithmetic."""
    one = on_the_bench(JOBS[name], samples=FEW).states[0]
    shown = notes_of(JOBS[name], settling=False, samples=FEW, capo=capo).states[0]
    place = float(np.broadcast_to(one.traits.playing.finger_place, (FEW + 1,))[0])
    depth = float(np.broadcast_to(one.traits.playing.finger_depth, (FEW + 1,))[0])
    for string in (0, len(shown.cents) - 1):
        s = plain(one, string)
        pieces = plain_fretting.lengths(s, plain_fretting.polyline(s, capo, CAPO_PLACE, depth))
        whole = plain_fretting.lengths(s, [(s.nut_x, s.nut_y), (s.saddle_x, s.saddle_y)])[0]
        with_it = plain_fretting.first_partial(s, sum(pieces), pieces[-1], "pinned")
        without = plain_fretting.first_partial(s, whole, whole, "pinned")
        assert shown.capo[string].value == pytest.approx(1200.0 * math.log2(with_it / without) - 100.0 * capo, abs=1e-6)
        left = beyond(s, capo, sum(pieces[:-1]))
        for fret in (1, 5, 12):
            want = plain_fretting.cents(left, fret, place, depth)
            assert shown.cents[string][fret - 1].value == pytest.approx(want, abs=1e-6)


def test_a_capo_is_about_a_finger_on_every_string(standing):
    """All strings rise at once, so neck and plate move: within some cents of each string held alone, never the same."""
    capo = fretted_with_capo(standing.traits, standing.settings, standing.rig, standing.state, 3)
    single = fretted(standing.traits, standing.settings, standing.rig, standing.state)
    off = capo.off[0] - single.cents[0, :, 2]
    assert np.abs(off).max() < 6.0
    assert (np.abs(off) > 1e-3).all()
    assert capo.notes.cents.shape[-1] == standing.traits.fretboard.frets - 3


def test_the_capo_at_the_next_fret_is_the_first_note_beyond_one(standing):
    """Order: a note one fret beyond the capo is sharper than the capo itself made it flat; lengths follow the frets."""
    capo = fretted_with_capo(standing.traits, standing.settings, standing.rig, standing.state, 2)
    speaking = capo.notes.speaking[0]
    assert speaking[:, 0] / speaking[:, 12] == pytest.approx(np.full(len(speaking), 2.0), rel=0.02)


def test_ends_and_choking_go_with_it():
    job = JOBS["wigeon-reradius"]
    pinned = notes_of(job, samples=FEW, capo=3).states[0]
    clamped = notes_of(job, samples=FEW, capo=3, ends="clamped").states[0]
    assert clamped.capo[5].value - pinned.capo[5].value > 0.05  # the shorter string is the stiffer one
    assert all(fret > 3 for _, fret in pinned.choked)


@pytest.mark.parametrize("capo", [0, 13, 22])
def test_capos_that_are_none_are_refused(capo):
    with pytest.raises(InputError, match="allowed is 1 to 12"):
        notes_of(JOBS["wigeon-reradius"], samples=FEW, capo=capo)


def test_a_capo_on_the_last_fret_leaves_nothing():
    with pytest.raises(RangeError, match="fret of the capo"):
        capo_layout(layout(0.0, 0.0, [0.036, 0.07], [0.0, 0.0], 0.648, 0.003), 2, 0.8, 0.0)


def test_what_is_shown_counts_from_the_capo():
    job = JOBS["wigeon-reradius"]
    result = notes_of(job, samples=FEW, capo=5)
    one = result.states[0]
    assert result.capo == 5
    assert one.octave == ()
    assert len(one.capo) == 6
    assert len(one.cents[0]) == 22 - 5
    text = notes_text(result, "mm")
    assert "capo on 5" in text
    assert "OCTAVE" not in text
    assert "\n   6  " in text
    assert "\n   5  " not in text
    assert max(map(len, text.splitlines())) <= 80
    svg = notes_drawing(result, "mm")
    assert svg.count(">capo<") == 6
    assert "open, capo on 5" in svg
    assert "octave at 12" not in svg


def test_without_a_capo_nothing_is_said_of_one():
    result = notes_of(JOBS["wigeon-reradius"], samples=FEW)
    assert result.capo is None
    assert result.states[0].capo == ()
    assert "capo" not in notes_text(result, "mm")
    assert "capo" not in notes_drawing(result, "mm")


def test_a_gripping_capo_by_hand():
    """Nothing behind the crown shares: one string cut off there, as behind a locked nut; 1e-6 cents are arithmetic."""
    one = on_the_bench(JOBS["wigeon-reradius"], samples=FEW).states[0]
    shown = notes_of(JOBS["wigeon-reradius"], settling=False, samples=FEW, capo=3, grips=True)
    depth = float(np.broadcast_to(one.traits.playing.finger_depth, (FEW + 1,))[0])
    place = float(np.broadcast_to(one.traits.playing.finger_place, (FEW + 1,))[0])
    s = plain(one, 5)
    pieces = plain_fretting.lengths(s, plain_fretting.polyline(s, 3, CAPO_PLACE, depth))
    stretched = (sum(pieces) + s.dead) / s.unstretched
    left = replace(beyond(s, 3, 0.0), dead=0.0, unstretched=pieces[-1] / stretched)
    for fret in (1, 9):
        want = plain_fretting.cents(left, fret, place, depth)
        assert shown.states[0].cents[5][fret - 1].value == pytest.approx(want, abs=1e-6)
    assert shown.grips
    assert "held fast" in notes_text(shown, "mm")


def test_a_grip_goes_with_settling_too(standing):
    args = standing.traits, standing.settings, standing.rig, standing.state, 3
    loose, fast = fretted_with_capo(*args), fretted_with_capo(*args, grips=True)
    assert fast.off == pytest.approx(loose.off, abs=1e-9)
    assert (fast.notes.cents[0] > loose.notes.cents[0]).all()


def test_one_fret_alone_has_the_cents_it_has_among_all(standing):
    given = standing.traits, standing.settings, standing.rig, standing.state
    every, one = fretted(*given), fretted(*given, frets=(12,))
    assert one.cents.shape[-1] == 1
    np.testing.assert_array_equal(one.cents[..., 0], every.cents[..., 11])
