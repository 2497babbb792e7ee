"""The step at hand with all a page about it needs: how it is put into the journal, what is read after, what it does."""

from __future__ import annotations

import re
from collections.abc import Sequence

from setwright.bench.foretold import Foretold, Peg, foretold, peg_of
from setwright.bench.journals import Source, job_from, open_journal
from setwright.bench.kept_work import Keeping, name_of
from setwright.bench.next_step import Next, Standing, next_seen
from setwright.bench.plans import reference_of
from setwright.bench.progress import OPPOSITE, SCREWS
from setwright.frozen import frozen
from setwright.instrument.jobfile import Job
from setwright.planning.course import Course, Goal
from setwright.planning.guide import SURE
from setwright.planning.guide import Advice as Advice
from setwright.planning.outlook import within
from setwright.planning.plan import Amount, Step, told_turns
from setwright.records.entries import Entry, live

_SHIM = re.compile(r"(strip|wedge|flat) shim")


@frozen
class Deed:
    """One thing to do, as the journal says it: did BEFORE WAY AMOUNT AFTER.

    label: what is moved. ways: which way it may go, the planned one first; () where there is none. kind: of the amount:
    "turns", "length", "thou", "count", "hertz", or "" where there is none. value: planned, SI or as its kind counts.
    """

    label: str
    before: str
    ways: tuple[str, ...] = ()
    kind: str = ""
    value: float | None = None
    link: str = ""  # a word between way and amount
    after: str = ""

    def words(self, amount: str = "", way: str = "") -> str:
        """The words for the journal.

        Args:
            amount: as typed.
            way: as chosen; "" for the planned one.
        Returns: e.g. "did claw out 5/8 turn".
        """
        chosen = way if way in self.ways else next(iter(self.ways), "")
        parts = ("did", self.before, chosen, *((self.link, amount) if self.kind else ()))
        return " ".join(one for one in parts if one) + self.after


@frozen
class ToRead:
    """Places to be read, as `readings_sheet` names them. needed: asked for; offered: what may be read along with it."""

    needed: tuple[str, ...] = ()
    offered: tuple[str, ...] = ()


@frozen
class AtHand:
    """The step at hand. written: entries of the journal, struck ones included. last: the live ones, newest first."""

    job: Job
    next: Next
    written: int
    last: tuple[Entry, ...]
    deeds: tuple[Deed, ...]
    reference: float  # Hz, pitch of A4 that notes are named by
    foretold: Foretold | None = None
    peg: Peg | None = None
    read: ToRead = ToRead()


def at_hand(job: Source, keeping: Keeping | None = None) -> AtHand:
    """The step at hand.

    Args:
        job: path of the job file, or a visit in a shop.
        keeping: where work on the job is kept; it makes the answer quicker, never another one.
    Returns: the step.
    Raises: as `next_step.next_of`.
    """
    read = job_from(job)
    _, journal = open_journal(job, None, read)
    entries = live(journal.entries)
    found, course = next_seen(read, entries, keeping, name_of(job))
    told, peg = None, None
    if course is not None and found.advice is not None:
        advice = found.advice
        told = foretold(course, advice)
        if advice.do == "tune" and advice.string is not None and advice.hertz is not None:
            peg = peg_of(course, advice.string, advice.hertz)
    reference = reference_of([one.si for one in read.want.tuning])
    reading = to_read(found, course, claw_told(entries))
    newest = tuple(reversed(entries))
    return AtHand(read, found, len(journal.entries), newest, deeds_of(found), reference, told, peg, reading)


def deeds_of(found: Next) -> tuple[Deed, ...]:
    """How a step is put into the journal.

    Args:
        found: the step.
    Returns: what is to be said, in order; nothing where the step is only read.
    """
    if found.step is not None:
        return _hardware(found.step)
    return () if found.advice is None else deeds_of_advice(found.advice)


def _hardware(step: Step) -> tuple[Deed, ...]:
    if step.key in SCREWS:
        return tuple(_screw(step.key, one) for one in step.amounts)
    if step.key == "shim":
        return tuple(_shim(one) for one in step.amounts)
    if step.key == "hang springs":
        return (Deed("springs hung", "springs", kind="count", value=step.amounts[0].value),)
    if step.key == "relief":
        one = step.amounts[0]
        return (Deed("truss rod", "rod", _ways(one.way), "turns", told_turns(one)),)
    if step.key == "strings on":
        return (Deed("strings changed", "strings changed"),)
    if step.key == "block":
        return (Deed("rear gap of the block", "wedge in", (), "length", step.amounts[0].value, "at", ", blocks"),)
    return (Deed(step.title, f"step {step.key}"),)


def _ways(way: str) -> tuple[str, ...]:
    return (way, OPPOSITE[way])


def _screw(key: str, one: Amount) -> Deed:
    """Both screws, that of one side, or that of one string."""
    first, *rest = one.what.split()
    which = f"string {rest[0]}" if first == "string" else "" if first == "both" else first
    return Deed(one.what, f"{SCREWS[key]} {which}".strip(), _ways(one.way), one.kind, told_turns(one))


def _shim(one: Amount) -> Deed:
    kind = _SHIM.match(one.what)
    assert kind is not None
    return Deed(one.what, kind[0], ("in" if one.way == "lay in" else "out",), "thou", one.value)


def deeds_of_advice(advice: Advice) -> tuple[Deed, ...]:
    """How a step of a balance is put into the journal.

    Args:
        advice: the step.
    Returns: what is to be said; nothing where it is only read.
    """
    if advice.do == "tune" and advice.string is not None:
        name = f"string {advice.string + 1}"
        return (Deed(name, f"tune {name} to", kind="hertz", value=advice.hertz),)
    if advice.do == "claw" and advice.turns is not None:
        way = "in" if advice.turns > 0.0 else "out"
        return (Deed("both claw screws", "claw", _ways(way), "turns", abs(advice.turns)),)
    if advice.do == "wedge":
        if advice.gap is None:
            return (Deed("wedge", "wedge out"),)
        return (Deed("rear gap of the wedge", "wedge in", (), "length", advice.gap, "at", ", props"),)
    if advice.do == "springs":
        return (Deed("springs that hang then", "springs", kind="count", value=float(len(advice.springs))),)
    if advice.do == "attitude":
        return (Deed("as it is played", "attitude playing"),)
    return ()


def to_read(found: Next, course: Course | None, claw_told: bool = False) -> ToRead:
    """What the step asks to be read, and what may be read along with it.

    A string that was heard since anything was last changed is asked for again only where the gap is sure and its pitch
    is not. The claw distance is asked for once after its screws were turned: pegs do not move it, and for each reading
    the instrument is turned over. The gap is what most readings are for.

    Args:
        found: the step.
        course: where the balance stands, None before every string was heard.
        claw_told: the claw distance was read since the claw was last turned.
    Returns: places as `readings_sheet` names them; none where the step is not one of reading.
    """
    advice, standing = found.advice, found.standing
    if advice is None or advice.do != "read":
        return ToRead()
    if advice.claw:
        return ToRead(("claw distance",), ())
    strings = {one: f"pitch string {one + 1}" for one in advice.strings}
    needed, offered = list(strings.values()), []
    if course is not None and standing is not None and all(course.heard) and found.gauges:
        again = _unsure(standing, course.goal)
        needed = [name for i, name in strings.items() if i in again]
        offered = [name for i, name in strings.items() if i not in again]
    if found.gauges:
        needed.append("rear gap")
        (offered if claw_told else needed).append("claw distance")
    return ToRead(tuple(needed), tuple(offered))


def claw_told(entries: Sequence[Entry]) -> bool:
    """Whether the claw distance was read since the claw was last turned.

    Args:
        entries: live ones of the journal, in their order.
    Returns: True or False.
    """
    last = next((one for one in reversed(entries) if one.what in ("claw", "claw distance")), None)
    return last is not None and last.verb == "read"


def _unsure(standing: Standing, goal: Goal) -> set[int]:
    """Strings whose pitch is what is not sure yet, 0 = thinnest; none while it is the gap."""
    if within(standing.gap - goal.gap, standing.gap_sd, goal.gap_tolerance) < SURE:
        return set()
    each = zip(standing.cents, standing.cents_sd, strict=True)
    return {i for i, (off, sd) in enumerate(each) if within(off, sd, goal.pitch_tolerance) < SURE}
