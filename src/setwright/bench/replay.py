"""A journal replayed into the course of a floating balance: every live entry in its order.

The picture begins once every string has been heard since the strings were last slack. Before that what is done only
moves the noted settings. Readings made with nothing changed between them are taken in together. What was read in
another state than the noted one (attitude, wedge, slack strings) does not count here, nor do fretted notes and
harmonics.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from setwright.errors import InputError
from setwright.frozen import frozen, replace
from setwright.instrument.geometry import tilt_limits
from setwright.instrument.prior import Prior
from setwright.instrument.settings import ATTITUDES, Settings
from setwright.instrument.traits import Array, Traits, array
from setwright.metrology.gauges import gauge_named
from setwright.metrology.reading import gauge_uncertainty
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.planning import course, tracking
from setwright.planning.course import Course, Goal, pitch_heard
from setwright.planning.scenes import Kind, Seen
from setwright.planning.targets import spring_mask
from setwright.planning.weighing import is_off, meant
from setwright.records.entries import Entry, Value
from setwright.records.worth import USUAL

SET_BY_EAR = 2.0  # cents, of a string brought to a pitch whose rest nobody wrote down; common practice, no source
ONE_SIDE = 1e-4  # m, how far one side's gap may be off the mean of both; common practice, no source
KINDS: dict[str, Kind] = {"pitch": "pitch", "rear gap": "rear gap", "claw distance": "claw"}
INWARD = {"in": 1.0, "out": -1.0, "up": 1.0, "down": -1.0, "back": 1.0, "forward": -1.0, "tighter": 1.0, "looser": -1.0}
SLACK_STEPS = (
    "slacken", "strings off", "strings on", "unhook", "neck off", "neck on", "shim", "pivots", "hang springs",
    "saddles", "lengths",
)  # fmt: skip
_PLUS_MINUS = re.compile(r"±|\+\s?/?\s?-")


@frozen
class Start:
    """What the replay starts from."""

    traits: Traits  # most likely, with the strings that go on
    known: Prior
    settings: Settings  # noted before the first entry
    goal: Goal
    knife: float  # N m, standard uncertainty of the moment the knife edge holds back
    claw_noted: bool = True  # whether somebody has read where the claw stands


@frozen
class Balance:
    """The balance as far as the journal goes. heard: (S) Hz, nan where a string has not been heard yet."""

    start: Start
    settings: Settings
    heard: Array
    pending: tuple[Seen, ...] = ()
    course: Course | None = None
    left_out: tuple[str, ...] = ()


def begun(start: Start) -> Balance:
    """A balance before its first entry.

    Args:
        start: instrument, goal and noted settings.
    Returns: the balance; its course is None until every string has been heard.
    """
    return Balance(start, start.settings, np.full(start.traits.string_count, np.nan))


def replayed(start: Start, entries: Sequence[Entry]) -> Balance:
    """The balance after some entries.

    Args:
        start: instrument, goal and noted settings.
        entries: live ones, in their order.
    Returns: the balance.
    """
    return taken_in(begun(start), entries)


def taken_in(balance: Balance, entries: Sequence[Entry]) -> Balance:
    """A balance with more entries.

    Args:
        balance: before; it stays as it is.
        entries: live ones that follow, in their order.
    Returns: the balance.
    """
    return flushed(followed(balance, entries))


def followed(balance: Balance, entries: Sequence[Entry]) -> Balance:
    """A balance with more entries, the readings after what was done last still pending.

    Args:
        balance: before; it stays as it is.
        entries: live ones that follow, in their order.
    Returns: the balance.
    """
    for entry in entries:
        if entry.verb == "read":
            balance = _reading(balance, entry)
        elif entry.verb == "did":
            balance = _done(flushed(balance), entry)
    return balance


def flushed(balance: Balance) -> Balance:
    """Pending readings taken in; the picture begun where every string has been heard.

    Args:
        balance: as `followed` leaves it.
    Returns: the balance.
    """
    now, pending = balance.course, balance.pending
    if not pending:
        return balance
    if now is None:
        if np.isnan(balance.heard).any():
            return balance
        start = balance.start
        low = float(tilt_limits(start.traits, balance.settings)[0])
        picture = tracking.begin(start.traits, start.known, balance.settings, balance.heard, start.knife, low)
        now = course.begun(picture, start.goal)
    return replace(balance, course=course.taken_in(now, pending), pending=())


def _reading(balance: Balance, entry: Entry) -> Balance:
    """A reading put with the others of this state."""
    if entry.what == "wedge loose":
        return _wedge_loose(balance, entry)
    if entry.what not in KINDS or entry.place.harmonic or entry.place.fret is not None:
        return balance
    reason = _elsewhere(balance, entry)
    if reason:
        told = f"#{entry.number} is left out of the balance: {reason}"
        return replace(balance, left_out=(*balance.left_out, told))
    seen = _seen(balance, entry)
    if seen.kind == "pitch":
        heard = balance.heard.copy()
        heard[seen.string] = seen.value
        balance = replace(balance, heard=heard)
    if seen.kind == "claw" and balance.course is None and not balance.start.claw_noted:
        settings = replace(balance.settings, claw=np.full(2, seen.value))
        start = replace(balance.start, claw_noted=True)
        balance = replace(balance, settings=settings, start=start)
    return replace(balance, pending=(*balance.pending, seen))


def _wedge_loose(balance: Balance, entry: Entry) -> Balance:
    balance = flushed(balance)
    if balance.course is None or entry.value is None:
        return balance
    return replace(balance, course=replace(balance.course, free=bool(entry.value.si)))


def _elsewhere(balance: Balance, entry: Entry) -> str:
    """Why a reading is not one of the present state; "" where it is."""
    settings, said = balance.settings, entry.said
    if "slack" in said:
        return "the strings were slack"
    attitude = next((word for word in said if word in ATTITUDES), settings.attitude)
    if attitude != settings.attitude:
        return f"it was read {attitude}, the journal has the instrument {settings.attitude}"
    propped = bool(np.isfinite(settings.prop))
    if ("wedge in" in said and not propped) or ("wedge out" in said and propped):
        return "the wedge stood otherwise than the journal has it"
    return ""


def _seen(balance: Balance, entry: Entry) -> Seen:
    """A reading with its uncertainty: as written, else that of the gauge named, else of the usual one."""
    value = _value(entry)
    sd = _uncertainty(entry.what, value, entry.gauge)
    if entry.what == "pitch":
        string = (entry.place.string or 1) - 1
        return pitch_heard(balance.start.goal, string, _hertz(value, balance, string), sd, entry.number)
    si = value.si
    if entry.place.side and entry.what == "claw distance":
        si += float(balance.settings.claw.mean() - balance.settings.claw[_side(entry)])
    elif entry.place.side:
        sd = float(np.hypot(sd, ONE_SIDE))
    return Seen(KINDS[entry.what], si, sd, 0, entry.number)


def _value(entry: Entry) -> Value:
    if entry.value is None:
        raise InputError(f"#{entry.number}, {entry.what}, has no value; strike it and enter it with one.")
    return entry.value


def _uncertainty(what: str, value: Value, gauge: str) -> float:
    """Standard uncertainty, cents for a pitch and metres else."""
    own = value.standard_uncertainty or 0.0
    if value.kind == "pitch":
        own *= CENTS_PER_LOG / value.si
    if gauge or _PLUS_MINUS.search(value.written):
        return own
    usual = gauge_named(USUAL[what])
    return float(max(own, gauge_uncertainty(usual)))


def _hertz(value: Value, balance: Balance, string: int) -> float:
    if value.kind == "cents":
        return float(balance.start.goal.hertz[string] * np.exp(value.si / CENTS_PER_LOG))
    return value.si


def _side(entry: Entry) -> int:
    return 1 if entry.place.side == "bass" else 0


def _both(entry: Entry, by: float) -> Array:
    """(2) treble, bass: the amount where the entry means it."""
    out = np.full(2, by)
    if entry.place.side:
        out[1 - _side(entry)] = 0.0
    return out


def _done(balance: Balance, entry: Entry) -> Balance:
    """Something done: settings moved, the picture told, what was heard no longer true."""
    if entry.what == "tune":
        return _tuned(balance, entry)
    settings = moved(balance.start.traits, balance.settings, entry, balance.start.goal.gap)
    now = balance.course
    if _slackened(entry, now):
        none = np.full(len(balance.heard), np.nan)
        return replace(balance, settings=settings, heard=none, pending=(), course=None)
    if entry.what in ("nut", "step"):
        return balance
    if now is None:
        return replace(balance, settings=settings, pending=())
    if entry.what == "claw":  # the screws may have been turned by different amounts: moved here, only the slip is told
        after = course.turned(replace(now, picture=replace(now.picture, settings=settings)), 0.0)
    else:
        after = course.changed(now, settings)
    return replace(balance, settings=settings, course=after)


def _slackened(entry: Entry, course: Course | None) -> bool:
    """Whether what was done needs slack strings, so that no peg holds what it did."""
    if entry.what == "step":
        return entry.way in SLACK_STEPS
    if entry.what in ("saddle height", "saddle length"):
        return course is None or course.tunings + course.claws == 0
    if entry.what == "springs" and course is not None and course.goal.fewest == "claw settings" and entry.value:
        return not _weighing(course, int(entry.value.si))
    return entry.what in ("strings changed", "pivot", "springs") or entry.what.endswith(" shim")


def _weighing(course: Course, hung: int) -> bool:
    """Whether a spring comes off or back on while the strings pull: off on a wedge before the claw is set."""
    if is_off(course):
        return hung == meant(course)
    return hung == meant(course) - 1 and course.claws == 0 and bool(np.isfinite(course.picture.settings.prop))


def _tuned(balance: Balance, entry: Entry) -> Balance:
    string = (entry.place.string or 1) - 1
    value = entry.heard or _value(entry)
    hertz = _hertz(value, balance, string)
    sd = _uncertainty("pitch", value, entry.gauge)
    sd = sd if entry.heard else max(sd, SET_BY_EAR)
    heard = balance.heard.copy()
    heard[string] = hertz
    seen = pitch_heard(balance.start.goal, string, hertz, sd, entry.number)
    now = None if balance.course is None else course.tuned(balance.course, string, hertz)
    return replace(balance, heard=heard, pending=(seen,), course=now)


def moved(traits: Traits, settings: Settings, entry: Entry, gap: float) -> Settings:
    """Settings after something was done.

    Args:
        traits: for the leads of the screws.
        settings: before.
        entry: of the verb "did".
        gap: of a wedge whose gap was not written [m].
    Returns: the settings; those given where the entry turns nothing they hold.
    """
    bridge, what, value = traits.bridge, entry.what, entry.value
    by = INWARD.get(entry.way, 0.0) * (value.si if value is not None else 0.0)
    if what == "claw":
        return replace(settings, claw=settings.claw - _both(entry, by * float(traits.claw.lead)))
    if what == "pivot":
        return replace(settings, pivot_rise=settings.pivot_rise + _both(entry, by * float(bridge.pivot_lead)))
    if what in ("saddle height", "saddle length"):
        high = what == "saddle height"
        step = by * float(bridge.height_lead if high else bridge.length_lead)
        shift = np.where(np.arange(traits.string_count) == (entry.place.string or 1) - 1, step, 0.0)
        if high:
            return replace(settings, saddle_rise=settings.saddle_rise + shift)
        return replace(settings, saddle_back=settings.saddle_back + shift)
    if what == "rod":
        return replace(settings, rod=settings.rod + by)
    if what == "springs" and value is not None:
        if int(value.si) not in traits.springs.patterns:
            known = ", ".join(str(count) for count in sorted(traits.springs.patterns))
            raise InputError(f"#{entry.number}: {value.si:.0f} springs cannot hang here, {known} can; strike it.")
        return replace(settings, springs=spring_mask(traits, int(value.si)))
    if what == "attitude":
        return replace(settings, attitude=entry.way)
    if what == "wedge":
        return _wedged(settings, entry, gap)
    if what.endswith(" shim"):
        name = {"strip shim": "strip", "wedge shim": "wedge_shim", "flat shim": "flat"}[what]
        return replace(settings, **{name: np.maximum(getattr(settings, name) + by, 0.0)})
    return settings


def _wedged(settings: Settings, entry: Entry, gap: float) -> Settings:
    none = array(np.nan)
    if entry.way.startswith("out"):
        return replace(settings, prop=none, block=none)
    at = array(gap if entry.value is None else entry.value.si)
    if entry.way.endswith("blocks"):
        return replace(settings, block=at, prop=none)
    return replace(settings, prop=at, block=none)
