"""What the shop answers of its past, the same on both engines."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

import pytest

from setwright.errors import InputError
from setwright.metrology.reading import Convention, Place
from setwright.records import history, specifications, statistics, supplies
from setwright.records.check import check
from setwright.records.edits import add, edit, get
from setwright.records.found_left import Key
from setwright.records.jobs import add_job, add_visit
from setwright.records.journal_text import parse
from setwright.records.kept import append
from setwright.records.rows import Owner, Visit
from setwright.records.shop import open_shop
from setwright.records.summaries import refresh, unsummed
from setwright.records.worth import spoils, uncertainty

HELD = Convention(1, 17, 8)
GAP = specifications.Item("rear gap", Place(), Convention(), "length", 2.6e-3, 2.3e-3, 2.9e-3, "mm", "2.6 ± 0.3 mm")
RELIEF = specifications.Item("relief", Place(), HELD, "length", None, None, 0.30e-3, "mm", "up to 0.3 mm")
HEIGHT = specifications.Item(
    "string height", Place(fret=12, string=1), Convention(), "length", 1.6e-3, 1.4e-3, 1.8e-3, "mm", "1.6 ± 0.2 mm"
)
NAMED = specifications.Item("claw distance", Place(), Convention(), "length", 12e-3, None, None, "mm", "about 12 mm")
FINE = "± 0.01 mm"


@pytest.fixture
def home(shop, files):
    """An instrument with one open visit and an empty journal."""
    with shop.writing("Bo") as work:
        added = add_job(work, replace(files, journal=b""), "Ada Lark", kind="floating")
        return edit(work, added.visit, came="2025-01-15 09:00:00")


def keep(shop, visit, lines, start="2025-01-15 09:00", **close):
    """Entries four minutes apart; "Ada: read ..." is signed. Closes the visit where something is edited."""
    when = datetime.fromisoformat(start)
    with shop.writing("Bo") as work:
        for i, line in enumerate(lines):
            who, _, words = line.rpartition(": ")
            verb, text = words.split(" ", 1)
            append(work, visit.id, parse(verb, text, when + timedelta(minutes=4 * i), who=who))
        now = get(work, Visit, visit.id)
        return edit(work, now, **close) if close else now


def another(shop, like, came):
    with shop.writing("Bo") as work:
        return add_visit(work, replace(like, id="", number=0, tail=b"", came=came, state="open"))


def key(what, string=0, fret=0, convention="", attitude="playing", kind="length"):
    return Key(what, string, fret, "", False, convention, attitude, kind)


def sums(shop, visit):
    with shop.reading() as work:
        life = history.life(work, visit.instrument)
    return next(one.sums for one in life.visits if one.visit.id == visit.id)


def values(shop, visit):
    return {
        one.key: tuple(round(x.si, 8) if x else None for x in (one.found, one.left)) for one in sums(shop, visit).values
    }


def test_as_found_comes_before_what_spoils_it_and_as_left_after(shop, home):
    keep(shop, home, [
        f"read rear gap = 3.10 mm {FINE}", f"read rear gap = 3.20 mm {FINE}",
        f"read relief held at 1 and 17, read at 8 = 0.25 mm {FINE}", "read pitch string 1 = 328.0 Hz",
        "did claw in 1/2 turn", f"read rear gap = 2.80 mm {FINE}", "read pitch string 2 = 246.0 Hz",
        "did tune string 1 to 329.6 Hz, heard 329.5 Hz", "did claw in 1/4 turn", f"read rear gap = 2.60 mm {FINE}",
        "did tune string 2 to 246.9 Hz, heard 246.94 Hz",
    ])  # fmt: skip
    relief = next(one.key for one in sums(shop, home).values if one.key.what == "relief")
    assert '"hold_low":1' in relief.convention
    assert values(shop, home) == {
        key("rear gap"): (3.10e-3, 2.60e-3), relief: (0.25e-3, 0.25e-3),
        key("pitch", 1, kind="pitch"): (328.0, None),  # the claw went on after it was tuned
        key("pitch", 2, kind="pitch"): (None, 246.94),
    }  # fmt: skip


def test_a_saddle_spoils_its_own_string_only_and_protecting_spoils_nothing(shop, home):
    keep(shop, home, [
        f"read string height string 1 at fret 12 = 1.60 mm {FINE}",
        f"read string height string 2 at fret 12 = 1.70 mm {FINE}",
        "did saddle height string 1 up 1/4 turn", "did step protect",
    ])  # fmt: skip
    assert values(shop, home) == {
        key("string height", 1, 12): (1.6e-3, None), key("string height", 2, 12): (1.7e-3, 1.7e-3),
    }  # fmt: skip


def test_a_string_tuned_without_a_look_is_not_read_again(shop, home):
    keep(shop, home, ["read pitch string 1 = 328.0 Hz", "did tune string 1 to 329.6 Hz", "did bar down and let go"])
    assert values(shop, home) == {key("pitch", 1, kind="pitch"): (328.0, None)}


def test_slack_wedged_struck_and_otherwise_held_readings_are_apart(shop, home):
    keep(shop, home, [
        f"read rear gap = 9.00 mm {FINE} slack, sure", f"read rear gap = 3.00 mm {FINE} wedge in",
        f"read rear gap = 2.50 mm {FINE}", "strike 3 misread", f"read rear gap = 2.40 mm {FINE} on its back",
        "did attitude on its back", f"read rear gap = 2.45 mm {FINE}", "did attitude playing",
        f"read rear gap = 2.70 mm {FINE}", "did wedge in at 2.6 mm, props", f"read rear gap = 2.60 mm {FINE}",
        f"read rear gap = 2.65 mm {FINE} wedge out", "read wedge loose = no", "read temperature = 21 C",
    ])  # fmt: skip
    assert values(shop, home) == {
        key("rear gap"): (2.7e-3, 2.65e-3), key("rear gap", attitude="on its back"): (2.4e-3, None),
    }  # fmt: skip


def test_rounds_minutes_and_humidity(shop, home):
    lines = ["read humidity = 40 %", "did claw treble in 1/4 turn", "did claw bass in 1/4 turn"]
    lines += [f"did tune string {s} to 300 Hz sure" for s in (1, 2, 1, 1)] + ["read humidity = 50 %"]
    keep(shop, home, lines)
    keep(shop, home, ["note done after the night", "note and packed"], "2025-01-16 09:00")
    found = sums(shop, home)
    assert (found.rounds, found.claw_settings, found.tunings) == (3, 1, 4)
    assert found.minutes == 7 * 4 + 4  # the night is no work
    assert found.humidity == pytest.approx(0.45)


def test_a_reading_without_a_gauge_is_worth_what_a_usual_hand_is(shop, home):
    keep(shop, home, [
        "read rear gap = 2.60 mm", "read string height string 1 at fret 12 = 1.600 mm",
        "read pitch string 1 = 329.63 Hz", "read claw distance = 12.10 mm with calliper",
    ])  # fmt: skip
    u = {one.key.what: one.found.u for one in sums(shop, home).values}
    assert u["rear gap"] == pytest.approx(math.hypot(0.5e-3 / math.sqrt(12), 0.10e-3))  # rule 0.5 mm and its hand
    assert u["string height"] == pytest.approx(math.hypot(0.05e-3, 1e-6 / math.sqrt(12)), rel=1e-3)
    assert u["pitch"] == pytest.approx(math.hypot(0.1 / math.sqrt(12), 1.0) * 329.63 * math.log(2) / 1200, rel=1e-3)
    assert u["claw distance"] < 0.05e-3
    assert uncertainty("wedge loose", 1.0, None, "yes", "") == 0.0
    assert uncertainty("pitch", -2.0, 0.1, "-2 c", "") == pytest.approx(math.hypot(0.1 / math.sqrt(12), 1.0))
    assert not spoils("bar", "down", None, False, "rear gap", 0)


def two_visits(shop, home, found="2.60"):
    first = keep(shop, home, [
        f"read rear gap = 2.60 mm {FINE}", f"read relief held at 1 and 17, read at 8 = 0.20 mm {FINE}",
        f"read string height string 1 at fret 12 = 1.60 mm {FINE}", "read pitch string 1 = 330.00 Hz ± 0.05 Hz",
    ], state="closed")  # fmt: skip
    second = another(shop, first, "2025-07-15 09:00:00")
    return first, keep(shop, second, [
        f"read rear gap = {found} mm {FINE}", f"read relief held at 1 and 17, read at 8 = 0.30 mm {FINE}",
        f"read string height string 2 at fret 12 = 1.70 mm {FINE}", "read pitch string 1 = 329.00 Hz ± 0.05 Hz",
    ], "2025-07-15 09:00")  # fmt: skip


@pytest.mark.parametrize("summed", [False, True])
def test_a_change_is_told_beyond_twice_its_uncertainty(shop, home, summed):
    first, second = two_visits(shop, home, "2.62")
    if summed:
        assert refresh(shop) == 1
    with shop.reading() as work:
        found = history.since_last(work, second.instrument)
        assert found == history.since_last(work, "", second.id)
        with pytest.raises(InputError, match="1 visit up to then"):
            history.since_last(work, "", first.id)
    assert (found.before.id, found.now.id) == (first.id, second.id)
    by = {one.key.what: one for one in found.changes}
    assert by["rear gap"].change == pytest.approx(0.02e-3)
    assert by["rear gap"].sd == pytest.approx(math.hypot(0.01e-3, 0.01e-3))
    assert not by["rear gap"].seen  # 0.02 mm is less than twice 0.014 mm
    assert by["relief"].seen
    assert by["pitch"].change == pytest.approx(1200 * math.log2(329 / 330))
    assert by["pitch"].sd == pytest.approx(1200 / math.log(2) * math.hypot(0.05 / 329, 0.05 / 330), rel=1e-6)
    assert [one.string for one in found.only_before] == [1]
    assert [one.string for one in found.only_now] == [2]


def specified(shop, items, name="house"):
    with shop.writing("Bo") as work:
        return specifications.specify(work, name, items)


def test_readings_are_inside_outside_or_not_certain(shop, home):
    house = specified(shop, [GAP, RELIEF, NAMED, HEIGHT])
    visit = keep(shop, home, [
        f"read rear gap = 2.60 mm {FINE}", f"read relief held at 1 and 17, read at 8 = 0.295 mm {FINE}",
        f"read relief held at 1 and 15, read at 7 = 0.40 mm {FINE}",
        f"read string height string 2 at fret 12 = 3.00 mm {FINE}",
    ])  # fmt: skip
    with shop.reading() as work, pytest.raises(InputError, match="held to no house"):
        history.held_to(work, visit.id)
    visit = keep(shop, visit, ["note more"], specification=house.id)
    with shop.reading() as work:
        found = history.held_to(work, visit.id)
    assert [(one.limit.what, one.verdict) for one in found] == [
        ("rear gap", "inside"), ("relief", "not certain"), ("string height", ""),
    ]  # fmt: skip
    assert found[2].left is None


def test_what_closed_visits_left_outside_is_told_newest_first(shop, home):
    house = specified(shop, [GAP, RELIEF])
    lines = [f"read rear gap = 3.20 mm {FINE}", f"read relief held at 1 and 17, read at 8 = 0.30 mm {FINE}"]
    first = keep(shop, home, lines, specification=house.id, state="closed")
    second = keep(shop, another(shop, first, "2025-03-01 09:00:00"), lines, state="closed")
    third = keep(shop, another(shop, first, "2025-04-01 09:00:00"), lines)  # open: does not count yet
    assert refresh(shop) == 2
    assert refresh(shop) == 0
    with shop.reading() as work:
        found = history.outside(work)
        assert [(one.visit, one.verdict, one.left.si) for one in found] == [
            (second.id, "outside", 3.2e-3), (first.id, "outside", 3.2e-3),
        ]  # fmt: skip
        assert found[0].came == "2025-03-01 09:00:00"
        assert [one.verdict for one in history.outside(work, unsure=True)] == ["outside", "not certain"] * 2
        assert len(history.outside(work, most=1)) == 1
    with shop.writing() as work:
        edit(work, get(work, Visit, third.id), state="closed")
        edit(work, get(work, Visit, second.id), state="open")
    assert refresh(shop) == 2
    with shop.reading() as work:
        assert {one.visit for one in history.outside(work)} == {first.id, third.id}


def test_a_summary_follows_its_visit_and_the_one_before(shop, home):
    first, second = two_visits(shop, home, "2.80")
    with shop.writing() as work:
        edit(work, get(work, Visit, second.id), state="closed")
    assert refresh(shop) == 2

    def gap():
        with shop.reading() as work:
            (found,) = statistics.season(work, "rear gap")
        return found.months[0].mean

    assert gap() == pytest.approx(0.2e-3)
    with shop.writing() as work:
        edit(work, get(work, Visit, first.id), state="open")
    keep(shop, first, [f"read rear gap = 2.70 mm {FINE}"], "2025-01-15 10:00", state="closed")
    assert refresh(shop) == 1
    assert gap() == pytest.approx(0.1e-3)  # counted anew, from what was left at the first
    direct = values(shop, second)
    with shop.writing() as work:
        for name in ("visit_value", "visit_summary"):
            work.connection.exec_driver_sql(f"DELETE FROM {name}")
    assert values(shop, second) == direct


def test_what_came_at_no_time_has_no_season(shop, home):
    first, second = two_visits(shop, home)
    with shop.writing() as work:
        edit(work, get(work, Visit, second.id), came="in summer", state="closed")
    assert refresh(shop) == 2
    with shop.reading() as work:
        assert statistics.season(work, "relief") == ()
        assert statistics.yields(work)[0].visits == 2
    with shop.writing() as work:
        for one in (first, second):
            edit(work, get(work, Visit, one.id), state="open")
    assert refresh(shop) == 2
    with shop.reading() as work:
        assert statistics.yields(work) == ()


def test_a_limit_of_one_side_judges_that_side(shop, home):
    places = [f"read rear gap {side} = 2.60 mm {FINE}" for side in ("treble", "bass")]
    house = specified(shop, [replace(GAP, place=Place(side="bass"))])
    first = keep(shop, home, places, specification=house.id, state="closed")
    with shop.reading() as work:
        (found,) = history.held_to(work, first.id)
    assert (found.key.side, found.verdict) == ("bass", "inside")


def test_refreshing_may_be_shared_out(shop, home, monkeypatch):
    monkeypatch.setattr("setwright.records.summaries.AT_ONCE", 1)
    first = keep(shop, home, [f"read rear gap = 2.60 mm {FINE}"], state="closed")
    for month in range(2, 6):
        keep(shop, another(shop, first, f"2025-0{month}-01 09:00:00"), ["note x"], state="closed")
    assert refresh(shop, most=2) == 2
    assert refresh(shop) == 3
    with shop.reading() as work:
        (found,) = statistics.yields(work)
    assert found.visits == 5


def test_summing_up_tells_how_far_it_is_and_may_be_stopped_without_harm(shop, home, monkeypatch):
    monkeypatch.setattr("setwright.records.summaries.AT_ONCE", 2)
    first = keep(shop, home, [f"read rear gap = 2.60 mm {FINE}"], state="closed")
    for month in range(2, 6):
        again = another(shop, first, f"2025-0{month}-01 09:00:00")
        keep(shop, again, [f"read rear gap = 2.70 mm {FINE}"], f"2025-0{month}-01 09:00", state="closed")
    told = []

    def stop(done, of):
        told.append((done, of))
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        refresh(shop, progress=stop)
    assert told == [(0, 5), (2, 5)]
    assert check(shop).problems == ()
    with shop.reading() as work:
        assert [unsummed(work), unsummed(work, 2)] == [3, 2]
    told.clear()
    assert refresh(shop, progress=lambda *far: told.append(far)) == 3
    assert told == [(0, 3), (2, 3), (3, 3)]
    assert refresh(shop, progress=lambda *far: told.append(far)) == 0
    assert len(told) == 3
    with shop.reading() as work:
        assert statistics.yields(work)[0].visits == 5
        (season,) = statistics.season(work, "rear gap")
        assert season.visits == 4


def test_the_end_is_told_where_another_bench_has_summed_up_the_rest(at, shop, home, monkeypatch):
    monkeypatch.setattr("setwright.records.summaries.AT_ONCE", 1)
    first = keep(shop, home, [f"read rear gap = 2.60 mm {FINE}"], state="closed")
    for month in range(2, 5):
        keep(shop, another(shop, first, f"2025-0{month}-01 09:00:00"), ["note x"], state="closed")
    told = []

    def other(done, of):
        told.append((done, of))
        if done == 1:
            with open_shop(at) as elsewhere:
                assert refresh(elsewhere) == 3

    assert refresh(shop, progress=other) == 1
    assert told == [(0, 4), (1, 4), (4, 4)]


def test_everything_of_one_instrument_from_visit_to_visit_is_that_asked_one_by_one(shop, home):
    lines = [f"read rear gap = 2.{{}} mm {FINE}", "read relief held at 1 and 17, read at 8 = 0.{} mm ± 0.01 mm",
             "read pitch string 6 = 8{} Hz ± 0.1 Hz", "read pitch string 1 = -{} c ± 0.5 c"]  # fmt: skip
    first = keep(shop, home, [one.format(21) for one in lines], state="closed")
    for month in range(2, 6):
        again = another(shop, first, f"2025-0{month}-01 09:00:00")
        some = [one.format(21 + month) for one in lines[month % 2 :]]
        keep(shop, again, some, f"2025-0{month}-01 09:00", state="closed")
    refresh(shop)
    with shop.reading() as work:
        found = statistics.seasons(work, home.instrument)
        each = [one for what in ("pitch", "rear gap", "relief") for one in statistics.season(work, what)]
        assert statistics.seasons(work, "nobody's") == ()
    assert list(found) == each
    assert len({(one.what, one.kind) for one in found}) == len(found) > 3


def test_yield_rounds_and_minutes_by_kind(shop, home):
    house = specified(shop, [GAP])
    good, bad = f"read rear gap = 2.60 mm {FINE}", f"read rear gap = 3.60 mm {FINE}"
    turn = "did claw in 1/8 turn"
    first = keep(shop, home, [turn, good], specification=house.id, state="closed")
    for came, lines, kind in (
        ("2025-02-01", [turn, turn, good], "floating"), ("2025-03-01", [turn, bad], "floating"),
        ("2025-04-01", [turn, turn, turn, "note nothing was read"], "floating"), ("2025-05-01", [turn], "check-up"),
    ):  # fmt: skip
        visit = keep(shop, another(shop, first, f"{came} 09:00:00"), lines)
        with shop.writing() as work:
            edit(work, visit, kind=kind, state="closed")
    refresh(shop)
    with shop.reading() as work:
        floating, check_up = statistics.yields(work)
    assert (floating.kind, floating.visits, floating.judged) == ("floating", 4, 3)
    assert (floating.inside.some, floating.first_pass.some, floating.first_pass.of) == (2, 1, 3)
    assert (floating.claw_settings.low, floating.claw_settings.median, floating.claw_settings.high) == (1, 1.5, 2.25)
    assert floating.minutes.median == 6.0  # of 4, 8, 4 and 12
    assert (check_up.judged, check_up.inside, check_up.first_pass, check_up.minutes) == (0, None, None, None)


def test_a_share_has_the_band_of_wilson():
    """Newcombe (1998), Statistics in Medicine 17, 857, table I: 81 of 263 by Wilson 0.2553 to 0.3662 (from memory)."""
    found = statistics.share(81, 263)
    assert (round(found.low, 4), round(found.high, 4)) == (0.2553, 0.3662)
    assert statistics.share(0, 0) is None


def test_quartiles_are_those_of_the_values_one_by_one():
    import numpy as np

    counts = ((1, 3), (2, 1), (5, 4), (9, 2))
    whole = np.repeat([one for one, _ in counts], [often for _, often in counts])
    found = statistics.quartiles(counts)
    assert (found.low, found.median, found.high) == tuple(np.quantile(whole, [0.25, 0.5, 0.75]))
    assert found.count == 10


def test_capability_is_that_of_the_values_themselves(shop, home):
    import numpy as np

    with shop.reading() as work, pytest.raises(InputError, match="no house specification in this shop"):
        statistics.held(work)
    house = specified(shop, [GAP, RELIEF, NAMED])
    rng = np.random.default_rng(5)
    first, read = None, {}
    for month in range(1, 4):
        for day in (1, 11, 21):
            value = round(float(rng.normal(2.6, 0.08)), 3)
            read.setdefault(month, []).append(value * 1e-3)
            came = f"2025-0{month}-{day:02} 09:00:00"
            visit = another(shop, first, came) if first else home
            first = keep(
                shop, visit, [f"read rear gap = {value} mm {FINE}"], came=came, specification=house.id, state="closed"
            )
    refresh(shop)
    with shop.reading() as work:
        spec, (gap, relief) = statistics.held(work)
        with pytest.raises(InputError, match="no specification 'other'"):
            statistics.held(work, "other")
        with pytest.raises(InputError, match="version 7"):
            statistics.held(work, "house", 7)
    every = np.concatenate([np.array(one) for one in read.values()])
    within = np.sqrt(np.mean([np.var(one, ddof=1) for one in read.values()]))
    assert (spec.name, gap.count, gap.months) == ("house", 9, 3)
    assert gap.beyond == int(((every < 2.3e-3) | (every > 2.9e-3)).sum())
    assert gap.capability.spread.mean == pytest.approx(every.mean(), rel=1e-9)
    assert gap.capability.pp.value == pytest.approx(0.6e-3 / 6 / every.std(ddof=1), rel=1e-6)
    assert gap.capability.cp.value == pytest.approx(0.6e-3 / 6 / within, rel=1e-6)
    assert (relief.count, relief.capability) == (0, None)
    assert "two are the least" in relief.why
    specified(shop, [RELIEF], "second")
    with shop.reading() as work:
        with pytest.raises(InputError, match="name one"):
            statistics.held(work)
        assert statistics.held(work, "second")[1][0].count == 0


def test_season_tells_months_and_trends_with_their_uncertainty(shop, home):
    import numpy as np
    from scipy import stats

    damp = [0.35, 0.60, 0.40, 0.62, 0.33, 0.55]
    rise = [0.0, 0.021, 0.002, 0.027, 0.001, 0.015]
    first, years = None, []
    for i, (air, off) in enumerate(zip(damp, rise, strict=True)):
        came = f"20{20 + i // 2}-{'01' if i % 2 == 0 else '08'}-01 09:00:00"
        visit = another(shop, first, came) if first else home
        lines = [f"read string height string {s} at fret 12 = {1.6 + off:.3f} mm ± 0.001 mm" for s in (1, 2)]
        years.append(datetime.fromisoformat(came))
        first = keep(shop, visit, lines, came=came, state="closed")
        with shop.writing("Bo") as work:
            supplies.note_climate(work, came, None, air, f"{air}", first.id)
    with shop.reading() as work:
        assert statistics.season(work, "string height") == ()
    refresh(shop)
    with shop.reading() as work:
        (found,) = statistics.season(work, "string height", first.instrument)
        assert statistics.season(work, "string height") == (found,)
        assert statistics.season(work, "relief") == ()
    y = 1e-3 * np.diff(np.round(rise, 3))
    fit = stats.linregress(np.diff(damp), y)
    assert found.visits == 5  # two strings at one visit are one
    assert (found.humidity.visits, found.humidity.seen) == (5, True)
    assert found.humidity.slope == pytest.approx(fit.slope, rel=1e-6)
    assert found.humidity.sd == pytest.approx(fit.stderr, rel=1e-6)
    assert found.humidity.half_width == pytest.approx(stats.t.ppf(0.975, 3) * fit.stderr, rel=1e-6)
    apart = [(b - a).total_seconds() / 86400 / 365.25 for a, b in pairwise(years)]
    assert found.years.slope == pytest.approx(stats.linregress(apart, y).slope, rel=1e-6)
    assert [one.month for one in found.months] == [1, 8]
    assert found.months[1].mean == pytest.approx(np.mean(y[[0, 2, 4]]))
    assert found.months[1].sd == pytest.approx(np.std(y[[0, 2, 4]], ddof=1) / math.sqrt(3))


def test_changes_all_at_one_distance_show_no_trend(shop, home):
    first = home
    for i, gap in enumerate(("2.60", "2.65", "2.70", "2.72", "2.80")):
        visit = another(shop, first, f"2025-01-{1 + 7 * i:02} 09:00:00") if i else home
        came = f"2025-01-{1 + 7 * i:02} 09:00:00"
        first = keep(shop, visit, [f"read rear gap = {gap} mm {FINE}"], came=came, state="closed")
    refresh(shop)
    with shop.reading() as work:
        (found,) = statistics.season(work, "rear gap")
    assert (found.visits, found.years) == (4, None)


def test_too_little_for_a_trend_is_none(shop, home):
    _, second = two_visits(shop, home)
    with shop.writing() as work:
        edit(work, get(work, Visit, second.id), state="closed")
    refresh(shop)
    with shop.reading() as work:
        (found,) = statistics.season(work, "relief")
    assert (found.humidity, found.years, found.months[0].sd) == (None, None, None)


def test_people_who_read_the_same_places_are_found(shop, home):
    house = specified(shop, [replace(HEIGHT, place=Place(fret=12))])
    lines = []
    for trial in (0, 1):
        for who, off in (("Ada", 0.0), ("Bo", 0.03)):
            for s in (1, 2, 3):
                value = 1.5 + 0.1 * s + off + 0.01 * trial
                lines.append(f"{who}: read string height string {s} at fret 12 = {value:.2f} mm {FINE}")
    lines += [f"Cy: read string height string 1 at fret 12 = 1.6 mm {FINE}", "did saddle height string 1 up 1 turn"]
    lines += [f"Ada: read string height string 1 at fret 12 = 2.6 mm {FINE}"]
    visit = keep(shop, home, lines, specification=house.id)
    with shop.reading() as work:
        found = history.cells(work, "string height", visit=visit.id)
        assert history.cells(work, "string height", visit.instrument) == found
        with pytest.raises(InputError, match="no two people"):
            history.cells(work, "relief", visit.instrument)
    assert found.people == ("Ada", "Bo")
    assert [one.string for _, one in found.places] == [1, 2, 3]
    assert found.values[0] == ((1.6e-3, 1.61e-3), (1.63e-3, 1.64e-3))
    assert found.width == pytest.approx(0.4e-3)


def test_as_last_time_gives_the_files_of_the_last_closed_visit(shop, home, files):
    with shop.reading() as work, pytest.raises(InputError, match="no closed visit; close"):
        history.as_last_time(work, home.instrument)
    first = keep(shop, home, [f"read rear gap = 2.60 mm {FINE}"], state="closed")
    second = keep(shop, another(shop, first, "2025-02-01"), ["note x"])
    with shop.writing() as work:
        edit(work, second, kind="check-up", state="closed")
    with shop.reading() as work:
        assert history.as_last_time(work, home.instrument).visit.id == second.id
        found = history.as_last_time(work, home.instrument, "floating")
        assert found.visit.id == first.id
        assert found.job == files.job
        assert found.sums.values[0].left.si == 2.6e-3
        with pytest.raises(InputError, match="there are: check-up, floating"):
            history.as_last_time(work, home.instrument, "fret dressing")


def test_a_life_without_visits_or_owner(shop, home):
    with shop.writing() as work:
        life = history.life(work, home.instrument)
        lone = add(work, replace(life.instrument, id="", owner=None, name="Wren"))
        assert history.life(work, lone.id).visits == ()
        assert history.life(work, lone.id).owner is None
        assert get(work, Owner, life.owner.id).name == "Ada Lark"


def test_two_benches_may_refresh_at_once(at, shop, home):
    from tests.records.test_contract import at_once

    first = keep(shop, home, [f"read rear gap = 2.60 mm {FINE}"], state="closed")
    for month in range(2, 9):
        keep(
            shop, another(shop, first, f"2025-0{month}-01 09:00:00"), [f"read rear gap = 2.7 mm {FINE}"], state="closed"
        )

    def bench(_number):
        with open_shop(at) as other:
            return refresh(other)

    assert sum(at_once(bench, 3)) == 8
    with shop.reading() as work:
        assert statistics.yields(work)[0].visits == 8
