"""The balance bench through its page: what is tried and refused, the command line's numbers, nothing written."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from setwright.bench.balance_try import Tries, tried
from setwright.bench.believed import FIXED, believed
from setwright.bench.journals import InShop
from setwright.bench.shop import add_job, show_visit
from setwright.bench.whatif import Changes
from setwright.cli import balance_words
from tests.web.test_step import HARDWARE, heard, kept
from tests.web.visitor import Visitor, words

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
SCRIPT = "<script>alert(1)</script>"
HEAVIER = ".011 .014 .018 .028w .038w .049w"


def cell(answer: Any, name: str) -> str:
    """What stands in a cell of the page."""
    found = re.search(rf'data-q="{re.escape(name)}"[^>]*>([^<]*)<', answer.text)
    assert found is not None, name
    return found[1]


@pytest.fixture
def path(visits: dict[str, str]) -> str:
    """Of a floating bridge, tuned a tone higher than it is wanted."""
    return f"/visit/{visits['dunlin-heavier']}/balance"


def test_before_anything_is_tried_it_shows_the_instrument_as_found(visitor: Visitor, path: str) -> None:
    answer = visitor.get(path)
    said = words(answer)
    assert answer.status_code == 200
    for part in ("Tried out from the instrument as found. Nothing is written.", "wanted 2.40 ± 0.25 mm", "Floats"):
        assert part in said or part in answer.text, part
    assert cell(answer, "gap") == "2.40 ± 0.08 mm"  # rear_gap = "2.4 mm" of the job file
    assert cell(answer, "off 1") == "+200.0 ± 0.1 c"  # found at E4, wanted at D4
    assert "3, at places 1, 3, 5" in answer.text
    assert " style=" not in answer.text
    assert not re.search(r"<script(?![^>]*src=)", answer.text)
    for drawing in re.findall(r"<svg.*?</svg>", answer.text, re.DOTALL):
        ElementTree.fromstring(drawing)


def test_what_is_tried_is_answered_as_on_the_command_line(
    visitor: Visitor, path: str, shop: str, visits: dict[str, str]
) -> None:
    answer = visitor.get(path, params={"claw": "+1/4", "springs": "4", "attitude": "on its back", "pivots": "-1/8"})
    one = believed(InShop(shop, visits["dunlin-heavier"]))
    result = tried(one, Tries(Changes(claw=(0.25, 0.25), springs=4, attitude="on its back", pivots=(-0.125, -0.125))))
    assert result.alone is not None
    assert cell(answer, "gap") == balance_words.gap(result.alone.gap, "mm")
    assert cell(answer, "gap then") == balance_words.gap(result.retuned.gap, "mm")
    rows = balance_words.string_rows(result, result.alone)
    assert [cell(answer, f"up {row.name}") for row in rows] == [row.up for row in rows]
    pulls = balance_words.pull_rows(result.alone, "mm")
    assert [cell(answer, f"moment {name}") for name, *_ in pulls] == [told for *_, told in pulls]
    assert [name for name, *_ in pulls] == ["strings", "springs", "weight"]
    said = words(answer)
    assert "Claw in 1/4 turn" in answer.text
    assert "Never turn a pivot under string or spring tension" in said
    assert "Protect your eyes: strings and springs fly." in said
    assert "Turn both screws alike, and leave thread in the wood." in said
    assert re.findall(r'<option value="([^"]*)" selected', answer.text) == ["4"]


def test_with_scripts_off_a_button_turns_a_screw(visitor: Visitor, path: str) -> None:
    answer = visitor.get(path, params={"claw": "+1/8", "nudge": "claw +1/8"})
    assert 'name="claw" value="+1/4"' in answer.text
    answer = visitor.get(path, params={"claw": "-1/8", "nudge": "claw +1/8"})
    assert 'name="claw" value=""' in answer.text
    answer = visitor.get(path, params={"pivots": "", "nudge": "pivots -1/8"})
    assert 'name="pivots" value="-1/8"' in answer.text
    assert visitor.get(path, params={"claw": "1/4", "nudge": "claw +1000"}).text.count('value="1/4"')


def test_at_pitch_and_left_alone_are_two_states(visitor: Visitor, path: str) -> None:
    alone, retuned = visitor.get(path), visitor.get(path, params={"state": "retuned"})
    assert cell(alone, "gap") == "2.40 ± 0.08 mm"
    assert cell(retuned, "gap") == "0.00 mm"  # three springs are too many a tone lower
    assert "Rests, rear edge on the body" in retuned.text
    assert 'id="pitches"' not in retuned.text
    assert "moment stop" in retuned.text


@pytest.mark.slow
def test_another_set_and_tuning(visitor: Visitor, path: str) -> None:
    answer = visitor.get(path, params={"strings": HEAVIER, "tuning": "standard", "state": "alone"})
    said = words(answer)
    assert answer.status_code == 200
    assert "A new set holds no pitch yet" in said
    assert "1 E4" in said
    assert "Keep your face away from strings coming up to pitch." in said
    assert 'value="alone"' not in answer.text  # nothing is known of their pegs


@pytest.mark.slow
@pytest.mark.parametrize(
    ("field", "text", "told"),
    [
        ("claw", "99 turns", "Claw: &#39;99 turns&#39; is more than 40 turns"),
        ("claw", "+20", "the claw would stand"),
        ("claw", "a lot", "Claw:"),
        ("springs", "9", "no places for 9 springs"),
        ("springs", "many", "is no count"),
        ("springs", "1,9", "no place 9 for a spring"),
        ("strings", ".010 .013", "gauges are no set"),
        ("tuning", "E4 B3", "the tuning has 2 notes"),
        ("attitude", "in the air", "is no attitude"),
        ("temperature", "90 C", "outside -10 to 50 C"),
        ("pivots", "+30", "a pivot would stand"),
    ],
)
def test_what_cannot_be_is_said_and_kept_in_its_field(
    visitor: Visitor, path: str, field: str, text: str, told: str
) -> None:
    answer = visitor.get(path, params={field: text})
    assert answer.status_code == 422
    assert told.lower() in answer.text.lower()
    assert "--" not in words(answer)
    assert cell(answer, "gap") == "2.40 ± 0.08 mm"  # as it is
    if field != "attitude":
        assert f'value="{text}"' in answer.text


@pytest.mark.slow
@pytest.mark.parametrize("text", [SCRIPT, "\x00", "9" * 500, "nan", "1e400", "٣", "'; DROP TABLE visit; --", "\ud7ff"])
def test_hostile_fields_are_refused_or_left_alone(visitor: Visitor, path: str, text: str) -> None:
    for field in ("claw", "springs", "pivots", "strings", "tuning", "attitude", "temperature", "state", "nudge"):
        for where in (path, f"{path}/along"):
            answer = visitor.get(where, params={field: text})
            assert answer.status_code in (200, 422), (where, field)
            assert SCRIPT not in answer.text


def test_inches_for_who_reads_inches(visitor: Visitor, path: str) -> None:
    visitor.client.cookies.set("setwright_units", "inch")
    answer = visitor.get(path)
    assert re.fullmatch(r"\.09\d ± \.00\d in", cell(answer, "gap"))  # 2.40 mm
    assert " lbf" in cell(answer, "force strings")
    told = json.loads(visitor.get(f"{path}/along").text)
    assert told["system"] == "inch"


def test_on_a_fixed_bridge_a_sentence_says_why_there_is_nothing(
    visitor: Visitor, visits: dict[str, str], shop: str
) -> None:
    bass = add_job(shop, str(EXAMPLES / "curlew-low.job.toml")).added.visit.id
    for visit in (visits["sanderling-lower"], bass):
        answer = visitor.get(f"/visit/{visit}/balance")
        assert answer.status_code == 200
        assert FIXED in words(answer)
        assert visitor.get(f"/visit/{visit}/balance/along").status_code == 422
    assert visitor.get("/visit/zzzzzzzzz/balance").status_code == 404


@pytest.mark.slow
def test_where_no_plan_will_do_it_is_tried_all_the_same(visitor: Visitor, visits: dict[str, str]) -> None:
    answer = visitor.get(f"/visit/{visits['knot-too-weak']}/balance", params={"springs": "4"})
    assert answer.status_code == 200
    assert "rear gap" in words(answer).lower()


@pytest.mark.slow
def test_along_the_claw_the_module_gets_what_the_page_shows(visitor: Visitor, path: str) -> None:
    told = json.loads(visitor.get(f"{path}/along", params={"claw": "+1/8"}).text)
    assert told["base"] == [0.125, 0.125]
    at = told["turns"].index(0.0)
    shown = cell(visitor.get(path, params={"claw": "+1/8"}), "gap")
    assert f"{1e3 * told['alone']['values']['gap'][at]:.2f}" == shown.split()[0]
    assert told["said"]["floats"] == "Floats"
    assert told["alone"]["off"]["gap"] < 1e-5  # a hundredth of a millimetre


def test_in_the_middle_of_the_work_it_starts_from_what_is_believed(
    visitor: Visitor, path: str, shop: str, visits: dict[str, str]
) -> None:
    kept(shop, visits["dunlin-heavier"], [*HARDWARE, *heard()])
    answer = visitor.get(path)
    assert "as believed after #17 of the journal" in words(answer)
    said = [float(cell(answer, f"off {s}").split()[0].replace("−", "-")) for s in range(1, 7)]
    assert said == pytest.approx([-20, -10, 0, 5, 10, 20], abs=1.5)  # as heard


def test_nothing_is_written_but_a_note_that_is_asked_for(
    visitor: Visitor, path: str, shop: str, visits: dict[str, str]
) -> None:
    visit = visits["dunlin-heavier"]
    before = len(show_visit(shop, visit).journal.entries)
    visitor.get(path, params={"claw": "+1/4"})
    visitor.get(f"{path}/along")
    assert len(show_visit(shop, visit).journal.entries) == before
    answer = visitor.post(path, {"claw": "+1/4", "springs": "4"})
    assert (answer.status_code, answer.headers["location"]) == (303, f"/visit/{visit}/plan")
    entries = show_visit(shop, visit).journal.entries
    assert len(entries) == before + 1
    assert entries[-1].verb == "note"
    assert entries[-1].text.startswith("tried on the balance bench: claw in 1/4 turn, springs 4, at places 1, 2, 4, 5;")
    refused = visitor.post(path, {"claw": "99 turns"})
    assert refused.status_code == 422
    assert len(show_visit(shop, visit).journal.entries) == before + 1
    assert visitor.client.post(path, data={"claw": "+1/4"}).status_code == 403  # without the token


@pytest.mark.slow
def test_two_readers_may_try_at_once(browsers: Callable[[], Visitor], path: str) -> None:
    one, other = browsers().sign("Mara"), browsers().sign("Bo")
    first = one.get(path, params={"claw": "+1/2"})
    assert cell(other.get(path), "gap") == "2.40 ± 0.08 mm"
    assert cell(first, "gap") != "2.40 ± 0.08 mm"
