"""The catalogue: every pattern is complete, every value has a source, and a set of strings comes out as it should."""

import pytest

from setwright.errors import InputError
from setwright.instrument import catalogue
from setwright.instrument.instrument_fields import LAYOUT
from setwright.instrument.packaged import load
from setwright.instrument.quantities import Amount
from setwright.instrument.string_sets import core_across, gauge, packing, string_parts, strings_from, trust

FILLED = ("bridge", "nut", "springs", "claw", "thermal", "playing")
OPEN = {("bridge", "kind"), ("bridge", "saddle_aft"), ("bridge", "pivot_place"), ("neck", "kind"), ("springs", "kind")}
BY_SPRING = {("springs", k) for k in ("rate", "initial_pull", "free_length", "closed_rate")}
TENS = [".010", ".013", ".017", ".026w", ".036w", ".046w"]


@pytest.mark.parametrize("kind", catalogue.bridge_kinds())
def test_a_bridge_pattern_fills_every_trait(kind):
    entries = catalogue.bridge(kind).entries
    want = {(t, f.key) for t in FILLED for f in LAYOUT.table(t).fields} - OPEN - BY_SPRING
    assert set(entries) == want
    assert all(entry.source for entry in entries.values())


@pytest.mark.parametrize("kind", catalogue.neck_kinds())
def test_a_neck_pattern_fills_every_trait(kind):
    assert set(catalogue.neck(kind).entries) == {("neck", f.key) for f in LAYOUT.table("neck").fields} - OPEN


@pytest.mark.parametrize("kind", catalogue.spring_kinds())
def test_a_spring_pattern_fills_every_trait(kind):
    assert set(catalogue.spring(kind).entries) == BY_SPRING


@pytest.mark.parametrize("kind", catalogue.bridge_kinds())
def test_what_is_learned_has_a_stated_uncertainty(kind):
    pattern = catalogue.bridge(kind)
    known = {**pattern.entries, **catalogue.neck(pattern.fitted_with).entries}
    known |= catalogue.spring(pattern.hung_with).entries
    for (table, key), entry in known.items():
        if LAYOUT.table(table).index[key].learn:
            assert all(isinstance(v, Amount) and v.stated for v in entry.value), (table, key)


def test_the_patterns_there_are():
    assert catalogue.bridge_kinds() == (
        "two-post knife edge",
        "six-screw knife edge",
        "double-locking knife edge",
        "fixed, six saddles",
        "fixed bass, four saddles",
    )
    locking = catalogue.bridge("double-locking knife edge")
    assert locking.clamped
    assert locking.knife_edge
    assert locking.entries["nut", "locked"].value is True
    assert not catalogue.bridge("fixed, six saddles").knife_edge
    assert catalogue.bridge("fixed bass, four saddles").strings == 4


def test_usual_springs():
    entries = catalogue.spring("usual").entries
    rate, pull, free = (entries["springs", k].value[0] for k in ("rate", "initial_pull", "free_length"))
    assert (rate.si, rate.band) == pytest.approx((3500.0, 0.15 * 3500.0))
    assert (pull.si, pull.band) == pytest.approx((12.0, 0.2 * 12.0))
    assert free.band == pytest.approx(1e-3)


@pytest.mark.parametrize(
    ("call", "word", "hint"),
    [
        (catalogue.bridge, "two post knife edge", "two-post knife edge"),
        (catalogue.neck, "bolton maple", "bolt-on maple"),
        (catalogue.spring, "stong", "strong"),
    ],
)
def test_an_unknown_kind_names_the_nearest(call, word, hint):
    with pytest.raises(InputError, match=f"did you mean '{hint}'"):
        call(word)


def test_an_unknown_kind_without_a_near_one_lists_all():
    with pytest.raises(InputError, match=r"here: there is no spring pattern 'zzz'; known: 'usual', 'soft', 'strong'"):
        catalogue.spring("zzz", "here")


def test_the_files_are_read_once():
    assert load("bridges.toml") is load("bridges.toml")


def test_a_usual_set():
    """Core stiffness of a wound string is far below that of a plain one of the same mass; all hold twice their pull."""
    tens = catalogue.string_set(TENS)
    assert tens.diameter == pytest.approx([0.000254, 0.0003302, 0.0004318, 0.0006604, 0.0009144, 0.0011684])
    assert (tens.breaking > 130.0).all()
    assert tens.axial[3] < tens.axial[2]
    assert tens.bending[3] < tens.bending[2]


def test_measured_values_go_before_worked_out_ones():
    measured = catalogue_amounts(unit_mass=("2.3 g/m ± 0.01 g/m", "unit mass"), axial=("21000 N ± 300 N", "force"))
    one = gauge(".026w", measured=measured)
    made = strings_from([one])
    assert made.unit_mass[0] == pytest.approx(2.3e-3)
    assert made.axial[0] == 21000.0
    parts = {part.path: part for part in string_parts([one])}
    assert parts["strings.unit_mass"].sd == pytest.approx(0.01 / 2.3)
    assert parts["strings.axial"].source == "typed"
    assert parts["strings.axial"].sd == pytest.approx(1.0 / 70.0)


def test_a_measured_core_decides_stiffness_and_strength():
    thick = strings_from([gauge(".046w", measured=catalogue_amounts(core=(".018 in", "length")))])
    usual = strings_from([gauge(".046w")])
    share = (0.018 * 0.0254 / core_across(0.046 * 0.0254)) ** 2
    assert thick.axial[0] == pytest.approx(share * usual.axial[0])
    assert thick.bending[0] == pytest.approx(share**2 * usual.bending[0])
    assert thick.breaking[0] > usual.breaking[0]


def test_trust_in_strings():
    assert trust(False, "unit_mass")[0] == pytest.approx(0.002)
    assert trust(True, "unit_mass")[0] == pytest.approx(0.05)
    assert trust(False, "axial")[0] == pytest.approx(0.03)
    assert trust(True, "axial")[0] == pytest.approx(0.08)
    sds = [part.sd for part in string_parts([gauge(t) for t in TENS])]
    assert sds == pytest.approx([0.03] * 3 + [0.08] * 3 + [0.002] * 3 + [0.05] * 3)


@pytest.mark.parametrize(
    ("text", "metres", "wound"),
    [
        (".010", 0.000254, False),
        ("0.0095", 0.0002413, False),
        ('.010"', 0.000254, False),
        (".026w", 0.0006604, True),
        (".026 W", 0.0006604, True),
        (".018 plain", 0.0004572, False),
        ("0.66 mm wound", 0.00066, True),
        ("46 thou w", 0.0011684, True),
    ],
)
def test_gauges_as_they_are_written(text, metres, wound):
    one = gauge(text)
    assert (one.diameter, one.wound) == (pytest.approx(metres), wound)


@pytest.mark.parametrize("text", ["10", "w", ".046", ".009w", ".250w", ".001", "thin", "", "-.010", "nan"])
def test_what_is_no_gauge(text):
    with pytest.raises(InputError):
        gauge(text, "set.toml, line 3, found.strings[1]")


@pytest.mark.parametrize(("text", "core"), [(".010", ".008 in"), (".026w", ".025 in")])
def test_a_core_that_cannot_be(text, core):
    with pytest.raises(InputError, match="core"):
        gauge(text, measured=catalogue_amounts(core=(core, "length")))


def test_packing_lies_where_metal_can():
    assert all(0.75 < packing(d) < 0.9 for d in (0.0004, 0.001, 0.002, 0.003, 0.0037))


def catalogue_amounts(**given):
    from setwright.instrument.quantities import amount

    return {name: amount(text, kind) for name, (text, kind) in given.items()}
