"""The balance bench: claw, springs, strings, tuning, pivots and attitude tried out before a hand turns anything."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from itertools import combinations
from typing import TypeVar

from starlette.requests import Request
from starlette.responses import Response

from setwright.bench.balance_along import along, plain
from setwright.bench.balance_scene import balance_scene, outcome, pitch_scene, turning_scene
from setwright.bench.balance_try import Tries, Worked, laid_out, worked
from setwright.bench.believed import FIXED, Believed, believed
from setwright.bench.journals import job_from, keep
from setwright.bench.plans import preferred_system
from setwright.bench.shop import Shown
from setwright.cli import balance_words as words
from setwright.cli.balance_asked import ASKED, nudged, tries_from
from setwright.cli.words import note, number, sentence
from setwright.errors import SetwrightError
from setwright.frozen import frozen
from setwright.units.show import System
from setwright.web.frame import page, refused, remembered, see, source, units, visit_of, who
from setwright.web.inline import inline
from setwright.web.memory import work_of
from setwright.web.routes import Form, at

ATTITUDES = ("playing", "on its back", "upright", "face down")
LONGEST = 200  # letters of a field that are looked at
MOST_PLACES = 6  # of springs, for which every way of hanging them is offered
T = TypeVar("T")
_OPTION = re.compile(r"--([a-z]+(?:-[a-z]+)?)")


@frozen
class Asked:
    """What is asked for. typed: fields as the form holds them; state: "alone" or "retuned"."""

    typed: dict[str, str]
    state: str


@frozen
class Answer:
    """What the page shows of one setting."""

    worked: Worked
    tries: Tries
    asked: Asked
    system: System


def _believed(request: Request, shown: Shown) -> Believed:
    return remembered(
        request, shown.visit.id, "believed", lambda: believed(source(request, shown), keeping=work_of(request))
    )


def _fixed(request: Request, shown: Shown) -> bool:
    job = remembered(request, shown.visit.id, "job", lambda: job_from(source(request, shown)))
    return not job.instrument.bridge.knife_edge


def _asked(given: Mapping[str, str], one: Believed) -> Asked:
    """The fields, with a screw turned on where that was asked for."""
    typed = {name: given.get(name.replace("_", "-"), "")[:LONGEST].strip() for name in ASKED}
    typed = nudged(typed, given.get("nudge", ""), one)
    known = one.pegs and not typed["strings"]
    return Asked(typed, "alone" if known and given.get("state") != "retuned" else "retuned")


def _answer(request: Request, shown: Shown, one: Believed, asked: Asked) -> Answer:
    system = units(request, preferred_system(one.job))
    tries = tries_from(asked.typed, one)

    found = _once(request, shown, asked, "balance", lambda: worked(one, tries))
    return Answer(found, tries, asked, system)


def _once(request: Request, shown: Shown, asked: Asked, what: str, make: Callable[[], T]) -> T:
    """What is worked out of a setting: remembered as the page is opened, since what is typed seldom comes twice."""
    return make() if any(asked.typed.values()) else remembered(request, shown.visit.id, what, make)


def show_balance(request: Request) -> Response:
    """What is tried, and what comes of it."""
    shown = visit_of(request)
    if _fixed(request, shown):
        return page(request, "balance.html", shown=shown, one=None, why=FIXED, wrong="")
    try:
        one = _believed(request, shown)
    except SetwrightError as error:
        return page(request, "balance.html", 422, shown=shown, one=None, why=refused(error, units(request)), wrong="")
    try:
        answer, wrong = _answer(request, shown, one, _asked(request.query_params, one)), ""
    except SetwrightError as error:  # what was typed stays; shown is the instrument as it is
        nothing = _asked({"state": request.query_params.get("state", "")}, one)
        answer, wrong = _answer(request, shown, one, nothing), _wrong(error, units(request))
        raw = {name: request.query_params.get(name.replace("_", "-"), "")[:LONGEST] for name in ASKED}
        answer = Answer(answer.worked, answer.tries, Asked(raw, nothing.state), answer.system)
    return _page(request, shown, one, answer, wrong)


def _wrong(error: Exception, system: System) -> str:
    """A refusal in the words of the page: its fields have no dashes."""
    told = _OPTION.sub(lambda found: found[1].replace("-", " "), refused(error, system))
    return told[:1].upper() + told[1:]


def _page(request: Request, shown: Shown, one: Believed, answer: Answer, wrong: str) -> Response:
    result, system, state = answer.worked.result, answer.system, answer.asked.state
    now = outcome(result, state)
    said, amount = words.rest_words(now), words.claw_words(result.turns)
    scene = balance_scene(answer.worked, state, system, said, amount)
    typed = answer.asked.typed
    return page(
        request, "balance.html", 422 if wrong else 200, shown=shown, one=one, why="", wrong=wrong, state=state,
        result=result, now=now, share=words.share_words(now),
        gap=words.gap(now.gap, system), gap_then=words.gap(result.retuned.gap, system),
        gap_now=number(result.before, "height", system), wanted=words.wanted_gap(result, system),
        rests=result.gap is not None and abs(now.gap.value - result.gap[0]) + now.gap.half_width <= result.gap[1],
        claw=number(result.claw.value, "height", system, result.claw.half_width),
        scene=inline(scene), pitches=inline(pitch_scene(result, state)), moments=inline(turning_scene(result, state)),
        rows=words.string_rows(result, now), pulls=words.pull_rows(now, system),
        remarks=[sentence(text) for text in result.remarks], cautions=words.cautions_of(typed), typed=typed,
        patterns=_patterns(one), springs=typed["springs"], hung=words.hung(result.springs),
        attitudes=ATTITUDES, attitude=result.attitude, set_now=" ".join(text.text for text in one.strings),
        notes=" ".join(note(hz) for hz in one.wanted), tried=any(typed.values()), system=system,
    )  # fmt: skip


def _patterns(one: Believed) -> list[tuple[str, list[tuple[str, str]]]]:
    """Ways to hang the springs: those of the bridge, then all others, by their number."""
    places = one.plain.springs.hook_z.shape[-1]
    usual = {tuple(sorted(i + 1 for i in on)) for on in one.plain.springs.patterns.values()}
    ways = [tuple(on) for many in range(places + 1) for on in combinations(range(1, places + 1), many)]
    if places > MOST_PLACES:
        ways = sorted(usual | {()}, key=lambda on: (len(on), on))
    out: list[tuple[str, list[tuple[str, str]]]] = []
    for label, inside in (("Usual", True), ("Others", False)):
        out.append((label, [(_places(on), words.hung(on)) for on in ways if (on in usual) is inside]))
    return [pair for pair in out if pair[1]]


def _places(on: tuple[int, ...]) -> str:
    return "0" if not on else ",".join(str(place) for place in on) if len(on) > 1 else f"{on[0]},"


def show_along(request: Request) -> Response:
    """The balance at every place of the claw, for the page's module."""
    shown = visit_of(request)
    one = _believed(request, shown)
    asked = _asked(request.query_params, one)
    tries = tries_from(asked.typed, one)
    found = _once(request, shown, asked, "balance along", lambda: along(laid_out(one, tries)))
    told = plain(found) | {
        "base": list(tries.changes.claw),
        "system": units(request, preferred_system(one.job)),
        "said": {
            "floats": words.rest_of("floats", ""), "lower stop": words.rest_of("lower stop", found.stops[0]),
            "upper stop": words.rest_of("upper stop", found.stops[1]), "runs away": words.rest_of("runs away", ""),
        },
        "ends": list(words.ENDS),
    }  # fmt: skip
    return Response(json.dumps(told, allow_nan=False), media_type="application/json")


def take_balance(request: Request, form: Form) -> Response:
    """Write what was tried into the journal as a note; it turns nothing and plans nothing."""
    shown = visit_of(request)
    one = _believed(request, shown)
    given = {name: form.text(name) for name in (*(field.replace("_", "-") for field in ASKED), "state")}
    answer = _answer(request, shown, one, _asked(given, one))
    told = words.tried_words(answer.worked.result, answer.asked.typed)
    kept = keep(source(request, shown), ["note", f"tried on the balance bench: {told}"], who=who(request))
    return see(request, f"/visit/{shown.visit.id}/plan", f"#{kept.entry.number} is noted: {told}.")


ROUTES = [
    at("/visit/{visit}/balance", show_balance, take_balance, name="balance"),
    at("/visit/{visit}/balance/along", show_along, name="balance along"),
]
