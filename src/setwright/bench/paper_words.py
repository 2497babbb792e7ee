"""What was done, by a journal, in a sheet's words: sentences for the owner, net settings and parts for the shop."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from setwright.bench.progress import PLUS
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.jobfile import Job
from setwright.planning.moves import EYES, LOCAL
from setwright.planning.plan import Step
from setwright.records.entries import Entry
from setwright.records.worth import SHIMS
from setwright.sheets.sheet import Line
from setwright.units.show import System, show_length, show_turns
from setwright.units.tables import unit_size

FINEST = 1 / 32  # turn
NOTHING = 1 / 64  # turn, below which a screw is where it was
SIDES = ("treble", "bass")
MARKED = re.compile(
    r"(?P<mark>found|recommend(?:ed)?|not done|care|caution|part|recheck|owner|case)\s*:\s*(?P<text>\S.*)$",
    re.IGNORECASE,
)
SAID = {  # steps without words of their own, as the owner reads them
    "neck on": "Neck taken off and set back.", "strings on": "New strings fitted.",
    "unblock": "Block of the bridge taken out.", "shim": "Shim laid under the neck.",
    "pivots": "Bridge set to its height at the posts.", "hang springs": "Springs of the bridge hung anew.",
    "claw": "Springs of the bridge set.", "saddles": "String heights set at the saddles.",
    "lengths": "Saddles set along for the octaves.", "relief": "Truss rod set.", "block": "Bridge blocked.",
    "octave": "Octaves set; every fret, the bends and the bar tried.",
}  # fmt: skip
OPPOSITE = {"in": "out", "up": "down", "back": "forward", "tighter": "looser"}
NAMES = {
    "claw": "Claw", "pivot": "Pivots", "rod": "Truss rod", "saddle height": "Saddle height",
    "saddle length": "Saddle length",
}  # fmt: skip


@frozen
class Notes:
    """Notes of a journal by what they are for. plain: all that carry no mark."""

    found: tuple[str, ...]
    recommended: tuple[str, ...]
    not_done: tuple[str, ...]
    care: tuple[str, ...]
    cautions: tuple[str, ...]
    parts: tuple[str, ...]
    plain: tuple[str, ...]
    recheck: date | None
    owner: str
    case: str


def notes_of(entries: Sequence[Entry]) -> Notes:
    """The notes of a journal; one that begins with "recommend:", "part:" and so on goes to its place on the sheet.

    Args:
        entries: live ones.
    Returns: the notes.
    Raises: InputError for a day of recheck that is none.
    """
    marked: dict[str, list[str]] = {}
    recheck = None
    for one in entries:
        if one.verb != "note":
            continue
        found = MARKED.match(one.text)
        mark = "" if found is None else found["mark"].casefold().replace("recommended", "recommend")
        text = one.text if found is None else found["text"].strip()
        if mark == "recheck":
            recheck = _day(text, one.number)
        marked.setdefault(mark, []).append(text)
    rows = {name: tuple(texts) for name, texts in marked.items()}
    last = {name: rows[name][-1] if name in rows else "" for name in ("owner", "case")}
    return Notes(
        rows.get("found", ()), rows.get("recommend", ()), rows.get("not done", ()), rows.get("care", ()),
        rows.get("caution", ()), rows.get("part", ()), rows.get("", ()), recheck, last["owner"], last["case"],
    )  # fmt: skip


def _day(text: str, number: int) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"#{number}: {text[:40]!r} is no day to look at it again; strike it and write it as recheck: 2027-02-25."
        ) from None


def net_turns(entries: Sequence[Entry]) -> dict[tuple[str, int, str], float]:
    """How far every screw was turned in all.

    Args:
        entries: live ones.
    Returns: (name, string, side) -> turns; in, up, back and tighter positive. String 0 and side "" where the screw is
        none of a string or a side.
    """
    out: dict[tuple[str, int, str], float] = {}
    for one in entries:
        if one.verb != "did" or one.what not in NAMES or one.value is None:
            continue
        turns = one.value.si if one.way in PLUS else -one.value.si
        two = one.what in ("claw", "pivot")
        for side in (one.place.side,) if one.place.side or not two else SIDES:
            key = (one.what, one.place.string or 0, side)
            out[key] = out.get(key, 0.0) + turns
    return out


def settings_of(job: Job, entries: Sequence[Entry], system: System) -> tuple[Line, ...]:
    """What was turned and set in all, for the shop.

    Args:
        job: the job.
        entries: live ones.
        system: "inch" or "mm".
    Returns: lines; a screw that ends where it began is left out.
    """
    turned = net_turns(entries)
    out = []
    for name in NAMES:
        mine = {key: turns for key, turns in turned.items() if key[0] == name}
        each = {key[2] for key in mine} == set(SIDES)
        if each and abs(mine[name, 0, "treble"] - mine[name, 0, "bass"]) < NOTHING:
            mine = {(name, 0, "both"): mine[name, 0, "treble"]}
        for (_, string, side), turns in sorted(mine.items()):
            if abs(turns) >= NOTHING:
                where = f", string {string}" if string else f", {side}" if side else ""
                out.append(Line(f"{NAMES[name]}{where}", _turned(name, turns)))
    springs = _last(entries, "springs")
    if springs is not None and springs.value is not None:
        out.append(Line("Springs", f"{springs.value.written} (as found {job.found.springs})"))
    out += [
        Line(one.what.capitalize(), f"{_size(one, system)}, {'laid in' if one.way == 'in' else 'taken out'}")
        for one in _did(entries, SHIMS)
    ]
    for what in ("wedge", "nut"):
        last = _last(entries, what)
        if last is not None:
            out.append(Line(what.capitalize(), last.way))
    return tuple(out)


def _turned(name: str, turns: float) -> str:
    plus = {"claw": "in", "saddle length": "back", "rod": "tighter"}.get(name, "up")
    return f"{show_turns(abs(turns), FINEST)} {plus if turns > 0.0 else OPPOSITE[plus]}"


def _size(one: Entry, system: System) -> str:
    """A shim as it is marked."""
    if one.value is None:
        return ""
    thou = one.value.si / unit_size("length", "thou")
    whole = abs(thou - round(thou)) < 0.01
    return show_length(one.value.si, system, style="thou" if system == "inch" or whole else "mm")


def _did(entries: Sequence[Entry], what: Sequence[str]) -> list[Entry]:
    return [one for one in entries if one.verb == "did" and one.what in what]


def _last(entries: Sequence[Entry], what: str) -> Entry | None:
    return next(iter(reversed(_did(entries, (what,)))), None)


def strings_on(job: Job, entries: Sequence[Entry]) -> str:
    """The strings that are on now.

    Args:
        job: the job.
        entries: live ones.
    Returns: their gauges, from the thinnest.
    """
    changed = _last(entries, "strings changed")
    if changed is not None and changed.way:
        return changed.way
    fitted = changed is not None or any(one.way == "strings on" for one in _did(entries, ("step",)))
    return " ".join(one.text for one in (job.want.strings if fitted else job.found.strings))


def done_of(job: Job, entries: Sequence[Entry], system: System) -> tuple[str, ...]:
    """What was done, in the owner's words.

    Args:
        job: the job.
        entries: live ones.
        system: "inch" or "mm".
    Returns: sentences, in the order of the work as it is told.
    """
    turned, said = net_turns(entries), {one.way for one in _did(entries, ("step",))}
    out = []
    if _last(entries, "strings changed") is not None or "strings on" in said:
        out.append(f"New strings fitted: {strings_on(job, entries)}.")
    rod = turned.get(("rod", 0, ""), 0.0)
    if abs(rod) >= NOTHING:
        out.append(f"Truss rod set {_turned('rod', rod)}, for the hollow of the neck.")
    for one in _did(entries, SHIMS):
        kind = {"strip shim": "A shim", "wedge shim": "A tapered shim", "flat shim": "A flat shim"}[one.what]
        laid = "laid under the neck in its pocket" if one.way == "in" else "taken from the neck's pocket"
        out.append(f"{kind} of {_size(one, system)} {laid}.")
    if any(key[0] == "pivot" and abs(turns) >= NOTHING for key, turns in turned.items()):
        out.append("Bridge set to its height at the pivots.")
    out += _saddles(turned, len(job.found.tuning))
    springs = _last(entries, "springs")
    if springs is not None and springs.value is not None:
        now, was = int(springs.value.si), job.found.springs
        out.append(f"Springs of the bridge: {now}, as before." if now == was else f"Springs: {now} in place of {was}.")
    if any(key[0] == "claw" and abs(turns) >= NOTHING for key, turns in turned.items()):
        out.append("Pull of the springs set to the strings, at the claw.")
    wedge = _last(entries, "wedge")
    if wedge is not None and wedge.way == "in, blocks":
        out.append("Bridge blocked, so that it cannot move.")
    names = [what for what in SAID if what in said and not _told_already(what, turned, entries)]
    out += [SAID[what] for what in names]
    if _did(entries, ("tune",)):
        out.append("Tuned to pitch.")
    if _did(entries, ("bar",)):
        out.append("The bar worked up and down, to see that it comes back to pitch.")
    return tuple(out)


def _told_already(step: str, turned: dict[tuple[str, int, str], float], entries: Sequence[Entry]) -> bool:
    """Whether an entry of its own says what a step says."""
    screw = {"pivots": "pivot", "claw": "claw", "saddles": "saddle height", "lengths": "saddle length", "relief": "rod"}
    other = {"strings on": ("step",), "hang springs": ("springs",), "shim": SHIMS, "block": ("wedge",)}
    if step in screw:
        return any(key[0] == screw[step] for key in turned)
    return bool(_did(entries, other.get(step, ())))


def _saddles(turned: dict[tuple[str, int, str], float], count: int) -> list[str]:
    out = []
    for name, what in (
        ("saddle height", "String heights set at the saddles"), ("saddle length", "Octaves set at the saddles"),
    ):  # fmt: skip
        strings = sorted({key[1] for key, turns in turned.items() if key[0] == name and abs(turns) >= NOTHING})
        if strings:
            named = "" if len(strings) == count else f": string{'s' if len(strings) > 1 else ''} {_and(strings)}"
            out.append(f"{what}{named}.")
    return out


def _and(numbers: Sequence[int]) -> str:
    words = [str(one) for one in numbers]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def parts_of(job: Job, entries: Sequence[Entry], notes: Notes, system: System) -> tuple[Line, ...]:
    """What was used.

    Args:
        job: the job.
        entries: live ones.
        notes: of the journal.
        system: "inch" or "mm".
    Returns: lines.
    """
    out = []
    if _last(entries, "strings changed") is not None or any(
        one.way == "strings on" for one in _did(entries, ("step",))
    ):
        out.append(Line("Strings", strings_on(job, entries)))
    out += [Line(one.what.capitalize(), _size(one, system)) for one in _did(entries, SHIMS) if one.way == "in"]
    springs = _last(entries, "springs")
    if springs is not None and springs.value is not None and springs.value.si > job.found.springs:
        out.append(Line("Springs", f"{springs.value.si - job.found.springs:.0f} more"))
    return (*out, *(Line(text, "") for text in notes.parts))


STEPS = {  # hardware an owner can be told of, when it was planned and not done
    "relief": "Truss rod", "shim": "Shim in the neck's pocket", "pivots": "Height of the bridge at its pivots",
    "hang springs": "Number of springs", "strings on": "New strings", "saddles": "String heights at the saddles",
    "lengths": "Saddles along, for the octaves", "block": "Block of the bridge", "claw": "Claw of the springs",
    "unblock": "Block of the bridge taken out",
}  # fmt: skip


def undone(steps: Sequence[Step], system: System) -> tuple[str, ...]:
    """Steps of a plan that are left, in words.

    Args:
        steps: with what is left of their amounts.
        system: "inch" or "mm".
    Returns: one sentence each; steps that only make way for others are left out.
    """
    return tuple(f"{STEPS[step.key]}{_amounts(step, system)}." for step in steps if step.key in STEPS)


def _amounts(step: Step, system: System) -> str:
    words = []
    for one in step.amounts:
        if one.kind == "turns":
            amount = f"{show_turns(one.value, FINEST)} {one.way}"
        elif one.kind == "thou":
            amount = f"{one.way} {show_length(one.value, system, style='thou' if system == 'inch' else 'mm')}"
        elif one.kind == "count":
            amount = f"{one.value:.0f}"
        else:
            continue
        what = one.what.replace("saddle of ", "") if len(step.amounts) > 1 else ""
        words.append(f"{what} {amount}".strip())
    return f": {', '.join(words)}" if words else ""


def care_of(job: Job, entries: Sequence[Entry]) -> tuple[str, ...]:
    """What keeps the set-up, for the owner; common practice, no source.

    Args:
        job: the job.
        entries: live ones.
    Returns: sentences.
    """
    out = []
    if _last(entries, "strings changed") is not None:
        out.append("New strings stretch for some days: play them in, and tune often.")
    out.append(f"Buy the same gauges again ({strings_on(job, entries)}); other strings want another set-up.")
    if job.want.bridge == "floating":
        out.append("The bridge floats: a string that is tuned moves all others, so go round twice.")
        out.append("When a string breaks the others go sharp. Fit the same gauge, tune, and all is back where it was.")
    out.append("Keep it in its case, away from heaters and the sun; a neck moves with the seasons.")
    return tuple(out)


def cautions_of(job: Job) -> tuple[str, ...]:
    """What the owner has to beware of; common practice, no source.

    Args:
        job: the job.
    Returns: sentences.
    """
    out = [EYES]
    if job.instrument.bridge.knife_edge:
        out.append("Never turn the posts or pivot screws of the bridge while the strings are at pitch.")
    if job.want.bridge in ("floating", "dive-only"):
        out.append("Lead the bar back by hand; never let the plate snap back.")
    out.append("Leave the truss rod to the bench. A crack, a twist, or a stud that moves: bring it in before you play.")
    return tuple(out)


SHOP_CAUTIONS = (
    "Stop and refer: cracks at neck joint or headstock, twisted neck, broken rod, studs moving in the wood.", LOCAL,
)  # fmt: skip
