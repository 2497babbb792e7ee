"""The next step in words: what to do with its amount, where everything stands, what to read."""

from __future__ import annotations

from setwright.bench.next_step import Next, Standing
from setwright.cli.layout import columns, labelled, paragraph
from setwright.cli.step import step_lines
from setwright.cli.words import number, sentence, signed_cents, spelled
from setwright.physics.pitch import cents
from setwright.planning.guide import Advice
from setwright.planning.moves import BY_KEY
from setwright.planning.worth import Worth
from setwright.units.show import System, show_turns, show_value

BAND = 1.96  # standard uncertainties in the half width of 95 %
FINEST = 1 / 32  # turn
COARSE = 1 / 8  # turn
HAIR = 0.5  # cents
CAUTIONS = {
    "tune": " ".join(BY_KEY["tune"].cautions),
    "wedge": "Hold the plate by the bar; never let it snap back.",  # in or out
    "claw": " ".join(BY_KEY["claw"].cautions),
}


def next_lines(found: Next, system: System) -> list[str]:
    """The next step.

    Args:
        found: the step and where everything stands.
        system: "inch" or "mm".
    Returns: lines of at most 80 columns.
    """
    out: list[str] = []
    if found.step is not None:
        out += [f"Step {found.count} of {found.of} before strings and balance", ""]
        out += step_lines(found.count, found.step, system)
        out += labelled("journal", f'say so with "did step {found.step.key}", or screw by screw', 4, 10)
    elif found.advice is not None:
        out += paragraph(sentence(_words(found, found.advice, system)))
        out += labelled("why", sentence(found.advice.why), 4, 10)
        if found.advice.do in CAUTIONS:
            out += labelled("caution", CAUTIONS[found.advice.do], 4, 10)
    if found.standing is not None:
        out += ["", "Believed to stand now:", *_standing(found.standing, system)]
    out += _so_far(found)
    out += _worth(found.worth)
    for text in found.remarks:
        out += paragraph(spelled(sentence(text), system))
    return out


def _words(found: Next, advice: Advice, system: System) -> str:
    """The advice as one sentence."""
    if advice.do == "tune" and advice.string is not None and advice.hertz is not None:
        return f"tune string {advice.string + 1} to {show_value(advice.hertz, 'pitch', uncertainty=0.05)}" + _apart(
            found, advice.string, advice.hertz
        )
    if advice.do == "claw" and advice.turns is not None:
        way, half = "in" if advice.turns > 0.0 else "out", BAND * (advice.turns_sd or 0.0)
        band = f" ± {show_turns(max(half, COARSE), COARSE).removesuffix('s').removesuffix(' turn')}"
        return f"turn both claw screws {way} {show_turns(abs(advice.turns), FINEST)}{band}"
    if advice.do == "wedge":
        if advice.gap is None:
            return "take the wedge out"
        return f"put the wedge under the rear edge, rear gap {number(advice.gap, 'length', system)}"
    if advice.do == "attitude":
        return "lay the instrument as it will be played and checked"
    if advice.do == "done":
        if advice.chance is None:
            return "done"
        return f"done: inside every tolerance with {100.0 * advice.chance:.0f} %"
    strings = ", ".join(str(i + 1) for i in advice.strings)
    gap = ", read the rear gap and the claw distance" if found.gauges else ""
    return f"hear string{'s' if len(advice.strings) > 1 else ''} {strings}{gap}"


def _apart(found: Next, string: int, hertz: float) -> str:
    """How far a pitch stands from the string's own."""
    if not found.wanted:
        return ""
    off = float(cents(hertz, found.wanted[string]))
    if abs(off) < HAIR:
        return ", its own pitch"
    return f" ({abs(off):.0f} c {'over' if off > 0.0 else 'under'} its own pitch)"


def _standing(standing: Standing, system: System) -> list[str]:
    rows = [
        (f"string {i + 1}", f"{signed_cents(off, 1.0)} c", f"± {max(BAND * sd, 0.1):.1f} c")
        for i, (off, sd) in enumerate(zip(standing.cents, standing.cents_sd, strict=True))
    ]
    rows.append(("rear gap", number(standing.gap, "length", system, BAND * standing.gap_sd), ""))
    rows.append(("all inside", f"{100.0 * standing.chance:.0f} %", ""))
    return columns(rows)


def _so_far(found: Next) -> list[str]:
    if found.kind not in ("balance", "strings"):
        return []
    text = f"tunings so far {found.tunings}"
    if found.expected is not None:
        text += f", still expected {found.expected}"
    return ["", text.capitalize() + "."]


def _worth(worth: Worth | None) -> list[str]:
    """What reading would narrow the claw's band most."""
    if worth is None or BAND * worth.before < COARSE:
        return []
    name = worth.what if worth.string is None else f"{worth.what} of string {worth.string}"
    before, after = (show_turns(BAND * one, FINEST) for one in (worth.before, worth.after))
    return paragraph(f"The reading that would help most: {name} (claw from ± {before} to ± {after}).")
