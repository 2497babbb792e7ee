"""The next step in words: what to do with its amount, where everything stands, what to read."""

from __future__ import annotations

from setwright.bench.next_step import Next, Standing
from setwright.cli.advice_words import BAND, COARSE, FINEST, SPRINGS, todo
from setwright.cli.layout import columns, labelled, paragraph
from setwright.cli.step import step_lines
from setwright.cli.words import number, sentence, signed_cents, spelled
from setwright.planning.moves import BY_KEY
from setwright.planning.worth import Worth
from setwright.units.show import System, show_turns

CAUTIONS = {
    "tune": " ".join(BY_KEY["tune"].cautions),
    "wedge": "Hold the plate by the bar; never let it snap back.",  # in or out
    "claw": " ".join(BY_KEY["claw"].cautions),
    "springs": SPRINGS,
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
        out += paragraph(sentence(todo(found.advice, system, found.wanted, found.gauges)))
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
