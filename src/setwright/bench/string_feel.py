"""The set for a wanted feel: of the usual gauges, the one whose tension is nearest to the wanted on every string."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np

from setwright.bench.string_flags import TOUCHY, flagged, under_the_finger
from setwright.bench.strings import Measured, StringLine, StringSheet, string_sheet
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.string_sets import Gauge, gauge, strings_from
from setwright.instrument.traits import Array
from setwright.units.pitch import A4

# What a shop keeps or can order singly: common practice, no source.
PLAIN = (
    ".007 .008 .0085 .009 .0095 .010 .0105 .011 .0115 .012 .013 .0135 .014 .015 .016 .017 .018 .019 .020 .021 .022 "
    ".024 .026"
)
GUITAR_WOUND = (
    ".017w .018w .019w .020w .021w .022w .024w .026w .028w .030w .032w .034w .036w .038w .039w .040w .042w .044w .046w "
    ".048w .049w .050w .052w .054w .056w .058w .060w .062w .064w .066w .068w .070w .072w .074w .076w .080w"
)
BASS_WOUND = (
    ".020w .025w .030w .032w .035w .040w .045w .047w .050w .055w .060w .065w .067w .070w .075w .080w .085w .090w .095w "
    ".100w .105w .110w .115w .120w .125w .128w .130w .135w .140w .145w"
)
PLAIN_USUALLY = 0.0201 * 0.0254  # m; up to here plain is taken unless the set that was on says otherwise
FITS = 0.10  # a gauge fits when its tension is within this share of the wanted one; common practice, no source
LOOKED_AT = 2.5  # gauges whose tension is further off than this factor are not looked at
PULLS = (10.0, 600.0)  # N, of one string


@frozen
class Offer:
    """One gauge of the shelf at the pitch wanted."""

    gauge: str
    wound: bool
    diameter: float  # m
    tension: Measured  # N
    off: float  # share of the wanted tension, plus is tighter
    finger: float  # cents sharper under a hard finger


@frozen
class Choice:
    """What the shelf offers for one string."""

    hertz: float
    length: float  # m
    was: str  # gauge that was on, "" where none is named
    wanted: Measured  # N
    take: Offer
    lighter: Offer | None  # next of the same kind; None at the end of the shelf
    heavier: Offer | None
    instead: Offer | None  # wound for plain or plain for wound, where that fits as well
    fits: bool  # whether any gauge comes near the wanted tension


@frozen
class Suggestion:
    """A set for a feel."""

    feel: str  # "same" or "equal"
    choices: tuple[Choice, ...]
    sheet: StringSheet  # the set taken, with its flags
    was: StringSheet | None  # the set that was on


@cache
def shelf(bass: bool) -> tuple[Gauge, ...]:
    """The usual gauges, plain ones first, each kind from the thinnest.

    Args:
        bass: a bass's, which has no plain ones.
    Returns: the gauges.
    """
    return tuple(gauge(text) for text in (BASS_WOUND if bass else f"{PLAIN} {GUITAR_WOUND}").split())


@cache
def _shelf_mass(bass: bool) -> Array:
    """Unit mass of every gauge of the shelf [kg/m]."""
    return strings_from(shelf(bass)).unit_mass


def same_feel(
    was: StringSheet, hertz: Array, length: Array, bass: bool = False, title: str = "", reference: float = A4
) -> Suggestion:
    """The set that pulls at another pitch or scale as the old one did, string by string.

    Args:
        was: the old set at its own pitch and scale.
        hertz: (S) new open strings [Hz].
        length: (S) new scale of each string [m].
        bass: take from a bass's gauges.
        title: what the new set is called.
        reference: pitch of A4 by which the pitches are to be named [Hz].
    Returns: the suggestion; a string stays plain or wound as it was where that fits.
    Raises: InputError where sets differ in number or nothing on the shelf comes near.
    """
    if len(was.lines) != len(hertz):
        raise InputError(
            f"{len(was.lines)} strings were on and {len(hertz)} pitches are wanted; write one pitch per string."
        )
    return _suggestion("same", [line.tension for line in was.lines], was, hertz, length, bass, title, reference)


def equal_feel(
    pull: float | None,
    hertz: Array,
    length: Array,
    bass: bool = False,
    was: StringSheet | None = None,
    title: str = "",
    reference: float = A4,
) -> Suggestion:
    """The set that pulls equally on all strings.

    Args:
        pull: wanted tension of each string [N]; None: the mean of the set that was on.
        hertz: (S) open strings [Hz].
        length: (S) scale of each string [m].
        bass: take from a bass's gauges.
        was: the set that was on, or None.
        title: what the new set is called.
        reference: pitch of A4 by which the pitches are to be named [Hz].
    Returns: the suggestion.
    Raises: InputError where neither pull nor set is given, the pull is none of a string's, or nothing comes near.
    """
    if pull is None and was is None:
        raise InputError("equal on all strings, but how much? write the pull of one string, or the set that was on.")
    if was is not None and len(was.lines) != len(hertz):
        raise InputError(f"{len(was.lines)} strings were on and {len(hertz)} pitches are wanted; write one per string.")
    if pull is None:
        assert was is not None
        wanted = Measured(was.total.value / len(hertz), was.total.sd / len(hertz))
    else:
        wanted = Measured(pull, 0.0)
    return _suggestion("equal", [wanted] * len(hertz), was, hertz, length, bass, title, reference)


def _suggestion(
    feel: str,
    wanted: Sequence[Measured],
    was: StringSheet | None,
    hertz: Array,
    length: Array,
    bass: bool,
    title: str,
    reference: float,
) -> Suggestion:
    before = was.lines if was is not None else (None,) * len(hertz)
    choices = tuple(
        _choice(i + 1, one, float(hertz[i]), float(length[i]), bass, line)
        for i, (one, line) in enumerate(zip(wanted, before, strict=True))
    )
    gauges = [gauge(one.take.gauge) for one in choices]
    sheet = string_sheet(gauges, hertz, float(np.mean(length)), length, title=title, reference=reference)
    return Suggestion(feel, choices, flagged(sheet, was=was), was)


def _choice(count: int, wanted: Measured, hertz: float, length: float, bass: bool, was: StringLine | None) -> Choice:
    """What the shelf offers for one string."""
    if not PULLS[0] <= wanted.value <= PULLS[1]:
        raise InputError(
            f"a pull of {wanted.value:.0f} N on string {count} is none of a string's; "
            f"these run from {PULLS[0]:.0f} to {PULLS[1]:.0f} N."
        )
    offers = _offers(wanted.value, hertz, length, bass)
    if any(one.wound for one in offers) and (was is None or was.wound):
        offers = [one for one in offers if one.wound or one.finger <= TOUCHY[0]]
    kinds = [kind for wound in (False, True) if (kind := [one for one in offers if one.wound == wound])]
    if not kinds:
        raise InputError(
            f"string {count}: no usual gauge comes near {wanted.value:.0f} N at {hertz:.1f} Hz; "
            "ask for another pull, pitch or scale."
        )
    nearest = [min(kind, key=_miss) for kind in kinds]
    fitting = sorted((one for one in nearest if _miss(one) <= FITS), key=lambda one: not _usual(one, was))
    take = fitting[0] if fitting else min(nearest, key=_miss)
    row = next(kind for kind in kinds if take in kind)
    place = row.index(take)
    return Choice(
        hertz=hertz,
        length=length,
        was="" if was is None else was.gauge,
        wanted=wanted,
        take=take,
        lighter=row[place - 1] if place > 0 else None,
        heavier=row[place + 1] if place + 1 < len(row) else None,
        instead=fitting[1] if len(fitting) > 1 else None,
        fits=bool(fitting),
    )


def _miss(one: Offer) -> float:
    return abs(one.off)


def _usual(one: Offer, was: StringLine | None) -> bool:
    """Whether a string of this gauge is usually made this way; the set that was on goes before."""
    if was is not None:
        return one.wound == was.wound
    return one.wound == (one.diameter > PLAIN_USUALLY)


def _offers(wanted: float, hertz: float, length: float, bass: bool) -> list[Offer]:
    """The gauges that pull something like the wanted tension at a pitch."""
    gauges = shelf(bass)
    about = _shelf_mass(bass) * (2.0 * length * hertz) ** 2
    near = [one for one, pull in zip(gauges, about, strict=True) if wanted / LOOKED_AT <= pull <= wanted * LOOKED_AT]
    if not near:
        return []
    sheet = string_sheet(near, np.full(len(near), hertz), length)
    return [
        Offer(
            gauge=line.gauge,
            wound=line.wound,
            diameter=line.diameter,
            tension=line.tension,
            off=line.tension.value / wanted - 1.0,
            finger=under_the_finger(line),
        )
        for line in sheet.lines
    ]
