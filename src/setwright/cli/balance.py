"""Figures of the finished balance on a job card."""

from __future__ import annotations

from setwright.cli.layout import columns, labelled
from setwright.cli.words import number, signed_cents, stiffness
from setwright.planning.plan import Figures
from setwright.units.show import System, show_force, unit_for
from setwright.units.tables import unit_size

COLUMN = 13


SLACK = -4800.0  # cents, lower than any string sounds: it hangs slack


def finished_balance(figures: Figures, system: System) -> list[str]:
    """What the finished balance is like.

    Args:
        figures: of the plan.
        system: "inch" or "mm".
    Returns: lines.
    """
    out = labelled(
        "stiffness",
        f"{stiffness(figures.stiffness)} with the pegs left alone, {stiffness(figures.stiffness_retuned)} with every "
        "string brought back to pitch",
        2,
        COLUMN,
    )
    out += labelled("arm", f"up until {_stop(figures.up_stop)}, down until {_stop(figures.down_stop)}", 2, COLUMN)
    out += labelled("lying", _attitudes(figures), 2, COLUMN)
    out += _preload(figures)
    return [*out, "", *_per_string(figures, system)]


def _stop(name: str) -> str:
    """A stop, told as where the plate ends."""
    if name.startswith("block"):
        return f"{name.replace('block at', 'the block meets', 1)}"
    return f"the {name.replace(' on the ', ' meets the ')}"


def _attitudes(figures: Figures) -> str:
    parts = [f"{name} {signed_cents(value)} c" for name, value in figures.attitude]
    return f"mean pitch against the playing position: {', '.join(parts)}" if parts else ""


def _preload(figures: Figures) -> list[str]:
    if figures.preload is None:
        return []
    text = f"presses on the body with {number(figures.preload, 'moment', 'mm')}"
    lifts = [value for value in figures.lifts_at or () if value < float("inf")]
    if lifts:
        text += f"; the first string to lift it, bent alone, does so after {signed_cents(min(lifts), 1.0)} c"
    return labelled("rest", text, 2, COLUMN)


def _per_string(figures: Figures, system: System) -> list[str]:
    strings = [str(i + 1) for i in range(len(figures.tensions))]
    digit = 0.5 * unit_size("force", unit_for("force", system))
    forces = [show_force(value, system, digit).split(" ") for value in figures.tensions]
    rows = [
        ("string", *strings),
        ("arm up, c", *(_reach(pair) for pair in figures.up)),
        ("arm down, c", *(_reach(pair) for pair in figures.down)),
        ("dip when one is bent a tone, c", *(_dip(value) for value in figures.dip)),
        ("when string 1 breaks, c", *(_gone(value) for value in figures.broken)),
        ("drift, c per kelvin", *(signed_cents(value, 0.1) for value in figures.drift)),
        ("friction, c between its rests", *(f"{abs(value):.1f}" for value in figures.friction)),
        (f"tension, {forces[0][1] if forces else ''}", *(value for value, _ in forces)),
        ("share of breaking load, %", *(f"{100 * value:.0f}" for value in figures.margin)),
    ]
    return columns(rows, right=tuple(range(1, len(strings) + 1)))


def _reach(pair: tuple[float, float]) -> str:
    return signed_cents(pair[0], 10.0 if abs(pair[0]) >= 100 else 1.0)


def _gone(value: float) -> str:
    if value == 0.0:
        return "gone"
    return "slack" if value < SLACK else signed_cents(value, 1.0)


def _dip(value: float) -> str:
    return "bent" if value == 0.0 else signed_cents(value, 1.0)
