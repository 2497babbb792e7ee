"""Shims in the neck pocket. Trade figures: common practice, no source. Worked example: derived, every step by hand."""

import numpy as np

from setwright.physics import neck

INCH = 0.0254


def test_one_and_two_shims_raise_the_line_at_the_bridge(judged):
    """.010 in at the heel end of a 3 in pocket: about 1/32 in at the bridge, two: 2/32. The saddle of a 25.5 in scale
    lies 10.03 in beyond the mouth. 8 %: "about" in the trade means to the nearest 64th, here taken tighter."""
    thickness = np.array([0.010, 0.020]) * INCH
    lever = 25.5 * INCH - 0.393
    got = neck.line_rise(neck.strip_angle(thickness, 3.0 * INCH), lever) / INCH
    wrong = neck.line_rise(neck.strip_angle(thickness, 2.5 * INCH), lever) / INCH
    want = np.array([1.0, 2.0]) / 32.0
    judged("rise at the bridge, 1 and 2 shims", want, got, 0.08 * want, "in", "1/32 in each", "PRACTICE", wrong=wrong)


def test_rise_is_three_point_four_times_the_shim(judged):
    """76 mm pocket: saddles must rise about 3.4 t. 0.1: its last digit."""
    got = neck.line_rise(neck.strip_angle(0.5e-3, 0.076), 0.648 - 0.393) / 0.5e-3
    judged("saddle rise per shim", 3.4, got, 0.1, "1", "76 mm pocket, 3.4 t", "DERIVED")


def test_worked_example_half_a_millimetre(judged):
    """0.5 mm strip 70 mm from the mouth; mouth at (393, -16) mm, board at the nut (0, 12.5) mm. By hand, each value:

    angle = 0.5/70 = 0.00714286 rad; cos = 1 - 0.0000255101; sin = 0.00714280
    from the mouth: (-393, 28.5) mm
    x' = -393 cos - 28.5 sin = -392.989975 - 0.203570 = -393.193544 mm: 0.1935 mm back
    y' = -393 sin + 28.5 cos = -2.807119 + 28.499273 = 25.692154 mm: 2.8078 mm down
    """
    angle = neck.strip_angle(0.5e-3, 0.070)
    source = "plane rotation by hand, 0.5 mm strip, 70 mm lever"
    judged("angle of the neck", 0.00714286, angle, 5e-9, "rad", source, "DERIVED")
    x, y = neck.rotate(0.0, 0.0125, 0.393, -0.016, angle)
    other = neck.rotate(0.0, 0.0125, 0.393, -0.016, -angle)
    judged(
        "nut from the mouth",
        [-393.193544, 25.692154],
        np.array([x - 0.393, y + 0.016]) * 1e3,
        2e-6,
        "mm",
        source,
        "DERIVED",
        wrong=np.array([other[0] - 0.393, other[1] + 0.016]) * 1e3,
    )
    judged("nut moves down", 2.8, (0.0125 - y) * 1e3, 0.05, "mm", "worked example: 2.8 mm down", "DERIVED")
    judged("nut moves back", 0.2, -x * 1e3, 0.01, "mm", "worked example: 0.2 mm back", "DERIVED")


def test_rise_at_the_bridge_of_the_worked_example(judged):
    """255 mm beyond the mouth: 255 tan(0.00714286) = 1.821460 mm by hand."""
    got = neck.line_rise(neck.strip_angle(0.5e-3, 0.070), 0.255) * 1e3
    judged("line at the bridge", 1.821460, got, 1e-6, "mm", "tangent by hand", "DERIVED")
