"""The set-up sheet as PDF: a page for the owner in plain words, a page for the shop, a small tag for the case.

What goes on paper comes in as plain data, every value as it shall be shown. The same data give the same bytes,
whatever the machine, the time of day or its zone. The pages are tagged (PDF/UA-1), so that they can be read aloud and
their text taken out again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from datetime import UTC, date, datetime
from typing import Literal, get_args

from setwright.errors import InputError
from setwright.frozen import frozen

Paper = Literal["a4", "letter"]
Part = Literal["owner", "shop", "tag"]
Verdict = Literal["inside", "outside", "not certain", ""]
PARTS: tuple[Part, ...] = get_args(Part)
PAPERS: tuple[Paper, ...] = get_args(Paper)


@frozen
class Mark:
    """Where a reading lies in its slot, in half widths of the tolerance from its middle; None: not read.

    found, left: values as found and as left. half: expanded uncertainty of the latter.
    """

    found: float | None
    left: float | None
    half: float = 0.0


@frozen
class Row:
    """One thing read: as found, wanted, as left; every value with unit and ± as it is shown, "" where there is none.

    name: of string or side. verdict: after ISO 14253-1, "" where nothing was wanted or read. mark: for its slot, None
    without a target. remark: what has to be known about it.
    """

    name: str
    found: str = ""
    target: str = ""
    left: str = ""
    verdict: Verdict = ""
    mark: Mark | None = None
    remark: str = ""


@frozen
class Group:
    """Rows of one quantity. what: its name and place. how: the convention it was read by, in words."""

    what: str
    how: str
    rows: tuple[Row, ...]


@frozen
class Measure:
    """One line of the owner's table, a whole group in plain words."""

    what: str
    before: str
    wanted: str
    now: str
    result: str


@frozen
class Line:
    """A thing and its amount: a setting turned, a part used."""

    what: str
    amount: str


@frozen
class Drawing:
    """A drawing. svg: an SVG document. alt: what it shows, for whoever cannot see it."""

    title: str
    svg: str
    alt: str


@frozen
class SheetData:
    """Everything on the three parts. Empty text leaves a line to write on, empty lists leave their section out.

    made: when the last entry was made, by the clock of the bench; it dates the file. begun, ended, recheck: dates. who:
    did the work. link: behind the QR code, "" for none.
    """

    title: str
    instrument: str
    made: datetime
    shop: str = ""
    address: tuple[str, ...] = ()
    case: str = ""
    owner: str = ""
    about: str = ""  # scale, frets, bridge, left-handed
    strings: str = ""
    tuning: str = ""
    bridge: str = ""
    who: str = ""
    begun: date | None = None
    ended: date | None = None
    recheck: date | None = None
    wish: str = ""
    short: str = ""  # the outcome in one sentence
    measures: tuple[Measure, ...] = ()
    groups: tuple[Group, ...] = ()
    found: tuple[str, ...] = ()
    done: tuple[str, ...] = ()
    recommended: tuple[str, ...] = ()
    not_done: tuple[str, ...] = ()
    care: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    settings: tuple[Line, ...] = ()
    parts: tuple[Line, ...] = ()
    notes: tuple[str, ...] = ()
    shop_cautions: tuple[str, ...] = ()
    climate: str = ""
    gauges: str = ""
    link: str = ""
    drawings: tuple[Drawing, ...] = field(default=())


def render(data: SheetData, paper: Paper = "a4", parts: Sequence[Part] = PARTS) -> bytes:
    """The sheet as PDF.

    Args:
        data: what goes on it.
        paper: "a4" or "letter", of owner's and shop's page; the tag is 74 mm by 105 mm on either.
        parts: which of them, one page each, in this order; behind the shop's page one for each drawing.
    Returns: a PDF document, tagged after PDF/UA-1; the same for the same data.
    Raises: InputError for an unknown paper or part, for a link that does not fit a QR code, or for a drawing that is
        no SVG.
    """
    from setwright.sheets.sheet_typ import compiled

    if paper not in PAPERS:
        raise InputError(f"there is no paper called {paper!r}; there are: {', '.join(PAPERS)}.")
    chosen = list(dict.fromkeys(parts))
    unknown = [part for part in chosen if part not in PARTS]
    if unknown or not chosen:
        named = repr(unknown[0]) if unknown else "nothing"
        raise InputError(f"{named} is no part of the sheet; there are: {', '.join(PARTS)}.")
    stamp = int(data.made.replace(tzinfo=UTC).timestamp())  # the clock of the bench as written, in no zone
    return compiled(data, paper, chosen, max(stamp, 0))


def day(when: date | None) -> str:
    """A date as it is written on paper, the same in every language setting.

    Args:
        when: the day, or None.
    Returns: e.g. "4 Nov 2026"; "" for None.
    """
    months = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
    return "" if when is None else f"{when.day} {months[when.month - 1]} {when.year}"
