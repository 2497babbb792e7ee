"""A string's unit mass from what is known of that very string: weighed, or a tension its maker prints."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.errors import InputError
from setwright.instrument.quantities import Amount
from setwright.instrument.string_sets import Gauge, strings_from
from setwright.units.written import Written

# Makers' charts divide by 386.4 in/s2, standard gravity (ISO 80000-3) is 386.09; whether a chart that prints newtons
# or kilograms did so too is not known: half the difference between the two, as a share.
CHART = 0.0004
MADE = {False: 0.002, True: 0.01}  # how near a made string keeps to its chart, by wound; common practice, no source
USUAL = (0.6, 1.7)  # unit mass as a share of the catalogue's, outside which something else was typed


def printed_mass(one: Gauge, tension: Amount, hertz: float, scale: float) -> Amount:
    """Unit mass from a tension printed by the maker, mu = T / (2 L f)^2.

    The charts' own form, T = UW (2 L f)^2 / 386.4: no stretch and no stiffness (see
    `physics.strings.static_tension_published`).

    Args:
        one: the string.
        tension: as printed [N].
        hertz: the note it is printed for [Hz].
        scale: the scale it is printed for [m].
    Returns: unit mass [kg/m]; standard uncertainty from the printed digits, the charts' constant and making.
    Raises: InputError for a tension that is not above zero, or a result no string of this gauge can have.
    """
    if not tension.si > 0.0:
        raise InputError(f"{one.text}: a printed tension of {tension.written.text!r} is none; it is above zero.")
    mass = tension.si / (2.0 * scale * hertz) ** 2
    share = float(np.sqrt((tension.band / tension.si) ** 2 + CHART**2 + MADE[one.wound] ** 2))
    written = Written(mass, "kg/m", tension.written.text, 0.0)
    return Amount(mass, mass * share, True, written)


def with_mass(one: Gauge, mass: Amount) -> Gauge:
    """A string with its own unit mass in place of the catalogue's.

    Args:
        one: the string.
        mass: its unit mass [kg/m].
    Returns: the string.
    Raises: InputError for a mass no string of this gauge can have.
    """
    usual = float(strings_from([one]).unit_mass[0])
    share = mass.si / usual
    if not USUAL[0] <= share <= USUAL[1]:
        raise InputError(
            f"{mass.written.text!r} makes {one.text} {1e3 * mass.si:.3g} g/m, {share:.2g} times what that gauge "
            "usually weighs; check the number of the string, the note, the scale and the unit."
        )
    return replace(one, measured={**one.measured, "unit_mass": mass})
