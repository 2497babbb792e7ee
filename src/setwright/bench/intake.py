"""Taking an instrument in: from what is typed at the counter to the two files a job is, and a visit in the shop.

What is typed is put into the same files a bench writes by hand, and read by the same readers: an implausible value is
refused here with the sentence it would get there.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from typing import Literal

from setwright.bench.shop import opened
from setwright.errors import FileFormatError, InputError, QuestionableError, SetwrightError
from setwright.frozen import frozen
from setwright.instrument import catalogue
from setwright.instrument.document import from_bytes
from setwright.instrument.files import InstrumentFile, instrument_from_bytes
from setwright.instrument.jobfile import Job, job_from_bytes
from setwright.instrument.quantities import Amount
from setwright.instrument.settings import FEWEST
from setwright.metrology.plausible import doubt
from setwright.records.documents import document
from setwright.records.edits import edit, get
from setwright.records.ids import new_id
from setwright.records.jobs import Added, JobFiles, add_job
from setwright.records.rows import Instrument
from setwright.records.shop import Work

Kind = Literal["words", "length", "gauges", "notes", "count", "choice", "scale"]
BRIDGES = ("floating", "decked", "blocked", "fixed")
WANTED = ("floating", "decked", "dive-only", "blocked", "fixed")
TUNED = ("standard",)
MOST = 500  # letters of one thing typed
LONGEST = 10_000  # letters of a wish
STAND_IN = {"instrument.name": '"x"', "instrument.scale": '"25 1/2 in"'}
_BARE = re.compile(r"[\d.,/ \t±-]*\d[\d.,/ \t±-]*")
_THOU = re.compile(r"(\d{1,3})(w?)")
_AT = re.compile(r"^[^:]*?, line (\d+)[^:]*: ", re.DOTALL)


@frozen
class Box:
    """One thing to be typed. key: its name, "table.field". kind: how it is read. choices: of a choice, the first
    standing for "not said" where it is ""."""

    key: str
    label: str
    kind: Kind = "length"
    hint: str = ""
    choices: tuple[str, ...] = ()
    needed: bool = False


INSTRUMENT = (
    Box("instrument.name", "Name in the shop", "words", "what you call it", needed=True),
    Box("instrument.scale", "Scale length", "scale", "25 1/2 in; fanned: 25 1/2 in to 27 in, 7 square", needed=True),
    Box("instrument.strings", "Strings", "count", "as many as its bridge has"),
    Box("instrument.frets", "Frets", "count", "22"),
    Box("instrument.radius", "Fretboard radius", "length", "12 in"),
    Box("instrument.handed", "Played", "choice", "", ("", "right", "left")),
    Box("bridge.pivot_height", "Pivot line over the body", "length", "of its kind; only where it floats"),
)
FOUND = (
    Box("found.strings", "Strings that are on", "gauges", "10 13 17 26w 36w 46w, the thinnest first", needed=True),
    Box("found.tuning", "Tuning", "notes", "standard, or E4 B3 G3 D3 A2 E2"),
    Box("found.bridge", "Plate", "choice", "", ("", *BRIDGES)),
    Box("found.springs", "Springs on", "count", "3"),
    Box("found.claw.treble", "Claw from the wall, treble", "length", "hook line to cavity wall"),
    Box("found.claw.bass", "Claw from the wall, bass", "length", "the same where it is not read"),
    Box("found.rear_gap", "Rear gap", "length", "body top to the bottom rear edge"),
    Box("found.height.treble", "Height of string 1 at fret 12", "length", "fret crown to the underside"),
    Box("found.height.bass", "Height of the last string", "length", "those between follow"),
    Box("found.relief", "Relief at fret 8", "length", "string held down at 1 and 17"),
)
WANT = (
    Box("want.bridge", "Plate", "choice", "", ("", *WANTED)),
    Box("want.rear_gap", "Rear gap", "length", "as 2.6 ± 0.25 mm, or .100 ± .010 in"),
    Box("want.strings", "Strings to go on", "gauges", "as found"),
    Box("want.tuning", "Tuning", "notes", "as found"),
    Box("want.height.treble", "Height of string 1 at fret 12", "length", "as found"),
    Box("want.height.bass", "Height of the last string", "length", "as found"),
    Box("want.relief", "Relief at fret 8", "length", "as found"),
    Box("want.fewest", "To be spared, where it floats", "choice", "", ("", *FEWEST)),
)
BOXES = {box.key: box for box in (*INSTRUMENT, *FOUND, *WANT)}
_FIELDS: dict[str, tuple[str, ...]] = {  # field of a file that several boxes make
    "claw_distance": ("claw.treble", "claw.bass"),
    "string_height": ("height.treble", "height.bass"),
}


@frozen
class Doubt:
    """Why something typed was not taken. sure: it is possible, and taken when it is confirmed."""

    words: str
    sure: bool = False


class NotTakenError(InputError):
    """What was typed at the counter cannot be used; `doubts` by the key of each box, "" of none in particular."""

    def __init__(self, doubts: dict[str, Doubt]) -> None:
        super().__init__(next(iter(doubts.values())).words)
        self.doubts = doubts


@frozen
class Intake:
    """What was typed. source: "new" with `pattern`, the kind of its bridge; "like", an instrument of the shop to copy;
    "known", one that was here before; `instrument`: id of either. typed: by the key of each box. unit: of bare lengths,
    "mm" or "in". sure: keys of unlikely values that are meant."""

    source: Literal["new", "like", "known"]
    typed: Mapping[str, str]
    pattern: str = ""
    instrument: str = ""
    owner: str = ""
    contact: str = ""
    wish: str = ""
    unit: Literal["mm", "in"] = "mm"
    sure: Collection[str] = ()


@frozen
class Patterns:
    """Kinds of bridges: name and what it is."""

    bridges: tuple[tuple[str, str], ...]


def patterns() -> Patterns:
    """The kinds of instruments that can be taken in without a file.

    Returns: the patterns.
    """
    return Patterns(tuple((kind, catalogue.bridge(kind).about) for kind in catalogue.bridge_kinds()))


def take_in(at: str | None, given: Intake, who: str = "") -> Added:
    """Take an instrument in: a visit, with its files, in the shop.

    Args:
        at: folder or URL of the shop.
        given: what was typed.
        who: takes it in.
    Returns: what was added.
    Raises: NotTakenError with a sentence for every box that is wrong; InputError, FileFormatError; nothing is kept.
    """
    doubts = _missing(given)
    with opened(at) as shop, shop.writing(who) as work:
        home = None if given.source == "new" else get(work, Instrument, given.instrument)
        known = home is not None and given.source == "known"
        name = home.name if home is not None and known else given.typed.get("instrument.name", "")
        stem = _stem(name)
        raw = _instrument(work, given, home, doubts)
        read = instrument_from_bytes(raw, f"{stem}.instrument.toml")
        job = _job(given, read, f"{stem}.job.toml", name, doubts)
        if doubts:
            raise NotTakenError(doubts)
        files = JobFiles(f"{stem}.job.toml", job, f"{stem}.instrument.toml", raw, f"{stem}.journal.txt")
        added = add_job(work, files, given.owner, home.id if home is not None and known else "")
        if added.owner is not None and given.contact.strip() and not added.owner.contact:
            edit(work, added.owner, contact=given.contact)
        return added


def _missing(given: Intake) -> dict[str, Doubt]:
    """Doubts about boxes that must not be empty."""
    own = {"new": ("instrument.", "found."), "like": ("instrument.name", "found."), "known": ("found.",)}[given.source]
    return {
        box.key: Doubt(f"{box.label} is empty; write it.")
        for box in BOXES.values()
        if box.needed and box.key.startswith(own) and not given.typed.get(box.key, "").strip()
    }


def _instrument(work: Work, given: Intake, home: Instrument | None, doubts: dict[str, Doubt]) -> bytes:
    """The instrument's file; where something is wrong with it, one that will do to look at the rest."""
    if home is not None and given.source == "known":
        return document(work, home.file)
    head = f"# Taken in at the bench, {new_id()}.\n"  # no two are the same instrument because they read alike
    if home is not None:
        return _renamed(document(work, home.file), given.typed.get("instrument.name", "").strip() or "x", head)
    pattern = given.pattern
    if pattern not in catalogue.bridge_kinds():
        doubts["pattern"] = Doubt("the kind of bridge is not chosen; choose the one that is nearest.")
        pattern = catalogue.bridge_kinds()[0]
    own: dict[int, str] = {}
    lines = [head.strip()]
    for table, first in (("instrument", ()), ("bridge", (f"kind = {_quoted(pattern)}",))):
        lines += [f"[{table}]", *first]
        for box in INSTRUMENT:
            field = box.key.removeprefix(f"{table}.")
            text = _value(box, given) or STAND_IN.get(box.key, "")
            if field != box.key and text:
                lines.append(f"{field} = {text}")
                own[len(lines)] = box.key
    return _settled(lines, own, STAND_IN, lambda raw: instrument_from_bytes(raw, "instrument"), doubts)


def _job(given: Intake, read: InstrumentFile, file: str, name: str, doubts: dict[str, Doubt]) -> bytes:
    """The job's file."""
    wish = given.wish.replace("\r\n", "\n").strip()
    if len(wish) > LONGEST:
        doubts["wish"] = Doubt(f"the wish has {len(wish)} letters; up to {LONGEST} are kept.")
        wish = ""
    lines = ["[job]", f"title = {_quoted(name.strip() or 'x')}", f"instrument = {_quoted(read.file)}"]
    lines += [f"wish = {_quoted(wish)}"] if wish else []
    own: dict[int, str] = {}
    stand_in = {"found.strings": _list(f".0{10 + 4 * i}" for i in range(read.strings))}
    for table, boxes in (("found", FOUND), ("want", WANT)):
        lines.append(f"[{table}]")
        for keys, text in _fields(table, boxes, given, stand_in):
            lines.append(text)
            own[len(lines)] = keys
    raw = _settled(lines, own, stand_in, lambda raw: job_from_bytes(raw, file, read), doubts)
    for key, quantity, amount in _asked(job_from_bytes(raw, file, read)):
        typed = given.typed.get(key, "").strip()
        reason = doubt(quantity, amount.si, amount.written) if typed and key not in given.sure else None
        if reason is not None:
            doubts.setdefault(key, Doubt(reason, sure=True))
    return raw


def _asked(job: Job) -> Iterator[tuple[str, str, Amount]]:
    """Readings and wishes of a job with the box they come from and what is usual of them."""
    for table, told in (("found", job.found), ("want", job.want)):
        if told.string_height is not None:
            for side, height in (("treble", told.string_height.amounts[0]), ("bass", told.string_height.amounts[-1])):
                yield f"{table}.height.{side}", "string_height", height
        if told.relief is not None:
            yield f"{table}.relief", "relief", told.relief.value
    for side, distance in zip(("treble", "bass"), job.found.claw_distance or (), strict=False):
        yield f"found.claw.{side}", "claw_distance", distance
    for table, gap in (("found", (job.found.rear_gap or (None,))[0]), ("want", job.want.rear_gap)):
        if gap is not None:
            yield f"{table}.rear_gap", "rear_gap", gap


def _fields(
    table: str, boxes: tuple[Box, ...], given: Intake, stand_in: Mapping[str, str]
) -> Iterator[tuple[str, str]]:
    """Lines of a table with the keys of the boxes they come from."""
    texts = {box.key: _value(box, given) or stand_in.get(box.key, "") for box in boxes}
    values = {key.removeprefix(f"{table}."): (key, text) for key, text in texts.items() if text}
    for name, (key, text) in values.items():
        if "." not in name:
            yield key, f"{name} = {_relief(text) if name == 'relief' else text}"
    for field, pair in _FIELDS.items():
        there = [values[one] for one in pair if one in values]
        if not there:
            continue
        first, last = there[0], there[-1]
        keys = " ".join(key for key, _ in dict.fromkeys(there))
        if field == "string_height":
            yield keys, f"{field} = {{ fret = 12, treble = {first[1]}, bass = {last[1]} }}"
        else:
            yield keys, f"{field} = [{first[1]}, {last[1]}]"


def _relief(text: str) -> str:
    inner = text.strip("{} ") if text.startswith("{") else f"value = {text}"
    return f"{{ {inner}, hold = [1, 17], read = 8 }}"


def _settled(
    lines: list[str],
    own: Mapping[int, str],
    stand_in: Mapping[str, str],
    read: Callable[[bytes], object],
    doubts: dict[str, Doubt],
) -> bytes:
    """The text of a file; every line that is refused is noted with its boxes, and something else put there."""
    for _ in range(2 * len(own) + 1):
        raw = ("\n".join(lines) + "\n").encode("utf-8", "replace")
        try:
            read(raw)
        except SetwrightError as error:
            at = _AT.match(str(error))
            number = int(at[1]) if at else 0
            keys = own.get(number, "").split()
            usual = "".join(f"{key.partition('.')[2]} = {stand_in[key]}" for key in keys if key in stand_in)
            if at is None or not keys or lines[number - 1] == usual:
                doubts.setdefault("", Doubt(str(error)))
                return raw
            for key in _meant(keys, at[0]):
                doubts.setdefault(key, Doubt(str(error)[at.end() :], isinstance(error, QuestionableError)))
            lines[number - 1] = usual
        else:
            return raw
    raise AssertionError("every line was replaced and the file is still refused")


def _meant(keys: list[str], where: str) -> list[str]:
    """Which of the boxes behind a line the place in a message means; all of them where it does not say."""
    sides = {"treble": ("treble", "[1]"), "bass": ("bass", "[2]")}
    said = [key for key in keys if any(word in where for word in sides.get(key.rpartition(".")[2], ()))]
    return said or keys


def _value(box: Box, given: Intake) -> str:
    """What was typed into a box, as TOML; "" where nothing was."""
    text = unicodedata.normalize("NFC", given.typed.get(box.key, "")).strip()[:MOST]
    if not text:
        return ""
    if box.kind == "count":
        return text if text.isascii() and text.isdigit() and len(text) < 4 else _quoted(text)
    if box.kind == "gauges":
        return _list(_gauge(one) for one in re.findall(r"[^\s,;]+", text))
    if box.kind == "notes":
        return _quoted(text) if text.casefold() in TUNED else _list(_notes(text))
    if box.kind == "scale":
        return _scale(text, given.unit, box.key in given.sure)
    if box.kind == "length":
        return _sure(_with_unit(text, given.unit), box.key in given.sure)
    return _quoted(text)


def _list(texts: Iterable[str]) -> str:
    return f"[{', '.join(_quoted(one) for one in texts)}]"


def _notes(text: str) -> list[str]:
    """Notes apart; a distance in cents stays with its note."""
    return re.findall(r"[^\s,;]+(?:\s+[+−-]\s*\d[\d.]*\s*c\b)?", text)


def _scale(text: str, unit: str, sure: bool) -> str:
    fan = re.fullmatch(r"(.+?)\s+to\s+(.+?),\s*(\d{1,2})\s*(?:square)?", text)
    if fan is None:
        return _sure(_with_unit(text, unit), sure)
    treble, bass = (_sure(_with_unit(one, unit), sure) for one in fan.group(1, 2))
    return f"{{ treble = {treble}, bass = {bass}, square = {fan[3]} }}"


def _with_unit(text: str, unit: str) -> str:
    """A length; a bare number has the unit of the form."""
    return f"{text} {unit}" if _BARE.fullmatch(text) else text


def _sure(text: str, sure: bool) -> str:
    return f"{{ value = {_quoted(text)}, sure = true }}" if sure else _quoted(text)


def _gauge(text: str) -> str:
    """A gauge as files write it: "10" is ".010", "26w" is ".026w"."""
    bare = _THOU.fullmatch(text)
    return f".{bare[1]:0>3}{bare[2]}" if bare else text


def _quoted(text: str) -> str:
    """A text in TOML."""
    return json.dumps(text.encode("utf-8", "replace").decode(), ensure_ascii=False).replace("\x7f", "\\u007f")


def _stem(name: str) -> str:
    """A name of files from a name of an instrument."""
    plain = unicodedata.normalize("NFKD", name.casefold()).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40] or "instrument"


def _renamed(raw: bytes, name: str, head: str) -> bytes:
    """An instrument's file under another name, with nothing else changed."""
    read = from_bytes(raw, "instrument")
    lines = read.text.split("\n")
    lines[read.lines["instrument", "name"] - 1] = f"name = {_quoted(name.strip())}"
    made = (head + "\n".join(lines)).encode("utf-8", "replace")
    wanted = {**read.data, "instrument": {**read.data["instrument"], "name": name.strip()}}
    try:
        same = from_bytes(made, "instrument").data == wanted
    except FileFormatError:
        same = False
    if not same:
        raise InputError(
            "the file of that instrument is written in a way that cannot be copied; take it in by its bridge."
        )
    return made
