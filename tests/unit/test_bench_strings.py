"""Sheets of strings: against hand calculation, and how uncertainty runs through them."""

from pathlib import Path

import numpy as np
import pytest

from setwright.bench.strings import sheets_of, standard_tuning, string_sheet
from setwright.errors import InputError
from setwright.instrument.jobfile import read_job
from setwright.instrument.string_sets import gauge

EXAMPLES = Path(__file__).parents[2] / "examples"
TENS = [gauge(t) for t in (".010", ".013", ".017", ".026w", ".036w", ".046w")]
SCALE = 0.6477  # m
E4 = 329.6276  # Hz


def tens(**more):
    return string_sheet(TENS, standard_tuning(6, SCALE), SCALE, **more)


def test_a_plain_string_by_hand():
    line = tens().lines[0]
    # by hand: steel of 7.8 g/cm3 at .010 in is 0.395 g/m, and T = mu (2 L f)^2 = 72 N
    assert line.unit_mass.value == pytest.approx(0.395e-3, rel=0.005)
    assert line.tension.value == pytest.approx(72.0, rel=0.01)
    assert line.load.value == pytest.approx(line.tension.value / line.breaking)
    # by hand: E = 200 GPa, EA = 10.1 kN; 1 mm of 647.7 mm: 1200/ln 2 x 1/2 x EA/T x 1/647.7 = 189 cents
    assert line.per_millimetre.value == pytest.approx(189.0, rel=0.03)
    # by hand: B = pi^3 E d^4 / (64 T L^2) = 1.34e-5
    assert line.inharmonicity.value == pytest.approx(1.34e-5, rel=0.03)
    assert not line.near_breaking


def test_uncertainty_follows_first_order():
    for line in tens().lines:
        share = line.unit_mass.sd / line.unit_mass.value
        assert line.tension.sd / line.tension.value == pytest.approx(share, rel=0.02)
        assert line.load.sd / line.load.value == pytest.approx(share, rel=0.02)
        # EA / T: both shares in quadrature, the mass term only touching a little
        assert line.per_millimetre.sd / line.per_millimetre.value > share
    total = tens().total
    assert total.value == pytest.approx(sum(line.tension.value for line in tens().lines))
    assert total.sd == pytest.approx(np.sqrt(sum(line.tension.sd**2 for line in tens().lines)))


def test_a_longer_path_answers_less_to_a_stretch():
    short, long = tens(), tens(path=np.full(6, 1.25 * SCALE))
    for a, b in zip(short.lines, long.lines, strict=True):
        assert b.per_millimetre.value == pytest.approx(a.per_millimetre.value / 1.25)
        assert b.tension == a.tension


def test_near_breaking_is_flagged_with_what_helps():
    sheet = string_sheet(TENS[:1] + TENS[3:5], np.array([E4 * 1.5, E4, 110.0]), SCALE, limit=0.8)
    assert [line.near_breaking for line in sheet.lines] == [True, True, False]
    assert "a thinner plain string gains little" in sheet.remarks[0]
    assert "more core under less wrap" in sheet.remarks[1]
    assert tens().remarks == ()


def test_a_thinner_plain_string_at_the_same_pitch_carries_nearly_the_same_share():
    loads = [string_sheet([gauge(t)] * 3, np.full(3, E4), SCALE).lines[0].load.value for t in (".009", ".010", ".011")]
    assert max(loads) / min(loads) < 1.05


def test_standard_tunings():
    assert standard_tuning(6, SCALE)[[0, -1]] == pytest.approx([329.6276, 82.4069], rel=1e-6)
    assert standard_tuning(4, 0.864)[[0, -1]] == pytest.approx([97.9989, 41.2034], rel=1e-5)
    assert standard_tuning(6, SCALE, 442.0)[4] == pytest.approx(110.5)
    with pytest.raises(InputError, match="no standard tuning"):
        standard_tuning(3, SCALE)


def test_as_many_pitches_as_strings():
    with pytest.raises(InputError, match="6 strings and 2 pitches"):
        string_sheet(TENS, np.array([E4, E4]), SCALE)


def test_a_job_shows_its_set_and_the_wanted_one():
    found, wanted = sheets_of(read_job(EXAMPLES / "dunlin-heavier.job.toml"))
    assert [line.gauge for line in wanted.lines] == [".012", ".016", ".020", ".032w", ".042w", ".054w"]
    assert wanted.lines[0].hertz == pytest.approx(293.6648, rel=1e-6)
    assert found.lines[0].hertz == pytest.approx(E4, rel=1e-6)
    assert found.lines[0].length != found.scale
    assert found.lines[0].per_millimetre.value < tens().lines[0].per_millimetre.value


@pytest.mark.parametrize("name", ["wigeon-reradius", "lapwing-pull", "knot-too-weak"])
def test_a_job_without_another_set_or_tuning_shows_one(name):
    sheets = sheets_of(read_job(EXAMPLES / f"{name}.job.toml"))
    assert len(sheets) == (2 if name == "knot-too-weak" else 1)
