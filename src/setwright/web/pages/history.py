"""What the shop's records tell: of all visits together, and of one instrument from visit to visit."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from typing import TypeVar

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from setwright.bench import history
from setwright.bench.house import specifications_of
from setwright.bench.shop import find_instruments
from setwright.cli import history_words as words
from setwright.cli.history_terms import U, amount, limit_name, limits, name, shown
from setwright.errors import InputError, SetwrightError
from setwright.frozen import frozen
from setwright.units.show import System
from setwright.web.frame import bench_of, page, refused, see, units
from setwright.web.routes import Form, at
from setwright.web.summing import begin_again, call_off, summed_up

FIRST = "relief"  # what is looked at before anything was chosen
LONGEST = 60  # letters of what is asked for
HALF = 20.0  # of a picture's units, half a tolerance
REACH = 58.0  # half the width of a picture
_WAITS = re.compile(r"/history|/instrument/[0-9a-z]+/history")
T = TypeVar("T")


@frozen
class Outside:
    """A reading as left that is not inside its limits."""

    came: str
    visit: str
    instrument: str
    what: str
    left: str
    allowed: str
    verdict: str


@frozen
class Kind:
    """Visits of one kind of job. bars: label, words, and low, share and high of 100."""

    name: str
    visits: int
    judged: int
    bars: tuple[tuple[str, str, tuple[float, float, float] | None], ...]
    numbers: tuple[tuple[str, str], ...]


@frozen
class Limited:
    """How well one limit is held. picture: middle, half a standard deviation and three of them, where half the
    tolerance is `HALF`; None where there is none to draw."""

    name: str
    allowed: str
    count: str
    mean: str
    sd: str
    indices: tuple[tuple[str, str], ...]
    outside: str
    why: str
    remarks: tuple[str, ...]
    picture: tuple[float, float, float] | None


@frozen
class Moving:
    """How a reading moves between visits. months: name, visits, change, and its picture (middle, half height).
    trends: with what, in words, and whether it can be told."""

    what: str
    visits: int
    months: tuple[tuple[str, int, str, float, float], ...]
    trends: tuple[tuple[str, str, bool], ...]


@frozen
class Studied:
    """How alike people read. parts: what, standard deviation, its band, share of the variance, and low, value and high
    of a picture of 100."""

    head: str
    people: str
    parts: tuple[tuple[str, str, str, str, tuple[float, float, float]], ...]
    means: tuple[tuple[str, str], ...]
    remarks: tuple[str, ...]


def _text(request: Request, field: str, otherwise: str = "") -> str:
    return request.query_params.get(field, "").strip()[:LONGEST] or otherwise


def _tried(request: Request, ask: Callable[[], T]) -> tuple[T | None, str]:
    """An answer, or why there is none."""
    try:
        return ask(), ""
    except SetwrightError as error:
        return None, refused(error, units(request))


def _or_why(request: Request, found: T | SetwrightError) -> tuple[T | None, str]:
    """The same of an answer that is there, or why there is none."""
    return (None, refused(found, units(request))) if isinstance(found, SetwrightError) else (found, "")


def show_history(request: Request) -> Response:
    """The shop as a whole."""
    shop, system = bench_of(request).shop, units(request)
    waits = summed_up(request)
    if waits is not None:
        return page(request, "history_waits.html", waits=waits, here=request.url.path)
    unsure = bool(_text(request, "unsure"))
    specifications = list(dict.fromkeys(one.name for one in specifications_of(shop)))
    asked = _text(request, "specification")
    chosen = asked or (specifications[0] if specifications else "")
    what = _text(request, "what", FIRST)
    found = history.overview(shop, what, chosen, unsure)
    held, held_wrong = _or_why(request, found.held)
    season, season_wrong = _or_why(request, found.season)
    read, instrument = _text(request, "read"), _text(request, "instrument")
    study, study_wrong = None, ""
    if read or instrument:
        study, study_wrong = _tried(request, lambda: _studied(shop, read or FIRST, instrument, system))
    status = 422 if held_wrong or season_wrong or study_wrong else 200
    return page(
        request, "history.html", status, outside=[_outside(one, system) for one in found.outside], unsure=unsure,
        kinds=[_kind(one) for one in found.yields], specifications=specifications,
        chosen=chosen, version=held[0].number if held else 0,
        held=[_limited(one, system) for one in held[1]] if held else [], held_wrong=held_wrong, names=history.names(),
        what=what, season=[_moving(one, system) for one in season or ()], season_wrong=season_wrong, read=read,
        instrument=instrument, instruments=find_instruments(shop, ""), study=study, study_wrong=study_wrong,
    )  # fmt: skip


def _outside(one: history.Judged, system: System) -> Outside:
    what = name(one.key) if one.key is not None else limit_name(one.limit)
    left = shown(one.key, one.left, system) if one.key is not None else "not read"
    return Outside(
        one.came[:10], one.visit, one.instrument, what, left, limits(one.limit, system), one.verdict or "not read"
    )  # fmt: skip


def _kind(one: history.KindYield) -> Kind:
    bars = tuple(
        (label, words.share_words(of), None if of is None else (100.0 * of.low, 100.0 * of.share, 100.0 * of.high))
        for label, of in (("all inside", one.inside), ("at the first pass", one.first_pass))
    )
    numbers = tuple(
        (label, words.spread_words(of))
        for label, of in (
            ("rounds", one.rounds),
            ("claw settings", one.claw_settings),
            ("tunings", one.tunings),
            ("minutes", one.minutes),
        )
    )
    return Kind(one.kind or "no kind named", one.visits, one.judged, bars, numbers)


def _limited(one: history.Held, system: System) -> Limited:
    made, kind, limit = one.capability, one.limit.kind, one.limit
    count = f"{one.count} value{'' if one.count == 1 else 's'}, {one.beyond} past a limit"
    if made is None:
        return Limited(limit_name(limit), limits(limit, system), count, "", "", (), "", one.why, (), None)
    spread = made.spread
    low, high = limit.tolerance.lower, limit.tolerance.upper
    picture = None
    if abs(low) < float("inf") and abs(high) < float("inf") and high > low:
        per = 2.0 * HALF / (high - low)
        middle = max(-REACH, min(REACH, (spread.mean - 0.5 * (low + high)) * per))
        picture = (middle, min(spread.sd * per, REACH), min(3.0 * spread.sd * per, 2.0 * REACH))
    return Limited(
        limit_name(limit), limits(limit, system), count, amount(spread.mean, kind, None, system, False),
        amount(spread.sd, kind, None, system, False),
        tuple((label, words.index_words(index)) for label, index in
              (("Cp", made.cp), ("Cpk", made.cpk), ("Pp", made.pp), ("Ppk", made.ppk)) if index is not None),
        words.hundred_words(made.outside), "", made.remarks, picture,
    )  # fmt: skip


def _moving(one: history.Season, system: System) -> Moving:
    kind = "cents" if one.kind == "pitch" else one.kind
    halves = [0.0 if month.sd is None else U * month.sd for month in one.months]
    most = max([abs(month.mean) + half for month, half in zip(one.months, halves, strict=True)] or [0.0]) or 1.0
    months = tuple(
        (words.MONTHS[month.month - 1], month.visits, amount(month.mean, kind, half or None, system),
         HALF * month.mean / most, HALF * half / most)
        for month, half in zip(one.months, halves, strict=True)
    )  # fmt: skip
    trends = []
    for label, slope, step, per, need in (
        (
            "with humidity",
            one.humidity,
            0.1,
            "for 10 % more humidity",
            "three visits with humidity noted at them and before",
        ),
        ("with time", one.years, 1.0, "a year", "three visits at different distances"),
    ):
        if slope is None:
            trends.append((label, f"not told yet: it needs {need}", False))
            continue
        told = amount(step * slope.slope, kind, step * slope.half_width, system)
        seen = "" if slope.seen else "; no trend is seen"
        trends.append((label, f"{told} {per}, of {slope.visits} visits{seen}", True))
    return Moving(one.what, one.visits, months, tuple(trends))


def _studied(shop: str, read: str, instrument: str, system: System) -> Studied:
    if not instrument:
        raise InputError("Choose the instrument on which two people have read the same places.")
    found = history.gauges(shop, read, instrument)
    study, kind = found.study, found.cells.kind
    most = (
        max(part.high for part in (study.repeatability, study.reproducibility, study.both, study.between_parts)) or 1.0
    )
    parts = []
    for label, part in (
        ("one person again (EV)", study.repeatability), ("between people (AV)", study.reproducibility),
        ("both together (GRR)", study.both), ("between places (PV)", study.between_parts),
    ):  # fmt: skip
        ends = f"{amount(part.low, kind, None, system, False)} to {amount(part.high, kind, None, system, False)}"
        drawn = (100.0 * part.low / most, 100.0 * part.sd / most, 100.0 * part.high / most)
        parts.append((label, amount(part.sd, kind, None, system, False), ends, f"{100 * part.share:.1f} %", drawn))
    means = [
        ("GRR of the total spread", f"{100 * study.of_total:.0f} %"),
        ("places told apart", f"{study.categories} kinds"),
    ]
    if study.of_tolerance is not None:
        means.insert(1, ("6 GRR of the tolerance", f"{100 * study.of_tolerance:.0f} %"))
    head = f"{found.cells.what}: {study.parts} places, {study.people} people, {study.trials} trials each"
    return Studied(head, ", ".join(found.cells.people), tuple(parts), tuple(means), study.remarks)


def take_summing(request: Request, form: Form) -> Response:
    """Call the summing up off, or begin it again; then back to the page that waited for it."""
    if form.text("do") == "off":
        call_off(request)
    if form.text("do") == "begin":
        begin_again(request)
    back = form.text("back")
    return see(request, back if _WAITS.fullmatch(back) else "/history")


def show_instrument_history(request: Request) -> Response:
    """One instrument from visit to visit: what changed, how it drifts, the last job once more."""
    shop, system, instrument = bench_of(request).shop, units(request), request.path_params["instrument"]
    try:
        life = history.life(shop, instrument)
    except InputError as error:
        raise HTTPException(404, str(error)) from None
    waits = summed_up(request)
    if waits is not None:
        return page(request, "history_waits.html", waits=waits, here=request.url.path)
    visits = [past.visit for past in life.visits]
    asked = _text(request, "visit")
    visit = next((one.id for one in visits if one.id == asked), "")
    wrong = "" if not asked or visit else "That visit is not one of this instrument; choose one of the list."
    since, since_why = _tried(request, lambda: history.since_last(shop, life.instrument.id, visit))
    moving = [_moving(one, system) for one in history.seasons(shop, life.instrument.id)]
    again, again_why = _tried(request, lambda: history.again(shop, life.instrument.id))
    return page(
        request, "instrument_history.html", 422 if wrong else 200, instrument=life.instrument, visits=visits,
        chosen=visit, wrong=wrong, since=since, since_why=since_why,
        rows=[] if since is None else _rows(since, system), still=[] if since is None else _still(since, system),
        only=[] if since is None else [
            (label, _counted(keys))
            for label, keys in (("Read only then", since.only_before), ("Read only now", since.only_now)) if keys
        ],
        moving=moving, again=None if again is None else again.draft, again_why=again_why,
        last=None if again is None else again.last.visit,
        draft="" if again is None else again.draft.job.decode(),
    )  # fmt: skip


def _counted(keys: Sequence[history.Key]) -> str:
    """What was read at one visit alone, by what it is."""
    many = Counter(key.what for key in keys)
    return ", ".join(f"{what} at {count} place{'' if count == 1 else 's'}" for what, count in sorted(many.items()))


def _rows(since: history.Since, system: System) -> list[tuple[str, str, str, str]]:
    seen = sorted((one for one in since.changes if one.seen), key=lambda one: one.key)
    return [
        (
            name(one.key),
            shown(one.key, one.before, system),
            shown(one.key, one.now, system),
            words.moved_words(one, system),
        )
        for one in seen
    ]


def _still(since: history.Since, system: System) -> list[tuple[str, str]]:
    still = sorted((one for one in since.changes if not one.seen), key=lambda one: one.key)
    return [(name(one.key), words.moved_words(one, system, True)) for one in still]


def show_draft(request: Request) -> Response:
    """The files of the last job once more, to be kept by the browser."""
    try:
        found = history.again(bench_of(request).shop, request.path_params["instrument"]).draft
    except InputError as error:
        raise HTTPException(404, str(error)) from None
    files = {"job": (found.job_name, found.job), "instrument": (found.instrument_name, found.instrument)}
    if request.path_params["file"] not in files:
        raise HTTPException(404, "There is a job file and an instrument file, nothing else.")
    label, raw = files[request.path_params["file"]]
    plain = "".join(sign if sign.isascii() and (sign.isalnum() or sign in "._-") else "_" for sign in label)
    return Response(raw, media_type="text/plain", headers={"content-disposition": f'attachment; filename="{plain}"'})


ROUTES = [
    at("/history", show_history, take_summing, name="history"),
    at("/instrument/{instrument}/history", show_instrument_history, name="instrument history"),
    at("/instrument/{instrument}/again/{file}", show_draft, name="draft"),
]
