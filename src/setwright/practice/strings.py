"""One string: its pull over nut and peg, and its pitch. Plain floats; derived here.

A string of unstretched length `whole` runs from the peg over the nut to its end on the plate. `main` of it lies beyond
the nut. Where the nut grips, the two parts may pull differently up to the factor exp(grip) (rope over a drum, Euler
and Eytelwein, elementary); beyond that the string slides until they just do.
"""

from __future__ import annotations

from math import exp, pi, sqrt
from typing import NamedTuple

from setwright.practice.body import Wire


class Pull(NamedTuple):
    """What a string does."""

    tension: float  # N, beyond the nut
    rate: float  # N/m, growth with the path beyond the nut
    main: float  # m, unstretched beyond the nut


def law(axial: float, curve: float, strain: float) -> tuple[float, float]:
    """Tension and stiffness of a string, T = EA (e + curve e^2).

    Args:
        axial: EA at no strain [N].
        curve: relative change of stiffness per strain, halved [1].
        strain: e [1].
    Returns: tension [N] and dT/de [N].
    """
    return axial * strain * (1.0 + curve * strain), axial * (1.0 + 2.0 * curve * strain)


def pull(wire: Wire, axial: float, path: float, whole: float, main: float) -> Pull:
    """Tension of a string whose path beyond the nut is given.

    Args:
        wire: the string.
        axial: EA at the room's warmth [N].
        path: from the nut to the string's end [m].
        whole: unstretched from peg to end [m].
        main: unstretched beyond the nut, as it lay before [m].
    Returns: the pull, slack = 0.
    """
    behind, grip, curve = wire.behind, wire.grip, wire.curve
    total = path + behind
    if total <= whole:
        return Pull(0.0, 0.0, whole * path / total)
    if grip <= 0.0 or behind <= 0.0:
        tension, stiff = law(axial, curve, total / whole - 1.0)
        return Pull(tension, stiff / whole, whole * path / total)
    here, stiff = law(axial, curve, path / main - 1.0)
    there, _ = law(axial, curve, behind / (whole - main) - 1.0)
    ratio = exp(grip)
    if here <= ratio * there and there <= ratio * here:
        return Pull(here, stiff / main, main)
    if here <= ratio * there:
        ratio = 1.0 / ratio
    return _slide(wire, axial, path, whole, ratio)


def _slide(wire: Wire, axial: float, path: float, whole: float, ratio: float) -> Pull:
    """The string slides until the pull beyond the nut is `ratio` times that behind it: Newton on the split."""
    behind, curve = wire.behind, wire.curve
    main = whole * path / (path + behind)
    for _ in range(12):
        rest = whole - main
        here, stiff = law(axial, curve, path / main - 1.0)
        there, stiff_behind = law(axial, curve, behind / rest - 1.0)
        ahead, back = stiff * path / (main * main), ratio * stiff_behind * behind / (rest * rest)
        step = (here - ratio * there) / (ahead + back)
        main += step
        if abs(step) < 1e-12:
            break
    return Pull(ratio * there, stiff / main * back / (ahead + back), main)


def hertz(length: float, tension: float, strain: float, unit_mass: float, bending: float) -> float:
    """First partial of a stiff string with hinged ends, 4 L^2 f^2 mu = (T + pi^2 EI / L^2)(1 + e); 0 when slack.

    Args:
        length: sounding length [m].
        tension: [N].
        strain: of the sounding part [1].
        unit_mass: unstretched, at the room's warmth [kg/m].
        bending: EI at the room's warmth [N m2].
    Returns: [Hz].
    """
    if tension <= 0.0:
        return 0.0
    stiff = pi * pi * bending / (length * length)
    return sqrt((tension + stiff) * (1.0 + strain) / unit_mass) / (2.0 * length)


def strain_at(wire: Wire, tension: float, axial: float) -> float:
    """Strain under a tension: the inverse of `law`.

    Args:
        wire: the string.
        tension: [N].
        axial: EA [N].
    Returns: [1].
    """
    share = tension / axial
    return 2.0 * share / (1.0 + sqrt(1.0 + 4.0 * wire.curve * share))
