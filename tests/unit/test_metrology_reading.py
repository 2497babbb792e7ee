"""Readings, gauges and their uncertainties: what is taken, what is refused. Figures by hand."""

import dataclasses
import math

import pytest

from setwright.errors import InputError
from setwright.metrology import (
    ATTITUDES,
    GAUGES,
    Convention,
    Gauge,
    Place,
    Reading,
    State,
    combined_uncertainty,
    effective_resolution,
    gauge_named,
    mean_of,
    reading_uncertainty,
    resolution_uncertainty,
    take,
)
from setwright.units import read_cents, read_length, read_pitch

SIXTY_FOURTH = 0.0254 / 64
RULE32 = gauge_named("rule 1/32 in")
CALLIPER = gauge_named("calliper")
TUNER = gauge_named("tuner")


def test_a_reading_is_frozen_and_carries_everything():
    reading = take(
        "string_height",
        read_length("2.5/32"),
        RULE32,
        Place(fret=12, string=1),
        Convention(capo=1),
        State(attitude="on its back", wedge=True, reached_from="below"),
    )
    assert reading.value == pytest.approx(1.984375e-3, rel=1e-12)
    assert (reading.written, reading.gauge) == ("2.5/32", "rule 1/32 in")
    assert (reading.place.fret, reading.place.string, reading.convention.capo) == (12, 1, 1)
    assert (reading.state.attitude, reading.state.wedge, reading.state.at_pitch) == ("on its back", True, True)
    with pytest.raises(dataclasses.FrozenInstanceError):
        reading.value = 1.0  # type: ignore[misc]


def test_a_given_uncertainty_goes_before_the_gauge():
    reading = take("relief", read_length(".010 in"), RULE32, standard_uncertainty=1e-5)
    assert reading.standard_uncertainty == 1e-5


def test_a_reading_without_a_gauge_takes_its_written_step():
    reading = take("relief", read_length(".010 in"))
    assert reading.standard_uncertainty == pytest.approx(7.3323e-6, rel=1e-4)  # 25.4 um / 3.4641
    assert reading.gauge == ""
    assert (reading.place, reading.convention, reading.state) == (Place(), Convention(), State())


@pytest.mark.parametrize(
    ("text", "gauge", "step"),
    [
        ("2.5/32", RULE32, SIXTY_FOURTH),  # half a division, read by eye
        ("2.25/32", RULE32, SIXTY_FOURTH),  # no finer than half a division
        ("3/32", RULE32, 2 * SIXTY_FOURTH),
        ("1/8", RULE32, 2 * SIXTY_FOURTH),  # 4/32 reduced: the gauge decides
        ("1.6 mm", CALLIPER, 1e-4),  # digits left away stay lost
        ("1.60 mm", CALLIPER, 1e-5),
        ("1.600 mm", CALLIPER, 5e-6),
        ("1/8", None, 8 * SIXTY_FOURTH),
    ],
)
def test_the_step_a_value_is_known_to(text, gauge, step):
    assert effective_resolution(read_length(text), gauge) == pytest.approx(step, rel=1e-12)


def test_resolution_and_hand_in_quadrature():
    gauge = Gauge("trial", "length", math.sqrt(12.0) * 3e-4, 4e-4)
    assert reading_uncertainty(read_length("1/8"), gauge) == pytest.approx(5e-4, rel=1e-12)


def test_a_tuner_in_cents_serves_a_pitch_in_hertz():
    cents = reading_uncertainty(read_cents("0.0 c"), TUNER)
    assert cents == pytest.approx(1.000417, abs=1e-6)
    for text in ("440.00 Hz", "A4"):  # one cent at 440 Hz is 0.254 Hz; a bare note does not add its semitone
        assert reading_uncertainty(read_pitch(text), TUNER) == pytest.approx(0.25426, abs=1e-4)
    assert reading_uncertainty(read_pitch("440 Hz"), TUNER) == pytest.approx(math.hypot(0.25416, 0.288675), abs=1e-4)


def test_mean_of_repeated_readings():
    mean, u = mean_of([1.0, 2.0, 3.0, 4.0])
    assert mean == 2.5
    assert u == pytest.approx(math.sqrt(5.0 / 3.0) / 2.0, rel=1e-12)
    assert mean_of([2.0, 2.0]) == (2.0, 0.0)
    for values in ([], [1.0], [1.0, math.nan]):
        with pytest.raises(InputError, match="at least two finite readings"):
            mean_of(values)


def test_parts_of_an_uncertainty():
    assert combined_uncertainty(3.0, 4.0) == 5.0
    assert combined_uncertainty() == 0.0
    assert resolution_uncertainty(0.0) == 0.0
    for bad in (-1.0, math.nan, math.inf):
        with pytest.raises(InputError, match="cannot be combined"):
            combined_uncertainty(1.0, bad)
        with pytest.raises(InputError, match="is not possible"):
            resolution_uncertainty(bad)


@pytest.mark.parametrize(("value", "u"), [(math.nan, 1.0), (math.inf, 1.0), (1.0, 0.0), (1.0, -1.0), (1.0, math.nan)])
def test_a_reading_is_a_finite_number_with_an_uncertainty(value, u):
    with pytest.raises(InputError, match="relief"):
        Reading("relief", value, "1 mm", u)


@pytest.mark.parametrize(
    "fields",
    [{"fret": -1}, {"fret": 41}, {"string": 0}, {"side": "left"}, {"harmonic": True}, {"fret": 0, "harmonic": 1}],
)
def test_places_that_do_not_exist(fields):
    with pytest.raises(InputError):
        Place(**fields)


@pytest.mark.parametrize(
    "fields",
    [
        {"hold_low": 1, "hold_high": 17},
        {"read_at": 8},
        {"hold_low": 1, "hold_high": 17, "read_at": 17},
        {"hold_low": 17, "hold_high": 1, "read_at": 8},
        {"hold_low": 0, "hold_high": 17, "read_at": 8},
        {"capo": 0},
    ],
)
def test_conventions_that_do_not_exist(fields):
    with pytest.raises(InputError):
        Convention(**fields)


def test_conventions_that_do():
    relief = Convention(hold_low=1, hold_high=17, read_at=8)
    assert not relief.straightedge
    assert Convention(hold_low=1, hold_high=22, read_at=9, straightedge=True).straightedge
    assert Place(fret=12, string=3, harmonic=True).harmonic
    assert [State(attitude=name).attitude for name in ATTITUDES] == list(ATTITUDES)


def test_states_that_do_not_exist():
    with pytest.raises(InputError, match="not an attitude; there are: playing"):
        State(attitude="sideways")
    with pytest.raises(InputError, match="not a direction"):
        State(reached_from="left")


def test_the_usual_gauges():
    assert all(gauge.name == name and gauge.source == "common practice, no source" for name, gauge in GAUGES.items())
    assert gauge_named("rule 1/64 in").resolution == pytest.approx(0.396875e-3, rel=1e-12)
    assert gauge_named("stepped height gauge").resolution == pytest.approx(0.254e-3, rel=1e-12)
    with pytest.raises(InputError, match=r"string 1: there is no usual gauge called 'nose'; there are: rule 1/64 in"):
        gauge_named("nose", "string 1")
    with pytest.raises(InputError, match=r"^there is no usual gauge"):
        gauge_named("nose")


@pytest.mark.parametrize(
    ("kind", "resolution", "repeatability"),
    [
        ("colour", 1.0, 1.0),
        ("length", 0.0, 1.0),
        ("length", math.nan, 1.0),
        ("length", 1.0, -1.0),
        ("length", 1.0, math.inf),
    ],
)
def test_gauges_that_cannot_be(kind, resolution, repeatability):
    with pytest.raises(InputError, match="gauge 'odd'"):
        Gauge("odd", kind, resolution, repeatability)
