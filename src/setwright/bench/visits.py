"""Visits: taken in again, what is wished, which specification holds, handed back, opened again."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from contextlib import suppress
from datetime import date, datetime

from setwright.bench.house import named
from setwright.bench.journals import belongs
from setwright.bench.owners import based_on
from setwright.bench.paper_words import strings_on
from setwright.bench.shop import opened
from setwright.errors import InputError, SetwrightError
from setwright.frozen import frozen
from setwright.instrument.belief import Belief
from setwright.instrument.jobfile import Job
from setwright.instrument.settings import FEWEST
from setwright.records import overview
from setwright.records.documents import document, keep_belief, keep_document
from setwright.records.edits import edit, get
from setwright.records.entries import Entry, live
from setwright.records.jobs import Added, JobFiles, files_of
from setwright.records.jobs import add_job as put_job
from setwright.records.journal_text import parse
from setwright.records.kept import append, count_of
from setwright.records.rows import Instrument, Visit
from setwright.records.shop import Work

_WANT = re.compile(r"^[ \t]*\[want\][ \t]*(?:#.*)?\r?\n", re.MULTILINE)
_FEWEST = re.compile(r"^[ \t]*fewest[ \t]*=.*\n", re.MULTILINE)
STANDS = {"dive-only": "decked"}  # how a plate set up for downward use stands when it is found


@frozen
class Stood:
    """How an instrument was left, as far as it comes back like that: never a reading, these are taken anew.

    strings: gauges from the thinnest. tuning: "standard" and the like, or notes, as the job file has them. bridge:
    how the plate stands. springs: how many are on. visit: after which.
    """

    visit: str
    strings: tuple[str, ...]
    tuning: str
    bridge: str
    springs: int


def visits_of(at: str | None, instrument: str) -> tuple[Visit, ...]:
    """The visits of an instrument, in their order.

    Args:
        at: folder or URL.
        instrument: id, or the end of it.
    Returns: the visits.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return overview.visits(work, get(work, Instrument, instrument).id)


def as_left(at: str | None, instrument: str) -> Stood | None:
    """How an instrument was left by its last visit, to begin the next from.

    Args:
        at: folder or URL.
        instrument: id, or the end of it.
    Returns: how it stood; None where it never came.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        found = overview.visits(work, get(work, Instrument, instrument).id)
        if not found:
            return None
        job, journal = files_of(work, found[-1])
        tables = tomllib.loads(document(work, found[-1].job_file).decode("utf-8-sig"))
        return _stood(found[-1].id, job, tables, live(journal.entries))


def _stood(visit: str, job: Job, tables: dict[str, dict[str, object]], entries: Sequence[Entry]) -> Stood:
    did = [one for one in entries if one.verb == "did"]
    springs = next((int(one.value.si) for one in reversed(did) if one.what == "springs" and one.value), None)
    bridge = job.want.bridge if did else job.found.bridge
    tuning = (tables.get("want", {}).get("tuning") if did else None) or tables["found"].get("tuning", "standard")
    words = tuning if isinstance(tuning, str) else " ".join(str(one) for one in tuning)  # type: ignore[attr-defined]
    strings = tuple(re.findall(r"[^\s,]+", strings_on(job, entries)))
    return Stood(visit, strings, words, STANDS.get(bridge, bridge), job.found.springs if springs is None else springs)


def take_in_files(
    at: str | None, files: JobFiles, owner: str = "", instrument: str = "", kind: str = "", who: str = ""
) -> Added:
    """A visit from the files of a job that came in another way than by their paths.

    Args:
        at: folder or URL.
        files: job, instrument and journal with their names.
        owner: name of the owner, "" when not said.
        instrument: id of one in the shop, "" to find or make it.
        kind: of job, in words.
        who: works here.
    Returns: what was added.
    Raises: InputError, FileFormatError, QuestionableError; nothing is kept then.
    """
    with opened(at) as shop, shop.writing(who) as work:
        return put_job(work, files, owner, instrument, kind, check=belongs)


def edit_visit(
    at: str | None,
    visit: str,
    version: int | None = None,
    who: str = "",
    wish: str | None = None,
    kind: str | None = None,
    specification: str | None = None,
) -> Visit:
    """Change wish, kind of job or house specification of a visit; what is None stays.

    Args:
        at: folder or URL.
        visit: id, or the end of it.
        version: of the visit as it was read; None where it was not read before.
        who: works here.
        wish: in the owner's words; plans and sheets read it here, the job file stays as it was.
        kind: of job, in words.
        specification: the house specification, by id, the end of it or name; "" for none.
    Returns: the visit as kept.
    Raises: StaleEditError with both values; InputError, FileFormatError.
    """
    changes: dict[str, str | None] = {
        name: value for name, value in (("wish", wish), ("kind", kind)) if value is not None
    }
    with opened(at) as shop, shop.writing(who) as work:
        if specification is not None:
            changes["specification"] = named(work, specification).id if specification else None
        return edit(work, based_on(get(work, Visit, visit), version), **changes)


def change_job(
    at: str | None, visit: str, raw: bytes, version: int | None = None, who: str = "", name: str = ""
) -> Visit:
    """Give a visit another job file: what was found, what is wanted, what there is.

    Args:
        at: folder or URL.
        visit: id, or the end of it.
        raw: the file; its wish becomes that of the visit.
        version: of the visit as it was read; None where it was not read before.
        who: works here.
        name: of the file, "" for the one it had.
    Returns: the visit as kept; the file it had stays in the shop.
    Raises: StaleEditError; FileFormatError, InputError, QuestionableError for a file that does not go with the
        instrument or with the journal.
    """
    from setwright.instrument.files import instrument_from_bytes
    from setwright.instrument.jobfile import job_from_bytes

    with opened(at) as shop, shop.writing(who) as work:
        now = get(work, Visit, visit, lock=True)
        label = name or now.job_name
        job = job_from_bytes(
            raw, label, instrument_from_bytes(document(work, now.instrument_file), now.instrument_name)
        )
        for entry in files_of(work, now)[1].entries:
            belongs(entry, job, f"{now.journal_name}, line {entry.line}: ")
        kept = keep_document(work, raw, label)
        return edit(work, based_on(now, version), job_file=kept, job_name=label, wish=job.wish)


def choose_way(at: str | None, visit: str, fewest: str, version: int | None = None, who: str = "") -> Visit:
    """Choose what the way to pitch of a floating plate has least of.

    Args:
        at: folder or URL.
        visit: id, or the end of it.
        fewest: what there is to be least of, "claw settings" or "minutes".
        version: of the visit as it was read; None where it was not read before.
        who: works here.
    Returns: the visit as kept, its job file rewritten in this one line.
    Raises: StaleEditError; InputError for anything else, and where the file has no [want] to put such a line into.
    """
    if fewest not in FEWEST:
        raise InputError(f"the way may have fewest {' or fewest '.join(FEWEST)}; it was asked for fewest {fewest}.")
    with opened(at) as shop, shop.writing(who) as work:
        now = get(work, Visit, visit, lock=True)
        raw = _chosen(document(work, now.job_file), fewest, now.job_name)
        return edit(work, based_on(now, version), job_file=keep_document(work, raw, now.job_name))


def _chosen(raw: bytes, fewest: str, name: str) -> bytes:
    """A job file with another `fewest` in its [want]."""
    text = raw.decode("utf-8-sig")
    meant = tomllib.loads(text)
    meant["want"] = meant.get("want", {}) | {"fewest": fewest}
    line = f'fewest = "{fewest}"'
    told = _WANT.sub(lambda head: f"{head[0]}{line}\n", _FEWEST.sub("", f"{text}\n"), count=1)
    with suppress(tomllib.TOMLDecodeError):
        if tomllib.loads(told) == meant:
            return told.encode()
    raise InputError(f"{name} says what is wanted in a way this cannot change; write {line} in its [want].")


def hand_back(
    at: str | None, visit: str, recheck: date | None = None, version: int | None = None, who: str = ""
) -> Visit:
    """Close a visit: the instrument goes back to its owner, and what its readings told is kept for the next visit.

    Args:
        at: folder or URL.
        visit: id, or the end of it.
        recheck: when it is to be looked at again; it goes into the journal, and from there on the sheet.
        version: of the visit as it was read; None where it was not read before.
        who: hands it back.
    Returns: the visit.
    Raises: StaleEditError; InputError for a visit that is closed, or a day before it came.
    """
    with opened(at) as shop:
        with shop.reading() as work:
            before = _learned(work, get(work, Visit, visit))  # takes a while: nobody is kept from writing meanwhile
        with shop.writing(who) as work:
            return _closed(work, based_on(get(work, Visit, visit, lock=True), version), before, recheck, who)


@frozen
class _Learned:
    """What a visit has learned by a number of entries."""

    version: int
    entries: int
    belief: Belief | None


def _learned(work: Work, visit: Visit) -> _Learned:
    """What a visit has learned so far; nothing where its files are refused by now."""
    belief = None
    if visit.state == "open":
        with suppress(SetwrightError):
            job, journal = files_of(work, visit)
            from setwright.bench.carried import learned_at_end  # it brings in the whole of planning

            belief = learned_at_end(job, journal.entries)
    return _Learned(visit.version, count_of(work, visit.id), belief)


def _closed(work: Work, now: Visit, learned: _Learned, recheck: date | None, who: str) -> Visit:
    if now.state != "open":
        raise InputError(f"visit {now.number} is closed already, since {now.handed_back}; nothing is to be done.")
    if recheck is not None and recheck.isoformat() < now.came[:10]:
        raise InputError(f"{recheck} is before the instrument came, {now.came[:10]}; write a later day.")
    if (now.version, count_of(work, now.id)) != (learned.version, learned.entries):
        learned = _learned(work, now)  # another bench was quicker
    if recheck is not None:
        append(work, now.id, parse("note", f"recheck: {recheck}", datetime.now(), who))
    belief = None if learned.belief is None else keep_belief(work, learned.belief)
    return edit(work, now, state="closed", handed_back=work.now, belief=belief)


def open_again(at: str | None, visit: str, version: int | None = None, who: str = "") -> Visit:
    """Open a visit that was closed too early.

    Args:
        at: folder or URL.
        visit: id, or the end of it.
        version: of the visit as it was read; None where it was not read before.
        who: works here.
    Returns: the visit.
    Raises: StaleEditError; InputError for a visit that is open.
    """
    with opened(at) as shop, shop.writing(who) as work:
        now = based_on(get(work, Visit, visit, lock=True), version)
        if now.state == "open":
            raise InputError(f"visit {now.number} is open; write into its journal.")
        return edit(work, now, state="open", handed_back=None, belief=None)
