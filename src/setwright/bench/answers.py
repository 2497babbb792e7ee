"""What an instrument may answer: nonsense is refused where it comes in, by name, before anything is learned from it."""

from __future__ import annotations

from typing import Protocol

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.traits import Array

HIGHEST = 4.0  # times a string's wanted pitch; no string holds sixteen times its tension
WIDEST = 0.03  # m, of a rear gap either way; no plate tilts so far
FURTHEST = 0.1  # m, of a claw from its wall; no cavity is so long


class Answering(Protocol):
    """An instrument that answers; strings from 1, SI units."""

    def pitch(self, string: int) -> float: ...
    def tune(self, string: int, hz: float) -> float: ...
    def claw(self, turns: float) -> None: ...
    def gap(self) -> float: ...
    def claw_distance(self) -> float: ...
    def wedge(self, m: float | None) -> None: ...
    def springs(self, n: int) -> None: ...
    def attitude(self, name: str) -> None: ...
    def bar(self, rad: float) -> None: ...


@frozen
class Checked:
    """An instrument whose readings are looked at before they are believed. wanted: (S) Hz, from the thinnest string."""

    on: Answering
    wanted: Array

    def pitch(self, string: int) -> float:
        """Pluck string (from 1) and read [Hz]; 0 = slack."""
        return self._hertz(f"the pitch of string {string}", string, self.on.pitch(string))

    def tune(self, string: int, hz: float) -> float:
        """Tune string (from 1) to hz [Hz]; what is heard then [Hz]."""
        return self._hertz(f"the pitch of string {string} after it was tuned", string, self.on.tune(string, hz))

    def gap(self) -> float:
        """Read the rear gap [m]."""
        return within("the rear gap", self.on.gap(), -WIDEST, WIDEST, "m")

    def claw_distance(self) -> float:
        """Read the claw's distance to the wall [m]."""
        return within("the claw distance", self.on.claw_distance(), 0.0, FURTHEST, "m")

    def _hertz(self, what: str, string: int, answer: float) -> float:
        return within(what, answer, 0.0, HIGHEST * float(self.wanted[string - 1]), "Hz")


def within(what: str, answer: object, least: float, most: float, unit: str) -> float:
    """An answer that can be a reading.

    Args:
        what: was asked, for the message.
        answer: as it came.
        least: it can be, in the unit.
        most: it can be, in the unit.
        unit: "Hz", "m".
    Returns: the answer, in the unit.
    Raises: InputError naming the answer where it is no number or no such reading.
    """
    if isinstance(answer, bool) or not isinstance(answer, int | float):
        raise InputError(f"the instrument answered {str(answer)[:40]!r} for {what}; that must be one number in {unit}.")
    if not least <= answer <= most:
        raise InputError(
            f"the instrument answered {answer:.6g} {unit} for {what}; that can be {least:.6g} to {most:.6g} {unit}, "
            "read it again and send it in this unit."
        )
    return float(answer)
