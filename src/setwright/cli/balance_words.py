"""A balance that is tried out, in words: for the card of the command line and for the page."""

from __future__ import annotations

import math
from collections.abc import Sequence

from setwright.bench.balance_try import Outcome, Pull, Tried
from setwright.bench.whatif import Banded
from setwright.cli.layout import columns, labelled, paragraph, section
from setwright.cli.words import note, number, sentence
from setwright.frozen import frozen
from setwright.planning.moves import BY_KEY
from setwright.units.show import System, show_turns

BAND_NOTE = "± holds 95 of 100 instruments this one may be."
FINEST = 1 / 32  # turn
UNHEARD = 0.05  # cents
FEW = 0.025  # share below which nothing is said of instruments that rest on a stop
STEPS = {  # which step of the work goes with what is tried
    "claw": ("claw", "claw_treble", "claw_bass"), "pivots": ("pivots", "pivot_treble", "pivot_bass"),
    "hang springs": ("springs",), "strings on": ("strings",), "tune": ("tuning",),
}  # fmt: skip
REST = {
    "floats": "Floats", "lower stop": "Rests, {}", "upper stop": "Pulled up, {}", "runs away": "Runs away, {}",
}  # fmt: skip
OTHERWISE = ("floats", "rests on its lower stop", "is pulled up to its upper stop")
ENDS = ("The claw's screws end here, out", "The claw's screws end here, in")


@frozen
class Row:
    """One string. off: cents from its pitch with the pegs left alone, "" where they are not known."""

    name: str
    note: str
    off: str
    up: str
    down: str


def rest_words(one: Outcome) -> str:
    """How the plate rests.

    Args:
        one: the state.
    Returns: a few words without a full stop.
    """
    return rest_of(one.rest, one.stop)


def rest_of(rest: str, stop: str) -> str:
    """How a plate rests.

    Args:
        rest: of `Outcome`.
        stop: its name, "" where it floats.
    Returns: a few words without a full stop.
    """
    return REST[rest].format(stop or "it comes to no rest")


def share_words(one: Outcome) -> str:
    """How many of the instruments this one may be rest otherwise than the most likely one.

    Args:
        one: the state.
    Returns: a sentence, "" where hardly any does.
    """
    own = {"floats": 0, "lower stop": 1, "upper stop": 2}.get(one.rest, -1)
    told = [
        f"in {100.0 * share:.0f} it {words}"
        for i, (share, words) in enumerate(zip(one.shares, OTHERWISE, strict=True))
        if i != own and share >= FEW and own >= 0
    ]
    return f"Of 100 instruments this one may be, {' and '.join(told)}." if told else ""


def claw_words(turns: tuple[float, float]) -> str:
    """What both claw screws do.

    Args:
        turns: treble and bass, in > 0 [turns].
    Returns: e.g. "Claw in 3/8 turn".
    """
    if abs(turns[0] - turns[1]) < 0.5 * FINEST:
        return f"Claw {_way(turns[0])}"
    return f"Claw: treble {_way(turns[0])}, bass {_way(turns[1])}"


def _way(turns: float) -> str:
    if abs(turns) < 0.5 * FINEST:
        return "as it is"
    return f"{'in' if turns > 0.0 else 'out'} {show_turns(abs(turns), FINEST)}"


def cents(one: Banded) -> str:
    """Cents with their band.

    Args:
        one: nan for a slack string, minus infinity for one the arm lets go slack.
    Returns: e.g. "+12 ± 2 c".
    """
    if not math.isfinite(one.value):
        return "slack"
    if abs(one.value) < UNHEARD and one.half_width < UNHEARD:
        return "0 c"
    told = number(one.value, "cents", "mm", one.half_width)
    return f"+{told}" if one.value > 0.0 and told[0] not in "0" else told


def gap(one: Banded, system: System) -> str:
    """A rear gap with its band.

    Args:
        one: [m].
        system: "inch" or "mm".
    Returns: e.g. "2.60 ± 0.21 mm".
    """
    return number(one.value, "height", system, one.half_width)


def string_rows(result: Tried, shown: Outcome) -> tuple[Row, ...]:
    """Every string.

    Args:
        result: what comes of it.
        shown: the state whose range of the arm is told.
    Returns: a row for each, from the thinnest.
    """
    off = [""] * len(result.wanted) if result.alone is None else [cents(one) for one in result.alone.cents]
    return tuple(
        Row(f"{s + 1}", note(hz), off[s], cents(shown.up[s]), cents(shown.down[s]))
        for s, hz in enumerate(result.wanted)
    )


def pull_rows(shown: Outcome, system: System) -> tuple[tuple[str, str, str, str], ...]:
    """What acts on the plate.

    Args:
        shown: the state.
        system: "inch" or "mm".
    Returns: name, force, arm and moment about the pivot of each.
    """
    return tuple((one.name, _force(one, system), _arm(one, system), moment(one.moment)) for one in shown.pulls)


def _force(one: Pull, system: System) -> str:
    if one.force is None:
        return ""
    told = number(one.force.value, "force", system, one.force.half_width)
    return told.replace(" lb", " lbf") if system == "inch" else told


def _arm(one: Pull, system: System) -> str:
    return "" if one.arm is None else number(one.arm, "height", system)


def moment(one: Banded) -> str:
    """A moment with its band and sign; lifting the rear is above 0.

    Args:
        one: [N m].
    Returns: e.g. "+6.12 ± 0.20 N m".
    """
    told = number(one.value, "moment", "mm", one.half_width)
    return f"+{told}" if one.value > 0.0 else told


def wanted_gap(result: Tried, system: System) -> str:
    """The rear gap that is wanted.

    Args:
        result: what comes of it.
        system: "inch" or "mm".
    Returns: with its tolerance, "" where none is wanted.
    """
    return "" if result.gap is None else number(result.gap[0], "height", system, result.gap[1])


def hung(springs: Sequence[int]) -> str:
    """How many springs hang, and where.

    Args:
        springs: places from 1, on the treble side.
    Returns: e.g. "3, at places 1, 3, 5".
    """
    if not springs:
        return "none"
    return f"{len(springs)}, at place{'s' if len(springs) > 1 else ''} {', '.join(str(one) for one in springs)}"


def balance_card(result: Tried, system: System, cautions: Sequence[str]) -> str:
    """The answer of `setwright balance`.

    Args:
        result: what comes of it.
        system: "inch" or "mm".
        cautions: of what is tried.
    Returns: text of at most 80 columns.
    """
    head = paragraph(result.title)
    lines = [*head, "=" * len(head[0]), *labelled("instrument", result.instrument), *labelled("from", result.when)]
    lines += labelled("claw", f"{claw_words(result.turns).removeprefix('Claw ')}, then {_distance(result, system)}")
    lines += labelled("springs", hung(result.springs))
    lines += labelled("strings", " ".join(one.text for one in result.strings))
    lines += labelled("lying", result.attitude)
    lines += labelled("rear gap", f"{number(result.before, 'height', system)} now; wanted {wanted_gap(result, system)}"
                      if result.gap else f"{number(result.before, 'height', system)} now")  # fmt: skip
    lines += labelled("bands", BAND_NOTE)
    for title, one in (("pegs left alone", result.alone), ("every string at pitch", result.retuned)):
        if one is None:
            continue
        body = labelled("plate", f"{rest_words(one)}. {share_words(one)}".strip(), 2)
        body += labelled("rear gap", gap(one.gap, system), 2)
        rows = [("string", "at", "arm up", "arm down")]
        rows += [
            (f"{row.name} {row.note}", row.off if one is result.alone else "0 c", row.up, row.down)
            for row in string_rows(result, one)
        ]
        lines += section(title, [*body, *columns(rows)])
        table = [("pulls", "force", "arm", "moment"), *pull_rows(one, system)]
        lines += ["", *columns(table)]
    for title, texts in (("caution", cautions), ("remarks", result.remarks)):
        lines += section(title, [line for text in texts for line in paragraph(f"- {sentence(text)}", 2, 4)])
    return "\n".join(lines)


def _distance(result: Tried, system: System) -> str:
    return f"{number(result.claw.value, 'height', system, result.claw.half_width)} from the wall"


def cautions_of(asked: dict[str, str]) -> tuple[str, ...]:
    """What to mind before doing what is tried.

    Args:
        asked: as typed, by name.
    Returns: sentences.
    """
    told = [BY_KEY[step].cautions for step, names in STEPS.items() if any(asked.get(name) for name in names)]
    return tuple(dict.fromkeys(text for each in told for text in each))


def tried_words(result: Tried, asked: dict[str, str]) -> str:
    """What is tried, in one line for the journal.

    Args:
        result: what comes of it.
        asked: as typed, by name.
    Returns: e.g. "claw in 3/8 turn, 4 springs at places 1, 2, 4, 5; rear gap then 2.41 ± 0.20 mm".
    """
    parts = [] if not any(result.turns) else [claw_words(result.turns).lower()]
    for name, label in (("pivots", "pivots"), ("pivot_treble", "treble pivot"), ("pivot_bass", "bass pivot")):
        if asked.get(name):
            parts.append(f"{label} {asked[name]} turn")
    if asked.get("springs"):
        parts.append(f"springs {hung(result.springs)}")
    if asked.get("strings"):
        parts.append(f"strings {' '.join(one.text for one in result.strings)}")
    if asked.get("tuning"):
        parts.append(f"tuning {' '.join(note(hz) for hz in result.wanted)}")
    if asked.get("attitude"):
        parts.append(result.attitude)
    told = ", ".join(parts) or "as it is"
    return f"{told}; {rest_words(result.retuned).lower()}, rear gap at pitch {gap(result.retuned.gap, 'mm')}"
