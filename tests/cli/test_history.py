"""setwright history, as the bench types it."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from setwright.cli import history_terms as terms
from setwright.cli.asked import progress_to
from setwright.metrology.conformity import Tolerance
from setwright.metrology.reading import Convention, Place
from setwright.records import specifications, summaries
from setwright.records.edits import add, edit, get
from setwright.records.found_left import Key
from setwright.records.jobs import add_visit
from setwright.records.rows import Instrument, Visit
from setwright.records.shop import open_shop
from setwright.records.summaries import Limit
from tests.cli import made_shop

EIGHT = ("instrument", "since-last", "outside", "season", "yield", "gauges", "capability", "as-last-time")
GAP = specifications.Item("rear gap", Place(), Convention(), "length", 2.6e-3, 2.3e-3, 2.9e-3, "mm", "2.6 ± 0.3 mm")
RELIEF = specifications.Item(
    "relief", Place(), Convention(1, 17, 8), "length", None, None, 0.30e-3, "mm", "up to 0.3 mm"
)
LOW = specifications.Item(
    "string height", Place(fret=12), Convention(), "length", None, 1.4e-3, None, "mm", "1.4 mm or more"
)
RED = "read relief held at 1 and 17, read at 8 ="


@pytest.fixture
def told(ask):
    """A card: no line over 80 columns, nothing at its end."""

    def asked(*words):
        code, out, err = ask("history", *words)
        assert (code, err) == (0, ""), (out, err)
        assert max(map(len, out.splitlines())) <= 80
        return out

    return asked


@pytest.fixture
def refused(ask):
    def asked(*words):
        code, out, err = ask("history", *words)
        assert (code, out, err.count("\n")) == (2, "", 1), (out, err)
        return err

    return asked


def enter(ask, visit, *lines):
    for line in lines:
        who, _, words = line.rpartition(": ")
        by = ["--by", who] if who else []
        assert ask("log", "--visit", visit, *by, *words.split(" "))[0] == 0, words


def change(shop, visit, **values):
    with open_shop(shop) as opened, opened.writing("Bo") as work:
        home = edit(work, get(work, Visit, visit), **values)
        return home.instrument


@pytest.fixture
def once(ask, weir, kestrel):
    """The Kestrel once floated and handed back, by its house specification; id of the instrument, and of the visit."""
    with open_shop(weir) as opened, opened.writing("Bo") as work:
        house = specifications.specify(work, "house", [GAP, RELIEF, LOW])
    enter(
        ask, kestrel, "read rear gap = 3.10 mm ± 0.02 mm", f"{RED} 0.20 mm ± 0.01 mm", "did claw in 1/2 turn",
        "read rear gap = 3.20 mm ± 0.02 mm", "read humidity = 40 %",
    )  # fmt: skip
    home = change(weir, kestrel, came="2025-01-15 09:00:00", kind="floating", specification=house.id, state="closed")
    return home, kestrel


@pytest.fixture
def twice(ask, data, weir, once):
    """The Kestrel come back in summer."""
    home, first = once
    second = data("shop", "add-job", "kestrel-float.job.toml", "--instrument", home)["visit"]["id"]
    enter(ask, second, "read rear gap = 3.50 mm ± 0.02 mm", f"{RED} 0.21 mm ± 0.01 mm", "read claw distance = 12 mm",
          "read humidity = 60 %")  # fmt: skip
    change(weir, second, came="2025-07-15 09:00:00", kind="floating")
    return home, first, second


def test_an_instrument_with_its_visits(told, data, twice):
    home, first, second = twice
    out = told("instrument", home[-6:])
    assert out.index("VISIT 2, 2025-07-15, FLOATING, OPEN") < out.index("VISIT 1, 2025-01-15, FLOATING, CLOSED")
    assert "3.10 ± 0.04 mm  3.20 ± 0.04 mm" in out
    assert "claw once; humidity 40 %" in " ".join(out.split())
    assert ".1220 ± .0016 in  .1260 ± .0016 in" in told("instrument", home, "--units", "inch")
    found = data("history", "instrument", home)
    assert [one["visit"]["id"] for one in found["visits"]] == [second, first]
    gap = next(one for one in found["visits"][1]["readings"] if one["what"] == "rear gap")
    assert gap["found"] == {"si": 0.0031, "standard_uncertainty": 2e-05}
    assert found["owner"]["name"] == "Ada Lark"


def test_what_changed_since_last_time(told, data, twice, refused):
    home, first, second = twice
    out = told("since-last", home)
    assert out.startswith("From visit 1 (2025-01-15), as left, to visit 2 (2025-07-15), as found\n")
    changed, still = out.split("NO CHANGE SEEN")
    assert "3.20 ± 0.04 mm  3.50 ± 0.04 mm  +0.30 ± 0.06 mm" in changed
    assert "relief, held 1-17 at 8  within 0.038 mm" in still
    assert "READ ONLY NOW\n  claw distance" in still
    assert told("since-last", "--visit", second) == out
    found = data("history", "since-last", home)
    assert [(one["what"], one["seen"]) for one in found["changes"]] == [("rear gap", True), ("relief", False)]
    assert "has 1 visit up to then" in refused("since-last", "--visit", first)
    assert "name an INSTRUMENT, or a visit" in refused("since-last")
    assert "name an INSTRUMENT, or a visit" in refused("since-last", home, "--visit", first)


def test_nothing_read_at_both_says_what_is_needed(told, ask, data, weir, once):
    home, _ = once
    data("shop", "add-job", "kestrel-float.job.toml", "--instrument", home)
    assert "a change needs a reading as left and one as found" in " ".join(told("since-last", home).split())
    assert "Nothing was read that counts" in told("instrument", home)


def test_what_was_left_outside(told, data, once):
    _, visit = once
    out = told("outside")
    assert "3.20 ± 0.04 mm, allowed 2.30 mm to 2.90 mm: outside" in out
    one = told("outside", "--visit", visit)
    assert [line.split()[-1] for line in one.splitlines()[2:6]] == ["limits", "outside", "inside", "read"]
    assert "1.40 mm or more" in one
    assert "up to 0.30 mm" in one
    assert [x["verdict"] for x in data("history", "outside", "--visit", visit)["readings"]] == [
        "outside", "inside", "not read",
    ]  # fmt: skip
    (line,) = data("history", "outside", "--unsure")["readings"]
    assert line["limit"]["high"] == 2.9e-3
    assert line["reading"]["what"] == "rear gap"


def test_drift_with_season(told, data, weir, twice):
    home, _, second = twice
    change(weir, second, state="closed")
    out = told("season", "Rear Gap")
    assert "Rear Gap, from as left to as found at the next visit, 1 visit\n" in out
    assert "July           1  +0.300 mm" in out
    assert "not told: it needs three visits or more with humidity" in out
    assert told("season", "rear gap", "--instrument", home)
    found = data("history", "season", "rear gap")["seasons"]
    assert (found[0]["months"][0]["month"], found[0]["humidity"]) == (7, None)


def test_trends_are_told_with_their_band(told, ask, data, weir, once):
    home, _ = once
    for i, gap in enumerate(("3.25", "3.20", "3.40", "3.18", "3.30")):
        visit = data("shop", "add-job", "kestrel-float.job.toml", "--instrument", home)["visit"]["id"]
        enter(ask, visit, f"read rear gap = {gap} mm ± 0.02 mm", f"read humidity = {60 - 20 * (i % 2)} %")
        enter(ask, visit, f"read pitch string 1 = {329.6 + 0.3 * i} Hz ± 0.1 Hz")
        change(weir, visit, came=f"2025-{i + 3:02}-15 09:00:00", state="closed")
    out = " ".join(told("season", "rear gap").split())
    assert "mm for 10 % more humidity, of 5 visits" in out
    assert "mm a year, of 5 visits; no trend is seen" in out
    assert "± 0.1 c" in told("season", "pitch") or " c\n" in told("season", "pitch")


def test_yield_by_kind(told, data, once):
    out = told("yield")
    assert "FLOATING\n  visits              1, 1 held to a house specification\n" in out
    assert "  all inside          0 of 1, 0 % (0 to 79 %)\n" in out
    assert "  claw settings       1 (1 to 1)\n" in out
    (kind,) = data("history", "yield")["kinds"]
    assert (kind["first_pass"]["some"], kind["rounds"]["median"]) == (0, 1)


def test_capability_of_the_shop(told, ask, data, weir, once, refused):
    home, first = once
    out = told("capability")
    assert "not told     1 values say nothing of a spread" in out
    with open_shop(weir) as opened, opened.reading() as work:
        house = get(work, Visit, first).specification
    for i, gap in enumerate(("2.50", "2.62", "2.58", "2.71", "2.66")):
        visit = data("shop", "add-job", "kestrel-float.job.toml", "--instrument", home)["visit"]["id"]
        enter(ask, visit, f"read rear gap = {gap} mm ± 0.02 mm", f"read string height string 1 at fret 12 = {gap} mm")
        change(weir, visit, came=f"2025-{i // 2 + 3:02}-15 09:00:00", specification=house, state="closed")
    out = told("capability", "house", "--number", "1", "--units", "mm")
    assert "House specification house, version 1, as left" in out
    assert "read         6 values, 1 past a limit" in out
    assert "Cpk" in out
    assert "6 values are few" in out
    found = data("history", "capability")
    gap, relief, low = found["limits"]
    assert gap["count"] == 6
    assert low["capability"]["pp"] is None
    assert low["limit"]["high"] is None
    assert relief["capability"] is None
    assert "no specification 'other'" in refused("capability", "other")


def test_people_and_gauges(told, ask, data, weir, once, refused):
    home, _ = once
    visit = data("shop", "add-job", "kestrel-float.job.toml", "--instrument", home)["visit"]["id"]
    for trial in range(3):
        for who, off in (("Ada", 0.00), ("Bo", 0.04)):
            for s in range(1, 7):
                wobble = 0.01 * ((s + trial) % 3) + off * (1 + 0.2 * (s % 2))
                enter(ask, visit, f"{who}: read string height string {s} at fret 12 = {1.5 + 0.1 * s + wobble:.2f} mm")
    out = told("gauges", "string height", home)
    assert out.startswith("String height: 6 places, 2 people, 3 trials each\n")
    for words in ("Ada, Bo", "repeatability (EV)", "places told apart", "ANALYSIS OF VARIANCE", "Two people are few"):
        assert words in out
    assert told("gauges", "string height", "--visit", visit) == out
    found = data("history", "gauges", "string height", home)
    assert (found["people"], found["trials"], len(found["places"])) == (["Ada", "Bo"], 3, 6)
    assert found["study"]["both"]["sd"] > 0
    assert "no two people" in refused("gauges", "relief", home)
    assert "nothing that is read and kept" in refused("gauges", "buzz", home)


def test_the_same_job_again(told, ask, data, weir, once, refused, tmp_path):
    home, visit = once
    assert 'rear_gap = "3.200 mm ± 0.020 mm"' in ask("history", "as-last-time", home)[1]
    out = told("as-last-time", home, "--kind", "floating", "--write", tmp_path / "again")
    assert "Read everything under found again" in out
    assert "needs a hand" not in out
    assert ask("plan", tmp_path / "again" / "kestrel-float.job.toml")[0] == 0
    assert "there already; name a new folder" in refused("as-last-time", home, "--write", tmp_path / "again")
    (tmp_path / "half").mkdir()
    (tmp_path / "half" / "kestrel.instrument.toml").write_text("mine")
    assert "there already" in refused("as-last-time", home, "--write", tmp_path / "half")
    assert [one.name for one in (tmp_path / "half").iterdir()] == ["kestrel.instrument.toml"]
    assert "cannot be written" in refused("as-last-time", home, "--write", "/proc/none")
    assert "no closed visit of kind 'fret dressing'" in refused("as-last-time", home, "--kind", "fret dressing")
    found = data("history", "as-last-time", home)
    assert (found["visit"], found["written"]) == (visit, [])
    assert found["job"].startswith("# As last time: visit 1, came 2025-01-15.")


def test_rare_amounts_and_names_have_their_words():
    harmonic = Key("pitch", 3, 12, "", True, "", "on its back", "pitch")
    assert terms.name(harmonic) == "pitch in Hz, string 3, harmonic 12, on its back"
    many = [harmonic._replace(string=one) for one in (2, 6, 4, 3, 5)]
    assert terms.names(many) == ["pitch in Hz, strings 2 to 6, harmonic 12, on its back"]
    assert terms.names(many[:2]) == ["pitch in Hz, strings 2 and 6, harmonic 12, on its back"]
    assert terms.names([harmonic, harmonic._replace(string=0, kind="cents")]) == [
        "pitch, harmonic 12, on its back",
        "pitch in Hz, string 3, harmonic 12, on its back",
    ]
    assert terms.name(Key("string height", 1, 12, "", False, '{"capo":1}', "playing", "length")).endswith("capo 1")
    rule = '{"hold_high":17,"hold_low":1,"read_at":8,"straightedge":true}'
    assert terms.name(Key("relief", 0, 0, "", False, rule, "playing", "length")) == "relief, rule on 1-17 at 8"
    assert terms.name(Key("rear gap", 0, 0, "bass", False, "", "playing", "length")) == "rear gap, bass"
    limit = Limit(1, "octave error", None, None, "", False, "", "cents", 0.0, Tolerance(-2.0, 2.0))
    assert terms.limits(limit, "mm") == "−2.0 c to 2.0 c"
    assert terms.amount(196.0, "pitch", None, "mm", False) == "196 Hz"
    assert [terms.times(n) for n in range(4)] == ["not", "once", "twice", "3 times"]
    assert terms.short("x" * 30, 10) == "xxxxxxx..."


def test_an_instrument_without_visits_and_a_specification_without_limits(told, ask, weir, kestrel):
    none = specifications.Item("claw distance", Place(), Convention(), "length", 12e-3, None, None, "mm", "12 mm")
    with open_shop(weir) as shop, shop.writing("Bo") as work:
        lone = add(work, replace(get(work, Instrument, get(work, Visit, kestrel).instrument), id="", owner=None))
        specifications.specify(work, "house", [none])
    assert "It has no visit yet" in told("instrument", lone.id)
    assert "It limits nothing" in told("capability")
    change(weir, kestrel, state="closed")
    assert "none held to a house specification" in told("yield")


def test_a_study_is_set_beside_the_tolerance(told, weir):
    made = made_shop.made(weir.parent / "other")
    with open_shop(weir.parent / "other") as shop, shop.writing("Bo") as work:
        both = replace(LOW, high=2.2e-3)
        house = specifications.specify(work, "heights", [both])
        edit(work, get(work, Visit, made[1]), specification=house.id)
    assert "6 GRR of the tolerance" in told("gauges", "string height", made[0], "--shop", weir.parent / "other")


def test_an_empty_shop_teaches(told, weir, refused):
    assert "No visit is closed yet" in told("yield")
    assert "No closed visit left a reading outside" in " ".join(told("outside").split())
    assert "needs closed visits of one instrument" in " ".join(told("season", "relief").split())
    assert "there is no house specification in this shop yet" in refused("capability")
    assert "no instrument" in refused("instrument", "zzzz")


@pytest.mark.parametrize("name", EIGHT)
def test_every_question_has_help_and_wants_a_shop(ask, name):
    code, out, _ = ask("history", name, "--help")
    assert code == 0
    assert "--json" in out
    given = {"season": ["relief"], "gauges": ["relief", "abcd"]}.get(
        name, [] if name in ("yield", "outside") else ["abcd"]
    )
    code, out, _ = ask("history", name, *given, "--json")
    assert code == 2
    assert "no shop is named" in json.loads(out)["error"]["message"]


def test_summing_up_shows_how_far_it_is_on_a_terminal(ask, once, monkeypatch):
    monkeypatch.setattr("setwright.cli.history.progress_to", lambda _terminal, done: progress_to(True, done))
    code, _, err = ask("history", "yield")
    assert (code, err) == (0, "\r  0 % of the shop summed up\r" + 28 * " " + "\r")
    assert ask("history", "outside")[2] == ""


def test_summing_up_that_is_stopped_keeps_what_it_has(ask, once, weir, monkeypatch):
    with open_shop(weir) as shop, shop.writing("Bo") as work:
        first = get(work, Visit, once[1])
        add_visit(work, replace(first, id="", number=0, tail=b"", came="2025-03-01 09:00:00"))
    sums = summaries._sum_up
    monkeypatch.setattr(summaries, "AT_ONCE", 1)
    done = []

    def stopped(work, stale):
        if done:
            raise KeyboardInterrupt
        done.append(len(stale))
        return sums(work, stale)

    monkeypatch.setattr(summaries, "_sum_up", stopped)
    code, out, err = ask("history", "yield")
    assert (code, out) == (130, "")
    assert "Stopped. What was summed up is kept; the rest is when you ask again." in err
    assert done == [1]
    monkeypatch.setattr(summaries, "_sum_up", sums)
    code, out, err = ask("history", "yield")
    assert (code, err) == (0, "")
    assert "visits              2, 1 held" in out


def test_a_command_that_is_stopped_elsewhere_says_nothing_of_summing_up(ask, once, monkeypatch):
    def stop(*_words, **_more):
        raise KeyboardInterrupt

    monkeypatch.setattr("setwright.bench.history.yields", stop)
    assert ask("history", "yield") == (130, "", "\n")
