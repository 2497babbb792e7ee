"""What turns would do: against the forward model, by hand, and by what the trade knows."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setwright.bench.plans import problem_from
from setwright.bench.whatif import Changes, what_if
from setwright.errors import InputError
from setwright.instrument.jobfile import read_job
from setwright.instrument.predict import predict, tune
from setwright.planning.found import settle_found

EXAMPLES = Path(__file__).parents[2] / "examples"
LAPWING = read_job(EXAMPLES / "lapwing-pull.job.toml")
KESTREL = read_job(EXAMPLES / "kestrel-float.job.toml")
WIGEON = read_job(EXAMPLES / "wigeon-reradius.job.toml")
PLOVER = read_job(EXAMPLES / "plover-dive.job.toml")
FEW = 48


def ask(job=LAPWING, **changes):
    return what_if(job, Changes(**changes), FEW)


def values(each):
    return np.array([one.value for one in each])


def gap(shown):
    return shown.rear_gap[0].value


def test_as_found_is_what_was_read():
    before = ask().before
    assert gap(before) == pytest.approx(2.0e-3, abs=1e-5)
    assert values(before.height) == pytest.approx([1.2e-3, 1.3e-3, 1.4e-3, 1.5e-3, 1.5e-3, 1.6e-3], abs=1e-5)
    assert before.relief.value == pytest.approx(0.007 * 0.0254, abs=1e-6)
    assert (before.fret, before.hold, before.read) == (12, (1, 17), 8)
    assert before.hertz == pytest.approx([one.si for one in LAPWING.found.pitches])


def test_the_band_of_the_found_gap_is_that_of_its_reading():
    # read as 2.0 mm with a standard uncertainty of 0.1 mm: 95 % within 0.196 mm, from 48 draws
    assert 0.12e-3 < ask().before.rear_gap[0].half_width < 0.32e-3


def test_without_a_change_nothing_changes():
    result = ask()
    for state in (result.pegs_fixed, result.retuned):
        assert gap(state) == pytest.approx(2.0e-3, abs=2e-5)
        assert values(state.pitch) == pytest.approx(np.zeros(6), abs=0.2)
    assert result.remarks == ()


def test_the_claw_as_the_forward_model_says():
    problem = settle_found(problem_from(LAPWING)).problem
    turned = replace(problem.found.settings, claw=problem.found.settings.claw - 0.125 * problem.traits.claw.lead)
    fixed = predict(problem.traits, turned, start=-0.02)
    back = tune(problem.traits, turned, problem.found.hertz, start=float(fixed.tilt))
    result = ask(claw=(0.125, 0.125))
    assert gap(result.pegs_fixed) == pytest.approx(float(fixed.rear_gap.mean()), abs=2e-5)
    assert result.retuned.tilt.value == pytest.approx(float(back.state.tilt[0]), abs=2e-4)
    assert gap(result.retuned) < gap(result.pegs_fixed) < gap(result.before)
    assert (values(result.pegs_fixed.pitch) > 0.0).all()


def test_one_more_spring_pulls_the_plate_down_and_the_pitches_up():
    result = ask(springs=4)
    assert gap(result.pegs_fixed) < gap(result.before)
    assert (values(result.pegs_fixed.pitch) > 0.0).all()


def test_no_springs_let_the_plate_up_to_its_stop():
    result = ask(springs=0)
    assert gap(result.retuned) > 10e-3
    assert any("upper stop" in text for text in result.remarks)


def test_the_claw_turned_on_one_side_only_is_half_of_both():
    both, one = ask(claw=(0.125, 0.125)), ask(claw=(0.125, 0.0))
    moved = [gap(r.pegs_fixed) - gap(r.before) for r in (both, one)]
    assert moved[1] / moved[0] == pytest.approx(0.5, abs=0.1)


def test_a_peg_let_down_lets_the_others_rise_and_lands_where_it_was_set():
    result = ask(pegs=((3, 180.0),))
    assert result.pegs_fixed.hertz[2] == pytest.approx(180.0, rel=1e-6)
    assert result.retuned.hertz[2] == pytest.approx(180.0, rel=1e-6)
    others = np.delete(values(result.pegs_fixed.pitch), 2)
    assert (others > 1.0).all()
    assert np.delete(values(result.retuned.pitch), 2) == pytest.approx(np.zeros(5), abs=0.01)


def test_pegs_turned_one_after_the_other_disturb_each_other():
    result = ask(pegs=((6, 90.0), (1, 329.63)))
    assert result.pegs_fixed.hertz[0] == pytest.approx(329.63, rel=1e-6)
    assert result.pegs_fixed.hertz[5] != pytest.approx(90.0, abs=0.05)
    assert result.retuned.hertz[5] == pytest.approx(90.0, rel=1e-6)


def test_a_saddle_raises_its_own_string_at_the_twelfth_fret_by_half():
    lead = float(problem_from(WIGEON).traits.bridge.height_lead)
    result = ask(WIGEON, saddle_height=((3, -1.0),))
    change = values(result.retuned.height) - values(result.before.height)
    assert change[2] == pytest.approx(-0.5 * lead, rel=0.03)
    assert np.delete(change, 2) == pytest.approx(np.zeros(5), abs=5e-6)
    assert values(result.pegs_fixed.pitch)[2] < -1.0


def test_a_saddle_moved_back_stretches_its_string():
    result = ask(WIGEON, saddle_length=((1, 1.0),))
    assert values(result.pegs_fixed.pitch)[0] > 1.0
    assert values(result.retuned.pitch)[0] == pytest.approx(0.0, abs=1e-6)


def test_pivots_up_lift_every_string():
    result = ask(pivots=(0.5, 0.5))
    assert (values(result.retuned.height) > values(result.before.height)).all()
    skew = ask(pivots=(0.5, 0.0)).retuned
    assert skew.rear_gap[0].value != pytest.approx(skew.rear_gap[1].value, abs=1e-5)


def test_a_strip_shim_lowers_the_strings():
    result = ask(WIGEON, strip=0.0254 * 0.010)
    assert (values(result.retuned.height) < values(result.before.height) - 1e-4).all()


def test_a_tighter_rod_takes_relief_away_and_its_response_is_called_assumed():
    result = ask(WIGEON, rod=0.125)
    assert result.retuned.relief.value < result.before.relief.value
    assert any("assumed until it has been learned" in text for text in result.remarks)
    assert result.retuned.relief.half_width > 0.0


def test_lying_on_its_back_sharpens_by_some_cents():
    # common practice, no source: +1 to +4 cents; a softer balance goes further
    lying = replace(LAPWING, found=replace(LAPWING.found, attitude="playing"))
    up = values(ask(lying, attitude="on its back").pegs_fixed.pitch)
    assert (up > 0.5).all()
    assert (up < 15.0).all()
    assert (values(ask(attitude="upright").pegs_fixed.pitch) < 0.0).all()


def test_warmth_lets_the_strings_down():
    result = ask(WIGEON, temperature=WIGEON.found.temperature + 10.0)
    assert (values(result.pegs_fixed.pitch) < 0.0).all()
    assert values(result.retuned.pitch) == pytest.approx(np.zeros(6), abs=1e-6)


def test_a_wedge_props_the_plate_at_its_gap():
    result = ask(KESTREL, wedge=2.6e-3)
    assert gap(result.pegs_fixed) == pytest.approx(2.6e-3, abs=1e-5)
    assert any("lower stop" in text for text in result.remarks)


def test_a_decked_plate_is_found_decked_on_every_instrument():
    before = ask(KESTREL).before
    assert before.rear_gap[0].half_width < 0.05e-3
    assert before.contact.value > 0.0


def test_an_overloaded_string_and_slack_ones_are_named():
    remarks = " ".join(ask(pegs=((1, 1200.0),)).remarks)
    assert "String 1 would carry" in remarks
    assert "Slack before retuning: string" in remarks
    assert np.isnan(ask(pegs=((1, 1200.0),)).pegs_fixed.pitch[5].value)


def test_a_plate_that_may_land_on_its_stop_says_how_often():
    remarks = ask(claw=(0.25, 0.25)).remarks
    assert any("of 100 instruments" in text or "Once retuned" in text for text in remarks)


def test_two_calls_agree_and_another_seed_differs():
    once, twice = ask(claw=(0.1, 0.1)), ask(claw=(0.1, 0.1))
    assert once == twice
    other = what_if(LAPWING, Changes(claw=(0.1, 0.1)), FEW, seed=1)
    assert other.retuned.rear_gap[0].value == pytest.approx(gap(once.retuned))
    assert other.retuned.rear_gap[0].half_width != once.retuned.rear_gap[0].half_width


def test_heights_and_relief_not_read_are_told_by_the_usual_places():
    found = replace(PLOVER.found, string_height=None, relief=None)
    shown = ask(replace(PLOVER, found=found)).before
    assert (shown.fret, shown.hold, shown.read) == (12, (1, 17), 8)


def test_a_floating_plate_whose_gap_was_not_read_is_taken_level():
    found = replace(PLOVER.found, rear_gap=None)
    assert ask(replace(PLOVER, found=found)).before.tilt.value == pytest.approx(0.0, abs=1e-4)


def test_a_blocked_plate_stays():
    found = replace(PLOVER.found, bridge="blocked")
    result = ask(replace(PLOVER, found=found), claw=(0.25, 0.25))
    assert gap(result.retuned) == pytest.approx(2.0e-3, abs=1e-5)


@pytest.mark.parametrize(
    ("job", "changes", "words"),
    [
        (WIGEON, {"claw": (1.0, 0.0)}, "no claw"),
        (WIGEON, {"springs": 3}, "no springs"),
        (WIGEON, {"wedge": 1e-3}, "no wedge"),
        (LAPWING, {"claw": (40.0, 40.0)}, "the claw would stand"),
        (LAPWING, {"pivots": (30.0, 30.0)}, "a pivot would stand"),
        (LAPWING, {"saddle_height": ((1, 30.0),)}, "a saddle would stand"),
        (LAPWING, {"saddle_length": ((1, 40.0),)}, "a saddle would stand"),
        (LAPWING, {"saddle_height": ((0, 1.0),)}, "there is no string 0"),
        (LAPWING, {"pegs": ((7, 100.0),)}, "there is no string 7"),
        (LAPWING, {"springs": 7}, "no places for 7 springs"),
        (LAPWING, {"strip": -1e-3}, "no strip shim"),
        (LAPWING, {"attitude": "sideways"}, "no attitude"),
        (replace(LAPWING, found=replace(LAPWING.found, state="off")), {}, "at pitch"),
    ],
)
def test_changes_the_instrument_cannot_take(job, changes, words):
    with pytest.raises(InputError, match=words):
        ask(job, **changes)
