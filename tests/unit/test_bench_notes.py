"""The cents map: against the model underneath, by hand, and by what the trade knows."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setwright.bench.notes import Octave, notes_drawing, notes_of, octave_words, remedy_words
from setwright.bench.standing import Banded, on_the_bench
from setwright.errors import ContradictionError, InputError, NoPlanError
from setwright.instrument.jobfile import read_job
from setwright.instrument.notes import fretted
from setwright.instrument.predict import tune_at

EXAMPLES = Path(__file__).parents[2] / "examples"
WIGEON = read_job(EXAMPLES / "wigeon-reradius.job.toml")
UNREAD = replace(WIGEON, found=replace(WIGEON.found, octave=None))
KESTREL = read_job(EXAMPLES / "kestrel-float.job.toml")
PLOVER = read_job(EXAMPLES / "plover-dive.job.toml")
KNOT = read_job(EXAMPLES / "knot-too-weak.job.toml")
FEW = 40


def written(octave):
    """The job with octave errors as read [cents]."""
    amounts = WIGEON.found.octave
    assert amounts is not None
    return replace(
        WIGEON,
        found=replace(
            WIGEON.found,
            octave=tuple(replace(one, si=value) for one, value in zip(amounts, octave, strict=True)),
        ),
    )


def half(state, fret=12):
    return np.array([row[fret - 1].half_width for row in state.cents])


def values(state, fret=12):
    return np.array([row[fret - 1].value for row in state.cents])


def test_the_octave_errors_are_those_that_were_read():
    read = [3.0, 2.0, -5.0, 6.0, 0.0, 10.0]
    state = notes_of(written(read), samples=FEW).states[0]
    assert [one.error.value for one in state.octave] == pytest.approx(read, abs=0.01)
    assert values(state) == pytest.approx(read, abs=0.01)
    assert [one.way for one in state.octave] == ["back", "back", "forward", "back", "stay", "back"]


def test_reading_the_octave_errors_narrows_the_bands():
    read, unread = notes_of(WIGEON, samples=FEW), notes_of(UNREAD, samples=FEW)
    assert (read.saddles_known, unread.saddles_known) == ("octave", "pattern")
    assert (half(read.states[0]) < 0.5 * half(unread.states[0])).all()
    assert any("read the octave errors" in text for text in unread.remarks)
    assert not any("read the octave errors" in text for text in read.remarks)


def test_the_saddle_answers_as_the_trade_says():
    # -1200 / (ln 2 L): -2.67 cents per mm at 648 mm (derived by hand); bending stiffness makes it a little more
    for one in notes_of(WIGEON, samples=FEW).states[0].octave:
        assert -1e-3 * one.per_metre == pytest.approx(1200.0 / math.log(2.0) / 648.0, rel=0.04)
        assert one.turns.value == pytest.approx(one.move.value / 0.5e-3, rel=1e-9)  # half a millimetre per turn


@pytest.mark.parametrize("job", [WIGEON, UNREAD], ids=["octaves read", "not read"])
def test_a_saddle_moved_as_told_takes_the_octave_error_away(job):
    one = on_the_bench(job, samples=FEW).states[0]
    told = notes_of(job, samples=FEW).states[0].octave
    back = np.array([octave.move.value for octave in told])
    settings = replace(one.settings, saddle_back=one.settings.saddle_back + back)
    tuned = tune_at(one.traits, settings, one.hertz, one.state.tilt)
    left = fretted(one.traits, settings, tuned.rig, tuned.state).cents[0, :, 11]
    assert np.abs(left).max() < 0.05


def test_a_travel_that_ends_first_is_told_with_what_to_try():
    state = notes_of(written([0.0, 30.0, -30.0, 0.0, 0.0, 0.0]), samples=FEW).states[0]
    back, forward = state.octave[1], state.octave[2]
    # 30 c need about 11 mm, the screws of this bridge allow 8 mm back and 6 mm forward
    assert not back.enough
    assert back.reached == pytest.approx(8e-3)
    assert back.move.value == pytest.approx(30.0 / 2.69e3, rel=0.06)
    assert back.missing == pytest.approx(back.move.value - 8e-3, rel=1e-6)
    assert back.left == pytest.approx(2.7e3 * back.missing, rel=0.06)
    assert "new string" in back.remedies
    assert forward.missing < 0.0
    assert state.octave[0].enough
    assert state.octave[0].remedies == ()
    drawn = notes_drawing(notes_of(written([0.0, 30.0, -30.0, 0.0, 0.0, 0.0]), samples=FEW), "mm")
    assert "saddle back: out of travel" in drawn


def test_a_plate_and_neck_that_give_count_for_little_on_a_decked_bridge():
    settling, held = (notes_of(KESTREL, settling=s, samples=FEW).states[0] for s in (True, False))
    off = np.abs(values(held) - values(settling))
    assert (off > 0.02).all()
    assert (off < 1.0).all()


def test_stiff_ends_make_high_notes_sharper_against_the_open_string():
    pinned, clamped = (notes_of(UNREAD, ends=e, samples=FEW).states[0] for e in ("pinned", "clamped"))
    assert (values(clamped, 22) > values(pinned, 22)).all()


@pytest.mark.parametrize("job", [WIGEON, KESTREL, PLOVER], ids=["fixed", "decked to floating", "floating to dive-only"])
def test_after_the_plan_stands_beside_as_found(job):
    result = notes_of(job, plan=True, samples=FEW)
    assert [one.when for one in result.states] == ["as found", "after the plan"]
    first, then = result.states
    assert len(then.cents) == len(result.strings)
    assert len(then.cents[0]) == result.frets == len(result.fret_x)
    assert np.isfinite([v.value for row in then.cents for v in row]).all()
    assert values(first) != pytest.approx(values(then), abs=0.01)
    assert "Thin broken line: as found." in notes_drawing(result, "mm")


def test_the_plan_sets_the_octaves_it_promises():
    after = notes_of(WIGEON, plan=True, samples=FEW).states[1]
    assert np.abs(values(after)).max() < 2.0  # the job wants 0 c within 2 c


def test_slack_strings_are_told_at_the_end_of_the_plan_only():
    slack = replace(WIGEON, found=replace(WIGEON.found, state="slack", octave=None))
    with pytest.raises(InputError, match="--plan"):
        notes_of(slack, samples=FEW)
    assert [one.when for one in notes_of(slack, plan=True, samples=FEW).states] == ["after the plan"]


def test_where_nothing_will_do_there_is_nothing_to_tell():
    with pytest.raises(NoPlanError):
        notes_of(KNOT, plan=True, samples=FEW)


def test_an_instrument_without_room_for_its_plate_is_refused(monkeypatch):
    import setwright.bench.standing as standing

    monkeypatch.setattr(standing, "has_room", lambda *_: np.array(False))
    with pytest.raises(ContradictionError, match="no room"):
        on_the_bench(KESTREL, samples=FEW)


def octave(error=4.0, **changes):
    base = Octave(3, Banded(error, 1.0), -2690.0, "back", Banded(error / 2690, 4e-4), Banded(2.97, 0.8), True, True,
                  0.0, 0.0, 0.0, ())  # fmt: skip
    return replace(base, **changes)


def test_words_for_a_saddle():
    assert remedy_words(octave(), "mm") == "saddle back 3 turns (1.49 mm)"
    assert remedy_words(octave(), "inch") == "saddle back 3 turns (.059 in)"
    assert remedy_words(octave(sure=False), "mm").endswith(", read first")
    assert remedy_words(octave(way="stay"), "mm") == "leave the saddle"
    assert remedy_words(octave(turns=Banded(0.01, 0.1)), "mm").startswith("leave the saddle: less")


def test_words_for_an_octave():
    assert octave_words(Banded(4.04, 0.96)) == "+4.0 ± 1.0 c"
    assert octave_words(Banded(-4.04, 9.6)) == "−4 ± 10 c"
    assert octave_words(Banded(-0.04, 0.0)) == "0.0 ± 0.1 c"


def test_a_typed_saddle_place_is_believed():
    places = tuple(replace(one, si=2e-3) for one in UNREAD.found.string_height.amounts)
    typed = replace(UNREAD.instrument, given={**UNREAD.instrument.given, ("bridge", "compensation"): places})
    job = replace(UNREAD, instrument=typed)
    measured, guessed = notes_of(job, samples=200), notes_of(UNREAD, samples=200)
    assert measured.saddles_known == "typed"
    assert half(measured.states[0])[0] < half(guessed.states[0])[0]
