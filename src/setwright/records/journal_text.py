"""An entry as one line of text, and back. The same words serve in the file and on the command line."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import datetime

from setwright.errors import InputError, QuestionableError
from setwright.instrument.document import nearest
from setwright.metrology.gauges import Gauge, gauge_named
from setwright.metrology.plausible import question
from setwright.metrology.reading import ATTITUDES, Convention, Place, State, reading_uncertainty
from setwright.records.entries import Entry, Value, Verb
from setwright.records.forms import CENTS_MOST, CENTS_USUAL, FORMS, MOST_SPRINGS, Form
from setwright.units import Written, read_cents, read_pitch, read_toleranced

VERBS: tuple[Verb, ...] = ("read", "did", "note", "strike")
LONGEST = 500  # characters of one entry's words
TORN = "[torn]"
STATES = ("at pitch", "slack", *ATTITUDES, "wedge in", "wedge out", "reached from above", "reached from below")
_TAIL = re.compile(rf"(?:,\s*|\s+)(?P<tail>(?:with|sure|{'|'.join(STATES)})\b.*)$", re.IGNORECASE)
_GAUGE = re.compile(r"with (?:a |the )?(?P<gauge>.+)$", re.IGNORECASE)
_STRIKE = re.compile(r"#?(?P<number>\d{1,6})\s*(?::\s*|\s+)(?P<reason>\S.*)$")
_LINE = re.compile(
    r"(?P<day>\d{4}-\d\d-\d\d)\s+(?P<time>\d\d:\d\d(?::\d\d)?)\s+#(?P<number>\d{1,6})"
    r"(?:\s+by\s+(?P<who>\"[^\"]+\"|\S+))?\s+(?P<verb>\S+)\s+(?P<text>\S.*)$"
)
_CENTS_END = r"(?:cents?|ct|c|¢)\.?"
_IN_CENTS = re.compile(rf"[^A-Za-z¢]*{_CENTS_END}$", re.IGNORECASE)  # a number and cents, no note before them
_ENDS_IN_CENTS = re.compile(rf"[\d\s.,]{_CENTS_END}$", re.IGNORECASE)
_RECORDED = re.compile(r',?\s*recorded "(?P<name>[^"]+)" sha256 (?P<hash>[0-9a-f]{64})(?=,|\s+sure$|$)', re.IGNORECASE)
_PLUS_MINUS = re.compile(r"\+\s?/\s?-|\+-")
_SURE = "or confirm it with the word sure behind it"


def parse(verb: str, words: str, when: datetime, who: str = "", sure: bool = False) -> Entry:
    """An entry from its words: "read", "pitch string 3 = 196.02 Hz".

    Args:
        verb: read, did, note or strike.
        words: what follows it.
        when: by the clock of the bench.
        who: did it; "" when not said.
        sure: confirms an unlikely value, as the word sure at the end does.
    Returns: the entry, its number 0.
    Raises: InputError (UnitError) in one sentence with what is allowed and the nearest known word; QuestionableError
        for a value that is possible but unlikely and not confirmed.
    """
    text = tidy(words)
    if any(mark in who for mark in '"\n\r\t') or (who and not who.strip()) or len(who) > 60:
        raise InputError("a name cannot hold quotes or line ends and has up to 60 characters; write for instance Ada.")
    start = Entry(when, "note", text, who=tidy(who) if who else "")
    if verb == "note":
        return replace(start, text=_unquoted(text))
    if verb == "strike":
        return _strike(start, text)
    if verb in ("read", "did"):
        kept = f"{text} sure" if sure and not re.search(r"\bsure$", text, re.IGNORECASE) else text
        started = replace(start, verb="read" if verb == "read" else "did", text=kept)
        return _read(started, kept) if verb == "read" else _did(started, kept)
    for known, forms in FORMS.items():
        if any(f"{verb} {text}".casefold().startswith(f"{what} ") for what in forms):
            raise InputError(
                f"{verb[:40]!r} does not say whether it was read or done; write {known} {verb} {text[:60]}."
            )
    hint = nearest(verb, VERBS) or "; an entry begins with one of these."
    raise InputError(f"{verb[:40]!r} is not one of read, did, note, strike{hint}")


def tidy(words: str) -> str:
    """Words on one line: runs of blanks become one.

    Args:
        words: as typed.
    Returns: the words.
    Raises: InputError for nothing, for too much, for control characters and for the mark of a torn line.
    """
    text = " ".join(words.split())
    if not text:
        raise InputError("nothing is written here; write for instance read rear gap = 2.6 mm.")
    if len(text) > LONGEST:
        raise InputError(f"an entry of {len(text)} characters is too long; up to {LONGEST} fit, write two entries.")
    if not text.isprintable():
        raise InputError("the words hold a control character; write plain text.")
    if text.endswith(TORN):
        raise InputError(f"{TORN} at the end marks a torn line; write it elsewhere or leave it out.")
    return text


def line_of(entry: Entry) -> str:
    """The line of an entry, without line end.

    Args:
        entry: with its number.
    Returns: e.g. "2026-11-25 14:33:20  #15  read  rear gap = 2.6 mm at pitch, playing".
    """
    who = f" by {_quoted(entry.who)}" if entry.who else ""
    return f"{entry.when:%Y-%m-%d %H:%M:%S}  #{entry.number}{who}  {entry.verb:<5} {entry.text}"


def parse_line(line: str) -> Entry:
    """An entry from its line.

    Args:
        line: without line end.
    Returns: the entry with its number.
    Raises: InputError, QuestionableError as `parse`, and for a line without date, time and number.
    """
    found = _LINE.match(line.strip())
    if found is None:
        raise InputError(
            f"{line.strip()[:40]!r} is no entry; write date, time, number and words, as 2026-11-25 14:31:07  #12  "
            "read  rear gap = 2.6 mm."
        )
    clock = found["time"] if found["time"].count(":") == 2 else f"{found['time']}:00"
    try:
        when = datetime.fromisoformat(f"{found['day']} {clock}")
    except ValueError:
        raise InputError(
            f"{found['day']} {found['time']} is no date and time; write it as 2026-11-25 14:31:07."
        ) from None
    number = int(found["number"])
    if number == 0:
        raise InputError("number #0 does not exist; entries are counted from #1.")
    return replace(parse(found["verb"], found["text"], when, (found["who"] or "").strip('"')), number=number)


def _quoted(who: str) -> str:
    return f'"{who}"' if " " in who else who


def _unquoted(text: str) -> str:
    inside = text[1:-1].strip()
    return inside if text[0] == text[-1] == '"' and inside and '"' not in inside else text


def _strike(entry: Entry, text: str) -> Entry:
    found = _STRIKE.match(text)
    if found is None or int(found["number"]) == 0:
        raise InputError(
            f"{text[:40]!r} strikes nothing; write number and reason, as strike #15: read on the wrong side."
        )
    number = int(found["number"])
    return replace(entry, verb="strike", strikes=number, text=f"#{number}: {_unquoted(found['reason'])}")


def _form(verb: str, text: str) -> tuple[Form, str]:
    """The form whose name comes first, and what follows it."""
    forms = FORMS[verb]
    low = text.casefold()
    for what in sorted(forms, key=len, reverse=True):
        if low == what or low.startswith((f"{what} ", f"{what}=")):
            return forms[what], text[len(what) :].strip()
    for other in FORMS:
        for what in FORMS[other]:
            if other != verb and low.startswith(f"{what} "):
                raise InputError(
                    f"{what!r} belongs behind {other}, not {verb}; write {other} {FORMS[other][what].shape}."
                )
    head = re.split(r"\s*(?:=|\bstring\b|\d)", text, maxsplit=1)[0]
    hint = nearest(head.casefold(), forms) or nearest(head.split(" ")[0].casefold(), forms)
    raise InputError(f"{verb} {(head or text)[:40]!r} is not known; there are {', '.join(forms)}{hint or '.'}")


def _matched(verb: str, form: Form, rest: str) -> dict[str, str]:
    found = re.fullmatch(form.rest, rest, re.IGNORECASE)
    if found is None:
        raise InputError(f"{verb} {form.what} {rest[:40]!r} is not complete or not clear; write {verb} {form.shape}.")
    return {name: value for name, value in found.groupdict().items() if value}


def _number(parts: dict[str, str], name: str) -> int | None:
    return int(parts[name]) if name in parts else None


def _place(parts: dict[str, str]) -> Place:
    harmonic = "harmonic" in parts
    return Place(_number(parts, "fret"), _number(parts, "string"), parts.get("side", "").casefold(), harmonic)


def _read(entry: Entry, text: str) -> Entry:
    if found := _RECORDED.search(text):
        entry = replace(entry, recording=found["name"], sha256=found["hash"].casefold())
        text = text[: found.start()] + text[found.end() :]
    form, rest = _form("read", text)
    head, sign, behind = (part.strip() for part in rest.partition("="))
    parts = _matched("read", form, head)
    if not sign or not behind:
        raise InputError(f"read {form.what} has no value; write read {form.shape}.")
    amount, tail = _split(behind)
    gauge, said, sure = _tail(tail)
    value = _value(form, amount, gauge, sure)
    convention = Convention(
        _number(parts, "low"), _number(parts, "high"), _number(parts, "at"), "straightedge" in parts,
        _number(parts, "capo"),
    )  # fmt: skip
    return replace(
        entry, what=form.what, value=value, place=_place(parts), convention=convention, state=_state(said), said=said,
        gauge=gauge.name if gauge else "", sure=sure,
    )  # fmt: skip


def _split(text: str) -> tuple[str, str]:
    """Value, and the words behind it."""
    found = _TAIL.search(text)
    return (text[: found.start()].strip(), found["tail"]) if found else (text, "")


def _tail(text: str) -> tuple[Gauge | None, tuple[str, ...], bool]:
    """Gauge, words about the state, and whether an unlikely value is confirmed."""
    sure = False
    if found := re.search(r"(?:^|,\s*|\s+)sure$", text, re.IGNORECASE):
        sure, text = True, text[: found.start()]
    gauge: Gauge | None = None
    said: list[str] = []
    for part in filter(None, re.split(r",\s*|\s+(?=with\b)", text)):
        if found := _GAUGE.match(part):
            name, more = _split(found["gauge"])
            gauge = gauge_named(name.strip('"').casefold())
            said += [more] if more else []
        else:
            said.append(part)
    words = tuple(word for part in said for word in _states(part))
    return gauge, words, sure


def _states(part: str) -> list[str]:
    """The states in some words that follow each other without a comma."""
    left, out = part.casefold().strip(), []
    while left:
        state = next((one for one in STATES if left == one or left.startswith(f"{one} ")), None)
        if state is None:
            raise InputError(
                f"{left[:40]!r} says nothing about the state of the instrument; there are "
                f"{', '.join(STATES)}{nearest(left, STATES) or '.'}"
            )
        out.append(state)
        left = left[len(state) :].strip()
    return out


def _state(said: tuple[str, ...]) -> State | None:
    """The state that was said; None when nothing was."""
    if not said:
        return None
    for group in (("at pitch", "slack"), ATTITUDES, STATES[-4:-2], STATES[-2:]):
        if len(set(said).intersection(group)) > 1:
            raise InputError(
                f"{' and '.join(word for word in said if word in group)} cannot both be; write one of them."
            )
    attitude = next((word for word in said if word in ATTITUDES), "playing")
    side = next((word.removeprefix("reached from ") for word in said if word.startswith("reached")), "")
    return State("slack" not in said, attitude, "wedge in" in said, side)


def _did(entry: Entry, text: str) -> Entry:
    sure = bool(found := re.search(r",?\s+sure$", text, re.IGNORECASE))
    form, rest = _form("did", text[: found.start()] if found else text)
    parts = _matched("did", form, rest)
    way = parts.get("way", "")
    if form.what == "wedge" and way.casefold() == "out" and len(parts) > 1:
        raise InputError("did wedge out stands alone; write did wedge out, and the rear gap as a reading of its own.")
    value = _value(form, parts["value"], None, sure) if "value" in parts else None
    heard = _value(form, parts["heard"], None, sure) if "heard" in parts else None
    if form.what != "strings changed":
        way = way.casefold()
    if "holds" in parts:
        way = f"{way}, {parts['holds'].casefold()}"
    return replace(entry, what=form.what, way=way, value=value, heard=heard, place=_place(parts), sure=sure)


def _value(form: Form, text: str, gauge: Gauge | None, sure: bool) -> Value:
    """The value of a form, checked against what is possible and, unless it is confirmed, usual."""
    if form.kind == "yes or no":
        if text.casefold() not in ("yes", "no"):
            raise InputError(f"{text[:40]!r} stands where yes or no belongs; write read {form.what} = yes.")
        return Value(form.kind, text, "", float(text.casefold() == "yes"), None)
    if form.kind == "count":
        if int(text) > MOST_SPRINGS:
            raise InputError(f"{text} springs do not fit; there are up to {MOST_SPRINGS}, count them again.")
        return Value(form.kind, text, "", float(text), None)
    plain = _PLUS_MINUS.sub("±", text)
    cents = form.kind == "pitch" and _IN_CENTS.match(plain.partition("±")[0].strip()) is not None
    kind = "cents" if cents else form.kind
    written, half = _written(plain, kind)
    _check(form, written, kind, sure)
    if gauge is not None and gauge.kind != kind and (gauge.kind, kind) != ("cents", "pitch"):
        raise InputError(f"a {gauge.name} does not read {form.what}; name the gauge it was read with, or none.")
    u = reading_uncertainty(written, gauge) if half is None else half
    return Value(kind, text, written.unit, written.si, u)


def _written(text: str, kind: str) -> tuple[Written, float | None]:
    """Value with its ±, a standard uncertainty; that of a pitch may be in cents."""
    if re.search(r"\bto\b", text):
        raise InputError(f"{text!r} is more than one value; write one, with its uncertainty as ± 0.05 mm.")
    left, sign, right = (part.strip() for part in text.partition("±"))
    if kind == "pitch" and sign and _ENDS_IN_CENTS.search(right):
        written = read_pitch(left)
        return written, _above_zero(written.si * math.expm1(read_cents(right).si * math.log(2.0) / 1200.0), text)
    return read_toleranced(text, kind)


def _above_zero(half: float, text: str) -> float:
    if half <= 0.0:
        raise InputError(f"{text!r} has an uncertainty that is not greater than zero; write for instance ± 0.3 c.")
    return half


def _check(form: Form, written: Written, kind: str, sure: bool) -> None:
    if kind == "turns":
        _limits(form.what, written, "turns", form.usual, form.most, sure)
        if written.si < 0.0:
            raise InputError(f"{written.text!r} has a sign and a direction; write only the direction, as {form.shape}.")
    elif form.quantity == "pitch" and kind == "cents":
        _limits("pitch", written, "c from the wanted pitch", CENTS_USUAL, CENTS_MOST, sure)
    else:
        try:
            question(form.quantity, written.si, written=written)
        except QuestionableError as error:
            if not sure:
                said = str(error)
                raise QuestionableError(f"{said[:-1]} ({_SURE}){said[-1]}") from None


def _limits(what: str, written: Written, unit: str, usual: float, most: float, sure: bool) -> None:
    """Turns and cents have limits of their own."""
    if abs(written.si) > most:
        raise InputError(f"{what} by {written.text!r} is not possible; up to {most:g} {unit} are, check the number.")
    if abs(written.si) > usual and not sure:
        raise QuestionableError(
            f"{what} by {written.text!r} is possible but unlikely, it is usually up to {usual:g} {unit}; check the "
            f"number {_SURE}."
        )
