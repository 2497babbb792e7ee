"""Readings from one convention to another: the span of the trade, fits, contradictions, refusals."""

import numpy as np
import pytest

from setwright.errors import ContradictionError, InputError
from setwright.instrument.conventions import (
    Observed,
    Way,
    convert,
    fit_shape,
    height_way,
    observe,
    relative_readings,
    relief_way,
    way_of,
)
from setwright.instrument.neckshape import SADDLE, Board, height_under, line_row, relief_under
from setwright.metrology.reading import Convention, Place, Reading
from setwright.physics.frets import fret_position

SCALE = 0.6477
REFERENCE = relief_way(1, 17, 8)


def board(joint=16, frets=22):
    return Board(SCALE, float(fret_position(SCALE, joint)), 0.6495, frets)


def ways(highs, reads=(7, 8, 9)):
    return [relief_way(1, high, read) for high in highs for read in reads]


def reading(value, low=1, high=17, read=8, u=25e-6, written=".010 in"):
    return Reading("relief", value, written, u, Place(), Convention(low, high, read))


def height(value, fret, capo=None, u=0.1e-3):
    return Reading("string_height", value, f"{value * 1e3:g} mm", u, Place(fret, 1), Convention(capo=capo))


def span(lean, joint, highs, frets=22):
    got = relative_readings(board(joint, frets), ways(highs), REFERENCE, lean)
    return round(float(got.min()), 2), round(float(got.max()), 2)


def test_the_same_neck_reads_076_to_129_times_as_much():
    """The trade's span comes out for an even bow up to fret 16, 22 frets, held at 1 and at 15, 17 or the last, read at
    7, 8 or 9: least held at 15 and read at 9, most held at the last and read at 8."""
    assert span(0.0, 16, (15, 17, 22)) == (0.76, 1.29)
    all_ways = ways((15, 17, 22))
    got = relative_readings(board(), all_ways, REFERENCE)
    assert all_ways[int(got.argmin())] == relief_way(1, 15, 9)
    assert all_ways[int(got.argmax())] == relief_way(1, 22, 8)


def test_where_the_span_holds_and_where_not():
    """To two digits, of joints at 13 to 22, leans -0.5 to 0.5, boards of 20 to 24 frets, always held at 17, the last
    and one fret of 13 to 16. It takes fret 15; an even bow gives it with a joint at 16 on 22 frets or at 19 on 21."""
    exact = {
        (frets, short, joint, lean)
        for frets in (20, 21, 22, 24)
        for short in (13, 14, 15, 16)
        for joint in range(13, min(frets, 22) + 1)
        for lean in (-0.5, -0.3, 0.0, 0.3, 0.5)
        if span(lean, joint, (short, 17, frets), frets) == (0.76, 1.29)
    }
    assert exact == {(21, 15, 17, -0.3), (21, 15, 19, 0.0), (22, 15, 16, 0.0), (22, 15, 17, 0.3), (22, 15, 19, 0.5)}
    assert span(0.0, 16, (16, 17, 22)) == (0.86, 1.29)
    assert span(0.0, 16, (15, 17, 24), frets=24) == (0.76, 1.37)


def test_span_by_drawing_the_neck():
    """The two ends of the span from a drawn arc: circle of 250 m up to fret 16, its tangent beyond, lines by
    interpolation. 1e-4 of the ratio: the arc's own slope."""
    joint, radius = float(fret_position(SCALE, 16)), 250.0
    x = np.asarray(fret_position(SCALE, np.arange(23)))
    y = radius - np.sqrt(radius**2 - np.maximum(joint - x, 0.0) ** 2)

    def gap(high, read):
        return np.interp(x[read], x[[1, high]], y[[1, high]]) - y[read]

    drawn = np.array([gap(15, 9), gap(22, 8)]) / gap(17, 8)
    got = relative_readings(board(), [relief_way(1, 15, 9), relief_way(1, 22, 8)], REFERENCE)
    assert got == pytest.approx(drawn, rel=1e-4)


def test_one_reading_converts_with_a_band():
    """.010 in by 1.2926 is .0129 in; the band holds the gauge and the unknown place of the bow."""
    got = convert(reading(0.254e-3), relief_way(1, 22, 8), board(), system="inch")
    assert got.known.value == pytest.approx(0.254e-3 * 1.2926, rel=1e-3)
    assert 25e-6 * 1.2926 < got.known.standard_uncertainty < 45e-6
    assert got.text == (
        "relief held at 1 and 17, read at 8: .010 in; as relief held at 1 and 22, read at 8: .0129 in, "
        "standard uncertainty .00132 in, converted through the shape of the neck"
    )


def test_the_same_way_gives_the_reading_back():
    for asked in (reading(0.3e-3), height(1.7e-3, 12), height(1.4e-3, 17, capo=1)):
        got = convert(asked, way_of(asked), board()).known
        assert got.value == pytest.approx(asked.value, rel=1e-6)
        assert got.standard_uncertainty == pytest.approx(asked.standard_uncertainty, rel=1e-4)


def test_a_straightedge_on_the_crowns_reads_as_the_string():
    edge = relief_way(1, 17, 8, straightedge=True)
    assert relative_readings(board(), [edge], REFERENCE).tolist() == [1.0]
    assert str(edge) == "relief under a straightedge on 1 and 17, read at 8"
    assert way_of(Reading("relief", 1e-4, "", 1e-5, convention=Convention(1, 17, 8, True))) == edge


def test_more_readings_find_the_lean_and_narrow_the_band():
    """A neck of bow 0.015 1/m leaning 0.4 towards the nut, read under five ways without error."""
    neck = np.array([0.015, 0.006, 0.45e-3, 4e-3])
    asked = [
        relief_way(1, 22, 4),
        relief_way(1, 22, 8),
        relief_way(1, 22, 13),
        relief_way(1, 10, 5),
        relief_way(5, 17, 11),
    ]
    seen = [Observed(w, float(line_row(board(), w.start, w.end, w.read) @ neck), 5e-6) for w in asked]
    many = fit_shape(board(), seen)
    assert many.shape.mean[:2] == pytest.approx(neck[:2], rel=0.05)
    assert many.freedom == 4
    assert many.chi_square < 1.0
    one = fit_shape(board(), seen[:1])
    u = relief_under(many.shape, (1, 17), 8).standard_uncertainty
    assert u < relief_under(one.shape, (1, 17), 8).standard_uncertainty / 3.0


def test_chi_square_over_many_necks():
    """300 necks drawn from the model itself, read with noise: mean chi square is the degrees of freedom within 4
    standard errors, and converted values scatter as they say."""
    rng = np.random.default_rng(5)
    asked = [relief_way(1, 22, 8), relief_way(1, 17, 6), relief_way(1, 12, 5), relief_way(3, 20, 12)]
    rows = np.stack([line_row(board(), w.start, w.end, w.read) for w in asked])
    target = line_row(board(), 1, 16, 9)
    chi, off = [], []
    for _ in range(300):
        neck = np.array([0.015, 0.5 * 0.015 * rng.standard_normal(), 0.0, 0.0])
        noisy = rows @ neck + 15e-6 * rng.standard_normal(4)
        fit = fit_shape(board(), [Observed(w, float(v), 15e-6) for w, v in zip(asked, noisy, strict=True)])
        known = relief_under(fit.shape, (1, 16), 9)
        chi.append(fit.chi_square)
        off.append((known.value - target @ neck) / known.standard_uncertainty)
    assert np.mean(chi) == pytest.approx(3.0, abs=4.0 * np.sqrt(6.0 / 300))
    assert np.std(off) == pytest.approx(1.0, abs=0.17)


def test_heights_by_hand():
    """A straight neck: slot 0.5 mm, saddle 4 mm over the crowns, saddle at 649.5 mm. Over fret 12 (323.85 mm) the line
    stands 0.5 + 3.5 x 323.85/649.5 = 2.2452 mm; from a capo on 1 (36.353 mm) 4 x 287.497/613.147 = 1.8756 mm; fret 1
    with the string held at 3 (103.04 mm): 0.5 x (1 - 36.353/103.04) = 0.3236 mm."""
    flat = fit_shape(board(), [Observed(relief_way(1, 17, 8), 0.0, 1e-9)]).shape
    neck = type(flat)(flat.board, np.array([0.0, 0.0, 0.5e-3, 4e-3]), np.zeros((4, 4)))
    assert height_under(neck, 12).value == pytest.approx(2.2452e-3, abs=1e-7)
    assert height_under(neck, 12, capo=1).value == pytest.approx(1.8756e-3, abs=1e-7)
    assert height_under(neck, 1, held=3).value == pytest.approx(0.3236e-3, abs=1e-7)
    assert height_under(neck, 12).standard_uncertainty == 0.0


def test_heights_convert_between_frets_and_capo():
    """Forward from a made neck to readings, back through the fit; every other height then comes out right."""
    neck = np.array([0.015, 0.0, 0.45e-3, 4.6e-3])
    made = [height_way(12), height_way(1), relief_way(1, 17, 8)]
    fit = fit_shape(board(), [Observed(w, float(line_row(board(), w.start, w.end, w.read) @ neck), 1e-6) for w in made])
    for way in (height_way(14), height_way(17), height_way(22), height_way(12, 1), height_way(1, held=3)):
        want = float(line_row(board(), way.start, way.end, way.read) @ neck)
        got = height_under(fit.shape, way.read, way.start or None, None if way.end == SADDLE else way.end)
        assert got.value == pytest.approx(want, abs=2e-6)
    assert fit.freedom == 0


def test_a_relief_read_too_narrows_a_height():
    alone = convert(height(1.6e-3, 12), height_way(17), board()).known
    both = convert(height(1.6e-3, 12), height_way(17), board(), [reading(0.25e-3)]).known
    assert both.standard_uncertainty < 0.7 * alone.standard_uncertainty
    assert alone.value == pytest.approx(1.64e-3, abs=0.05e-3)


def test_a_contradiction_is_named():
    """Three reliefs of one neck and one ten times too large."""
    good = [(relief_way(1, 17, 8), 1.0), (relief_way(1, 22, 8), 1.29), (relief_way(1, 17, 7), 1.01)]
    seen = [Observed(w, 0.25e-3 * k, 25e-6) for w, k in good]
    wrong = Observed(relief_way(1, 22, 9), 0.25e-3 * 12.8, 25e-6)
    with pytest.raises(
        ContradictionError, match=r"the relief held at 1 and 22, read at 9 of 3\.200 mm .* say 0\.320 mm"
    ):
        fit_shape(board(), [*seen[:1], wrong, *seen[1:]])
    assert fit_shape(board(), seen).freedom == 2


def test_ways_in_words():
    assert str(height_way(12)) == "height at fret 12"
    assert str(height_way(17, 1)) == "height at fret 17 with a capo on 1"
    assert str(height_way(1, held=3)) == "clearance at fret 1 with the string held at 3"
    first = Reading("first_fret_clearance", 4e-4, "", 5e-5)
    assert way_of(first) == Way(0, SADDLE, 1)
    assert observe(first) == Observed(Way(0, SADDLE, 1), 4e-4, 5e-5)


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (Reading("relief", 1e-4, "", 1e-5), "does not say how it was read"),
        (Reading("string_height", 1e-3, "", 1e-4), "at which fret"),
        (Reading("pitch", 440.0, "", 0.1), "no other convention"),
    ],
)
def test_readings_without_a_way(asked, message):
    with pytest.raises(InputError, match=message):
        way_of(asked)


def test_what_cannot_be_converted():
    with pytest.raises(InputError, match="does not give the relief"):
        convert(height(1.6e-3, 12), REFERENCE, board())
    with pytest.raises(InputError, match="does not give the height at fret 12"):
        convert(reading(1e-4), height_way(12), board())
    with pytest.raises(InputError, match="one it does not have"):
        convert(reading(1e-4), relief_way(1, 24, 8), board())
    with pytest.raises(InputError, match="nothing was read"):
        fit_shape(board(), [])
    with pytest.raises(InputError, match="lean of 0"):
        fit_shape(board(), [observe(reading(1e-4))], lean=0.0)
    with pytest.raises(InputError, match="not a finite number"):
        fit_shape(board(), [Observed(REFERENCE, float("nan"), 1e-5)])
    with pytest.raises(InputError, match="only reliefs"):
        relative_readings(board(), [height_way(12)], REFERENCE)


@pytest.mark.parametrize(
    "make",
    [
        lambda: relief_way(0, 17, 8),
        lambda: relief_way(1, 8, 8),
        lambda: height_way(1, capo=1),
        lambda: height_way(3, held=3),
        lambda: height_way(3, capo=0),
    ],
)
def test_ways_out_of_order(make):
    with pytest.raises(InputError, match=r"do not rise|needs a capo"):
        make()
