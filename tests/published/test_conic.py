"""Round and conical boards against circle tables and geometry worked elsewhere.

Segments of circles of radius 1, chord and height by central angle: Machinery's Handbook, table of segments (from
memory). Cones: sections and curvatures computed here from points in space, at high precision where it matters.
"""

import mpmath
import numpy as np

from setwright.physics import clearance as cl
from setwright.physics import frets

TABLE = "Machinery's Handbook, segments of circles for radius 1"
# central angle, chord, height: five printed digits
SEGMENTS = np.array(
    [
        (10, 0.17431, 0.00381),
        (20, 0.34730, 0.01519),
        (30, 0.51764, 0.03407),
        (45, 0.76537, 0.07612),
        (60, 1.00000, 0.13397),
        (90, 1.41421, 0.29289),
    ]
)


def test_sagitta_of_table_chords(judged):
    """Radius 0.1 m, chords as printed. Tolerance: half the last digit of height, and of chord times the slope
    tan(angle/4) <= 0.5, together 1e-5 of the radius."""
    got = cl.sagitta(0.1, 0.1 * SEGMENTS[:, 1]) / 0.1
    wrong = cl.sagitta(0.11, 0.1 * SEGMENTS[:, 1]) / 0.1
    judged("height of a segment", SEGMENTS[:, 2], got, 1e-5, "1", TABLE, "MEMORY", wrong=wrong)


def test_radius_from_table_chord_and_height(judged):
    """From 20 degrees on: below, five digits of the height leave less than three of the radius. 5e-6 in the height of
    0.01519 is 3.3e-4 of the radius."""
    rows = SEGMENTS[1:]
    got = cl.radius_from_sagitta(0.2 * rows[:, 1], 0.2 * rows[:, 2]) / 0.2
    wrong = cl.radius_from_sagitta(0.2 * rows[:, 1], 0.25 * rows[:, 2]) / 0.2
    judged("radius of a segment", np.ones(5), got, 4e-4, "1", TABLE, "MEMORY", wrong=wrong)


def test_radius_gauges(judged):
    """Inch radii of the trade under a notch of 1 in: R - sqrt(R^2 - 1/4) with 40 digits. 1e-12 m: arithmetic."""
    radii = ("7.25", "9.5", "10", "12", "16", "20")
    with mpmath.workdps(40):
        want = [float((mpmath.mpf(r) - mpmath.sqrt(mpmath.mpf(r) ** 2 - mpmath.mpf("0.25"))) * 0.0254) for r in radii]
    got = cl.sagitta(0.0254 * np.array([float(r) for r in radii]), 0.0254)
    wrong = cl.sagitta(0.0254 * np.array([float(r) for r in radii]), 0.025)
    judged(
        "rise under a radius gauge", want, got, 1e-12, "m", "circle geometry, mpmath 40 digits", "DERIVED", wrong=wrong
    )


def cone_point(x, z, end, r0, r1):
    """Depth of the surface by intersecting its generator from the apex: independent of the section formula.

    The apex lies where the radius is zero, x0 = -r0 end/(r1 - r0); a point (x, z) sits on the ray through the section
    in the plane of the nut, a circle of radius r0."""
    x0 = -r0 * end / (r1 - r0)
    scale = -x0 / (x - x0)
    at_nut = z * scale
    return (r0 - np.sqrt(r0**2 - at_nut**2)) / scale


def test_board_under_a_string_lies_on_the_cone(judged):
    """Strings 17.5 mm out at the nut, 26 mm at the saddle; board 241 to 305 mm. 1e-12 m: arithmetic."""
    end = float(frets.fret_position(0.6477, 22))
    x = np.asarray(frets.fret_position(0.6477, np.array([1, 5, 12, 17, 22])))
    radius, got = cl.board_under_string(x, end, 0.241, 0.305, 0.6477, 0.0175, 0.026)
    z = 0.0175 + (0.026 - 0.0175) * x / 0.6477
    want = cone_point(x, z, end, 0.241, 0.305)
    _, wrong = cl.board_under_string(x, end, 0.241, 0.241, 0.6477, 0.0175, 0.026)
    judged("drop under a string", want, got, 1e-12, "m", "generators through the apex", "DERIVED", wrong=wrong)
    assert np.allclose(radius, 0.241 + (0.305 - 0.241) * x / end, rtol=1e-14)


def test_a_board_is_straight_under_strings_that_meet_in_its_apex(judged):
    """10 in at the nut, spread from 35 to 49 mm at the last fret: 14 in. Every string, not only the outer ones, then
    has no hollow; on a plain 10 in board the outer ones have a hump of about (dz)^2 / 8R between nut and last fret."""
    radius = cl.radius_for_straight_strings(0.254, 0.0175, 0.0245)
    judged("radius at the end", 14.0, radius / 0.0254, 1e-9, "in", "10 in x 49/35", "DERIVED")
    end = 0.4659
    saddle = 0.6477
    nut_z = np.array([0.0035, 0.0105, 0.0175])
    saddle_z = nut_z * (1.0 + 0.4 * saddle / end)
    hollow = cl.hollow_under_string(0.0, end / 2, end, end, 0.254, radius, saddle, nut_z, saddle_z)
    assert np.abs(hollow).max() < 1e-15
    plain = cl.hollow_under_string(0.0, end / 2, end, end, 0.254, 0.254, saddle, nut_z, saddle_z)
    spread = 0.4 * nut_z
    judged(
        "hump under spread strings",
        -(spread**2) / (8.0 * 0.254),
        plain,
        0.02 * spread**2 / (8.0 * 0.254),
        "m",
        "flat arc, (dz)^2 / 8R; 2 %: (z/R)^2 left out",
        "DERIVED",
        wrong=-plain,
    )


def test_radius_square_to_a_string(judged):
    """Curvature of the curve a plane cuts from the cone: five points found on the surface by Newton, 3 mm apart, and
    their differences. Plane through the place, spanned by the normal and the direction square to the string. 2e-5 of
    the radius: finite differences."""
    end, r0, r1 = 0.4659, 0.241, 0.406
    x, z, slant = 0.35, 0.022, 0.0131
    slope = (r1 - r0) / end

    def f(p):
        return p[2] ** 2 + p[1] ** 2 - 2.0 * p[1] * (r0 + slope * p[0])

    def grad(p):
        return np.array([-2.0 * p[1] * slope, 2.0 * (p[1] - r0 - slope * p[0]), 2.0 * p[2]])

    here = np.array([x, float(cone_point(x, z, end, r0, r1)), z])
    normal = grad(here) / np.linalg.norm(grad(here))
    string = np.array([1.0, 0.0, slant])
    string -= normal * (string @ normal)
    across = np.cross(normal, string / np.linalg.norm(string))
    heights = []
    steps = 3e-3 * np.arange(-2, 3)
    for u in steps:
        v = 0.0
        for _ in range(20):
            p = here + u * across + v * normal
            v -= f(p) / (grad(p) @ normal)
        heights.append(v)
    second = (-heights[0] + 16 * heights[1] - 30 * heights[2] + 16 * heights[3] - heights[4]) / (12 * 9e-6)
    want = 1.0 / abs(second)
    got = cl.radius_square_to_string(x, z, slant, end, r0, r1)
    plain = frets.board_radius(x, end, r0, r1)
    judged("radius square to the string", want, got, 2e-5 * want, "m", "section by a plane", "DERIVED", wrong=plain)


def test_string_spread(judged):
    """Bass .100 .080 .065 .045 in over 57 mm, by hand: half diameters between centres 2.286, 1.8415 and 1.397 mm leave
    three gaps of 17.1585 mm. 1e-4 mm: rounding."""
    wire = 0.0254 * np.array([0.100, 0.080, 0.065, 0.045])
    got = cl.string_places(0.057, wire, "gaps") * 1e3
    want = [-28.5, -28.5 + 19.4445, -28.5 + 38.4445, 28.5]
    even = cl.string_places(0.057, wire) * 1e3
    judged("places at equal gaps", want, got, 1e-4, "mm", "sum by hand", "DERIVED", wrong=even)
    assert np.allclose(even, [-28.5, -9.5, 9.5, 28.5])
