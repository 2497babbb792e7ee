"""The set-up sheet of a job: from what was found and wanted, and from what its journal tells, to what goes on paper.

The source is the job and the live entries, wherever they are kept.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from html import unescape
from pathlib import Path

from setwright.bench.heard_notes import LET_PASS, with_heard
from setwright.bench.journals import Source, job_from, open_journal
from setwright.bench.paper_rows import NOT_AGAIN, Reading, readings_of
from setwright.bench.paper_shown import groups_of, measures_of
from setwright.bench.paper_words import (
    SHOP_CAUTIONS,
    care_of,
    cautions_of,
    done_of,
    notes_of,
    parts_of,
    settings_of,
    strings_on,
    undone,
)
from setwright.bench.plans import preferred_system, problem_from, reference_of
from setwright.bench.progress import works_left
from setwright.errors import InputError, SetwrightError
from setwright.frozen import frozen
from setwright.instrument.jobfile import Job
from setwright.planning.found import settle_found
from setwright.planning.plan import Step
from setwright.records.entries import Entry, live
from setwright.sheets.sheet import Drawing, SheetData
from setwright.units.pitch import note_name, note_number
from setwright.units.show import System, show_value

READ_FOR = {"lengths": "octave error", "saddles": "string height", "relief": "relief"}  # which reading judges a step
NO_PLAN = "What else would be recommended cannot be worked out from these readings; setwright plan says why."
LARGEST = 5_000_000  # bytes of a drawing
_SAID = re.compile(r"<(?P<tag>title|desc)>(?P<text>[^<]*)</(?P=tag)>")
UNDATED = datetime(1970, 1, 1)  # of a sheet without an entry
BRIDGES = {
    "floating": "floats", "decked": "rests on the body", "dive-only": "rests on the body, for downward use",
    "blocked": "blocked", "fixed": "fixed",
}  # fmt: skip


@frozen
class Desk:
    """What no job file and no journal knows; "" and None where it is not said.

    owner, case and recheck go before what the journal's notes say of them.
    """

    shop: str = ""
    address: tuple[str, ...] = ()
    case: str = ""
    owner: str = ""
    recheck: date | None = None
    link: str = ""


def sheet_of_job(
    job: Source,
    journal: str | None = None,
    desk: Desk | None = None,
    units: System | None = None,
    plan: bool = True,
    drawings: Sequence[Drawing] = (),
) -> SheetData:
    """The sheet of a job and its journal.

    Args:
        job: path of the job file, or a visit in a shop, which then tells its name, the owner's and the parts used.
        journal: path of the journal of a job file, None by the rule.
        desk: what the desk adds; it goes before what the shop tells.
        units: "inch" or "mm"; None for those the job is written in.
        plan: whether what was recommended and not done is worked out.
        drawings: for pages of their own behind the shop's.
    Returns: what goes on paper.
    Raises: FileFormatError, InputError, QuestionableError for files that cannot be used.
    """
    read = job_from(job)
    _, found = open_journal(job, journal, read)
    if isinstance(job, str):
        return sheet_of(read, live(found.entries), desk, units, plan, drawings)
    from setwright.bench.handed import desk_in, with_parts

    data = sheet_of(read, live(found.entries), desk_in(job, desk or Desk()), units, plan, drawings)
    return with_parts(job, data)


def sheet_of(
    job: Job,
    entries: Sequence[Entry],
    desk: Desk | None = None,
    units: System | None = None,
    plan: bool = True,
    drawings: Sequence[Drawing] = (),
) -> SheetData:
    """The sheet of a job.

    Args:
        job: as read from its file.
        entries: live ones, in their order.
        desk: what the desk adds.
        units: "inch" or "mm"; None for those the job is written in.
        plan: whether what was recommended and not done is worked out.
        drawings: for pages of their own behind the shop's.
    Returns: what goes on paper; it depends on nothing else.
    Raises: InputError for a note that names no day to look again.
    """
    desk = desk or Desk()
    system: System = units or ("inch" if preferred_system(job) == "inch" else "mm")
    notes, readings = notes_of(entries), readings_of(job, entries)
    reference = reference_of([one.si for one in job.want.tuning])
    worked = [one for one in entries if one.verb in ("read", "did")]
    return SheetData(
        title=f"Set-up sheet: {job.instrument.name}",
        instrument=job.instrument.name,
        made=entries[-1].when if entries else UNDATED,
        shop=desk.shop,
        address=desk.address,
        case=desk.case or notes.case,
        owner=desk.owner or notes.owner,
        about=_about(job),
        strings=strings_on(job, entries),
        tuning=_tuning(job, reference),
        bridge=BRIDGES[job.want.bridge],
        who=", ".join(dict.fromkeys(one.who for one in worked if one.who)),
        begun=worked[0].when.date() if worked else None,
        ended=worked[-1].when.date() if worked else None,
        recheck=desk.recheck or notes.recheck,
        wish=job.wish,
        short=_short(readings, entries),
        measures=measures_of(readings, reference, system),
        groups=groups_of(job, readings, system),
        found=(*_found(job), *_sentences(notes.found)),
        done=done_of(job, entries, system),
        recommended=_sentences(notes.recommended),
        not_done=(*(_left(job, entries, readings, system) if plan else ()), *_sentences(notes.not_done)),
        care=(*_sentences(notes.care), *care_of(job, entries)),
        cautions=(*_sentences(notes.cautions), *cautions_of(job)),
        settings=settings_of(job, entries, system),
        parts=parts_of(job, entries, notes, system),
        notes=(*((job.notes,) if job.notes else ()), *notes.plain),
        shop_cautions=SHOP_CAUTIONS,
        climate=_climate(entries, system),
        gauges=", ".join(dict.fromkeys(one.gauge for one in entries if one.gauge)),
        link=desk.link,
        drawings=tuple(drawings),
    )


def read_drawing(name: str) -> Drawing:
    """A drawing out of a file, as the commands that draw write it.

    Args:
        name: of the file.
    Returns: the drawing; its title and what it shows are those of its <title> and <desc>.
    Raises: InputError where there is none.
    """
    try:
        raw = Path(name).read_bytes()
    except (OSError, ValueError) as error:
        reason = str(getattr(error, "strerror", None) or error).lower()
        raise InputError(f"--drawing: {name!r} cannot be read: {reason}; name a file of --svg.") from None
    svg = raw.decode("utf-8", "replace")
    if "<svg" not in svg or len(raw) > LARGEST:
        raise InputError(f"--drawing: {name} is no SVG drawing; name a file that --svg has written.")
    return titled(svg, Path(name).stem)


def titled(svg: str, name: str = "") -> Drawing:
    """A drawing with the title it bears and what it says it shows.

    Args:
        svg: an SVG document.
        name: its title where it bears none.
    Returns: the drawing.
    """
    said = {one["tag"]: unescape(one["text"]) for one in _SAID.finditer(svg)}
    title = said.get("title") or name
    return Drawing(title, svg, said.get("desc") or title)


def _about(job: Job) -> str:
    """Scale, frets, kind of bridge, and which hand."""
    instrument = job.instrument
    scale = instrument.entry("instrument", "scale")[0].value[0]
    words = [scale.written.text.partition("±")[0].strip(), f"{instrument.frets} frets", instrument.bridge.name]
    return ", ".join([*words, "left-handed"] if instrument.handed == "left" else words)


def _tuning(job: Job, reference: float) -> str:
    """Names of the open strings from the thinnest, and the reference where it is another than 440 Hz."""
    names = [note_name(round(note_number(one.si, reference))) for one in job.want.tuning]
    at = "" if abs(reference - 440.0) < 0.05 else f" (A4 = {show_value(reference, 'pitch')})"
    return " ".join(names) + at


def _found(job: Job) -> tuple[str, ...]:
    """How it came in, in plain words."""
    found, out = job.found, []
    state = {"at pitch": "at pitch", "slack": "slack"}.get(found.state, found.state)
    out.append(f"Strings {' '.join(one.text for one in found.strings)}, {state}.")
    if job.instrument.bridge.knife_edge:
        stood = {
            "floating": "The bridge floated", "decked": "The bridge rested on the body",
            "dive-only": "The bridge rested on the body", "blocked": "The bridge was blocked",
        }.get(found.bridge, "The bridge stood fixed")  # fmt: skip
        out.append(f"{stood}, on {found.springs} spring{'' if found.springs == 1 else 's'}.")
    return tuple(out)


def _sentences(texts: Sequence[str]) -> tuple[str, ...]:
    """With a capital in front and a full stop behind."""
    return tuple(one[0].upper() + one[1:] + ("" if one[-1] in ".:?" else ".") for one in texts)


def _short(readings: Sequence[Reading], entries: Sequence[Entry]) -> str:
    """The outcome in one sentence."""
    if not any(one.verb == "did" for one in entries):
        return "No work is written down yet; the figures are those as found."
    judged = [one for one in readings if one.wanted is not None]
    verdicts = [one.verdict for one in judged]
    inside, outside = verdicts.count("inside"), verdicts.count("outside")
    unread = sum(one.remark == NOT_AGAIN for one in judged)
    unsure = sum(one.verdict == "not certain" and not one.remark for one in judged)
    early = sum(one.verdict == "not certain" and bool(one.remark) for one in judged)
    if judged and inside == len(judged):
        return f"All {inside} wanted figures are inside their tolerance."
    words = [f"{inside} of {len(judged)} wanted figures are inside their tolerance"]
    words += [f"{outside} {'is' if outside == 1 else 'are'} outside"] if outside else []
    words += [f"{unsure} {'is' if unsure == 1 else 'are'} too near its edge to be certain"] if unsure else []
    words += [f"{early} {'was' if early == 1 else 'were'} read before the end of the work"] if early else []
    words += [f"{unread} {'was' if unread == 1 else 'were'} not read again"] if unread else []
    return "; ".join(words) + "."


def _left(job: Job, entries: Sequence[Entry], readings: Sequence[Reading], system: System) -> tuple[str, ...]:
    """What the plan recommends and nobody has done; nothing where there is no plan or no work."""
    if not any(one.verb == "did" for one in entries):
        return ()
    from setwright.planning.hardware import hardware

    out: tuple[str, ...] = ()
    try:
        todo = hardware(settle_found(problem_from(with_heard(job, entries)[0])))
        left = [one.step for one in works_left(todo.problem, todo.steps, entries)]
        out = undone([step for one in left if (step := _still_wanted(one, readings)) is not None], system)
    except SetwrightError:  # the work that was done is told all the same
        out = (NO_PLAN,)
    unheard = [one for one in readings if one.key.what == "pitch" and one.remark]
    if unheard and job.want.bridge == "floating":
        out += (f"The balance of the bridge: {len(unheard)} of {len(job.want.tuning)} strings were not heard at rest.",)
    return out


def _still_wanted(step: Step, readings: Sequence[Reading]) -> Step | None:
    """A planned step without what the readings as left show not to be needed any more; None where nothing is left."""
    what = READ_FOR.get(step.key)
    if what is None:
        return step
    good = [one for one in readings if one.key.what == what and one.left is not None and _good(one)]
    if step.key == "relief":
        return None if good else step
    strings = {f"string {one.key.string}" for one in good}
    amounts = tuple(one for one in step.amounts if not any(one.what.endswith(name) for name in strings))
    return replace(step, amounts=amounts) if amounts else None


def _good(one: Reading) -> bool:
    """Whether a reading as left is inside, or, where nothing was asked, what most ears let pass."""
    if one.wanted is not None:
        return one.verdict == "inside"
    return one.key.what == "octave error" and one.left is not None and abs(one.left.value) <= LET_PASS


def _climate(entries: Sequence[Entry], system: System) -> str:
    """Temperature and humidity of the room as they were read last."""
    words = []
    for what, kind in (("temperature", "temperature"), ("humidity", "ratio")):
        last = next((one for one in reversed(entries) if one.verb == "read" and one.what == what), None)
        if last is not None and last.value is not None:
            words.append(f"{what} {show_value(last.value.si, kind, system, 0.5 if kind == 'temperature' else 0.01)}")
    return ", ".join(words)
