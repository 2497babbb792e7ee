"""Tunings, capo, fans, and what about a set wants a look: against hand calculation."""

from pathlib import Path

import numpy as np
import pytest

from setwright.bench.string_flags import SLACK, change, flagged, flagged_sheets_of, under_the_finger
from setwright.bench.string_mass import printed_mass, with_mass
from setwright.bench.strings import string_sheet
from setwright.bench.tunings import for_bass, named_tuning, spread_scales, standard_tuning, with_capo
from setwright.errors import InputError
from setwright.instrument.jobfile import read_job
from setwright.instrument.quantities import amount
from setwright.instrument.string_sets import gauge

EXAMPLES = Path(__file__).parents[2] / "examples"
INCH = 0.0254
SCALE = 0.6477  # m
TENS = ".010 .013 .017 .026w .036w .046w"


def made(text, tuning="standard", scale=SCALE):
    gauges = [gauge(t) for t in text.split()]
    return string_sheet(gauges, named_tuning(tuning, len(gauges), scale, bass=for_bass(gauges)), scale)


def kinds(sheet):
    return [(one.kind, one.string) for one in sheet.flags]


@pytest.mark.parametrize(
    ("count", "bass", "lowest"),
    [(6, False, 82.41), (7, False, 61.74), (8, False, 46.25), (4, True, 41.20), (5, True, 30.87), (6, True, 30.87)],
)
def test_standard_tunings_for_every_count(count, bass, lowest):
    hertz = standard_tuning(count, 0.7, bass=bass)
    assert len(hertz) == count
    assert hertz[-1] == pytest.approx(lowest, abs=0.01)
    assert np.all(np.diff(hertz) < 0)


def test_tunings_by_name():
    assert named_tuning("baritone", 6, 0.69)[[0, -1]] == pytest.approx([246.94, 61.735], abs=0.01)
    down = named_tuning("Standard −2", 6, SCALE)
    assert down == pytest.approx(standard_tuning(6, SCALE) * 2 ** (-2 / 12))
    assert named_tuning("standard +12", 6, SCALE)[0] == pytest.approx(659.26, abs=0.01)
    assert named_tuning("D4 A3", 6, SCALE) is None
    assert named_tuning("bogus", 6, SCALE) is None
    with pytest.raises(InputError, match="12 semitones"):
        named_tuning("standard -13", 6, SCALE)
    with pytest.raises(InputError, match="no baritone tuning is known for 7 strings, only for 6"):
        named_tuning("baritone", 7, SCALE)
    with pytest.raises(InputError, match="4 strings of a guitar"):
        standard_tuning(4, SCALE, bass=False)
    with pytest.raises(InputError, match="7 strings of a bass"):
        standard_tuning(7, SCALE, bass=True)


def test_thickness_tells_a_bass():
    assert for_bass([gauge(".045w")])
    assert for_bass([gauge(".030w")])
    assert not for_bass([gauge(".014")])


def test_a_fan_is_spread_evenly():
    assert spread_scales(0.648, 0.686, 5) == pytest.approx([0.648, 0.6575, 0.667, 0.6765, 0.686])


def test_a_capo_keeps_the_tension():
    gauges = [gauge(t) for t in TENS.split()]
    hertz, length = standard_tuning(6, SCALE), np.full(6, SCALE)
    up, short = with_capo(gauges, hertz, length, 3)
    assert short == pytest.approx(length * 0.840896, rel=1e-6)
    cents = 1200 * np.log2(up / hertz)
    # stiffness: B n^2 / 2 grows by 2^(n/6), half a cent at most on a .017
    assert np.all((cents >= 300.0) & (cents < 300.5))
    open_, capoed = string_sheet(gauges, hertz, SCALE), string_sheet(gauges, up, SCALE, short)
    for a, b in zip(open_.lines, capoed.lines, strict=True):
        assert b.tension.value == pytest.approx(a.tension.value, rel=1e-12)
    assert with_capo(gauges, hertz, length, 0)[0] is hertz
    for fret in (-1, 13):
        with pytest.raises(InputError, match="capo at fret"):
            with_capo(gauges, hertz, length, fret)


@pytest.mark.parametrize("text", [TENS, ".008 .010 .015 .021w .030w .038w", ".045w .065w .085w .105w"])
def test_usual_sets_raise_nothing(text):
    assert flagged(made(text, scale=0.864 if "65w" in text else SCALE)).flags == ()


def test_slack_strings_are_flagged():
    sheet = flagged(made(".008 .010 .015 .021w .030w .038w", "standard -4"))
    slack = [one for one in sheet.flags if one.kind == "slack"]
    # by hand: 45.8 N and 40.3 N at pitch, x 0.63 four semitones down; the others stay above 33 N, string 3 at 36.1
    assert [one.string for one in slack][:2] == [1, 2]
    assert all(one.value < one.limit == SLACK[0] for one in slack)
    bass = flagged(made(".040w .055w .075w .095w", "standard -5", 0.762))
    assert [one.limit for one in bass.flags if one.kind == "slack"] == [SLACK[1]] * 4


def test_a_low_plain_third_answers_to_the_finger():
    sheet = flagged(made(TENS, "standard -4"))
    assert ("answers to the finger", 3) in kinds(sheet)
    third = made(TENS).lines[2]
    # by hand: EA/T = E / (rho (2 L f)^2) = 397; 1200/ln 2 x 1/2 x 397 x 0.02/647.7 = 10.6 cents
    assert under_the_finger(third) == pytest.approx(10.6, rel=0.02)


def test_near_breaking_is_a_flag_too():
    sheet = flagged(made(TENS, "standard +5"))
    assert kinds(sheet)[0] == ("near breaking", 1)
    assert sheet.flags[0].value == sheet.lines[0].load.value
    assert sheet.remarks


def test_slots():
    sheet = made(TENS)
    wide = [0.011 * INCH, 0.014 * INCH, 0.017 * INCH, 0.025 * INCH, 0.038 * INCH, 0.045 * INCH]
    found = flagged(sheet, wide)
    assert kinds(found) == [("too thick for the slot", 4), ("too thick for the slot", 6)]
    assert found.flags[0].value == pytest.approx(0.026 * INCH)
    assert found.flags[0].limit == 0.025 * INCH
    with pytest.raises(InputError, match="2 slot widths for 6 strings"):
        flagged(sheet, wide[:2])


def test_against_the_set_that_was_on():
    was, now = made(TENS), made(".011 .015 .020w .028w .038w .049w")
    found = flagged(now, was=was)
    # .013 to .015 and .026 to .028 are .002 in, not more
    assert kinds(found) == [("thicker", 3), ("now wound", 3), ("thicker", 6)]
    assert found.flags[0].was == ".017"
    assert flagged(was, was=now).flags[0].kind == "now plain"
    assert found.change.total.value == pytest.approx(now.total.value - was.total.value)
    assert found.change.share == pytest.approx(found.change.total.value / was.total.value)
    slots = [one.diameter + 1e-4 for one in now.lines]
    assert kinds(flagged(now, slots, was)) == [("now wound", 3)]
    elsewhere = flagged(now, was=made(TENS, scale=0.6287))
    assert elsewhere.flags == ()
    assert not elsewhere.change.same_board
    with pytest.raises(InputError, match="6 strings where 4 were on"):
        flagged(now, was=made(".045w .065w .085w .105w"))


def test_the_same_set_changes_by_nothing_and_lower_by_the_same_share():
    was = made(TENS)
    assert change(was, was).total.value == 0.0
    assert change(was, was).total.sd == 0.0
    lower = change(was, made(TENS, "standard -2"))
    assert lower.share == pytest.approx(2 ** (-2 / 6) - 1.0, rel=0.01)
    for line, more in zip(was.lines, lower.lines, strict=True):
        assert more.sd == pytest.approx(line.tension.sd * (1 - 2 ** (-2 / 6)), rel=0.02)
    assert change(was, made(TENS.replace(".010", ".011"))).lines[0].sd > was.lines[0].tension.sd


def test_a_job_compares_the_wanted_set_with_the_one_found():
    found, wanted = flagged_sheets_of(read_job(EXAMPLES / "dunlin-heavier.job.toml"))
    assert found.change is None
    assert wanted.change.total.value > 0
    assert ("thicker", 6) in kinds(wanted)


def test_a_printed_tension_by_hand():
    # 16.2 lb at E4, 25.5 in: 72.06 N / (2 x 0.6477 x 329.63)^2 = 0.3952 g/m
    mass = printed_mass(gauge(".010"), amount("16.2 lb", "force"), 329.6276, SCALE)
    assert mass.si == pytest.approx(0.3952e-3, rel=3e-4)
    # half a digit of 16.2, rectangular: 0.178 %; making 0.2 %; charts 0.04 %
    assert mass.band / mass.si == pytest.approx(np.hypot(np.hypot(0.178e-2, 0.2e-2), 0.04e-2), rel=0.01)
    stated = printed_mass(gauge(".026w"), amount("18.4 lb ± 0.9 lb", "force"), 146.8324, SCALE)
    assert stated.band / stated.si == pytest.approx(np.hypot(0.9 / 18.4, 0.01), rel=0.01)
    line = string_sheet([with_mass(gauge(".010"), mass)] * 3, np.full(3, 329.6276), SCALE).lines[0]
    assert (line.unit_mass.value, line.unit_mass.sd) == pytest.approx((mass.si, mass.band))
    with pytest.raises(InputError, match="above zero"):
        printed_mass(gauge(".010"), amount("0 lb", "force"), 329.6, SCALE)
    with pytest.raises(InputError, match="times what that gauge usually weighs"):
        with_mass(gauge(".010"), amount("2.3 g/m", "unit mass"))
