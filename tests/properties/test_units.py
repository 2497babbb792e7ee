"""What is printed is read back: within half a step of the printed form, for every kind, system and style."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from setwright.errors import InputError
from setwright.units import (
    KINDS,
    READERS,
    read_cents,
    read_length,
    read_pitch,
    read_toleranced,
    read_turns,
    show_band,
    show_cents,
    show_length,
    show_pitch,
    show_turns,
    show_value,
    unit_size,
)

INCH = 0.0254
LENGTHS = st.floats(-1.5, 1.5)
SPREADS = st.one_of(st.none(), st.floats(1e-7, 0.02))
SYSTEMS = st.sampled_from(["inch", "mm"])
SPANS = {  # SI values of each kind a bench can meet
    "length": (-1.5, 1.5), "turns": (-50.0, 50.0), "cents": (-1200.0, 1200.0), "force": (0.0, 1000.0),
    "rate": (100.0, 1e5), "angle": (-0.2, 0.2), "pitch": (20.0, 5000.0), "temperature": (230.0, 340.0),
    "mass": (0.0, 10.0), "unit mass": (1e-5, 0.1), "ratio": (0.0, 1.0),
}  # fmt: skip
STEP = {  # usual last place printed without an uncertainty, SI: an upper bound for both systems
    "length": INCH / 1000, "turns": 1e-3, "cents": 0.1, "force": 0.45, "rate": 17.6, "angle": 1.8e-4, "pitch": 0.01,
    "temperature": 0.1, "mass": 0.003, "ratio": 1e-3,
}  # fmt: skip
KIND = st.sampled_from(sorted(SPANS))


def never_negative_zero(text):
    digits = text.split("±")[0].lstrip()
    assert not digits.startswith("−") or any(ch in "123456789" for ch in digits)


@given(LENGTHS, SYSTEMS, SPREADS, st.sampled_from(["auto", "fraction", "height", "thou", "mm"]))
def test_lengths_come_back(m, system, u, style):
    text = show_length(m, system, u, style)
    never_negative_zero(text)
    written = read_length(text)
    # Half the printed step: a rule mark (1/64 in, or the first mark not finer than u, at most 1/8), the last digit, or,
    # where zeros were trimmed, the usual last digit; a remainder is left out below u.
    mark = INCH / 64 if u is None else min(max(INCH / 64, 2.0 * u), INCH / 8)
    digit = INCH / 1000 if u is None else max(u, 0.5e-4 * INCH + 1e-12)
    assert abs(written.si - m) <= 0.5 * mark + 1e-12 if written.as_fraction else abs(written.si - m) <= digit


@given(LENGTHS, st.sampled_from(["fraction", "height", "thou"]))
def test_inch_forms_lose_half_a_thou_at_most(m, style):
    assert abs(read_length(show_length(m, "inch", style=style)).si - m) <= 0.5e-3 * INCH + 1e-12


@given(st.integers(1, 64 * 40), st.sampled_from(["fraction", "auto"]))
def test_every_rule_mark_is_printed_as_one(steps, style):
    text = show_length(steps / 64 * INCH, "inch", style=style)
    assert abs(read_length(text).si - steps / 64 * INCH) < (
        1e-12 if steps > 1 or style == "fraction" else 0.5e-3 * INCH
    )


@given(st.floats(-40.0, 40.0), st.sampled_from([1, 2, 3, 4, 6, 8, 12, 16]))
def test_turns_come_back(turns, parts):
    text = show_turns(turns, 1 / parts)
    never_negative_zero(text)
    assert abs(read_turns(text).si - turns) <= 0.5 / parts + 1e-9


@given(st.floats(-1200.0, 1200.0), st.booleans(), st.one_of(st.none(), st.floats(1e-3, 50.0)))
def test_cents_come_back(cents, signed, u):
    text = show_cents(cents, u, signed)
    never_negative_zero(text)
    assert abs(read_cents(text).si - cents) <= (0.05 + 1e-9 if u is None else 0.55 * u)


@given(st.floats(20.0, 15_000.0), st.booleans(), st.floats(415.0, 466.0))
def test_pitches_come_back(hertz, flats, reference):
    assert abs(read_pitch(show_pitch(hertz)).si - hertz) <= 0.005 + 1e-9
    named = show_pitch(hertz, note=True, reference=reference, flats=flats)
    assert abs(read_pitch(named, reference=reference).si / hertz - 1.0) <= 0.051 * 0.000578


@given(st.data(), KIND, SYSTEMS)
def test_every_kind_comes_back(data, kind, system):
    value = data.draw(st.floats(*SPANS[kind]))
    text = show_value(value, kind, system)
    never_negative_zero(text)
    step = 1e-3 * value if kind == "unit mass" else STEP[kind]
    assert abs(READERS[kind](text, "").si - value) <= 0.55 * step + 1e-9


@given(st.data(), KIND, SYSTEMS)
def test_bands_come_back(data, kind, system):
    low, high = SPANS[kind]
    value = data.draw(st.floats(low, high).filter(lambda v: kind not in ("pitch", "temperature") or v > low * 1.05))
    half = data.draw(st.floats(1e-6, 0.02)) * (high - low)
    if kind == "pitch":
        half = min(half, value / 4)
    text = show_band(value, half, kind, system)
    never_negative_zero(text)
    written, tolerance = read_toleranced(text, kind)
    assert tolerance is not None
    assert abs(tolerance - half) <= 0.17 * half + 1e-12
    assert abs(written.si - value) <= 0.55 * half + 1e-9


@given(st.integers(0, 9999), st.integers(0, 4), st.sampled_from(sorted(KINDS)))
def test_point_and_comma_read_the_same_or_the_comma_is_refused(digits, places, kind):
    unit = next(iter(KINDS[kind].sizes))
    point = f"{digits / 10**places:.{places}f} {unit}"
    comma = point.replace(".", ",")
    try:
        expected = READERS[kind](point, "").si
    except InputError:
        with pytest.raises(InputError):
            READERS[kind](comma, "")
        return
    if places == 3 and digits >= 1000:  # 1,600 can be two numbers
        with pytest.raises(InputError, match="without a comma"):
            READERS[kind](comma, "")
    else:
        assert READERS[kind](comma, "").si == expected


@given(st.floats(0.001, 1000.0), st.sampled_from(sorted(KINDS)), st.data())
def test_a_value_scales_with_the_size_of_its_unit(number, kind, data):
    if kind == "temperature":
        return
    unit = data.draw(st.sampled_from(sorted(KINDS[kind].sizes)))
    got = READERS[kind](f"{number!r} {unit}", "").si
    assert abs(got / (number * unit_size(kind, unit)) - 1.0) < 1e-12


def read_or_refused(text, kind):
    for call in (lambda: READERS[kind](text, "here").si, lambda: read_toleranced(text, kind, "here")[0].si):
        said = ""
        try:
            value = call()
        except InputError as error:
            said = str(error)
        assert said.startswith("here: ") or abs(value) < float("inf")


@given(st.text(max_size=30), st.sampled_from(sorted(KINDS)))
def test_any_text_is_read_or_refused_in_one_sentence(text, kind):
    read_or_refused(text, kind)


WRITTEN = st.text(alphabet="0123456789.,/-+−½ ″\"'±toinmcHzEbFN°%", max_size=16)


@given(WRITTEN, st.sampled_from(sorted(KINDS)))
def test_near_misses_are_read_or_refused(text, kind):
    read_or_refused(text, kind)
