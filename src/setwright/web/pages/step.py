"""The step at hand: it fills the screen; what was done and read goes into the journal, and the next one comes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from starlette.requests import Request
from starlette.responses import Response

from setwright.bench.at_hand import AtHand, Deed, at_hand
from setwright.bench.journals import made
from setwright.bench.readings_sheet import Group, Sheet, Spot, readings_sheet
from setwright.bench.shop import Shown
from setwright.bench.together import keep_all
from setwright.bench.visits import choose_way
from setwright.cli.advice_words import BAND, COARSE, spring_comes_off, spring_named, todo
from setwright.cli.next_card import CAUTIONS
from setwright.cli.plan_rows import under_conditions
from setwright.cli.step import effect_lines, range_words, reading_lines
from setwright.cli.words import chance, note, number, sentence, signed_cents, spelled
from setwright.errors import InputError, QuestionableError, SetwrightError, StaleEditError
from setwright.frozen import frozen
from setwright.units import show_cents, show_turns, show_value
from setwright.units.show import System
from setwright.web.frame import bench_of, page, refused, remembered, see, source, units, visit_of, who
from setwright.web.inline import inline
from setwright.web.memory import work_of
from setwright.web.pages.plan import no_plan
from setwright.web.pages.readings import asked_words, keep_spots, said_kept, shelf, undo, with_notes
from setwright.web.routes import Form, at
from setwright.web.step_drawing import amount_of, drawing_of, lines_of, standing_drawing
from setwright.web.typed import completed, unit_of

BUTTON = 1.26e-3  # m of string that one turn of a button winds on: post of 6 mm, geared 15 : 1; common practice
FINE = 10.0  # cents, below which tenths are told
NEAR = 600.0  # cents, up to which turns of a button are told
DOES = {"claw": "Turn both claw screws", "tune": "Tune", "wedge": "The wedge", "springs": "The springs"}
STALE = (
    "the journal was written to since this page was loaded, at another bench or by sending it twice; this is the step "
    "as it is now."
)
HOW = {  # steps whose picture says nothing: how a hand goes about it; common practice, no source
    "protect": "Lay stiff card or a folded cloth under the rear edge and behind it. No tape on the finish.",
    "slacken": "Some turns at each peg in its turn, thick and thin alike, until all hang loose.",
    "unhook": "With the strings slack they pull least. Note which places they hold, then lift each off its hook with a "
    "hooked tool, a cloth over it.",
    "support neck": "On its back, a padded block under the neck, so that it neither drops nor twists when its screws "
    "are out.",
    "neck off": "A little at each screw, crosswise, until all are loose; lay them down in their order.",
    "neck on": "Press it down and back into the pocket while the screws take hold.",
    "strings off": "Unwind each from its post and draw it out of the bridge; look for ends left behind.",
    "strings on": "Two or three turns on each post, none over another, and no tension yet.",
}
AFTER = {
    "claw": "Hear every string, then read the rear gap and the claw distance.",
    "tune": "Hear the string as it stands when it is set.",
    "wedge": "Hear the strings again.",
    "springs": "Hear every string that sounds, then read the rear gap.",
    "attitude": "Hear the strings again.",
}


@frozen
class Row:
    """One thing to do in the form. name: of its fields."""

    name: str
    deed: Deed
    amount: str
    unit: str


@frozen
class Card:
    """A step in the words of a page. does: what is done; huge: the amount; what: it belongs to; lines: amounts where
    there are several; how: a hand goes about it; likely: effects are told without their bands."""

    title: str
    does: str
    count: str
    huge: str
    what: str
    aside: str
    lines: tuple[tuple[str, str], ...]
    why: str
    stop: str
    range: str
    disturbs: tuple[tuple[str, tuple[str, ...]], ...]
    after: tuple[str, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    so_far: str
    how: str = ""
    likely: bool = False


def show_step(request: Request) -> Response:
    """The step."""
    return _page(request, visit_of(request))


def _found(request: Request, shown: Shown) -> AtHand:
    return remembered(request, shown.visit.id, "at hand", lambda: at_hand(source(request, shown), work_of(request)))


def take_step(request: Request, form: Form) -> Response:
    """Put what was done, or what was read, into the journal."""
    shown = visit_of(request)
    found = _found(request, shown)
    try:
        after = _seen(form)
        if after != found.written:
            raise StaleEditError(STALE, {"entries": found.written}, {"entries": after})
        if form.text("do") == "read":
            return _take_readings(request, shown, found, form, after)
        return _take_deeds(request, shown, found, form, after)
    except StaleEditError as error:
        typed = [text for name, text in form.typed().items() if text and name.startswith(("heard ", "v "))]
        told = f" Typed here, and not kept: {'; '.join(typed)}." if typed else ""
        return _page(request, shown, 409, None, {"": (refused(error, units(request)) + told, False)})


def take_way(request: Request, form: Form) -> Response:
    """Choose what the way to pitch has least of."""
    shown, fewest = visit_of(request), form.text("fewest")
    try:
        choose_way(bench_of(request).shop, shown.visit.id, fewest, form.number("version"), who(request))
    except SetwrightError as error:
        status = 409 if isinstance(error, StaleEditError) else 422
        return _page(request, shown, status, None, {"": (refused(error, units(request)), False)})
    return see(request, f"/visit/{shown.visit.id}/step", f"The way is now that of fewest {fewest}.")


def _seen(form: Form) -> int:
    text = form.text("written")
    if not (text.isascii() and text.isdigit() and len(text) < 8):
        raise InputError("the page this came from does not say which step it showed; load the step again.")
    return int(text)


def _take_deeds(request: Request, shown: Shown, found: AtHand, form: Form, after: int) -> Response:
    system = units(request)
    entries, wrong = [], {}
    for row in _rows(found.deeds, system):
        words = _words(row, form, system)
        if words is None:
            continue
        try:
            entries.append(made(found.job, [words], who(request), form.ticked(f"sure {row.name}")))
        except SetwrightError as error:
            wrong[row.name] = (asked_words(error, system), isinstance(error, QuestionableError))
    if not wrong and not entries:
        wrong[""] = ("Nothing of it was done; write an amount, or leave the step as it is.", False)
    if wrong:
        return _page(request, shown, 422, form, wrong)
    kept = keep_all(source(request, shown), entries, who(request), after)
    return see(request, f"/visit/{shown.visit.id}/step", said_kept(kept), undo(shown, kept, "step"))


def _words(row: Row, form: Form, system: System) -> str | None:
    """What was done, for the journal; None where it was left out."""
    deed = row.deed
    if not deed.kind:
        return deed.words()
    amount = form.text(f"amount {row.name}")
    if not amount:
        return None
    unit = unit_of(deed.kind, form.text(f"unit {row.name}"), system)
    words = deed.words(completed(amount, unit), form.text(f"way {row.name}"))
    heard = form.text(f"heard {row.name}") if deed.kind == "hertz" else ""
    return f"{words}, heard {completed(heard, 'Hz')}" if heard else words


def _take_readings(request: Request, shown: Shown, found: AtHand, form: Form, after: int) -> Response:
    sheet = readings_sheet(source(request, shown))
    groups = _asked(request, shown, found)
    spots = tuple(spot for one in groups if one is not None for spot in one.spots)
    kept, wrong = keep_spots(request, shown, sheet, spots, form, after)
    if not kept:
        wrong = wrong or {"": ("Nothing is typed; write at least one reading.", False)}
        return _page(request, shown, 422, form, wrong)
    return see(request, f"/visit/{shown.visit.id}/step", said_kept(kept), undo(shown, kept, "step"))


def _asked(request: Request, shown: Shown, found: AtHand) -> tuple[Group | None, Group | None]:
    """Places the step asks to be read, and those that may be read along with them."""
    if not found.read.needed:
        return None, None
    sheet = remembered(request, shown.visit.id, "readings", lambda: readings_sheet(source(request, shown)))
    return _group("asked", found.read.needed, sheet), _group("offered", found.read.offered, sheet)


def _group(key: str, wanted: Sequence[str], sheet: Sheet) -> Group | None:
    spots: list[Spot] = []
    for words in wanted:
        places = (words, f"{words} treble", f"{words} bass")
        spots += [one for group in sheet.groups for one in group.spots if one.words in places]
    spots = [one if one.kind == "pitch" else replace(one, label=one.words) for one in spots]
    return with_notes(Group(key, key.capitalize(), "", tuple(spots), ()), sheet) if spots else None


def _rows(deeds: Sequence[Deed], system: System) -> tuple[Row, ...]:
    return tuple(Row(str(i), one, amount_of(one, system), unit_of(one.kind, "", system)) for i, one in enumerate(deeds))


def _page(
    request: Request, shown: Shown, status: int = 200, form: Form | None = None,
    wrong: dict[str, tuple[str, bool]] | None = None,
) -> Response:  # fmt: skip
    system = units(request)
    try:
        found = _found(request, shown)
    except SetwrightError as error:
        return no_plan(request, shown, error)
    group, more = _asked(request, shown, found)
    drawing, bands = drawing_of(found, system), standing_drawing(found)
    return page(
        request, "step.html", status, shown=shown, found=found, card=card_of(found, system),
        rows=_rows(found.deeds, system), drawing=inline(drawing), bands=inline(bands), table=table_of(found, system),
        asked=shelf(group, system, form, wrong or {}) if group else None,
        offered=shelf(more, system, form, wrong or {}) if more else None, form=form, wrong=wrong or {},
        last=found.last[0] if found.last else None, lean=found.peg,
        sounds=_cents(found.peg.now, found.peg.now_sd) if found.peg else "",
        own=found.next.wanted[found.peg.string] if found.peg else None,
    )  # fmt: skip


def card_of(found: AtHand, system: System) -> Card:
    """A step in words.

    Args:
        found: the step at hand.
        system: "inch" or "mm".
    Returns: the card.
    """
    return _hardware_card(found, system) if found.next.step is not None else _advice_card(found, system)


def _remarks(found: AtHand, system: System) -> tuple[str, ...]:
    return tuple(sentence(spelled(one, system)) for one in found.next.remarks)


def _hardware_card(found: AtHand, system: System) -> Card:
    step = found.next.step
    assert step is not None
    lines = tuple(lines_of(found, system))
    huge, what = lines[0] if len(lines) == 1 else (step.title, "")
    if step.key == "hang springs":
        huge += " spring" + "s" * (huge != "1")
    return Card(
        title=step.title,
        does=step.title if len(lines) == 1 else "",
        count=f"Step {found.next.count} of {found.next.of} before strings and balance",
        huge=spelled(huge, system),
        what=_new(what, step.title),
        aside="",
        lines=lines if len(lines) > 1 else (),
        why=sentence(step.why),
        stop=sentence(f"when {step.stop_when}") if step.stop_when else "",
        range=range_words(step.amounts),
        disturbs=under_conditions(effect_lines(step.effects, system)),
        after=tuple(sentence(one) for one in reading_lines(step, system)),
        cautions=tuple(sentence(one) for one in step.cautions),
        remarks=_remarks(found, system),
        so_far="",
        how=HOW.get(step.key, ""),
        likely=any(one.after is not None and one.half_width is None for one in step.effects),
    )


def _advice_card(found: AtHand, system: System) -> Card:
    advice = found.next.advice
    assert advice is not None
    huge, what, aside = _huge(found, system)
    title = todo(advice, system, found.next.wanted, found.next.gauges)
    if advice.do == "read":
        title = f"{huge} {what}".strip().capitalize()
    so_far = f"Strings tuned so far: {found.next.tunings}"
    if found.next.expected:
        so_far += f"; still expected: {found.next.expected}"
    return Card(
        title=title,
        does=DOES.get(advice.do, ""),
        count="" if advice.do == "done" else "The next step",
        huge=huge or title,
        what=_new(what, DOES.get(advice.do, "")),
        aside=aside,
        lines=(),
        why=sentence(advice.why),
        stop="",
        range="",
        disturbs=(),
        after=(AFTER[advice.do],) if advice.do in AFTER else (),
        cautions=(CAUTIONS[advice.do],) if advice.do in CAUTIONS else (),
        remarks=_remarks(found, system),
        so_far=f"{so_far}.",
    )


def _new(what: str, does: str) -> str:
    """What is not said already."""
    return "" if what.casefold() in does.casefold() else what


def _huge(found: AtHand, system: System) -> tuple[str, str, str]:
    """The amount, what it belongs to, and how it is told otherwise."""
    advice, peg = found.next.advice, found.peg
    assert advice is not None
    if advice.do == "claw" and advice.turns is not None:
        deed = found.deeds[0]
        band = ""
        if advice.turns_sd is not None:
            half = show_turns(max(BAND * advice.turns_sd, COARSE), COARSE)
            band = f"± {half}, as far as is known now"
        return f"{deed.ways[0]} {amount_of(deed, system)}", "both claw screws", band
    if advice.do == "wedge":
        gap = "out" if advice.gap is None else amount_of(found.deeds[0], system)
        return (
            (f"wedge {gap}" if advice.gap is None else gap),
            "" if advice.gap is None else "rear gap on the wedge",
            "",
        )
    if advice.do == "springs":
        hang = f"{len(advice.springs)} hang then"
        if spring_comes_off(advice):
            return "one spring off", f"{spring_named(advice)}; {hang}", ""
        return "the spring on again", hang, ""
    if advice.do == "done":
        return "Done", "", ""
    if advice.do == "read":
        return _to_hear(found)
    if advice.do == "tune" and advice.string is not None and advice.hertz is not None:
        to = f"{note(advice.hertz, found.reference)}, {show_value(advice.hertz, 'pitch', uncertainty=0.05)}"
        name = f"string {advice.string + 1}"
        if peg is None or abs(peg.to - peg.now) > NEAR:
            return f"{name} to {note(advice.hertz, found.reference)}", show_value(advice.hertz, "pitch"), ""
        way = "up" if peg.to > peg.now else "down"
        off = abs(peg.to - peg.now)
        far = show_cents(off, 1.0 if off >= FINE else 0.1)
        turns = show_turns(abs(peg.wound) / BUTTON, 1 / 32)
        button = "less than 1/32 turn" if turns == "no turn" else f"about {turns}"
        return f"{name} {way} {far}", f"to {to}", f"{sentence(button)[:-1]} of a button geared 15 : 1."
    return "", "", ""


def _to_hear(found: AtHand) -> tuple[str, str, str]:
    """What is to be heard and read."""
    strings = [one.rpartition(" ")[2] for one in found.read.needed if one.startswith("pitch")]
    gauges = " and ".join(f"the {one}" for one in found.read.needed if not one.startswith("pitch"))
    if not strings:
        first, _, rest = gauges.partition(" and ")
        return f"read {first}", f"and {rest}" if rest else "", ""
    every = len(strings) == len(found.next.wanted)
    names = "every string" if every else f"string{'s' * (len(strings) > 1)} {', '.join(strings)}"
    return f"hear {names}", f"and read {gauges}" if gauges else "", ""


def table_of(found: AtHand, system: System) -> list[tuple[str, str, str]]:
    """Where everything is believed to stand, and what it will read after the step.

    Args:
        found: the step at hand.
        system: "inch" or "mm".
    Returns: name, now, after ("" where nothing is foretold).
    """
    standing, told = found.next.standing, found.foretold
    if standing is None:
        return []
    rows = []
    for i, (off, sd) in enumerate(zip(standing.cents, standing.cents_sd, strict=True)):
        after = "" if told is None else _cents(told.cents[i], told.cents_sd[i])
        rows.append((f"string {i + 1}", _cents(off, sd), after))
    after = "" if told is None else number(told.gap, "length", system, BAND * told.gap_sd)
    rows.append(("rear gap", number(standing.gap, "length", system, BAND * standing.gap_sd), after))
    return [*rows, ("all inside", chance(standing.chance), "")]


def _cents(off: float, sd: float) -> str:
    half = max(BAND * sd, 0.1)
    return f"{signed_cents(off, half)} ± {show_cents(half, half)}"


ROUTES = [
    at("/visit/{visit}/step", show_step, take_step, name="step"),
    at("/visit/{visit}/way", take=take_way),
]
